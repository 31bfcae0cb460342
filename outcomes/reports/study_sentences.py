"""Sentences about the study itself: design, people, training, missing values, harms."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from outcomes.reports import format as fmt
from outcomes.reports.facts import DESIGNS, SHORT_DESIGNS, Facts, rows_of
from outcomes.reports.wording import Sentence, not_reported, sentence_of

MODES = {"legs": "leg cycling", "arms": "arm cycling", "both": "arm and leg cycling"}
LIMBS = {
    "mean": "both limbs of a person averaged",
    "worse": "the worse limb of each person",
    "trained": "the trained limb of each person",
    "left": "the left limb of each person",
    "right": "the right limb of each person",
}
SPOKEN = {
    "active_minutes": ("active minutes", "active minutes", 0),
    "work_kj": ("work", "kJ of work", 0),
    "charge_c": ("stimulation charge", "C of stimulation charge", 1),
}
"""Dose to its name, to its words behind a number, and to the decimals of that."""


def programme(facts: Facts) -> str:
    """Return the training in a few words, such as "16 weeks of stimulation-assisted leg cycling"; empty if unknown."""
    training = facts.meta.get("training")
    if not training:
        return ""
    assisted = "stimulation-assisted " if training.get("current_ma") or training.get("channels") else ""
    return f"{fmt.counted(int(training['weeks']), 'week')} of {assisted}{MODES[training['mode']]}"


def background(facts: Facts) -> Iterator[Sentence]:
    """Yield the first line, which names the design, the author's rationale and question."""
    design = DESIGNS.get(facts.design, "Study whose design is not named") + allocation(facts)
    what = programme(facts)
    tail = f": {what}." if what else "."
    yield Sentence(
        "design", "background", design + tail, short=SHORT_DESIGNS.get(facts.design, design) + allocation(facts) + tail
    )
    if facts.design == "parallel groups" and not facts.meta.get("allocation"):
        yield not_reported("allocation", "background", "allocation under [study]", 1)
    if "rationale" in facts.statements:
        yield Sentence("rationale", "background", sentence_of(facts.statements["rationale"]), 6)
    if facts.meta.get("question"):
        yield Sentence("question", "objective", f"Question: {sentence_of(fmt.clean(facts.meta['question']))}", 3)
    else:
        yield not_reported("question", "objective", "question under [study]", 3)


def allocation(facts: Facts) -> str:
    """Return how people came into their groups, as the first line says it; empty for a design without groups."""
    word = facts.meta.get("allocation") if facts.design == "parallel groups" else None
    return f", {word}" if word else ""


def methods(facts: Facts) -> Iterator[Sentence]:
    """Yield who could take part, how people were trained and what was compared."""
    if "eligibility" in facts.statements:
        yield Sentence("eligibility", "methods", sentence_of(facts.statements["eligibility"]), 4)
    else:
        yield not_reported("eligibility", "methods", "eligibility under [statements]", 4)
    yield from _training(facts)
    row = facts.row
    if row is None:
        return
    before, after = (facts.visit_label(v) for v in facts.visits)
    _, full = facts.title_of(row)
    role = "Primary outcome" if row["role"] == "primary" else "Outcome"
    limbs = limb_words(row)
    text = f"{role}: {full}, {after} minus {before}."
    yield Sentence("outcome", "methods", text, short=f"{role}: {facts.title_of(row)[0]}, {after} minus {before}.")
    what = f"The person was the unit of analysis{f' ({limbs})' if limbs else ''}; intervals are {facts.ci}."
    yield Sentence("unit of analysis", "methods", what, 8)


def limb_words(row: Any) -> str:
    """Return how two limbs became one value for a person; empty for a measure without sides."""
    return LIMBS.get(str(row["place"]).rpartition(".")[2], "")


def _training(facts: Facts) -> Iterator[Sentence]:
    training = facts.meta.get("training")
    if not training:
        if facts.design != "test-retest":
            yield not_reported("training", "methods", "[training] in the protocol, and the table sessions")
        return
    often = training["sessions_per_week"]
    text = f"Planned: {fmt.number(often, _decimals(often))} sessions a week"
    minutes = [float(m) for m in training.get("active_minutes") or ()]
    if minutes:
        low, high = (fmt.number(m, _decimals(m)) for m in (min(minutes), max(minutes)))
        text += f" of {low if low == high else f'{low} to {high}'} active minutes"
    more = []
    if training.get("cadence_rpm"):
        more.append(fmt.quantity(training["cadence_rpm"], "{rev}/min", _decimals(training["cadence_rpm"])))
    if training.get("current_ma"):
        ends = [fmt.number(c, _decimals(c)) for c in training["current_ma"]]
        more.append(f"{' to '.join(ends)} mA")
    for key, unit in (("pulse_width_us", "us"), ("frequency_hz", "Hz")):
        if training.get(key):
            more.append(fmt.quantity(training[key], unit, _decimals(training[key])))
    yield Sentence("planned training", "methods", f"{text}.")
    if more:
        yield Sentence("training settings", "methods", f"Settings: {', '.join(more)}.", 9)


