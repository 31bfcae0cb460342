"""The sentence that explains each method and each caveat that the record names."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from outcomes.analysis.plan import Work

METHODS: dict[str, str] = {
    "count": "A count.",
    "mean": "Arithmetic mean of the values that are known.",
    "median": "Median of the values that are known.",
    "sd": "Standard deviation with n - 1.",
    "published_value": "A published value, used only where people, variant, range and unit of analysis match.",
    "mdc_used": "A change counts as beyond error when its size is at least the minimal detectable change (95 %).",
    "delivered_sum": "Sum over the people seen at the visit whose dose is known; sessions done or shortened before the "
    "visit.",
    "delivered_mean": "Mean over the people seen at the visit whose dose is known.",
    "delivered_sd": "Standard deviation over the people seen at the visit whose dose is known, n - 1.",
    "per_week_mean": "Mean over people of dose divided by (days from the baseline visit to the visit / 7).",
    "planned_sum": "Sum of what was planned up to the visit, over the people seen at it.",
    "planned_mean": "Mean over people of what was planned up to the visit.",
    "programme_sum": "Sum over everybody enrolled and all weeks of the programme, of sessions whose value is known.",
    "programme_share": "Delivered sum over planned sum, everybody enrolled, all weeks of the programme.",
    "cost_sum": "Sum of the costs under [[report.funder.costs]], as the protocol gives them.",
    "cost_per": "Sum of the costs divided by what was delivered.",
    "p_holm": "p adjusted for the number of secondary outcomes (Holm 1979, Scand J Stat 6:65).",
    "p_bh": "p adjusted for the number of secondary outcomes (Benjamini and Hochberg 1995, JRSS-B 57:289).",
}

CAVEATS: dict[str, str] = {
    "published_error": "The measurement error is a published one: other people, other raters.",
    "other_raters": "One rater did all repeat tests of a person, but several did a person's compared visits: the error "
    "between raters is not in the minimal detectable change, so it may be too small.",
    "dose_too_low": "Some delivered sessions of some people have no value, so their dose is counted too low and the "
    "association is distorted by it.",
    "dose_before": "Part of the dose was delivered before the first of the compared visits.",
    "dose_people_unknown": "People of whom no delivered session has a value are left out; n counts the others.",
    "plan_people_unknown": "People for whom it was not planned throughout are left out; n counts the others.",
    "from_memory": "The published value has not been seen in its source by the makers of this software.",
}


def note_methods(work: Work) -> None:
    """Write the text of every method and caveat that an entry of the record names.

    Raises
    ------
    KeyError
        An entry names a note that does not exist: a fault of ours.
    """
    from outcomes import change, dose, dose_response, models, reliability
    from outcomes.coverage import shortfall_sentences

    rooms = (change, dose, dose_response, models, reliability)
    methods = METHODS | {k: v for room in rooms for k, v in room.METHODS.items()}
    caveats = CAVEATS | {k: v for room in rooms for k, v in room.CAVEATS.items()}
    caveats |= shortfall_sentences(one.shortfall for one in work.record.entries.values() if one.shortfall)
    if "dose" in work.people:
        work.record.methods.update(dose.rules(work.study.protocol))
    for entry in work.record.entries.values():
        if entry.method:
            work.record.methods[entry.method] = methods[entry.method]
        for caveat in entry.caveats:
            work.record.caveats[caveat] = caveats[caveat]
