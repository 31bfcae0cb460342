"""The tables of a test-retest study: reliability, agreement, grades, the running tally, published errors, GRRAS."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from outcomes.reports import format as fmt
from outcomes.reports.facts import Facts, rows_of, source_of
from outcomes.reports.reliability_sentences import name_of, series
from outcomes.reports.small_numbers import NOT_SHOWN
from outcomes.reports.tables import Table
from outcomes.result import Entry

ABSENT = "not asked for"
RETEST = "test-retest"


def find(facts: Facts, row: Any, statistic: str) -> Entry | None:
    """Return an entry of the repeat tests of one series."""
    return facts.entry("reliability", statistic, measure=f"{row['measure']}.{row['scale']}", place=str(row["place"]))


def told(facts: Facts) -> bool:
    """Return whether the report tells of repeat tests: a test-retest study, or a plan that names what to compute."""
    return facts.design == RETEST or bool(facts.meta.get("agreement"))


def of_plan(facts: Facts) -> Iterator[tuple[Any, bool]]:
    """Yield every series whose repeat tests are told of and whether it only ranks; of another design than test-retest
    those of which something could be estimated."""
    if not told(facts):
        return
    there = [key.split("/") for key, entry in facts.record.entries.items() if entry.status == "estimated"]
    prefix = {"/".join(part[:3]) for part in there if part[4] == "-"}
    for row in series(facts):
        mine = f"reliability/{row['measure']}.{row['scale']}/{row['place']}"
        if facts.design == RETEST or mine in prefix:
            yield row, row["level"] == "ordinal"


def cell(facts: Facts, entry: Entry | None, *, unit: str | None = None, places: int | None = None) -> str:
    """Return value and interval of an entry, or why there is none."""
    if entry is None:
        return ABSENT
    if entry.status != "estimated" or not isinstance(entry.value, int | float):
        return f"not estimable: {fmt.clean(entry.reason or 'no reason given')}"
    if facts.small.hides(entry.n_people):
        return NOT_SHOWN
    used = entry.unit if unit is None else unit
    if entry.interval is None:
        return fmt.quantity(entry.value, used, 2 if places is None else places)
    return fmt.with_interval(entry.value, entry.interval.low, entry.interval.high, used, places)


def people_cell(facts: Facts, entry: Entry | None) -> str:
    """Return the number of people behind an entry."""
    return "none" if entry is None or not entry.n_people else facts.small.count(entry.n_people)


HELD_OF_ERROR = {
    "ICC(A,1)": "F, ICC(A,1)",
    "ICC(C,1)": "F, ICC(C,1)",
    "standard error and MDC": "chi-square, standard error of agreement and MDC",
}
HELD_OF_LIMITS = {"a limit": "exact, limit of agreement", "concordance": "Fisher z with t, concordance"}


def _held(facts: Facts, intervals: dict[str, str]) -> str:
    """Return how often intervals (what they are of, to their names in the table of coverage) held the truth in
    simulated studies of about as many people; empty but at 95 %."""
    from outcomes.coverage import SHAPES, simulated_coverage

    sizes = [entry.n_people for row, _ in of_plan(facts) if (entry := find(facts, row, "mdc95")) and entry.n_people]
    if abs(facts.level - 0.95) > 1e-9 or not sizes or facts.small.hides(min(sizes)):
        return ""
    found = {what: simulated_coverage(name, min(sizes)) for what, name in intervals.items()}
    said = [
        f"{what} in "
        + ", ".join(f"{fmt.number(100 * one.share)}% ({SHAPES.get(one.shape, one.shape)})" for one in rows)
        for what, rows in found.items()
    ]
    people = next(iter(found.values()))[0].n
    return f" In simulated studies of {people} people the 95% interval held the truth: {'; '.join(said)}."


def reliability(facts: Facts) -> Table:
    """Return correlations, standard error and detectable change of every measure that is no grade."""
    rows = []
    for row, ordinal in of_plan(facts):
        if ordinal:
            continue
        mdc = find(facts, row, "mdc95")
        rows.append(
            (
                name_of(row),
                people_cell(facts, mdc),
                cell(facts, find(facts, row, "icc_a_1")),
                cell(facts, find(facts, row, "icc_c_1")),
                cell(facts, find(facts, row, "standard_error_agreement")),
                cell(facts, mdc),
                cell(facts, find(facts, row, "mdc95_percent")),
            )
        )
    note = (
        "ICC(A,1), Shrout-Fleiss ICC(2,1): agreement of one measurement; ICC(C,1), Shrout-Fleiss ICC(3,1): "
        "consistency. "
        "MDC: minimal detectable change (95%) of one person. Read the interval, not the value alone. The values hold "
        "for "
        "the place, the sides and the number of readings that are named, and for these people and raters."
        f"{_held(facts, HELD_OF_ERROR)}"
    )
    columns = ("Measure", "n", f"ICC(A,1) ({facts.ci})", f"ICC(C,1) ({facts.ci})", f"Standard error ({facts.ci})",
               f"MDC ({facts.ci})", f"MDC in percent of the mean ({facts.ci})")  # fmt: skip
    return Table.build("Reliability and measurement error", columns, rows, note=note)


FORMS = {"": "", "_ratio": "; ratio", "_replicates": "; single readings", "_pairs": "; occasions two by two"}
"""End of the statistic to what the row of a table says of the form of its limits."""


def forms_of(facts: Facts, row: Any) -> Iterator[str]:
    """Yield the forms of limits of agreement that the record holds for one series; the plain one where it has none."""
    found = [end for end in FORMS if find(facts, row, f"limit_lower{end}") is not None]
    yield from found or [""]


def agreement(facts: Facts) -> Table:
    """Return bias and limits of agreement of every measure that is no grade, a row for each form that was asked for."""
    rows = []
    for row, ordinal in of_plan(facts):
        if ordinal:
            continue
        for k, end in enumerate(forms_of(facts, row)):
            lower = find(facts, row, f"limit_lower{end}")
            names = (f"{name}{end}" for name in ("agreement_bias", "limit_lower", "limit_upper"))
            cells = tuple(cell(facts, find(facts, row, name)) for name in names)
            if lower is not None and lower.status != "estimated":
                cells = ("not estimable", cells[1], "not estimable")
            concordance = "as above" if k else cell(facts, find(facts, row, "concordance"))
            rows.append((name_of(row) + FORMS[end], people_cell(facts, lower), *cells, concordance))
    note = (
        "Second minus first measurement; a ratio, single readings or several pairs of occasions where the row says so. "
        "About 95% of the differences of two measurements of one person lie between the limits; the intervals say how "
        "well the limits themselves are known (noncentral t; for readings and pairs by recovered variances)."
        f"{_held(facts, HELD_OF_LIMITS)}"
    )
    columns = ("Measure", "n", f"Bias ({facts.ci})", f"Lower limit ({facts.ci})", f"Upper limit ({facts.ci})",
               f"Concordance ({facts.ci})")  # fmt: skip
    return Table.build("Agreement of two measurements", columns, rows, note=note)


def grades(facts: Facts) -> Table:
    """Return kappa and alpha of every measure that only ranks."""
    rows = []
    for row, ordinal in of_plan(facts):
        if not ordinal:
            continue
        names = ("kappa", "kappa_linear", "kappa_quadratic", "ac2_quadratic", "alpha_ordinal")
        found = [find(facts, row, name) for name in names]
        first = next((entry for entry in found if entry is not None), None)
        cells = [cell(facts, entry, places=2) for entry in found]
        if found[2] is not None and found[2].status != "estimated":
            cells[:2] = ["not estimable"] * 2
        rows.append((name_of(row), people_cell(facts, first), *cells))
    note = (
        "Over the whole declared scale, grades that nobody had included. Plain kappa counts every difference alike, "
        "weighted ones by its size. A grade has no minimal detectable change. Below 30 people the intervals of kappa "
        "are rough."
    )
    columns = ("Measure", "n", f"Kappa ({facts.ci})", f"Linear weights ({facts.ci})", f"Quadratic weights ({facts.ci})",
               f"AC2, quadratic ({facts.ci})", f"Ordinal alpha ({facts.ci})")  # fmt: skip
    return Table.build("Agreement of grades", columns, rows, note=note)


SHOWN = (
    *("icc_a_1", "icc_c_1", "standard_error_agreement", "mdc95", "mdc95_percent", "mdc95_published", "concordance"),
    *(f"{name}{end}" for end in FORMS for name in ("agreement_bias", "limit_lower", "limit_upper")),
    *("kappa", "kappa_linear", "kappa_quadratic", "ac2_quadratic", "alpha_ordinal"),
)
"""Statistics that the other tables show."""
VERDICTS = {
    "within": "within it, with their whole intervals",
    "undecided": "undecided: an interval passes it",
    "beyond": "beyond it",
}
"""What the limits of agreement are against the difference that was fixed beforehand."""


def besides(facts: Facts) -> Table:
    """Return every other statistic of the repeat tests and items that the plan asked for."""
    found: dict[str, list[tuple[str, str, str]]] = {}
    for key, entry in facts.record.entries.items():
        analysis, measure, place, *_, statistic = key.split("/")
        if analysis == "reliability" and statistic not in SHOWN and told(facts):
            line = (fmt.clean(entry.label, 200), people_cell(facts, entry), _besides_cell(facts, entry, statistic))
            found.setdefault(f"{measure}/{place}", []).append(line)
    rows = [line for lines in found.values() for line in _unless_hidden(lines)]
    note = "Each with the interval of its own method; the notes name method and source of every number."
    columns = ("Statistic", "n", f"Value ({facts.ci})")
    return Table.build("Repeat tests and items: what was asked besides", columns, rows, left=(0,), note=note)


def _unless_hidden(lines: list[tuple[str, str, str]]) -> list[tuple[str, str, str]]:
    """Return the lines of one measure; a single one where no number of any of them may be shown."""
    hidden = {(n, value) for _, n, value in lines if value in (n, NOT_SHOWN)}
    if len(lines) < 2 or len(hidden) < len({line[1:] for line in lines}):
        return lines
    measure, (_, n, _) = lines[0][0].rpartition(": ")[0], lines[0]
    return [(f"{measure}: all {len(lines)} statistics", n, NOT_SHOWN)]


def _besides_cell(facts: Facts, entry: Entry, statistic: str) -> str:
    """Return the value of one entry; a verdict in words, a share or count of few people not at all."""
    if isinstance(entry.value, str):
        return NOT_SHOWN if facts.small.hides(entry.n_people) else VERDICTS[entry.value]
    if statistic in ("people_incomplete", "items_incomplete"):
        return facts.small.count(int(entry.value or 0))
    if statistic == "acceptable_share" and isinstance(entry.value, float):
        n = round(entry.value * entry.n_people)
        if facts.small.hides(n) or facts.small.hides(entry.n_people - n):
            return NOT_SHOWN
    return cell(facts, entry)


def retests(facts: Facts) -> Table:
    """Return how far the retest study has come for every measure."""
    rows = []
    for row in rows_of(facts.record, "retest_tally") if told(facts) else []:
        known = "not known yet"
        if row["low_ratio"] is not None and row["high_ratio"] is not None:
            low, high = (fmt.number(100 * (row[key] - 1)) for key in ("low_ratio", "high_ratio"))
            known = f"{low}% to +{high}%"
        rows.append(
            (
                fmt.clean(row["label"], 160),
                facts.small.count(int(row["n_done"])),
                facts.small.count(int(row["n_incomplete"])) if row["n_incomplete"] else "0",
                known,
                fmt.number(row["n_needed"]),
                fmt.number(row["n_missing"]),
            )
        )
    margins = {row["margin"] for row in rows_of(facts.record, "retest_tally")}
    words = ", ".join(f"{fmt.number(100 * margin)}%" for margin in sorted(margins)) or "its margin"
    note = (
        f"Needed: people measured on every occasion so that the detectable change is known to within {words} "
        f"(chi-square "
        "interval). Incomplete: people who lack an occasion."
    )
    columns = ("Measure", "Measured", "Incomplete", "Known to within", "Needed", "To go")
    return Table.build("How well the error is known by now", columns, rows, note=note)


def published(facts: Facts) -> Table:
    """Return own and published detectable changes side by side, with what they hold for."""
    rows = []
    for row in rows_of(facts.record, "published_errors") if told(facts) else []:
        entry = facts.record.get(str(row["key"]))
        hidden = entry is None or facts.small.hides(entry.n_people)
        rows.append(
            (
                fmt.clean(row["label"], 160),
                NOT_SHOWN if hidden else fmt.quantity(row["own"], row["unit"], 2),
                fmt.quantity(row["published"], row["unit"], 2),
                NOT_SHOWN if hidden else fmt.clean(row["verdict"], 300),
                fmt.clean(row["population"], 200),
                fmt.clean(row["people"], 120),
                source_of(row, 200),
            )
        )
    columns = ("Measure", "Own MDC", "Published MDC", "Compared", "Found in", "People", "Source")
    note = "Compare the people: a published error is of other people and raters."
    return Table.build("Own and published error", columns, rows, left=(3, 4, 5, 6), note=note)


def _statement(*keys: str) -> Callable[[Facts], str]:
    def answer(facts: Facts) -> str:
        return " ".join(facts.statements[key] for key in keys if key in facts.statements)

    answer.__doc__ = f"Return the author's statements {', '.join(keys)}."
    return answer


def _numbers(facts: Facts) -> str:
    rows = rows_of(facts.record, "retest_tally")
    parts = [
        f"{fmt.clean(r['label'], 120)}: {facts.small.count(int(r['n_done']))} people on {fmt.number(r['occasions'])} "
        f"occasions"
        for r in rows
    ]
    return "; ".join(parts)


def _measures(facts: Facts) -> str:
    return "; ".join(f"{name_of(row)}: {source_of(row, 120)}" for row, _ in of_plan(facts))


def _known(facts: Facts) -> str:
    n = len(rows_of(facts.record, "published_errors"))
    told = facts.statements.get("rationale", "")
    table = f"{fmt.counted(n, 'published detectable change')} in the table of own and published error." if n else ""
    return f"{told} {table}".strip()


GRRAS: tuple[tuple[str, str, Callable[[Facts], str], str], ...] = (
    ("1", "reliability or agreement named in the title or abstract", lambda f: "Test-retest study, first line.", ""),
    ("2", "the measures", _measures, "[[measures]]"),
    ("3", "the people", _statement("eligibility"), "statements.eligibility"),
    ("4", "the raters", _statement("raters"), "statements.raters"),
    ("5", "what is known, and why this study", _known, "statements.rationale"),
    ("6", "how the numbers were chosen", _statement("sample_size"), "statements.sample_size"),
    ("7", "how people were sampled", _statement("recruitment"), "statements.recruitment"),
    (
        "8",
        "the rating: interval, information, blinding",
        _statement("rating_process", "blinding"),
        "statements.rating_process",
    ),
    ("9", "whether ratings were independent", _statement("independence"), "statements.independence"),
    ("10", "the statistics", lambda f: "The notes name method and source of every number.", ""),
    ("11", "numbers of raters, people and replicates", _numbers, "the table repeats"),
    ("12", "characteristics of people and raters", lambda f: "The table of people; the raters under item 4.", ""),
    ("13", "estimates with their uncertainty", lambda f: "The tables of reliability, agreement and grades.", ""),
    ("14", "practical relevance", _statement("practical_relevance"), "statements.practical_relevance"),
    ("15", "detailed results", lambda f: "record.json and its tables hold every number.", ""),
)
"""Item of GRRAS (Kottner et al 2011, J Clin Epidemiol 64:96), in own words; its answer; the field that would answer
it."""


def guideline(facts: Facts) -> Table:
    """Return where each item of the guideline for reliability studies is answered, or what would answer it."""
    rows = []
    for item, what, answer, field in GRRAS if facts.design == RETEST else ():
        text = fmt.clean(answer(facts), 600)
        rows.append((item, what, text or f"NOT REPORTED; answered by {field}"))
    note = "Items in our own words. GRRAS: Kottner et al 2011, J Clin Epidemiol 64:96-106, table 1."
    return Table.build(
        "GRRAS: reporting of reliability and agreement", ("Item", "What", "Answer"), rows, left=(1, 2), note=note
    )


RETEST_TABLES: dict[str, Callable[[Facts], Table]] = {
    "reliability": reliability,
    "agreement": agreement,
    "agreement_of_grades": grades,
    "repeats_besides": besides,
    "retests": retests,
    "published_errors": published,
    "grras": guideline,
}
"""Tables of repeat tests, by the name that the notebook calls them."""
