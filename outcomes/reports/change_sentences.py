"""Sentences about change: the outcome, people beyond error, other outcomes, dose and change, the conclusion."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from outcomes.reports import format as fmt
from outcomes.reports import group_sentences
from outcomes.reports.facts import Facts, rows_of
from outcomes.reports.small_numbers import NOT_SHOWN
from outcomes.reports.wording import Sentence, not_reported, sentence_of

Verdict = Literal["changed", "could not tell", "not estimable"]

NO_CONTROL = "without a control group the change cannot be told apart from time, recovery or other care"
SHORT_NO_CONTROL = "Without a control group, time, recovery and other care may explain it."
BRIEF_NO_CONTROL = "Time or other care may explain it."


def verdict(row: Any, level: float = 0.95) -> Verdict:
    """Return what the interval of a change allows to be said.

    Parameters
    ----------
    row : mapping
        Row of the outcomes table.
    level : float
        Of the intervals; an ordinal change without an interval is judged by its P value.

    Returns
    -------
    str
        "changed" where the interval leaves out zero and the P value, where there is one, does not speak against it;
        "could not tell" otherwise. A mean is never held against the measurement error of one person.
    """
    low, high = row["change_low"], row["change_high"]
    if row["change"] is None and row["p"] is None:
        return "not estimable"
    if low is None or high is None:
        return "changed" if row["p"] is not None and row["p"] < 1 - level else "could not tell"
    beyond = low > 0 or high < 0
    return "changed" if beyond and (row["p"] is None or row["p"] < 1 - level) else "could not tell"


def direction(row: Any, rose: bool) -> str:
    """Return what a rise or a fall of an outcome is called: higher or lower, or larger or smaller for a size."""
    sizes = {row["words_better"], row["words_other"]} & {"larger", "smaller"}
    return ("larger" if rose else "smaller") if sizes else ("higher" if rose else "lower")


def outcome(facts: Facts) -> Iterator[Sentence]:
    """Yield the change of the report's outcome, of everybody or of each group, and the people beyond error."""
    if not facts.rows:
        yield not_reported("primary outcome", "results", 'compare under [analysis] and role = "primary"')
        return
    if facts.design == "parallel groups":
        yield _each_group(facts)
        unknown = [one for row in facts.rows if row["level"] != "ordinal" for one in _beyond(facts, row) if one.answer]
        yield from dict.fromkeys(unknown)
        yield from group_sentences.difference(facts)
        return
    for row in facts.rows:
        yield from _grades(facts, row) if row["level"] == "ordinal" else _mean_change(facts, row)


def _each_group(facts: Facts) -> Sentence:
    """Return the change within every group in one sentence, so that a short abstract drops all of them or none."""
    name = facts.title_of(facts.rows[0])[0]
    parts = []
    for row in facts.rows:
        group = "everybody" if row["group"] == "all" else facts.group_label(row["group"])
        parts.append(f"{_within(facts, row)} in {group}")
    kind = "Change of grade" if facts.rows[0]["level"] == "ordinal" else "Mean change"
    return Sentence("change within groups", "results", f"{kind} of {name}: {'; '.join(parts)}.", 1)


def _within(facts: Facts, row: Any) -> str:
    if facts.small.hides(row["n"]):
        return f"not shown ({facts.small.words} people)"
    if row["level"] == "ordinal":
        names, shown = class_counts(facts, row)
        counts = ", ".join(f"{name} in {n}" for name, n in zip(names, shown, strict=True) if n != NOT_SHOWN)
        return (
            f"{counts} of {row['n']} people" if counts else f"not estimable ({fmt.clean(row['reason'] or 'no value')})"
        )
    if row["change"] is None:
        return f"not estimable ({fmt.clean(row['reason'] or 'no value')})"
    return f"{change_words(facts, row)} (n = {row['n']})"


