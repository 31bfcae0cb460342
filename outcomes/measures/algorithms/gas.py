"""One standardised score from several goals of a person, each with its level and its weight."""

from __future__ import annotations

from typing import TYPE_CHECKING

from outcomes.measures.algorithms.contract import Algorithm, Formed, Given

if TYPE_CHECKING:
    from outcomes.measures.algorithms.contract import Flags, Floats, Texts

CORRELATION = 0.3
"""Assumed correlation of the goals, as published."""
MEAN, STEP = 50.0, 10.0
LEVELS = (-2.0, -1.0, 0.0, 1.0, 2.0)
PARTS = (0.0, 1.0, 2.0, 3.0)


def standard_score(level: Floats, weight: Floats) -> Floats:
    """Return the T score of every person.

    Parameters
    ----------
    level, weight : array of shape (n_goals, n_people)
        A goal whose level is nan is left out.

    Returns
    -------
    array of shape (n_people,)
        nan where no goal has a level, or all weights are 0.

    Notes
    -----
    T = 50 + 10 sum(w x) / sqrt(0.7 sum(w^2) + 0.3 (sum w)^2).

    References
    ----------
    Kiresuk TJ, Sherman RE (1968) Community Ment Health J 4:443-453. Turner-Stokes L (2009) Clin Rehabil 23:362-370 with
    its erratum: pages 364 and 367 had wrong formulas.
    """
    import numpy as np

    rated = ~np.isnan(level)
    weight = np.where(rated, weight, 0.0)
    total = np.sum(weight * np.where(rated, level, 0.0), axis=0)
    spread = np.sqrt((1 - CORRELATION) * np.sum(weight**2, axis=0) + CORRELATION * np.sum(weight, axis=0) ** 2)
    part = np.divide(total, spread, out=np.full(len(total), np.nan), where=spread > 0)
    return np.asarray(MEAN + STEP * part)


def run(given: Given) -> dict[str, Formed]:
    """Return T of what was achieved, T at the start, their difference, and the number of goals.

    Parameters
    ----------
    given : Given

    Returns
    -------
    dict of str to Formed
    """
    import numpy as np

    achieved, before = given.value["attainment"], given.value["baseline"]
    named = ~np.isnan(achieved) | ~np.isnan(before)
    weight, wrong = _weights(given, named)
    formed = {
        "t_achieved": _scored(achieved, weight, wrong, named),
        "t_baseline": _scored(before, weight, wrong, named),
    }
    change = Formed.empty(given.people)
    change.value = formed["t_achieved"].value - formed["t_baseline"].value
    change.explanation[:] = "difference of the two T scores of the same goals and weights"
    same = (np.isnan(achieved) == np.isnan(before)).all(axis=0)
    change.refuse(~same, "not the same goals are rated at the start and at the end")
    change.reason[(change.reason == "") & (wrong != "")] = wrong[(change.reason == "") & (wrong != "")]
    goals = Formed.empty(given.people)
    goals.value = np.where(named.any(axis=0), (~np.isnan(achieved)).sum(axis=0), np.nan).astype(float)
    goals.explanation[:] = "goals with a level that was achieved"
    return {**formed, "change": change, "goals": goals}


def _weights(given: Given, named: Flags) -> tuple[Floats, Texts]:
    """Return the weight of every goal, and what is wrong with the weights of a person."""
    import numpy as np

    own, product = given.value["weight"], given.value["importance"] * given.value["difficulty"]
    weight = np.where(np.isnan(own), product, own)
    half = np.isnan(given.value["importance"]) != np.isnan(given.value["difficulty"])
    some, lacking = ~np.isnan(weight) & named, np.isnan(weight) & named
    wrong = np.full(given.people, "", dtype=object)
    weight = np.where(some.any(axis=0), weight, 1.0)
    wrong[(some.any(axis=0) & lacking.any(axis=0))] = "some goals have a weight and others have none"
    wrong[(half & np.isnan(own) & named).any(axis=0)] = "importance and difficulty are needed together"
    differs = ~np.isnan(own) & ~np.isnan(product) & (own != product) & named
    wrong[differs.any(axis=0)] = "the weight is not importance times difficulty"
    return weight, wrong


def _scored(level: Floats, weight: Floats, wrong: Texts, named: Flags) -> Formed:
    import numpy as np

    formed = Formed.empty(level.shape[1])
    rated = ~np.isnan(level)
    formed.value = standard_score(level, weight)
    count = rated.sum(axis=0)
    zero = (count > 0) & (np.where(rated, weight, 0.0).sum(axis=0) == 0)
    formed.refuse(zero, "all weights are 0")
    for text in set(wrong.tolist()) - {""}:
        formed.refuse(wrong == text, text)
    formed.refuse(count == 0, "no goal has a level")
    for person in np.flatnonzero(~np.isnan(formed.value)).tolist():
        n, different = int(count[person]), set(weight[rated[:, person], person].tolist())
        how = "weighted" if len(different) > 1 else "equal weights"
        levels = ", ".join(f"{x:+g}" if x else "0" for x in level[rated[:, person], person])
        formed.explanation[person] = (
            f"T = {formed.value[person]:.1f}: {n} goal{'s' if n > 1 else ''} at {levels}, {how}"
        )
    formed.mark((named & ~rated).sum(axis=0) > 0, "goals without a level left out")
    return formed


READ = ("attainment", "baseline", "weight", "importance", "difficulty")
WEIGHTS = READ[2:]
ALGORITHM = Algorithm(
    items={"attainment": LEVELS, "baseline": LEVELS, "weight": (), "importance": PARTS, "difficulty": PARTS},
    scales={
        "t_achieved": ("attainment", *WEIGHTS),
        "t_baseline": ("baseline", *WEIGHTS),
        "change": READ,
        "goals": ("attainment",),
    },
    run=run,
    decisions=(
        "Each goal of a person is one reading (column trial); its weight is the item weight, else importance times "
        "difficulty, else 1 for every goal.",
        "T = 50 + 10 sum(w x) / sqrt(0.7 sum(w^2) + 0.3 (sum w)^2); a common weight cancels.",
        "T depends on the number of goals (all at -1: 40.0 for one goal, 36.3 for three), so the explanation names it.",
        "A goal without a level is left out and flagged; weights that are all 0, or given for some goals only, leave "
        "no score. A change needs the same goals rated at both times.",
    ),
    repeated=True,
)
