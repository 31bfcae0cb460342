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
    """Return in words another version, or measure of the same construct, whose item takes an answer, or nothing.

    Examples
    --------
    >>> from outcomes.measures import Catalogue
    >>> measures = Catalogue.packaged()
    >>> fitting_measure("3", "rating", measures.get("rpe_6_20"), measures)
    '; it would do for rpe_cr10'
    >>> fitting_measure("5", "msis_1", measures.get("msis29", "v2"), measures)
    '; it would do for version v1'
    """
    from outcomes.measures import read_responses

    alike = [one for one in catalogue if one.key != definition.key and one.construct == definition.construct]
    for other in (*_other_versions(definition, catalogue), *alike):
        known = any(one.key == item for one in other.items)
        if known and read_responses(other, item, [text]).problem[0] == "":
            return f"; it would do for {_name(other, definition)}"
    return ""


def holding_version(item: str, definition: Definition, catalogue: Catalogue) -> str:
    """Return in words the other versions of a measure that have an item, or nothing.

    Examples
    --------
    >>> from outcomes.measures import Catalogue
    >>> measures = Catalogue.packaged()
    >>> holding_version("skill_32", measures.get("wst", "v5_power"), measures)
    '; an item of version v5_manual, v4_2_manual or v4_3_manual'
    """
    versions = [
        one.version for one in _other_versions(definition, catalogue) if item in [other.key for other in one.items]
    ]
    listed = " or ".join(part for part in (", ".join(versions[:-1]), *versions[-1:]) if part)
    return f"; an item of version {listed}" if versions else ""


def _other_versions(definition: Definition, catalogue: Catalogue) -> list[Definition]:
    versions = catalogue.versions(definition.key) if definition.key in catalogue else ()
    return [catalogue.get(definition.key, one) for one in versions if one != definition.version]


def _name(other: Definition, definition: Definition) -> str:
    return f"version {other.version}" if other.key == definition.key else other.key