def _mean_change(facts: Facts, row: Any) -> Iterator[Sentence]:
    name = facts.title_of(row)[0]
    if row["change"] is None or facts.small.hides(row["n"]):
        why = row["reason"] or f"{facts.small.words} people"
        yield Sentence("outcome change", "results", f"{name}: change not estimable ({fmt.clean(why)}).")
        return
    unit, places = row["unit"], facts.decimals(row)
    before, after = (facts.visit_label(v) for v in facts.visits)
    change = change_words(facts, row)
    spread = facts.value("change", "sd", row)
    tail = (f", SD {fmt.number(spread, places)}" if spread is not None else "") + _comma(p_words(facts, row))
    text = (
        f"{name} was {fmt.with_spread(row['before_mean'], row['before_sd'], unit, places)} at {before} and "
        f"{fmt.with_spread(row['after_mean'], row['after_sd'], unit, places)} at {after}: mean change {change}{tail} "
        f"(n = {row['n']})."
    )
    short = f"{name}: mean change {change}{tail}"
    yield Sentence("outcome change", "results", text, short=f"{short} (n = {row['n']}).", brief=f"{short}.")
    yield from _beyond(facts, row)


def _comma(text: str) -> str:
    return f", {text}" if text else ""


def _p(p: float | None) -> str:
    return "" if p is None else f", {fmt.p_value(p)}"


ADJUSTED = {"p_holm": "Holm", "p_bh": "Benjamini-Hochberg"}


def p_words(facts: Facts, row: Any) -> str:
    """Return the P value of a change, adjusted for the number of secondary outcomes where the record has that.

    Where groups are compared a change within one of them has none: it is no evidence of a difference.
    """
    if facts.design == "parallel groups":
        return ""
    for statistic, name in ADJUSTED.items():
        adjusted = facts.value("change", statistic, row)
        if adjusted is not None:
            return f"{fmt.p_value(adjusted)} ({name})"
    return "" if row["p"] is None else fmt.p_value(row["p"])


def change_words(facts: Facts, row: Any, *, named: bool = True) -> str:
    """Return the change of an outcome with its interval and unit; the interval is named unless a heading does that."""
    unit, places = row["unit"], facts.decimals(row)
    if row["change_low"] is None:
        return fmt.quantity(row["change"], unit, places)
    ends = row["change_low"], row["change_high"]
    return fmt.with_interval(row["change"], *ends, unit, places, facts.ci if named else "")


def class_numbers(facts: Facts, row: Any) -> tuple[tuple[str, ...], list[int]]:
    """Return the classes of change and how many people are in each: good direction, none, other direction.

    One order for every form of every reader: counts that one form withholds then follow from no other form.

    Returns
    -------
    names : tuple of str
        For an ordinal scale higher or lower grade, whichever is better first.
    counts : list of int
        Both are empty where nobody was counted.
    """
    if row["level"] == "ordinal":
        names: tuple[str, ...] = ("lower", "the same", "higher")
        counts = [facts.value("change", s, row) for s in ("lower", "same", "higher")]
        if row["better"] != "lower":
            names, counts = names[::-1], counts[::-1]
    else:
        names = (row["words_better"], "within error", row["words_other"])
        counts = [row[k] for k in ("n_better", "n_within", "n_other")]
    known = [int(n) for n in counts if n is not None]
    return (names, known) if len(known) == len(counts) else ((), [])


def class_counts(facts: Facts, row: Any) -> tuple[tuple[str, ...], list[str]]:
    """Return the classes of change and how many people are in each, as every form prints them.

    Returns
    -------
    names : tuple of str
        See `class_numbers`.
    counts : list of str
        A number, "fewer than 5", or "not shown" where it would give a smaller one away. Both are empty where nobody
        was counted.
    """
    names, counts = class_numbers(facts, row)
    return names, facts.small.texts(counts, first=1)


def change_of_outcome(facts: Facts) -> str:
    """Return the change of the report's outcome in a few words, for two records side by side."""
    row = facts.row
    if row is None or row["change"] is None:
        return "no change estimated"
    if facts.small.hides(row["n"]):
        return f"not shown ({facts.small.words} people)"
    return f"{facts.title_of(row)[0]} {change_words(facts, row)}, n = {row['n']}"


