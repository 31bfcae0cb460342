"""Sentences for a board that pays: short, plain, and no more than the design can carry."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from outcomes.reports import format as fmt
from outcomes.reports.change_sentences import class_numbers, direction, verdict
from outcomes.reports.facts import Facts, rows_of
from outcomes.reports.group_sentences import plain_difference
from outcomes.reports.study_sentences import MODES
from outcomes.reports.withholding import Shown, groups_of, lump
from outcomes.reports.wording import sentence_of

Words = tuple[str, str, str]

PLAIN_HARMS = {
    "haematoma": "a bruise",
    "hypotension": "low blood pressure",
    "skin": "sore skin",
    "skin_irritation": "sore skin",
    "fall": "a fall",
    "fracture": "a broken bone",
    "autonomic_dysreflexia": "a sudden rise in blood pressure",
}
"""What readers outside the clinic call an unwanted event; others are printed as they were typed."""


def not_answered(what: str, answer: str) -> str:
    """Return the sentence for what the record does not hold, and what would answer it."""
    return f"{what}: not reported ({answer})."


def training_words(facts: Facts) -> str:
    """Return the training in plain words; empty if unknown."""
    training = facts.meta.get("training")
    if not training:
        return ""
    return f"{fmt.counted(int(training['weeks']), 'week')} of {MODES[training['mode']]}"


# ------------------------------------------------------------------------------------------------- counts of people


def enrolled(facts: Facts) -> int:
    """Return how many people were enrolled."""
    return int(facts.value("flow", "enrolled") or 0)


def classes(facts: Facts, row: Any) -> tuple[Words, list[int] | None]:
    """Return the three classes of change in plain words, good direction first, and how many people are in each."""
    names, counts = class_numbers(facts, row)
    words = (str(row["words_better"]), "about the same", str(row["words_other"]))
    if row["level"] == "ordinal" and row["better"] not in ("lower", "higher") and names:
        words = (names[0], "about the same", names[2])
    return words, counts or None


def counted_from(facts: Facts, row: Any) -> str:
    """Return the smallest change that is counted as one: any step of a grade, else the usual error of the test."""
    if row["level"] == "ordinal":
        return "any step"
    if row["mdc"] is None:
        return "not known"
    return f"{fmt.quantity(row['mdc'], row['unit'], facts.decimals(row))} or more"


def shown_rows(facts: Facts) -> list[tuple[dict[str, Any], Words, Shown | None]]:
    """Return the rows of the report's outcome with the counts that may be printed; None where nobody was counted."""
    everybody = [r for r in facts.rows if r["group"] == "all"] or facts.rows
    found = [(row, *classes(facts, row)) for row in everybody]
    counted = [counts for _, _, counts in found if counts is not None]
    shown = iter(groups_of(facts.small, enrolled(facts), counted) if counted else [])
    return [(row, words, None if counts is None else next(shown)) for row, words, counts in found]


# ------------------------------------------------------------------------------------------------------- the answer


def lead(facts: Facts) -> list[str]:
    """Return the answer in three sentences: what was seen, in whom, how sure."""
    rows = shown_rows(facts)
    if not rows:
        if facts.design == "test-retest":
            return ["This study looked at how well a test agrees with itself. It does not tell whether people changed."]
        answer = 'compare under [analysis] and role = "primary"'
        return [not_answered("The main result", answer)]
    texts = []
    for row, words, shown in rows:
        texts += [_average(facts, row), *_people(facts, row, words, shown)]
    return [*texts, _sure(facts)]


def _who(facts: Facts, row: Any) -> str:
    return "" if row["group"] == "all" else f"{facts.group_label(row['group'])}: "


def _average(facts: Facts, row: Any) -> str:
    name, who = facts.plain_name(row), _who(facts, row)
    before, after = (facts.visit_label(v) for v in facts.visits)
    found = verdict(row, facts.level)
    if facts.small.hides(row["n"]) or row["n"] == 0:
        few = f"{facts.small.words} people" if row["n"] else "no one"
        said = f"{who}The main result, {name}, is not shown. It was measured both times in {few}."
        return f"{said} What may be shown are totals: {totals(facts, row)}"
    if found == "not estimable":
        return f"{who}We could not work out a change in {name} ({fmt.clean(row['reason'] or 'no values')})."
    if row["level"] == "ordinal":
        return f"{who}We looked at {name} at {before} and again at {after}."
    if found == "could not tell" and facts.design != "parallel groups":
        return (
            f"{who}We could not tell whether {name} changed on average from {before} to {after}. {_range(facts, row)}"
        )
    size = fmt.quantity(abs(row["change"]), row["unit"], facts.decimals(row))
    word = direction(row, row["change"] > 0)
    return f"{who}On average, {name} was {size} {word} at {after} than at {before}. {_range(facts, row)}"


def _range(facts: Facts, row: Any) -> str:
    low, high = row["change_low"], row["change_high"]
    if low is None or high is None:
        return ""
    places = facts.decimals(row)
    ends = f"{fmt.number(low, places)} and {fmt.quantity(high, row['unit'], places)}"
    return f"The true average is likely to lie between {ends}."


