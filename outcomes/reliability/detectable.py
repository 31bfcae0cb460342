"""Minimal detectable change of other units than one score of one person, and own against published errors."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from outcomes.errors import DesignError
from outcomes.reliability.error import MeasurementError
from outcomes.result import Estimate, Interval, Result

_GROUP = "Terwee et al (2007) J Clin Epidemiol 60:34"


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectableChange(Result):
    """Result of `detectable_change`; in the unit of the scores.

    Parameters
    ----------
    person : Estimate
        Minimal detectable change (95 %) of one person, one score before and one after.
    mean_of_trials : Estimate
        The same where each of both values is a mean of `n_trials` scores.
    group : Estimate
        Of the mean change of `n_group` people.
    n_trials, n_group : int
        What they are for.
    """

    person: Estimate
    mean_of_trials: Estimate
    group: Estimate
    n_trials: int
    n_group: int

    def summary(self) -> str:
        """Return the three detectable changes, rounded, with their units of analysis."""
        unit = "" if self.person.unit == "1" else f" {self.person.unit}"
        return (
            f"minimal detectable change (95 %): {self.person.value:.3g}{unit} for one person, "
            f"{self.mean_of_trials.value:.3g}{unit} for the mean of {self.n_trials} trials of one person, "
            f"{self.group.value:.3g}{unit} for the mean of {self.n_group} people"
        )


def detectable_change(error: MeasurementError, *, trials: int = 1, people: int = 1) -> DetectableChange:
    """Minimal detectable change for a person, for a mean of trials, and for the mean of a group.

    Parameters
    ----------
    error : MeasurementError
        Of single scores, as `measurement_error` gives it.
    trials : int
        Scores, each of an occasion of its own, that are averaged to one value before and to one after.
    people : int
        People whose mean change is looked at.

    Returns
    -------
    DetectableChange

    Raises
    ------
    DesignError
        Fewer than one trial or one person.

    Notes
    -----
    1.96·√2·standard error of agreement; over √trials; over √people. That of a group says how large a mean change of
    unchanged people chance alone would make; it says nothing about one person. Where occasions differ by more than
    error (their variance is above 0), that part does not shrink with more people, and the group's value carries a
    caveat.

    References
    ----------
    Weir (2005) J Strength Cond Res 19:231-240; Terwee et al (2007) J Clin Epidemiol 60:34-42 (groups).

    Examples
    --------
    >>> from outcomes.reliability import measurement_error
    >>> error = measurement_error([[10.0, 11.0], [14.0, 13.0], [20.0, 21.0], [9.0, 9.5]], unit="cm")
    >>> found = detectable_change(error, trials=2, people=16)
    >>> round(found.person.value / found.mean_of_trials.value, 3), round(found.person.value / found.group.value, 3)
    (1.414, 4.0)
    """
    if trials < 1 or people < 1:
        raise DesignError("at least one trial and one person are needed")
    group = _times(error.mdc95, "mdc95_group", 1 / math.sqrt(people))
    if error.variance_occasions > 0 and people > 1:
        group = replace(group, caveats=(*group.caveats, "occasions_in_group"))
    return DetectableChange(
        person=error.mdc95,
        mean_of_trials=_times(error.mdc95, "mdc95_trials", 1 / math.sqrt(trials)),
        group=replace(group, source=_GROUP),
        n_trials=trials,
        n_group=people,
    )


def _times(estimate: Estimate, method: str, factor: float) -> Estimate:
    assert isinstance(estimate.value, float)
    ends = estimate.interval
    interval = None if ends is None else Interval(ends.low * factor, ends.high * factor, ends.level, ends.method)
    return replace(estimate, value=estimate.value * factor, interval=interval, method=method)


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedError:
    """One published minimal detectable change (95 %) with what it holds for.

    Parameters
    ----------
    mdc95 : float
        In `unit`.
    unit : str
        UCUM code.
    population : str
        The people that it was found in.
    source : str
        Publication.
    mismatch : str
        In what it differs from the study (population, variant, unit of analysis, scale); empty where all match.
    """

    mdc95: float
    unit: str
    population: str
    source: str
    mismatch: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorComparison(Result):
    """One line of `own_against_published`.

    Parameters
    ----------
    published : PublishedError
    ratio : float
        Own over published.
    within_interval : bool, optional
        Whether the published value lies in the interval of the own one; None where that has none.
    verdict : str
        The comparison in words.
    """

    published: PublishedError
    ratio: float
    within_interval: bool | None
    verdict: str

    def summary(self) -> str:
        """Return the comparison in words, with the people and the publication."""
        return f"{self.verdict}; published: {self.published.population} ({self.published.source})"


def own_against_published(mdc95: Estimate, published: Sequence[PublishedError]) -> tuple[ErrorComparison, ...]:
    """Set the clinic's own minimal detectable change beside published ones, with what they hold for.

    Parameters
    ----------
    mdc95 : Estimate
        Of `measurement_error`.
    published : sequence of PublishedError
        In the same unit.

    Returns
    -------
    tuple of ErrorComparison
        One for each, in order. No value is chosen here: which one changes are held against is the protocol's choice.

    Raises
    ------
    DesignError
        Another unit, or a published value that is not above 0.

    Notes
    -----
    A published value that lies outside the own interval is another error, or of other people; inside it, the two cannot
    be told apart.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> ends = Interval(3, 7, 0.95, "chi-square")
    >>> own = Estimate(value=4.0, unit="cm", method="mdc95", n_people=10, n_values=20, interval=ends)
    >>> other = PublishedError(mdc95=2.0, unit="cm", population="adults", source="A (2001)")
    >>> (line,) = own_against_published(own, [other])
    >>> line.ratio, line.within_interval, line.verdict
    (2.0, False, 'larger than the published one')
    """
    out = []
    for other in published:
        if other.unit != mdc95.unit:
            raise DesignError(f"the own value is in {mdc95.unit}, the published one in {other.unit}")
        if not (other.mdc95 > 0 and math.isfinite(other.mdc95)):
            raise DesignError(f"a published minimal detectable change of {other.mdc95} does not exist")
        assert isinstance(mdc95.value, float)
        ends = mdc95.interval
        inside = None if ends is None else ends.low <= other.mdc95 <= ends.high
        words = "larger than the published one" if mdc95.value > other.mdc95 else "smaller than the published one"
        verdict = "not told apart from the published one" if inside else words
        if other.mismatch:
            verdict += f", which differs: {other.mismatch}"
        out.append(
            ErrorComparison(published=other, ratio=mdc95.value / other.mdc95, within_interval=inside, verdict=verdict)
        )
    return tuple(out)