def dose_of_outcome(facts: Facts) -> str:
    """Return the association of delivered dose with the report's outcome in a sentence, for two records at once."""
    from outcomes.analysis.association import EXPOSURES

    exposure = next(iter(facts.exposures), "") if facts.row is not None else ""
    row = facts.association(exposure) if exposure else None
    return "no association estimated" if row is None else associated(facts, row, EXPOSURES[exposure][4])


def both_numbers(protocol: Facts, other: Facts) -> list[tuple[str, str, str]]:
    """Return what moves where a choice of the protocol is changed: name, by the protocol, in the other record."""
    pairs = (("change of the outcome", change_of_outcome), ("dose and change", dose_of_outcome))
    return [(name, said(protocol), said(other)) for name, said in pairs]


def _beyond(facts: Facts, row: Any) -> Iterator[Sentence]:
    """Yield how many people changed by more than the measurement error, beside what error alone would give."""
    if row["mdc"] is None or row["n_better"] is None:
        entry = facts.record.get(f"reliability/{row['measure']}/{row['place']}/all/-/-/mdc95")
        why = f"{fmt.clean(entry.reason)}; " if entry is not None and entry.reason else ""
        answer = f"{why}the table repeats, or minimal_change under [[measures]]"
        yield not_reported("people beyond measurement error", "results", answer)
        return
    mdc = fmt.quantity(row["mdc"], row["unit"], facts.decimals(row))
    _, shown = class_counts(facts, row)
    good, other = f"{shown[0]} of {row['n']}", shown[2]
    if shown[0].isdecimal():
        good = fmt.share(int(row["n_better"]), row["n"])
    source = fmt.clean(row["mdc_source"], 160)
    alone = error_alone(facts, row)
    text = (
        f"It was {row['words_better']} by at least the minimal detectable change, {mdc_words(facts, row)} ({source}), "
        f"in {good} people "
        f"and {row['words_other']} in {other}{f'; error alone would put {alone} beyond it' if alone else ''}."
    )
    brief = source.partition(",")[0] if source.startswith("own repeat tests") else source
    counts = f"{row['words_better']} in {good}, {row['words_other']} in {other}"
    short = f"Beyond measurement error (MDC {mdc}, {brief}): {counts}"
    tail = f"; by error alone {alone}" if alone else ""
    yield Sentence("people beyond error", "results", text, short=f"{short}{tail}.", brief=f"{short}.")


def mdc_words(facts: Facts, row: Any) -> str:
    """Return the minimal detectable change that people are held against, with the interval of the study's own."""
    places = facts.decimals(row)
    entry = facts.record.get(f"reliability/{row['measure']}/{row['place']}/all/-/-/mdc95")
    own = entry is not None and entry.value == row["mdc"] and entry.interval is not None
    if not own or entry is None or entry.interval is None:
        return fmt.quantity(row["mdc"], row["unit"], places)
    ends = entry.interval.low, entry.interval.high
    return fmt.with_interval(row["mdc"], *ends, row["unit"], places, facts.ci)


def error_alone(facts: Facts, row: Any) -> str:
    """Return the share of people that measurement error alone would put beyond it, both directions together."""
    expected = facts.value("change", "expected_by_error", row)
    if expected is None:
        return ""
    if row["n"] < fmt.PERCENT_FROM:
        return f"a share of {fmt.number(expected, 3)} (both ways)"
    return f"{fmt.number(expected * 100, 1)}% (both ways)"


def _grades(facts: Facts, row: Any) -> Iterator[Sentence]:
    """Yield how many people moved to a lower or higher grade."""
    name = facts.title_of(row)[0]
    names, shown = class_counts(facts, row)
    if not shown or facts.small.hides(row["n"]):
        why = row["reason"] or f"{facts.small.words} people"
        yield Sentence("outcome change", "results", f"{name}: change not estimable ({fmt.clean(why)}).")
        return
    counts = ", ".join(f"{name} in {n}" for name, n in zip(names, shown, strict=True) if n != NOT_SHOWN)
    shift = ""
    if row["change"] is not None:
        shift = f"; typical shift (Hodges-Lehmann) {change_words(facts, row)}"
    p = _comma(p_words(facts, row)) if shift else ""
    text = f"{name}: grade {counts}, of {row['n']} people{shift}{p}."
    yield Sentence("outcome change", "results", text)