def _people(facts: Facts, row: Any, words: Words, shown: Shown | None) -> Iterator[str]:
    """Yield how many people changed by more than the usual error of the test."""
    if facts.small.hides(row["n"]) or row["n"] == 0:
        return
    if shown is None:
        yield "We cannot say for how many people, because the error of this test is not known here."
        return
    if not shown.cells or len(shown.cells) == 1:
        yield f"How many of them changed is not shown, because some counts are {facts.small.words} people."
        yield f"What may be shown are totals: {totals(facts, row)}"
        return
    of = "" if shown.n is None else f" of {fmt.number(shown.n)}"
    ordinal = row["level"] == "ordinal"
    tail = "" if ordinal else ", by more than the usual error of the test"
    (members, first), *others = shown.cells
    yield f"In {fmt.number(first)}{of} people it was {cell_words(words, members)}{tail if members == (0,) else ''}."
    for members, n in others:
        yield f"In {fmt.number(n)} it was {cell_words(words, members)}."


def totals(facts: Facts, row: Any) -> str:
    """Return the totals that remain where the counts of a change are withheld."""
    small, n, parts = facts.small, enrolled(facts), []
    if n and not small.hides(n):
        parts.append(f"{fmt.number(n)} people took part")
        if row["n"] and not small.hides(row["n"]) and not small.hides(n - row["n"]):
            parts.append(f"{fmt.number(row['n'])} were measured both times")
    for exposure, word in (("sessions", "sessions"), ("hours", "hours")):
        done = facts.value("delivery", "delivered_sum", exposure=exposure)
        if done is not None:
            parts.append(f"{fmt.number(done)} {word} were delivered")
    return f"{'; '.join(parts)}." if parts else "none is known."


def cell_words(words: Sequence[str], members: Sequence[int]) -> str:
    """Return what the people of one printed count have in common, such as "about the same or smaller"."""
    names = [*words, "not measured twice"]
    return " or ".join(names[i] for i in members)


def _sure(facts: Facts) -> str:
    if facts.design == "parallel groups":
        return plain_difference(facts)
    return "There was no group without the training, so we cannot say why people changed or did not."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


# ----------------------------------------------------------------------------------------------------- who and what


def reach(facts: Facts) -> Iterator[str]:
    """Yield who took part."""
    n, small = enrolled(facts), facts.small
    if not n:
        yield not_answered("Who took part", "the table participants")
        return
    what = training_words(facts)
    yield f"{_capital(small.people(n))} took part{f' in {what}' if what else ''}."
    if small.hides(n):
        yield "With so few people, nothing more is said about who they were."
        return
    rows = rows_of(facts.record, "participants")
    age = next((r for r in rows if r["characteristic"] == "age_years" and not r["level"]), None)
    if age is not None and not small.hides(age["n_known"]):
        yield f"They were {fmt.number(age['mean'])} years old on average."
    yield from _levels(facts, rows, "sex", {"female": "women", "male": "men"})
    yield from _levels(facts, rows, "condition", {})


def _levels(facts: Facts, rows: list[dict[str, Any]], name: str, plain: dict[str, str]) -> Iterator[str]:
    """Yield how many people were at each level of a characteristic, small counts together."""
    levels = [r for r in rows if r["characteristic"] == name and r["level"]]
    if not levels:
        return
    words = [plain.get(r["level"], fmt.clean(r["level"], 40).replace("_", " ")) for r in levels]
    counts = [int(r["n"]) for r in levels]
    unknown = enrolled(facts) - sum(counts)
    if unknown:
        words, counts = [*words, "not known"], [*counts, unknown]
    title = {"sex": "Women and men", "condition": "What they lived with"}[name]
    yield f"{title}: {_lumped(facts, words, counts)}."


def _lumped(facts: Facts, words: Sequence[str], counts: Sequence[int]) -> str:
    """Return counts with their names; small ones are counted together."""
    cells = lump(facts.small, counts)
    parts = [f"{' or '.join(words[i] for i in members)} ({fmt.number(n)})" for members, n in cells]
    if len(cells) == 1 and len(cells[0][0]) > 1:
        return f"{', '.join(words)} (numbers not shown)"
    return ", ".join(parts)


def stay(facts: Facts) -> Iterator[str]:
    """Yield how many people stayed and why others left."""
    n, small = enrolled(facts), facts.small
    left, stayed = facts.value("flow", "left"), facts.value("flow", "stayed")
    if left is None or stayed is None:
        yield not_answered("Who stayed", "left_on and left_reason in the table participants")
        return
    if small.hides(n):
        yield f"Not shown, as {small.words} people took part."
        return
    if not left:
        yield f"All {fmt.number(n)} people stayed to the end."
        return
    few = small.hides(int(left)) or small.hides(int(stayed))
    if not few:
        yield f"{fmt.number(stayed)} people stayed to the end and {fmt.number(left)} left before."
    elif stayed > left:
        yield f"Most people stayed to the end. {_capital(small.people(int(left)))} left before."
    else:
        yield f"Most people left before the end. {_capital(small.people(int(stayed)))} stayed."
    rows = rows_of(facts.record, "left")
    if rows:
        names = [fmt.clean(r["reason"], 60) for r in rows]
        known = _lumped(facts, names, [int(r["n"]) for r in rows])
        yield f"Why they left: {', '.join(sorted(names)) + ' (numbers not shown)' if few else known}."


