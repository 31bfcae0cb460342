"""Minutes a day of each kind and intensity from the bouts of up to three recalled days."""

from __future__ import annotations

from typing import TYPE_CHECKING

from outcomes.measures.algorithms.contract import Algorithm, Formed, Given

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from outcomes.measures.algorithms.contract import Floats, Texts

KINDS = {"ltpa": 0.0, "lifestyle": 1.0}
INTENSITIES = {"nothing": 0.0, "mild": 1.0, "moderate": 2.0, "heavy": 3.0}
COUNTED = ("mild", "moderate", "heavy")
"""Intensities that a total is made of."""
DAYS = (1.0, 2.0, 3.0)
MINUTES_OF_A_DAY = 1440
BOUT = ("day", "minutes", "intensity", "kind")


def run(given: Given) -> dict[str, Formed]:
    """Return minutes a day by kind and intensity, and their totals.

    Parameters
    ----------
    given : Given
        One reading is one bout.

    Returns
    -------
    dict of str to Formed

    Notes
    -----
    Minutes over all recalled days, divided by the number of days that were recalled: a day without bouts is a day.

    References
    ----------
    Martin Ginis KA et al. (2005), as quoted by Latimer AE et al. (2006) Med Sci Sports Exerc 38(2).
    """
    import numpy as np

    minutes, days = given.value["minutes"], np.fmax.reduce(given.value["days_recalled"])
    begun = np.array([~np.isnan(given.value[key]) for key in BOUT]).any(axis=(0, 1))
    days = np.where(np.isnan(days) & begun, DAYS[-1], days)
    wrong = _wrong(given, days)
    sums: dict[str, Floats] = {}
    for kind, of_kind in KINDS.items():
        for intensity, of_intensity in INTENSITIES.items():
            mine = (given.value["kind"] == of_kind) & (given.value["intensity"] == of_intensity)
            sums[f"{kind}_{intensity}"] = np.where(mine, minutes, 0.0).sum(axis=0) / days
    for intensity in INTENSITIES:
        sums[f"cumulative_{intensity}"] = sums[f"ltpa_{intensity}"] + sums[f"lifestyle_{intensity}"]
    for name in (*KINDS, "cumulative"):
        sums[f"{name}_total"] = np.array([sums[f"{name}_{intensity}"] for intensity in COUNTED]).sum(axis=0)
    return {name: _formed(name, value, days, wrong) for name, value in sums.items()}


def _formed(name: str, value: Floats, days: Floats, wrong: Texts) -> Formed:
    import numpy as np

    formed = Formed.empty(len(value))
    formed.value = np.where(wrong == "", value, np.nan)
    formed.reason[:] = wrong
    for count in DAYS:
        there = (days == count) & ~np.isnan(formed.value)
        formed.explanation[there] = f"{name.replace('_', ' ')}: minutes of all bouts / {count:g} recalled days"
        if count < DAYS[-1]:
            formed.mark(there, f"{count:g} of 3 days recalled")
    return formed


def _wrong(given: Given, days: Floats) -> Texts:
    """Return why the bouts of a person give no score; empty where they do."""
    import numpy as np

    parts = np.array([given.value[key] for key in BOUT])
    said = np.array([given.absent[key] for key in BOUT]) > 0
    there = ~np.isnan(parts)
    begun, whole = (there | said).any(axis=0), there.all(axis=0)
    wrong = np.full(given.people, "", dtype=object)
    wrong[np.isnan(days)] = "no bout, and days_recalled is missing"
    for key, of_key in zip(BOUT, there, strict=True):
        lacking = (begun & ~whole & ~of_key).any(axis=0)
        wrong[lacking & (wrong == "")] = f"a bout without {key}"
    late = (given.value["day"] > days).any(axis=0)
    wrong[late & (wrong == "")] = "a bout on a day that was not recalled"
    for day in DAYS:
        total = _minutes_of(given, given.value["day"] == day)
        wrong[(total > MINUTES_OF_A_DAY) & (wrong == "")] = f"bouts of day {day:g} last longer than a day"
    return wrong


def _minutes_of(given: Given, rows: NDArray[np.bool_]) -> Floats:
    import numpy as np

    return np.asarray(np.nansum(np.where(rows, given.value["minutes"], 0.0), axis=0))


READ = (*BOUT, "days_recalled")
NAMES = [f"{name}_{part}" for name in (*KINDS, "cumulative") for part in (*INTENSITIES, "total")]
ALGORITHM = Algorithm(
    items={
        "day": DAYS,
        "minutes": (),
        "intensity": tuple(INTENSITIES.values()),
        "kind": tuple(KINDS.values()),
        "days_recalled": DAYS,
    },
    scales=dict.fromkeys(NAMES, READ),
    run=run,
    decisions=(
        "Each bout is one reading (column trial) with its day, minutes, intensity and kind.",
        "Minutes of all bouts of a kind and intensity, divided by the days that were recalled: three unless "
        "days_recalled says fewer, which is flagged (common practice, no source). A day without bouts counts.",
        "A total is mild, moderate and heavy; the intensity nothing never enters it.",
        "A bout that is not whole, one on a day that was not recalled, or more than 1440 minutes in a day: no score.",
    ),
    repeated=True,
)