def other_outcomes(facts: Facts) -> Iterator[Sentence]:
    """Yield one sentence for each secondary outcome; exploratory ones stand in the tables only."""
    group = facts.rows[0]["group"] if facts.rows else "all"
    for row in facts.others():
        if row["role"] != "secondary" or row["group"] != group:
            continue
        name, _ = facts.title_of(row)
        if facts.design == "parallel groups":
            yield from group_sentences.other_difference(facts, row)
            continue
        sentences = list(_grades(facts, row) if row["level"] == "ordinal" else _mean_change(facts, row))
        yield Sentence(name, "results", sentences[0].short or sentences[0].text, 7)


def association(facts: Facts) -> Iterator[Sentence]:
    """Yield the association of delivered dose with the change of the report's outcome."""
    from outcomes.analysis.association import EXPOSURES

    for index, exposure in enumerate(facts.exposures):
        what = EXPOSURES[exposure][4]
        for row in facts.associations(exposure):
            group = "" if row["group"] in (None, "all", (facts.row or {}).get("group")) else row["group"]
            name = ("dose and change" if index == 0 else f"{what} and change") + (f", {group}" if group else "")
            text = f"{facts.group_label(group)}: " if group else ""
            yield Sentence(name, "results", text + associated(facts, row, what), 1 if index == 0 else 8)
        if facts.dose_metric:
            return


def associated(facts: Facts, row: Any, what: str) -> str:
    """Return the sentence on one dose-response row."""
    if facts.small.hides(row["n"]):
        return f"Association of delivered {what} with change: not shown ({facts.small.words} people)."
    n = f"n = {row['n']}"
    if row["slope"] is not None and row["low"] is not None:
        outcome_row = facts.row
        unit = outcome_row["unit"] if outcome_row else "1"
        slope = fmt.with_interval(row["slope"], row["low"], row["high"], unit, None, facts.ci)
        p = _p(row["p"])
        zero = row["low"] <= 0 <= row["high"]
        lead = "Could not tell whether" if zero else "Between persons,"
        kind = "change" if zero else "a larger rise" if row["slope"] > 0 else "a smaller rise or a fall"
        said = f"more delivered {what} was associated with {kind}"
        return f"{lead} {said}: {slope} per {row['per']}, given the first value{p} ({n})."
    if row["rank"] is not None:
        p = _p(row["rank_p"])
        value = fmt.number(row["rank"], 2)
        return f"Rank association of delivered {what} with change, given the first value: {value}{p} ({n})."
    why = fmt.clean(row["reason"] or "no reason given")
    return f"Association of delivered {what} with change: not estimable ({why})."


def conclusion(facts: Facts) -> Iterator[Sentence]:
    """Yield a conclusion that the design can carry, and its limit."""
    if facts.design == "parallel groups":
        yield from group_sentences.conclusion(facts)
    elif facts.rows:
        texts = [_conclude(facts, row) for row in facts.rows]
        full, short, brief = (" ".join(forms[i] for forms in texts) for i in (0, 1, 2))
        yield Sentence("conclusion", "conclusion", full, short=short, brief=brief)
    if facts.design in ("single arm", "single case"):
        text = f"Limit: {NO_CONTROL}."
        yield Sentence("limit", "conclusion", text, short=SHORT_NO_CONTROL, brief=BRIEF_NO_CONTROL)
    if "limitations" in facts.statements:
        yield Sentence("limitations", "conclusion", sentence_of(facts.statements["limitations"]), 2)