def harms(facts: Facts) -> Iterator[str]:
    """Yield what is known of harm."""
    events, people = facts.value("harms", "events"), facts.value("harms", "people_with_events")
    collection = facts.meta.get("harms_collection")
    if collection == "not collected":
        yield "No one kept a record of harm. So we cannot say whether anyone was hurt (collection under [harms])."
    elif events is None or people is None:
        yield not_answered("Harm", "collection under [harms], and the table events")
    elif not events:
        yield "We asked about harm. None was reported."
    else:
        small = facts.small
        many = small.count(int(events))  # so few events would tell how few people had them
        yield f"Unwanted events: {many}. They were seen in {small.people(int(people))}."
        rows = rows_of(facts.record, "harms")
        kinds = sorted({PLAIN_HARMS.get(str(r["kind"]), fmt.clean(r["kind"], 40).replace("_", " ")) for r in rows})
        yield f"Kinds: {', '.join(kinds)}."
        worst = [w for w in ("severe", "moderate", "mild") if any(str(r["severity"]) == w for r in rows)]
        if worst:
            yield f"The most serious was {worst[0]}."


def delivered(facts: Facts, exposure: str, words: str) -> str:
    """Return what was delivered against the plan, such as "1776 of 2315 planned sessions"; empty if unknown."""
    done, plan = (facts.value("delivery", f"{kind}_sum", exposure=exposure) for kind in ("delivered", "planned"))
    if done is None:
        return ""
    if not plan:
        return f"{fmt.number(done)} {words}, none planned"
    return f"{fmt.number(done)} of {fmt.number(plan)} planned {words}"


def share_of_plan(facts: Facts, exposure: str) -> str:
    """Return the share of the plan that was delivered, as a percentage; empty where the plan is too small for one."""
    share, plan = (facts.value("delivery", s, exposure=exposure) for s in ("share", "planned_sum"))
    if share is None or plan is None or plan < fmt.PERCENT_FROM:
        return ""
    return f"{fmt.number(100 * share)}%"


def costs(facts: Facts) -> Iterator[str]:
    """Yield the costs that the protocol names, with the sums worked out in full."""
    plan = ((facts.meta.get("report") or {}).get("funder") or {}).get("costs") or []
    if not plan:
        yield "No cost is given, because the protocol names none ([[report.funder.costs]])."
        return
    currencies = list(dict.fromkeys(cost["currency"] for cost in plan))
    amounts = [f"{fmt.clean(c['label'], 60)}: {money(c['amount'])} {c['currency']}" for c in plan]
    whose = "Costs, invented like the data" if facts.synthetic else "Costs named by the clinic"
    yield f"{whose}: {'; '.join(amounts)}."
    if len(currencies) > 1:
        yield "They are in different currencies, so no sum is made."
        return
    total = facts.value("cost", "total")
    if total is None:
        return
    if len(plan) > 1:
        terms = " + ".join(money(c["amount"]) for c in plan)
        yield f"In all: {terms} = {money(total)} {currencies[0]}."
    for exposure, word, many in (("sessions", "session", "sessions"), ("hours", "hour of active training", "hours")):
        per, done = facts.value("cost", "per_unit", exposure=exposure), facts.value(
            "delivery", "delivered_sum", exposure=exposure
        )  # fmt: skip
        if per is not None and done is not None:
            yield f"For each {word}: {money(total)} / {fmt.number(done)} {many} = {money(per)} {currencies[0]}."


def money(amount: float) -> str:
    """Return an amount of money: whole if it is, else with two decimals.

    Examples
    --------
    >>> money(12000.0), money(35.504)
    ('12,000', '35.50')
    """
    return fmt.number(amount, 0 if float(amount).is_integer() else 2)


def cannot_tell(facts: Facts) -> Iterator[str]:
    """Yield what these pages cannot say."""
    if facts.design in ("single arm", "single case"):
        yield "There was no group without the training. Time, other care or chance may explain a change."
    elif facts.design == "parallel groups":
        yield "A change in one group does not show that it did better. Only the difference between the groups can."
        if facts.meta.get("allocation") != "randomised":
            yield "Chance did not decide who was in which group, so they may differ in other ways too."
    row = facts.row
    if row is not None:
        lost = facts.value("flow", "missing_after", row) or 0
        if lost:
            yield "Some people were not measured the second time. They may have done better or worse than the others."
        if row["mdc"] is not None:
            yield "The usual error of the test is the smallest change of one person that the test can tell from chance."
    if "limitations" in facts.statements:
        yield sentence_of(facts.statements["limitations"])


def next_step(facts: Facts) -> str:
    """Return the author's next step."""
    if "next_step" in facts.statements:
        return sentence_of(facts.statements["next_step"])
    return not_answered("Next step", "next_step under [statements]")