def _decimals(value: float) -> int:
    """Return the decimals that a number was typed with, at most two."""
    return next((d for d in (0, 1) if round(value, d) == value), 2)


def people(facts: Facts) -> Iterator[Sentence]:
    """Yield how many people there were at each stage and who they were."""
    enrolled = facts.value("flow", "enrolled")
    if enrolled is None:
        yield not_reported("people enrolled", "results", "the table participants")
        return
    left = facts.value("flow", "left")
    text = f"{fmt.counted(int(enrolled), 'person', 'people')} enrolled"
    short = text
    if left is not None:
        text += f", {fmt.number(left)} left before the end"
    yield from _analysed(facts, text, short)
    yield from _who(facts)


def _analysed(facts: Facts, text: str, short: str) -> Iterator[Sentence]:
    """Yield the flow up to the analysis, group by group where only groups were analysed."""
    row = facts.row
    if row is None:
        yield Sentence("people", "results", f"{text}.", short=f"{short}.")
        return
    parts, missing = [], []
    for one in facts.rows:
        name = "" if one["group"] == "all" else f" in {facts.group_label(one['group'])}"
        analysed = facts.value("flow", "analysed", one)
        parts.append(f"{fmt.number(one['n'] if analysed is None else analysed)}{name}")
        lost = [facts.value("flow", key, one) for key in ("missing_before", "missing_after")]
        if None not in lost:
            at = [f"{fmt.number(n or 0)} at {facts.visit_label(v)}" for n, v in zip(lost, facts.visits, strict=True)]
            missing.append(f"{', '.join(at)}{name}" if any(lost) else "")
    limbs = limb_words(row)
    tail = f" ({limbs})" if limbs else ""
    together = f"{parts[0]} analysed" if len(parts) == 1 else f"analysed: {', '.join(parts)}"
    yield Sentence(
        "people", "results", f"{text}; {together}{tail}.", short=f"{short}, {together}{tail}.",
        brief=f"{short}, {together}.",
    )  # fmt: skip
    if any(missing):
        found = "; ".join(m for m in missing if m)
        yield Sentence("missing values", "results", f"Missing and not filled in: {found}.", brief=f"Missing: {found}.")
    elif missing:
        yield Sentence("missing values", "results", "No value was missing.")
    else:
        yield not_reported("missing values", "results", "the tables participants and assessments")


def _who(facts: Facts) -> Iterator[Sentence]:
    """Yield age, sex, condition and time since onset of the people enrolled."""
    rows = rows_of(facts.record, "participants")
    by_name = {r["characteristic"]: r for r in rows if r["level"] == ""}
    words: list[str] = []
    age = by_name.get("age_years")
    if age is not None and not facts.small.hides(age["n_known"]):
        words.append(f"age {fmt.with_spread(age['mean'], age['sd'], 'a', 0)}")
    sex = [r for r in rows if r["characteristic"] == "sex"]
    if sex:
        women = _of_all(facts, sex, next((r for r in sex if r["level"] == "female"), None))
        words.append(f"{women} women" if women else "number of women not shown")
    conditions = [r for r in rows if r["characteristic"] == "condition"]
    if conditions:
        most = max(conditions, key=lambda r: r["n"])
        name, n = fmt.clean(most["level"], 60).replace("_", " "), _of_all(facts, conditions, most)
        words.append(f"{n} with {name}" if n else f"most often {name} (number not shown)")
    onset = by_name.get("months_since_onset")
    longer = list(words)
    if onset is not None and not facts.small.hides(onset["n_known"]):
        middle, low, high = (fmt.number(onset[k], 0) for k in ("median", "low", "high"))
        longer.append(f"median {middle} (IQR {low} to {high}) months since onset")
    if not words:
        yield not_reported("who they were", "results", "age, sex and condition in the table participants")
        return
    texts = [f"{'; '.join(some)}." for some in (longer, words)]
    yield Sentence("who they were", "results", _capital(texts[0]), short=_capital(texts[1]))


def _of_all(facts: Facts, levels: list[dict[str, Any]], row: dict[str, Any] | None) -> str:
    """Return how many people are at one level, by the same rule as the table of all levels; empty if withheld."""
    known = levels[0]["n_known"]
    if row is None:
        return fmt.share(0, known)
    counts = [int(r["n"]) for r in levels]
    text = facts.small.texts(counts)[levels.index(row)]
    if text.isdecimal():
        return fmt.share(row["n"], known)
    two = sum(n > 0 for n in counts) == 2
    return facts.small.share(row["n"], known) if two or facts.small.hides(row["n"]) else ""


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