def _conclude(facts: Facts, row: Any) -> tuple[str, str, str]:
    """Return what can be concluded of one outcome, in full, in short and as briefly as can be."""
    name = facts.title_of(row)[0]
    before, after = (facts.visit_label(v) for v in facts.visits)
    found = verdict(row, facts.level)
    if facts.small.hides(row["n"]):
        return (f"{name}: too few people for a conclusion.",) * 3
    if found == "not estimable":
        return (f"{name}: the change could not be estimated ({fmt.clean(row['reason'] or 'no values')}).",) * 3
    low, high = row["change_low"], row["change_high"]
    if found == "changed":
        rose = _rose(facts, row) if row["level"] == "ordinal" else row["change"] > 0
        word, beyond = direction(row, rose), _against(facts, row)
        average = "" if row["level"] == "ordinal" else " on average"
        full = f"{name} was {word}{average} at {after} than at {before}{beyond}."
        return full, f"{name} was {word}{average} at {after}{beyond}.", f"{name} was {word}{average} at {after}."
    unsure = f"The study could not tell whether {name} changed"
    if row["level"] == "ordinal" or low is None:
        return (f"{unsure}.",) * 3
    ends = f"{fmt.number(low, facts.decimals(row))} to {fmt.quantity(high, row['unit'], facts.decimals(row))}"
    if low > 0 or high < 0:
        return f"{unsure}: the interval ({ends}) leaves out zero, the P value does not.", *(f"{unsure} ({ends}).",) * 2
    return f"{unsure}: the interval ({ends}) includes a fall, no change and a rise.", *(f"{unsure} ({ends}).",) * 2


def _rose(facts: Facts, row: Any) -> bool:
    higher, lower = (facts.value("change", s, row) or 0 for s in ("higher", "lower"))
    return higher > lower


def _against(facts: Facts, row: Any) -> str:
    """Return how many people changed that way by more than the error of the test, as the rest of a sentence."""
    names, shown = class_counts(facts, row)
    counts = dict(zip(names, shown, strict=True))
    if row["mdc"] is None or row["level"] == "ordinal" or not counts:
        return ""
    count = counts[row["words_better"] if (row["change"] > 0) == _hoped_up(row) else row["words_other"]]
    return f"; in {count} of {row['n']} people by at least the measurement error" if count.isdecimal() else ""


def _hoped_up(row: Any) -> bool:
    """Return whether a rise is the better or hoped-for direction of an outcome."""
    return bool(row["better"] == "higher" or (row["better"] != "lower" and row["words_better"] == "larger"))


def transitions(facts: Facts, row: Any) -> list[dict[str, Any]]:
    """Return the transitions of an ordinal outcome: before, after, n."""
    return [r for r in rows_of(facts.record, "transitions") if r["key"] == row["key"]]


def transitions_shown(facts: Facts, row: Any) -> list[tuple[str, str, str]]:
    """Return the transitions of an ordinal outcome as they are printed: grade before, grade after, people.

    The transitions to a lower grade add up to the people who moved to a lower grade, and so on: they are withheld so
    that those sums give none of them away. Of a direction whose sum is withheld none is listed, as even their number
    would tell.
    """
    names, shown = class_counts(facts, row)
    cells = transitions(facts, row)
    values = {
        str(r["grade"]): float(r["value"]) for r in rows_of(facts.record, "grades") if r["measure"] == row["measure"]
    }
    lines: dict[int, tuple[str, str, str]] = {}
    for name, total in zip(names, shown, strict=True):
        mine = [i for i, cell in enumerate(cells) if _step(cell, values) == name]
        if mine and not total.isdecimal():
            lines[mine[0]] = ("any", name, total)
            continue
        for i, n in zip(mine, facts.small.texts([int(cells[i]["n"]) for i in mine]), strict=True):
            lines[i] = (fmt.clean(cells[i]["before"], 40), fmt.clean(cells[i]["after"], 40), n)
    return [lines[i] for i in sorted(lines)]


def _step(cell: Any, values: dict[str, float]) -> str:
    """Return whether a transition is one to a lower, the same or a higher grade."""
    grades = (str(cell["before"]), str(cell["after"]))
    before, after = (values[g] if all(k in values for k in grades) else grade_order(g)[0] for g in grades)
    if grades[0] == grades[1]:
        return "the same"
    return "lower" if after < before else "higher"


def grade_order(level: str) -> tuple[float, str]:
    """Return what grades without a known value are sorted by: their number, "1+" between "1" and "2"."""
    head = level.rstrip("+")
    number = float(head) if head.replace(".", "", 1).isdigit() else float("inf")
    return (number + 0.5 * (head != level), level)
