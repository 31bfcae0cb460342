"""Published properties of a measurement: used only where everything that they hold for matches."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.errors import DesignError, near_word
from outcomes.measures.schema import SLACK, lies_in
from outcomes.result import Result
from outcomes.units import printed_unit

if TYPE_CHECKING:
    from outcomes.measures.schema import Definition, PublishedValue


def published_value(
    definition: Definition,
    key: str | None,
    *,
    variant: str,
    unit_of_analysis: str,
    scale: str | None = None,
    statistic: str = "mdc95",
    stratum: str = "",
    people: str | None = None,
) -> PublishedValue:
    """Return a published value, if it holds for what the study measured.

    Parameters
    ----------
    definition : Definition
    key : str
        Key of the value in the definition.
    variant : str
        Variant of the study's scores, as `score_table` writes it.
    unit_of_analysis : str
        What one value of the study is: "one value", "mean of both sides", "worse side".
    scale : str, optional
        Scale of the study; the main one by default.
    statistic : str
        What the value is needed as.
    stratum : str
        Range of baseline of the people, where the value holds for one only.
    people : str, optional
        Who was measured, in the words of the value, such as "chronic_stroke"; not stated by default.

    Returns
    -------
    PublishedValue
        Its `value` is a number.

    Raises
    ------
    DesignError
        No such value, or one that holds for another statistic, scale, variant, unit of analysis, stratum or people.

    Examples
    --------
    >>> from outcomes.measures import Catalogue
    >>> scim3 = Catalogue.packaged().get("scim3")
    >>> published_value(scim3, "small_change", variant="", unit_of_analysis="one value")
    Traceback (most recent call last):
        ...
    outcomes.errors.DesignError: the published value 'small_change' is a mcid, not a mdc95
    """
    known = [value.key for value in definition.published]
    found = next((value for value in definition.published if value.key == key), None)
    if found is None:
        raise DesignError(f"{definition.key} has no published value '{key or ''}'{near_word(key or '', known)}")
    name = f"the published value '{found.key}'"
    if found.statistic != statistic:
        raise DesignError(f"{name} is a {found.statistic}, not a {statistic}")
    if not isinstance(found.value, float):
        raise DesignError(f"{name} is not a single number")
    wanted = {
        "scale": scale or definition.main_scale.key,
        "variant": variant,
        "unit_of_analysis": unit_of_analysis,
        "stratum": stratum,
    }
    for reason in _other_study(found, wanted, people):
        raise DesignError(f"{name} {reason}")
    return found


def _other_study(value: PublishedValue, wanted: dict[str, str], people: str | None) -> Iterator[str]:
    """Yield how what a value holds for differs from what the study is."""
    for field, of_study in wanted.items():
        published = getattr(value, field)
        if published != of_study:
            name = field.replace("_", " ")
            yield f"holds for the {name} '{published or 'not stated'}', the study has '{of_study or 'none stated'}'"
    if value.people and people not in value.people:
        yield f"holds for the people '{' or '.join(value.people)}', the study has '{people or 'none stated'}'"


@dataclass(frozen=True, slots=True, kw_only=True)
class AgainstThreshold(Result):
    """Result of `against_threshold`: one change held against one published value.

    Parameters
    ----------
    change : float
        later - earlier, in the unit of the scale.
    improvement : float, optional
        The change in the better direction; None for a scale without one.
    compared : float
        What was compared: the change, or the change in percent of the earlier value.
    threshold : float
    unit : str
        Of both.
    met : bool
    key, statistic, population, source, status : str
        Of the published value.
    """

    change: float
    improvement: float | None
    compared: float
    threshold: float
    unit: str
    met: bool
    key: str
    statistic: str
    population: str
    source: str
    status: str

    def summary(self) -> str:
        """Return the comparison in one sentence."""
        words = "reaches" if self.met else "does not reach"
        unit = printed_unit(self.unit)
        said = f"a change of {self.compared:.3g} {unit} {words} {self.statistic} {self.threshold:g} {unit}"
        return f"{said} ({self.population}; {self.source}) [{self.status}]"


def against_threshold(
    definition: Definition,
    before: float,
    after: float,
    *,
    statistic: str,
    people: str,
    scale: str | None = None,
    variant: str = "",
    unit_of_analysis: str = "one value",
    stratum: str | None = None,
    key: str | None = None,
) -> AgainstThreshold:
    """Hold one person's change against the published value that matches it in everything.

    Parameters
    ----------
    definition : Definition
    before, after : float
        Scores of the scale.
    statistic : str
        Such as "mdc95", "mcid", "smallest_real_difference": a minimal detectable change is no important one.
    people : str
        Who the person is, in the words of the published values, such as "subacute_stroke".
    scale : str, optional
        The main scale by default; a value on another range of the measure belongs to another scale.
    variant, unit_of_analysis : str
        As in `published_value`.
    stratum : str, optional
        A stratum that is not a range of the scale, such as a grade of disability.
    key : str, optional
        Which value, where several match.

    Returns
    -------
    AgainstThreshold
        Met where the size of the change reaches the value; where the publication says so, where it exceeds it.

    Raises
    ------
    DesignError
        No published value matches in everything, with the reason of each that comes near; or several do.

    Notes
    -----
    A value in percent is compared with 100 change / before. Where a value holds for one direction of change, a change
    in the other direction has none.

    Examples
    --------
    >>> from outcomes.measures import Catalogue
    >>> bbs = Catalogue.packaged().get("bbs")
    >>> against_threshold(bbs, 30, 36, statistic="mdc95", people="older_adults").met
    False
    """
    wanted = {
        "scale": scale or definition.main_scale.key,
        "variant": variant,
        "unit_of_analysis": unit_of_analysis,
    }
    candidates = [v for v in definition.published if v.statistic == statistic and key in (None, v.key)]
    reasons = {v.key: _misfit(v, wanted, people, stratum, before, after) for v in candidates}
    fitting = [value for value in candidates if not reasons[value.key]]
    if len(fitting) > 1:
        raise DesignError(f"several published values match: {', '.join(v.key for v in fitting)}; name one by its key")
    if not fitting:
        said = "; ".join(f"'{name}' {reason}" for name, reason in reasons.items())
        raise DesignError(f"no published {statistic} of {definition.key} matches" + (f": {said}" if said else ""))
    return _compared(definition, fitting[0], wanted["scale"], before, after)


def _misfit(
    value: PublishedValue, wanted: dict[str, str], people: str, stratum: str | None, before: float, after: float
) -> str:
    """Return why a value does not hold for this change; empty where it does."""
    if not isinstance(value.value, float):
        return "is not a single number"
    if not value.people:
        return "does not say for which people it holds"
    for reason in _other_study(value, wanted, people):
        return reason
    if value.baseline is not None and not lies_in(before, value.baseline, value.baseline_ends):
        low, high = value.baseline
        return f"holds for values of {low:g} to {high:g} before, here {before:g}"
    if value.baseline is None and value.stratum != (stratum or ""):
        return f"holds for '{value.stratum or 'no stratum'}', here '{stratum or 'none stated'}'"
    if value.direction and after != before and value.direction != ("increase" if after > before else "decrease"):
        return f"holds for {'an increase' if value.direction == 'increase' else 'a decrease'} only"
    if value.unit == "%" and before == 0:
        return "is a percentage, which has no meaning from 0"
    return ""


def _compared(
    definition: Definition, value: PublishedValue, scale: str, before: float, after: float
) -> AgainstThreshold:
    threshold = float(value.value)  # type: ignore[arg-type]  # a single number: _misfit lets nothing else through
    change, better = after - before, definition.scale(scale).better
    compared = 100 * change / before if value.unit == "%" and definition.scale(scale).unit != "%" else change
    size = abs(compared)
    met = size > threshold + SLACK if value.exceeded else size >= threshold - SLACK
    return AgainstThreshold(
        change=change,
        improvement=None if better == "none" else change if better == "higher" else -change,
        compared=compared,
        threshold=threshold,
        unit=value.unit,
        met=met,
        key=value.key,
        statistic=value.statistic,
        population=value.population,
        source=value.source,
        status=value.status,
    )
