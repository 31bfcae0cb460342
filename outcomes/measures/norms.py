"""One value held against the published table of people of the same age and sex."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from outcomes.errors import DesignError
from outcomes.measures.schema import lies_in
from outcomes.result import Result
from outcomes.units import printed_unit

if TYPE_CHECKING:
    from outcomes.measures.schema import Definition, PublishedValue

Sex = Literal["female", "male"]

LIMITS = {
    "norm_interval": "95 % interval of the mean",
    "norm_quartiles": "lower to upper quartile",
    "norm_upper_limit": "upper limit",
}
"""Statistics that are tables of limits, with what their limits are."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AgainstNorm(Result):
    """Result of `against_norm`: one value beside the limits of one row of a published table.

    Parameters
    ----------
    value : float
    low : float, optional
        Lower limit of the table; None where it gives only the upper one.
    high : float
    unit : str
        Of all three.
    place : {"below average", "average", "above average"}
        Where the value lies; both limits belong to the average.
    worse : bool
        Whether it lies on the worse side of the limits.
    limits : str
        What the limits are: those of a mean are no range of persons.
    key, statistic, population, source, status : str
        Of the published value.
    """

    value: float
    low: float | None
    high: float
    unit: str
    place: Literal["below average", "average", "above average"]
    worse: bool
    limits: str
    key: str
    statistic: str
    population: str
    source: str
    status: str

    def summary(self) -> str:
        """Return the comparison in one sentence."""
        span = f"up to {self.high:g}" if self.low is None else f"{self.low:g} to {self.high:g}"
        said = f"{self.value:g} {printed_unit(self.unit)} is {self.place}{' (worse)' if self.worse else ''}"
        return f"{said}: {self.limits} {span} ({self.population}; {self.source}) [{self.status}]"


def against_norm(
    definition: Definition,
    value: float,
    *,
    age_years: float,
    sex: Sex | None = None,
    scale: str | None = None,
    variant: str = "",
) -> AgainstNorm:
    """Hold one value against the row of a published table for that age and sex.

    Parameters
    ----------
    definition : Definition
    value : float
        A score of the scale, in its unit.
    age_years : float
        Age; the years that are completed count, as in the tables.
    sex : {"female", "male"}, optional
        Needed where the table has a row for each.
    scale : str, optional
        The main scale by default.
    variant : str
        As `score_table` writes it: a norm of one form says nothing about another.

    Returns
    -------
    AgainstNorm

    Raises
    ------
    DesignError
        No row of a table holds for that age, sex, scale and variant: a table is not extended.

    Examples
    --------
    >>> from outcomes.measures import Catalogue
    >>> print(against_norm(Catalogue.packaged().get("tug"), 11, age_years=72).summary().split(" (adults")[0])
    11 s is above average (worse): 95 % interval of the mean 8.2 to 10.2
    """
    if not (math.isfinite(value) and math.isfinite(age_years)):
        raise DesignError("a norm needs a value and an age that are numbers")
    wanted = definition.scale(scale or definition.main_scale.key)
    rows = [one for one in definition.published if one.age_years is not None and one.scale == wanted.key]
    if not rows:
        raise DesignError(f"{definition.key} has no published table by age for the scale {wanted.key}")
    fitting = [one for one in rows if one.variant == variant]
    if not fitting:
        known = " or ".join(sorted({one.variant or "none" for one in rows}))
        raise DesignError(f"the table of {definition.key} holds for the variant '{known}', not '{variant or 'none'}'")
    row = _row(definition, fitting, math.floor(age_years), sex)
    low, high = row.value if isinstance(row.value, tuple) else (None, row.value)
    return _held(row, value, low, float(high), wanted.better)


def _row(definition: Definition, rows: list[PublishedValue], age: int, sex: Sex | None) -> PublishedValue:
    """Return the one row for an age and a sex."""
    of_age = [one for one in rows if one.age_years is not None and lies_in(age, one.age_years, "closed")]
    if not of_age:
        ages = [one.age_years for one in rows if one.age_years is not None]
        low, high = min(a for a, _ in ages), max(b for _, b in ages)
        raise DesignError(f"the table of {definition.key} is for ages {low:g} to {high:g} years, not {age}")
    found = [one for one in of_age if one.sex in ("", sex)]
    if not found:
        raise DesignError(f"the table of {definition.key} has a row for each sex: say sex as female or male")
    return found[0]


def _held(row: PublishedValue, value: float, low: float | None, high: float, better: str) -> AgainstNorm:
    place: Literal["below average", "average", "above average"] = "average"
    if not lies_in(value, (-math.inf if low is None else low, high), "closed"):
        place = "above average" if value > high else "below average"
    worse = place == ("above average" if better == "lower" else "below average")
    return AgainstNorm(
        value=value,
        low=low,
        high=high,
        unit=row.unit,
        place=place,
        worse=worse,
        limits=LIMITS[row.statistic],
        key=row.key,
        statistic=row.statistic,
        population=row.population,
        source=row.source,
        status=row.status,
    )
