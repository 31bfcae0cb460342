"""Sentences about groups: how they differ, never that one changed and the other did not."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from outcomes.reports import format as fmt
from outcomes.reports.facts import Facts, rows_of
from outcomes.reports.wording import Sentence, not_reported

LIMITS = {
    "not randomised": "Limit: people were not randomised, so the groups may differ in what was not measured.",
    None: "Limit: how people came into their group is not reported, so the groups may differ in what was not measured.",
}
"""What stands below a comparison, by the protocol's allocation; nothing where chance decided."""


def group_rows(facts: Facts, row: Any) -> list[dict[str, Any]]:
    """Return the rows of the comparison of groups for one outcome.

    Parameters
    ----------
    facts : Facts
    row : mapping
        Row of the outcomes table, of any group.
    """
    same = ("measure", "place", "contrast")
    found = rows_of(facts.record, "group_differences")
    return [one for one in found if all(one[name] == row[name] for name in same)]


def difference(facts: Facts) -> Iterator[Sentence]:
    """Yield the difference between groups in the report's outcome; nothing for a design without groups."""
    if facts.design != "parallel groups" or facts.row is None:
        return
    rows = group_rows(facts, facts.row)
    for row in rows:
        text, short = difference_words(facts, row), difference_words(facts, row, brief=True)
        yield Sentence("difference between groups", "results", text, short=short)
        yield from _needed(facts, row)
    if not rows:
        yield not_reported("difference between groups", "results", "run outcomes analyse again")


def other_difference(facts: Facts, row: Any) -> Iterator[Sentence]:
    """Yield the difference between groups in a secondary outcome."""
    for one in group_rows(facts, row):
        yield Sentence(facts.title_of(row)[0], "results", difference_words(facts, one, brief=True), 7)


def two_groups(facts: Facts, row: Any) -> tuple[str, str]:
    """Return what readers call the group that is looked at and the reference group."""
    return facts.group_label(row["group"]), facts.group_label(row["reference"])


def difference_words(facts: Facts, row: Any, *, brief: bool = False) -> str:
    """Return the sentence on one row of the comparison: difference, interval, P, people in each group."""
    name = facts.title_of(row)[0]
    group, reference = two_groups(facts, row)
    lead = f"{name}, {group} minus {reference}"
    if withheld(facts, row):
        return f"{lead}: not shown ({facts.small.words} people in a group)."
    if row["difference"] is None:
        return f"{lead}: not estimable ({fmt.clean(row['reason'] or 'no reason given')})."
    p = p_words(row, facts)
    tail = f"{f', {p}' if p else ''} (n = {row['n_group']} and {row['n_reference']})."
    how = "by rank (Cliff's delta)" if row["level"] == "ordinal" else "given the first value"
    if brief or row["level"] == "ordinal":
        return f"{lead}, {how}: {difference_interval(facts, row)}{tail}"
    after = facts.visit_label(facts.visits[1])
    return f"{lead} at {after}, {how} (analysis of covariance): {difference_interval(facts, row)}{tail}"


def plain_difference(facts: Facts) -> str:
    """Return the differences between groups in the report's outcome in plain words."""
    rows = group_rows(facts, facts.row) if facts.row is not None else []
    return " ".join(_plainly(facts, row) for row in rows) or "The groups were not compared."


def _plainly(facts: Facts, row: Any) -> str:
    group, reference = two_groups(facts, row)
    name = facts.plain_name(row)
    if row["difference"] is None or row["low"] is None or withheld(facts, row):
        return f"We could not work out how {group} and {reference} differ."
    told = _told_apart(facts, row)
    if row["level"] == "ordinal":
        if not told:
            return f"We could not tell whether {name} changed more in {group} or in {reference}."
        return f"{name[0].upper()}{name[1:]} more often {_moved(row)} in {group} than in {reference}."
    places = fmt.decimals_of_interval(row["low"], row["high"])
    ends = f"{fmt.number(row['low'], places)} and {fmt.quantity(row['high'], row['unit'], places)}"
    likely = f"The true difference is likely to lie between {ends}."
    after = facts.visit_label(facts.visits[1])
    if not told:
        return f"We could not tell whether {name} differed between {group} and {reference} at {after}. {likely}"
    size = fmt.quantity(abs(row["difference"]), row["unit"], places)
    return (
        f"Compared with {reference}, {name} was {size} {_word(row)} in {group} at {after}, for people who began alike. "
        f"{likely}"
    )


def _told_apart(facts: Facts, row: Any) -> bool:
    """Return whether interval and P value, adjusted where it is, leave out that the groups are alike."""
    p = row["p_adjusted"] if row["p_adjusted"] is not None else row["p"]
    beyond = row["low"] is not None and (row["low"] > 0 or row["high"] < 0)
    return bool(beyond and (p is None or p < 1 - facts.level))


def _word(row: Any) -> str:
    sizes = row["words_better"] in ("larger", "smaller")
    return (("larger", "smaller") if sizes else ("higher", "lower"))[row["difference"] < 0]


