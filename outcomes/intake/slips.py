"""A value that fits another unit of the same kind: a hint for a person, never a correction."""

from __future__ import annotations

from typing import TYPE_CHECKING

from outcomes.units import conversion_factor, printed_unit, unit_code

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from outcomes.measures import Catalogue, Definition

OTHER_UNITS: dict[str, tuple[str, ...]] = {
    "min": ("s", "h"),
    "s": ("min", "ms"),
    "cm": ("in", "mm", "m"),
    "m": ("cm", "ft"),
    "kg": ("lb", "g"),
    "kJ": ("J", "kcal"),
    "kcal": ("kJ", "J"),
    "mA": ("uA", "A"),
    "us": ("ms",),
    "km": ("m", "mi"),
    "mo": ("a",),
    "a": ("mo",),
    "W": ("kW",),
    "cm2": ("mm2", "in2"),
    "1": ("%",),
    "%": ("1",),
    "m/s": ("km/h",),
}
"""Units that a clinic may have meant, by the unit of the column (common practice, no source)."""


PERCENT_VALUES, PERCENT_CEILING, PERCENT_SHARE = 10, 100, 0.2
PERCENT = "mA; whole numbers with a ceiling of exactly 100 would fit percent of the maximum"


def spelled_unit(unit: str) -> str:
    """Return a unit as a message names it; the sign of the inch is a word of its own.

    Examples
    --------
    >>> spelled_unit("in"), spelled_unit("us")
    ('inches (in)', 'µs')
    """
    return "inches (in)" if unit == "in" else printed_unit(unit)


def fitting_unit(value: float, unit: str, usual: tuple[float, float]) -> str:
    """Return a unit in which `value` would be usual, or an empty text.

    A twentieth of the highest usual value is the least that counts: almost nothing is usual in any small unit.

    Examples
    --------
    >>> fitting_unit(17.5, "cm", (35, 70)), fitting_unit(1800, "min", (5, 60)), fitting_unit(30, "cm", (35, 70))
    ('in', 's', '')
    >>> fitting_unit(500, "cm", (35, 70)), fitting_unit(900, "cm", (35, 70))
    ('mm', '')
    """
    low, high = usual
    low = max(low, high / 20)
    for other in OTHER_UNITS.get(unit_code(unit), ()):
        turned = value * conversion_factor(other, unit)
        if value != 0 and low <= turned <= high:
            return other
    return ""


def fits_percent(current: NDArray[np.float64]) -> bool:
    """Return whether currents look like percent of a device's maximum: whole numbers with a ceiling of exactly 100.

    At least ten values above 0 are needed, a fifth of them at the ceiling (common practice, no source).

    Examples
    --------
    >>> import numpy as np
    >>> fits_percent(np.array([0, *[60] * 8, *[100] * 4])), fits_percent(np.array([60, 100, 140]))
    (True, False)
    """
    on = current[current > 0]
    if len(on) < PERCENT_VALUES or on.max() != PERCENT_CEILING:
        return False
    return bool((on == PERCENT_CEILING).mean() > PERCENT_SHARE and (on == on.round()).all())


def fitting_measure(text: str, item: str, definition: Definition, catalogue: Catalogue) -> str:
    """Return in words another measure of the same construct whose item of the same name takes an answer, or nothing.

    Examples
    --------
    >>> from outcomes.measures import Catalogue
    >>> measures = Catalogue.packaged()
    >>> fitting_measure("3", "rating", measures.get("rpe_6_20"), measures)
    '; it would do for rpe_cr10'
    """
    from outcomes.measures import read_responses

    for other in catalogue:
        if other.key != definition.key and other.construct == definition.construct:
            known = any(one.key == item for one in other.items)
            if known and read_responses(other, item, [text]).problem[0] == "":
                return f"; it would do for {other.key}"
    return ""
