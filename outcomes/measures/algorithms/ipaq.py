"""Activity of a week in multiples of rest, with the published cleaning and truncation, and its three categories."""

from __future__ import annotations

from typing import TYPE_CHECKING

from outcomes.measures.algorithms.contract import Algorithm, Formed, Given

if TYPE_CHECKING:
    from outcomes.measures.algorithms.contract import Floats

MET = {"walk": 3.3, "moderate": 4.0, "vigorous": 8.0}
"""Multiples of rest of each kind of activity."""
FEWEST_MINUTES, MOST_MINUTES, MOST_OF_A_DAY = 10, 180, 960
LOW, MODERATE, HIGH = 1.0, 2.0, 3.0
CATEGORIES = {"low": LOW, "moderate": MODERATE, "high": HIGH}
WHEELCHAIR = 1.0
REFUSAL = "not valid in wheelchair users: its walking and its multiples of rest are not theirs; use ltpaq_sci"


def run(given: Given) -> dict[str, Formed]:
    """Return the minutes times multiples of rest of every kind, their total and the category.

    Parameters
    ----------
    given : Given
        Option ``high_1500_of``: what must reach 1500 beside three vigorous days.

    Returns
    -------
    dict of str to Formed

    References
    ----------
    Guidelines for data processing and analysis of the questionnaire, November 2005. Not valid in wheelchair users:
    Latimer AE et al. (2006) Med Sci Sports Exerc 38(2), introduction.
    """
    import numpy as np

    said = {kind: given.once(f"min_{kind}") for kind in MET}
    days = {kind: given.once(f"days_{kind}") for kind in MET}
    minutes = {kind: np.where(days[kind] == 0, 0.0, said[kind]) for kind in MET}
    short = {kind: minutes[kind] < FEWEST_MINUTES for kind in MET}
    counted = {kind: np.where(short[kind], 0.0, np.minimum(minutes[kind], MOST_MINUTES)) for kind in MET}
    active = {kind: np.where(short[kind], 0.0, days[kind]) for kind in MET}
    formed = {name: Formed.empty(given.people) for name in (*MET, "total", "category")}
    for kind in MET:
        formed[kind].value = MET[kind] * counted[kind] * active[kind]
    total = formed["total"].value = np.array([formed[kind].value for kind in MET]).sum(axis=0)
    formed["category"].value = np.where(np.isnan(total), np.nan, _category(given, counted, active, formed))
    _explain(formed, counted, active)
    _refuse(given, formed, minutes)
    _mark(given, formed, minutes, said, days)
    return formed


def _category(given: Given, minutes: dict[str, Floats], days: dict[str, Floats], formed: dict[str, Formed]) -> Floats:
    import numpy as np

    total, all_days = formed["total"].value, np.array(list(days.values())).sum(axis=0)
    of_1500 = formed["vigorous"].value if given.options["high_1500_of"] == "vigorous" else total
    high = ((days["vigorous"] >= 3) & (of_1500 >= 1500)) | ((all_days >= 7) & (total >= 3000))
    half_hours = np.array([np.where(minutes[kind] >= 30, days[kind], 0) for kind in ("walk", "moderate")]).sum(axis=0)
    moderate = (
        ((days["vigorous"] >= 3) & (minutes["vigorous"] >= 20)) | (half_hours >= 5) | ((all_days >= 5) & (total >= 600))
    )
    return np.where(high, HIGH, np.where(moderate, MODERATE, LOW))


def _explain(formed: dict[str, Formed], minutes: dict[str, Floats], days: dict[str, Floats]) -> None:
    import numpy as np

    words = {value: word for word, value in CATEGORIES.items()}
    for i in np.flatnonzero(~np.isnan(formed["total"].value)).tolist():
        told = {kind: f"{MET[kind]:g} x {minutes[kind][i]:g} min x {days[kind][i]:g} days" for kind in MET}
        for kind in MET:
            formed[kind].explanation[i] = told[kind]
        formed["total"].explanation[i] = " + ".join(told.values())
        formed["category"].explanation[i] = (
            f"{words[formed['category'].value[i]]}: {formed['total'].value[i]:g} in all, "
            f"{days['vigorous'][i]:g} vigorous days"
        )


def _refuse(given: Given, formed: dict[str, Formed], minutes: dict[str, Floats]) -> None:
    """Take the scores of a whole case away, as the guideline does."""
    import numpy as np

    of_a_day = np.array(list(minutes.values())).sum(axis=0)
    incomplete = np.isnan(formed["total"].value)
    for one in formed.values():
        one.refuse(given.once("wheelchair") == WHEELCHAIR, REFUSAL)
        one.refuse(of_a_day > MOST_OF_A_DAY, f"more than {MOST_OF_A_DAY} minutes a day in all")
        one.refuse(incomplete, "incomplete: days or minutes are missing, and the case is left out")


def _mark(
    given: Given,
    formed: dict[str, Formed],
    minutes: dict[str, Floats],
    said: dict[str, Floats],
    days: dict[str, Floats],
) -> None:
    import numpy as np

    unknown = np.isnan(given.once("wheelchair"))
    for name, one in formed.items():
        for kind in (name,) if name in MET else MET:
            one.mark(minutes[kind] > MOST_MINUTES, f"{kind} cut at {MOST_MINUTES} minutes a day")
            one.mark((minutes[kind] > 0) & (minutes[kind] < FEWEST_MINUTES), f"{kind} under 10 minutes counts 0")
            one.mark((days[kind] == 0) & (said[kind] > 0), f"{kind} minutes beside 0 days")
        one.mark(unknown, "whether in a wheelchair is not recorded")


def _read(kinds: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(f"{what}_{kind}" for kind in kinds for what in ("days", "min"))


DAYS = tuple(float(day) for day in range(8))
ALL = (*_read(tuple(MET)), "wheelchair")
ALGORITHM = Algorithm(
    items={
        **{f"days_{kind}": DAYS for kind in MET},
        **{f"min_{kind}": () for kind in MET},
        "wheelchair": (0.0, WHEELCHAIR),
    },
    scales={**dict.fromkeys(MET, ALL), "total": ALL, "category": ALL},
    run=run,
    decisions=(
        "A wheelchair user gets no score: the questionnaire is not valid there.",
        "Any days or minutes missing, or more than 960 minutes a day in all: the whole case has no score. Minutes may "
        "be blank beside 0 days, as the form skips them (common practice, no source).",
        "Minutes under 10 count 0 and so do their days; then each kind is cut at 180 minutes a day.",
        "Walking counts 3.3, moderate 4 and vigorous 8 times minutes times days. Sitting is never added.",
        "high: 3 vigorous days and 1500, or 7 days of any kind and 3000. moderate: 3 vigorous days of 20 minutes, or 5 "
        "days of 30 minutes moderate or walking, or 5 days of any kind and 600. Else low.",
    ),
    codes={"category": CATEGORIES},
    options={
        "high_1500_of": {
            "total": "1500 of all activity, as the section of the guideline says",
            "vigorous": "1500 of vigorous activity alone, the strict reading of its summary",
        }
    },
)