def dose(facts: Facts) -> Iterator[Sentence]:
    """Yield the training that was delivered up to the later visit, against the training that was planned."""
    _, after = facts.visits
    if not after or not (facts.meta.get("training") or facts.exposures):
        return
    found = [
        words for words in (_sessions(facts, after), *(_amount(facts, after, e) for e in facts.exposures)) if words
    ]
    if not found:
        entry = facts.record.get("dose/-/-/all/-/active_minutes/delivered_sum")
        why = f"{entry.reason}; " if entry is not None and entry.reason else ""
        yield not_reported("delivered training", "results", f"{why}the table sessions")
        return
    entry = facts.record.get(f"dose/-/-/all/{after}/sessions/delivered_sum")
    people = "" if entry is None else f" by the {fmt.counted(entry.n_people, 'person', 'people')} seen then"
    text = f"Delivered up to {facts.visit_label(after)}{people}: {'; '.join(found)}."
    brief = "" if entry is None else f" ({fmt.counted(entry.n_people, 'person', 'people')})"
    yield Sentence(
        "delivered training", "results", text, short=f"Delivered{brief}: {'; '.join(found[:2])}.",
        brief=f"Delivered{brief}: {found[0]}.",
    )  # fmt: skip


def _sessions(facts: Facts, visit: str) -> str:
    get: dict[str, Any] = {"contrast": visit, "exposure": "sessions"}
    delivered, planned = (facts.value("dose", f"{s}_sum", **get) for s in ("delivered", "planned"))
    if delivered is None:
        return ""
    if planned is None or planned <= 0:
        return f"{fmt.counted(int(delivered), 'session')} (number not planned)"
    ratio = facts.value("dose", "ratio_of_sums", **get)
    return f"{fmt.share(int(delivered), int(planned), fraction=ratio)} planned sessions"


def _amount(facts: Facts, visit: str, exposure: str) -> str:
    name, words, places = SPOKEN[exposure]
    get: dict[str, Any] = {"contrast": visit, "exposure": exposure}
    entry = facts.entry("dose", "delivered_mean", **get)
    if entry is None or not isinstance(entry.value, int | float):
        return ""
    if facts.small.hides(entry.n_people):
        return f"{name} not shown ({facts.small.words} people)"
    spread = facts.value("dose", "delivered_sd", **get)
    planned = facts.value("dose", "planned_mean", **get)
    least = "at least " if "dose_lower_bound" in entry.caveats else ""
    text = f"{least}{fmt.with_spread(entry.value, spread, '1', places)} {words} a person"
    return f"{text} ({'none planned' if planned is None else f'planned {fmt.number(planned)}'})"


def harms(facts: Facts) -> Iterator[Sentence]:
    """Yield what is known of harms."""
    events, people_hurt = facts.value("harms", "events"), facts.value("harms", "people_with_events")
    collection = facts.meta.get("harms_collection")
    if collection == "not collected":
        yield Sentence("harms", "results", "Adverse events were not collected.", answer="collection under [harms]")
    elif events is None or people_hurt is None:
        yield not_reported("adverse events", "results", "collection under [harms], and the table events")
    elif events == 0:
        yield Sentence("harms", "results", "Adverse events were asked about; none was reported.")
    else:
        who = facts.small.people(int(people_hurt))
        yield Sentence("harms", "results", f"Adverse events: {fmt.number(events)} in {who}.")


def changed_meanwhile(facts: Facts) -> Iterator[Sentence]:
    """Yield how many people had another change, such as of medicine, between the compared visits."""
    rows = [r for r in rows_of(facts.record, "changes_between") if r["people"]]
    if rows:
        kinds = [fmt.clean(r["kind"], 40).replace("_", " ") for r in rows]
        found = [f"{kind} in {facts.small.people(int(r['people']))}" for kind, r in zip(kinds, rows, strict=True)]
        yield Sentence("other changes", "results", f"Changed meanwhile: {', '.join(found)}.", 5)


def ledger(facts: Facts, *, plain: bool = False) -> str:
    """Return what became of every row and cell that was read, both balances in full; empty where neither is known.

    Parameters
    ----------
    facts : Facts
    plain : bool
        In words for readers outside the field.
    """
    names = (
        *("rows_read", "rows_used", "rows_duplicate", "rows_set_aside", "cells_read", "cells_as_typed"),
        *("cells_normalised", "cells_emptied", "cells_in_duplicates", "cells_in_set_aside", "queries"),
    )
    found = [facts.value("data", name) for name in names]
    if None in found:
        return ""
    rows, used, again, aside, cells, typed, respelled, emptied, in_again, in_aside, asked = (
        fmt.number(n) for n in found if n is not None
    )
    if plain:
        return (
            f"The data: {rows} rows were read. Of these {used} were used, {again} repeat another and {aside} were left "
            f"out. They hold {cells} cells: {typed} as typed, {respelled} spelled anew, {emptied} left out, "
            f"{in_again} in rows that repeat another and {in_aside} in rows left out. The software asked about {asked}."
        )
    return (
        f"Rows read {rows} = used {used} + repeated {again} + set aside {aside}; cells read {cells} = as typed {typed} "
        f"+ respelled {respelled} + set aside {emptied} + in repeated rows {in_again} + in rows set aside {in_aside}; "
        f"queries {asked}."
    )
