"""Units: the UCUM code behind every column suffix, and the conversions that a clinic's columns may declare."""

from __future__ import annotations

from outcomes.errors import DesignError, near_word

SUFFIX_UNITS: dict[str, str] = {
    "minutes": "min",
    "s": "s",
    "hours": "h",
    "days": "d",
    "day": "d",
    "years": "a",
    "months": "mo",
    "kj": "kJ",
    "kcal": "kcal",
    "w": "W",
    "rpm": "{rev}/min",
    "bpm": "{beat}/min",
    "ma": "mA",
    "us": "us",
    "hz": "Hz",
    "cm": "cm",
    "cm2": "cm2",
    "kg": "kg",
    "km": "km",
    "c": "C",
    "fraction": "1",
    "ml_kg_min": "mL/(kg.min)",
}
"""Column suffix to UCUM code (Unified Code for Units of Measure; ``{...}`` is an annotation)."""

PRINTED_UNITS: dict[str, str] = {
    "a": "years",
    "mo": "months",
    "d": "days",
    "{rev}/min": "rpm",
    "{beat}/min": "bpm",
    "us": "µs",
    "cm2": "cm²",
    "{score}": "points",
    "mm[Hg]": "mmHg",
    "{MET}.min": "MET-min",
    "1": "",
}
"""UCUM code to what a reader sees, where the two differ."""

_SCALES: dict[str, dict[str, float]] = {
    "time": {"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0, "h": 3600.0, "d": 86400.0},
    "length": {"m": 1.0, "cm": 1e-2, "mm": 1e-3, "km": 1e3, "in": 0.0254, "ft": 0.3048, "mi": 1609.344},
    "area": {"cm2": 1.0, "mm2": 1e-2, "in2": 6.4516},
    "mass": {"kg": 1.0, "g": 1e-3, "lb": 0.45359237},
    "force": {"N": 1.0, "kgf": 9.80665, "lbf": 4.4482216152605},
    "energy": {"J": 1.0, "kJ": 1e3, "kcal": 4184.0, "Wh": 3600.0},
    "power": {"W": 1.0, "kW": 1e3},
    "current": {"A": 1.0, "mA": 1e-3, "uA": 1e-6},
    "charge": {"C": 1.0, "mC": 1e-3, "uC": 1e-6},
    "frequency": {"Hz": 1.0, "kHz": 1e3},
    "fraction": {"1": 1.0, "%": 1e-2},
    "speed": {"m/s": 1.0, "km/h": 1 / 3.6},
    "oxygen uptake": {"mL/(kg.min)": 1.0},
    "calendar": {"a": 12.0, "mo": 1.0},
}
"""Factors to the first unit of each kind. Inch, foot, mile and pound are exact by definition (1959 agreement of
the yard and the pound); kilogram-force and pound-force are those masses times the standard gravity of 9.80665 m/s2,
exact by definition (1901); the kilocalorie is the thermochemical one, 4184 J; a calendar year is 12 months."""

_SPELLINGS = {
    "sec": "s",
    "seconds": "s",
    "minutes": "min",
    "hours": "h",
    "days": "d",
    "years": "a",
    "months": "mo",
    "inch": "in",
    "inches": "in",
    "lbs": "lb",
    "µs": "us",
    "μs": "us",
    "ms": "ms",
    "rpm": "{rev}/min",
    "bpm": "{beat}/min",
    "cm²": "cm2",
    "percent": "%",
    "ml/kg/min": "mL/(kg.min)",
}


def unit_code(word: str) -> str:
    """Return the UCUM code of a unit as a clinic writes it; a word that is not known is returned as it is.

    Examples
    --------
    >>> unit_code("inches"), unit_code("kJ")
    ('in', 'kJ')
    """
    word = word.strip()
    return _SPELLINGS.get(word, _SPELLINGS.get(word.lower(), word))


def printed_unit(code: str) -> str:
    """Return a unit as reports print it (``us`` becomes ``µs``)."""
    return PRINTED_UNITS.get(code, code)


def conversion_factor(from_unit: str, to_unit: str) -> float:
    """Return the number that turns a value in `from_unit` into one in `to_unit`.

    Parameters
    ----------
    from_unit, to_unit : str
        UCUM codes or the usual spellings.

    Raises
    ------
    DesignError
        A unit is unknown, or the two measure different things.

    Examples
    --------
    >>> conversion_factor("in", "cm"), conversion_factor("kcal", "kJ")
    (2.54, 4.184)
    """
    a, b = unit_code(from_unit), unit_code(to_unit)
    if a == b:
        return 1.0
    for factors in _SCALES.values():
        if a in factors and b in factors:
            return float(f"{factors[a] / factors[b]:.15g}")
    known = {unit for factors in _SCALES.values() for unit in factors}
    for unit in (a, b):
        if unit not in known:
            raise DesignError(f"unit '{unit}' is not known{near_word(unit, known)}")
    raise DesignError(f"'{a}' cannot be turned into '{b}'")


def column_unit(column: str) -> str:
    """Return the UCUM code that a column name ends in (before ``_since_...``), or an empty text.

    Examples
    --------
    >>> column_unit("mean_power_w"), column_unit("months_since_onset"), column_unit("condition")
    ('W', 'mo', '')
    """
    stem = f"_{column.partition('_since_')[0]}" if "_" in column else ""
    return next((unit for suffix, unit in SUFFIX_UNITS.items() if stem.endswith(f"_{suffix}")), "")
