"""Stimulation exposure: charge, current and energy, as the settings on record give them; a missing one gives missing.

Two published limits are stated as facts with their source; nothing here says that a setting is safe.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from outcomes.errors import DesignError

TEST_LOAD_OHM = 500.0
"""The resistive load into which the energy of a pulse is stated."""


@dataclass(frozen=True, slots=True)
class PublishedLimit:
    """A limit as a standard prints it: a fact to read an exposure against, no verdict."""

    quantity: str
    value: float
    unit: str
    says: str
    source: str


LIMITS = (
    PublishedLimit(
        "rms_density_ma_cm2",
        2.0,
        "mA/cm2",
        "the standard asks for attention above 2 mA r.m.s. per cm2 of electrode",
        "IEC 60601-2-10, as quoted in secondary text",
    ),
    PublishedLimit(
        "energy_per_pulse_mj",
        300.0,
        "mJ",
        "the standard caps a pulse at 300 mJ into 500 ohm",
        "IEC 601-2-10, clause 51.104, as quoted in secondary text",
    ),
)
"""The published limits that exposures are shown beside. No accepted limit of charge density for large skin electrodes
was found; figures for implanted electrodes do not transfer."""


def above_limit(quantity: str, value: float) -> bool | None:
    """Return whether an exposure lies above the published limit of its quantity; None where it is not known.

    Parameters
    ----------
    quantity : str
        Of `LIMITS`.
    value : float
        In the limit's unit.

    Raises
    ------
    DesignError
        There is no published limit of that quantity.

    Examples
    --------
    >>> above_limit("rms_density_ma_cm2", 0.450843), above_limit("energy_per_pulse_mj", float("nan"))
    (False, None)
    """
    for limit in LIMITS:
        if limit.quantity == quantity:
            return None if math.isnan(value) else value > limit.value
    raise DesignError(f"no published limit of {quantity} is known")


def charge_per_phase(current_ma: float, pulse_width_us: float) -> float:
    """Return the charge of one phase of a rectangular pulse.

    Parameters
    ----------
    current_ma, pulse_width_us : float
        Amplitude in mA and width of one phase in us; nan where not on record, and then the charge is nan.

    Returns
    -------
    float
        uC.

    Raises
    ------
    DesignError
        A negative value.

    Notes
    -----
    Q = I x PW; mA x us / 1000 = uC.

    References
    ----------
    J NeuroEng Rehabil 2018, doi:10.1186/s12984-018-0474-8, Table 3.

    Examples
    --------
    >>> charge_per_phase(140, 300)
    42.0
    """
    return _sound(current_ma, "current") * _sound(pulse_width_us, "pulse width") / 1000


def charge_density(current_ma: float, pulse_width_us: float, electrode_area_cm2: float) -> float:
    """Return the charge of one phase per area of electrode.

    Parameters
    ----------
    current_ma, pulse_width_us, electrode_area_cm2 : float
        nan where not on record, and then the density is nan.

    Returns
    -------
    float
        uC/cm2.

    Raises
    ------
    DesignError
        A negative value, or an area of 0.

    Examples
    --------
    >>> round(charge_density(140, 300, 45), 6)
    0.933333
    """
    return charge_per_phase(current_ma, pulse_width_us) / _area(electrode_area_cm2)


def rms_current(current_ma: float, pulse_width_us: float, frequency_hz: float, phases: float) -> float:
    """Return the r.m.s. current of a train of rectangular pulses while it runs; duty is not included.

    Parameters
    ----------
    current_ma, pulse_width_us, frequency_hz : float
        The width is that of one phase.
    phases : float
        1 or 2 phases of equal width; nan where not on record.

    Returns
    -------
    float
        mA r.m.s.; nan where a value is.

    Raises
    ------
    DesignError
        A negative value, or pulses that would overlap.

    Notes
    -----
    I sqrt(phases x PW x f).

    Examples
    --------
    >>> round(rms_current(140, 300, 35, 1), 6), round(rms_current(140, 300, 35, 2), 6)
    (14.345731, 20.287927)
    """
    share = _sound(phases, "phases") * _sound(pulse_width_us, "pulse width") * 1e-6 * _sound(frequency_hz, "frequency")
    if share > 1:
        raise DesignError("the pulses of the train would overlap: width or frequency is not what it says")
    return _sound(current_ma, "current") * math.sqrt(share)


def rms_density(
    current_ma: float, pulse_width_us: float, frequency_hz: float, phases: float, electrode_area_cm2: float
) -> float:
    """Return the r.m.s. current of a pulse train per area of electrode.

    Parameters
    ----------
    current_ma, pulse_width_us, frequency_hz, phases
        As in `rms_current`.
    electrode_area_cm2 : float

    Returns
    -------
    float
        mA r.m.s./cm2; nan where a value is.

    Raises
    ------
    DesignError
        As `rms_current`, or an area of 0.

    Examples
    --------
    >>> round(rms_density(140, 300, 35, 2, 45), 6)
    0.450843
    """
    return rms_current(current_ma, pulse_width_us, frequency_hz, phases) / _area(electrode_area_cm2)


def energy_per_pulse(current_ma: float, pulse_width_us: float, phases: float) -> float:
    """Return the energy of a pulse into 500 ohm.

    Parameters
    ----------
    current_ma, pulse_width_us, phases : float
        nan where not on record.

    Returns
    -------
    float
        mJ; nan where a value is.

    Raises
    ------
    DesignError
        A negative value.

    Notes
    -----
    I^2 R x PW x phases with R = 500 ohm.

    Examples
    --------
    >>> round(energy_per_pulse(140, 300, 2), 6)
    5.88
    """
    width = _sound(pulse_width_us, "pulse width") * 1e-6 * _sound(phases, "phases")
    return (_sound(current_ma, "current") * 1e-3) ** 2 * TEST_LOAD_OHM * width * 1e3


def duty_by_crank_angle(windows_deg: Sequence[Sequence[float]]) -> float:
    """Return the share of a revolution in which a muscle is stimulated.

    Parameters
    ----------
    windows_deg : sequence of (on, off)
        Crank angles in degrees; a window may run through 0.

    Returns
    -------
    float
        Fraction of a revolution.

    Raises
    ------
    DesignError
        Windows that together are more than a revolution.

    Notes
    -----
    sum of ((off - on) mod 360) / 360.

    Examples
    --------
    >>> round(duty_by_crank_angle([(330, 90)]), 6)
    0.333333
    """
    share = sum((off - on) % 360 for on, off in windows_deg) / 360
    if share > 1:
        raise DesignError("the windows of crank angle are more than a revolution together")
    return float(share)


def pulses_delivered(frequency_hz: float, duty_fraction: float, seconds: float) -> float:
    """Return the pulses that a channel gives in a time.

    Parameters
    ----------
    frequency_hz, duty_fraction, seconds : float
        nan where not on record.

    Returns
    -------
    float
        Pulses, not rounded; nan where a value is.

    Raises
    ------
    DesignError
        A negative value.

    Examples
    --------
    >>> round(pulses_delivered(35, 1 / 3, 1800), 6)
    21000.0
    """
    return _sound(frequency_hz, "frequency") * _sound(duty_fraction, "duty") * _sound(seconds, "time")


def pulses_per_contraction(frequency_hz: float, duty_fraction: float, cadence_rpm: float) -> float:
    """Return the pulses of one contraction, one a revolution.

    Parameters
    ----------
    frequency_hz, duty_fraction, cadence_rpm : float

    Returns
    -------
    float
        Pulses; nan where a value is.

    Raises
    ------
    DesignError
        A negative value, or a cadence of 0.

    Examples
    --------
    >>> round(pulses_per_contraction(35, 1 / 3, 50), 6)
    14.0
    """
    if _sound(cadence_rpm, "cadence") == 0:
        raise DesignError("without cadence there is no contraction to count in")
    return pulses_delivered(frequency_hz, duty_fraction, 60 / cadence_rpm)


def charge_delivered(
    current_ma: float, pulse_width_us: float, frequency_hz: float, duty_fraction: float, seconds: float
) -> float:
    """Return the charge that the stimulating phases of one channel carry in a time.

    Parameters
    ----------
    current_ma, pulse_width_us, frequency_hz, duty_fraction, seconds : float
        nan where not on record.

    Returns
    -------
    float
        C, of the stimulating phase alone; both phases of a balanced pulse carry twice as much, and 0 net. nan where a
        value is.

    Raises
    ------
    DesignError
        A negative value.

    Notes
    -----
    Q = I x PW x f x duty x t.

    Examples
    --------
    >>> round(charge_delivered(140, 300, 35, 1 / 3, 1800), 6)
    0.882
    """
    return charge_per_phase(current_ma, pulse_width_us) * 1e-6 * pulses_delivered(frequency_hz, duty_fraction, seconds)


def _area(value: float) -> float:
    if _sound(value, "electrode area") == 0:
        raise DesignError("an electrode has an area above 0 cm2")
    return value


def _sound(value: float, name: str) -> float:
    if value < 0:
        raise DesignError(f"{name} is negative")
    return value