def _moved(row: Any) -> str:
    return "moved up" if row["difference"] > 0 else "moved down"


def withheld(facts: Facts, row: Any) -> bool:
    """Return whether a group is too small for its numbers to be printed."""
    return any(facts.small.hides(int(row[name] or 0)) for name in ("n_group", "n_reference"))


def difference_interval(facts: Facts, row: Any, *, named: bool = True) -> str:
    """Return the difference with its interval and unit."""
    unit = "1" if row["level"] == "ordinal" else row["unit"]
    if row["low"] is None:
        return fmt.quantity(row["difference"], unit, 2)
    return fmt.with_interval(row["difference"], row["low"], row["high"], unit, None, facts.ci if named else "")


def p_words(row: Any, facts: Facts) -> str:
    """Return P of a difference between groups, adjusted for the number of secondary outcomes where it is."""
    if row["p_adjusted"] is not None:
        name = {"holm": "Holm", "bh": "Benjamini-Hochberg"}.get(str(facts.meta.get("multiplicity")), "adjusted")
        return f"{fmt.p_value(row['p_adjusted'])} ({name})"
    return "" if row["p"] is None else fmt.p_value(row["p"])


def needed_text(row: Any) -> str:
    """Return the number needed with its interval, through infinity where that is so; empty where there is none."""
    from outcomes.change import needed_words

    if row["share_low"] is None:
        return ""
    ends = [float("inf") if row[name] is None else row[name] for name in ("needed_first", "needed_last")]
    straddles = row["share_low"] <= 0 <= row["share_high"]
    return needed_words(row["needed"], (ends[0], ends[1]), straddles=straddles, shown=lambda one: fmt.number(one, 1))


def shares_shown(facts: Facts, row: Any) -> bool:
    """Return whether the counts of people beyond error may be printed for both groups."""
    if row["share_difference"] is None or withheld(facts, row):
        return False
    pairs = (("better_group", "n_group"), ("better_reference", "n_reference"))
    return not any(facts.small.hides(int(row[n])) or facts.small.hides(int(row[of] - row[n])) for n, of in pairs)


def _needed(facts: Facts, row: Any) -> Iterator[Sentence]:
    """Yield how many people of each group were beyond the measurement error, and the number needed."""
    if not shares_shown(facts, row):
        return
    group, reference = two_groups(facts, row)
    counts = [fmt.share(int(row[n]), int(row[of])) for n, of in
              (("better_group", "n_group"), ("better_reference", "n_reference"))]  # fmt: skip
    text = (
        f"{fmt.clean(row['words_better']).capitalize()} by at least the minimal detectable change: {counts[0]} in "
        f"{group}, {counts[1]} in {reference}; number needed {needed_text(row)}."
    )
    yield Sentence("number needed", "results", text, 2)


def conclusion(facts: Facts) -> Iterator[Sentence]:
    """Yield what the comparison of groups allows to be said, and its limit; no word of a change within a group."""
    row = facts.row
    rows = group_rows(facts, row) if row is not None else []
    if rows:
        pairs = [_conclude(facts, one) for one in rows]
        full, short = (" ".join(pair[i] for pair in pairs) for i in (0, 1))
        yield Sentence("conclusion", "conclusion", full, short=short)
    else:
        text = "No conclusion on a difference between groups is possible."
        yield Sentence("conclusion", "conclusion", text)
    limit = LIMITS.get(facts.meta.get("allocation"))
    if limit is not None:
        yield Sentence("limit", "conclusion", limit)


def _conclude(facts: Facts, row: Any) -> tuple[str, str]:
    """Return what can be concluded of one comparison, in full and in short."""
    name = facts.title_of(row)[0]
    group, reference = two_groups(facts, row)
    after = facts.visit_label(facts.visits[1])
    if row["difference"] is None or withheld(facts, row):
        return (f"The difference between {group} and {reference} could not be estimated.",) * 2
    low = row["low"]
    if _told_apart(facts, row):
        more = _word(row) if row["level"] != "ordinal" else "higher" if row["difference"] > 0 else "lower"
        what = f"changes of {name} ranked {more}" if row["level"] == "ordinal" else f"{name} was {more}"
        given = "" if row["level"] == "ordinal" else ", given the first value"
        full = f"{what[0].upper()}{what[1:]} in {group} than in {reference} at {after}{given}."
        return full, full
    unsure = f"The study could not tell whether {name} differed between {group} and {reference}"
    if low is None:
        return (f"{unsure}.",) * 2
    return f"{unsure}: the interval ({_ends(row)}) includes no difference.", f"{unsure} ({_ends(row)})."


def _ends(row: Any) -> str:
    places = fmt.decimals_of_interval(row["low"], row["high"])
    unit = "1" if row["level"] == "ordinal" else row["unit"]
    return f"{fmt.number(row['low'], places)} to {fmt.quantity(row['high'], unit, places)}"
