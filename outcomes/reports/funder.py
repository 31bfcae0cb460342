"""What the funder's notebook calls: two pages for a board that pays, from one record."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from outcomes.errors import UsageError
from outcomes.reports import format as fmt
from outcomes.reports import funder_sentences as say
from outcomes.reports.abstract import page_notes, running
from outcomes.reports.blocks import Block, figure_block, lines_block, show, table_block
from outcomes.reports.facts import Facts, rows_of
from outcomes.reports.figure_words import capital, not_drawn
from outcomes.reports.opening import open_facts
from outcomes.reports.published import beside_published
from outcomes.reports.tables import Table
from outcomes.reports.withholding import Shown, split

MOST_ROWS = 12
"""Measures that fit on the page; the primary and the secondary ones come first."""

TEXTS: dict[str, Callable[[Facts], Any]] = {
    "reach": say.reach,
    "stay": say.stay,
    "harms": say.harms,
    "costs": say.costs,
    "cannot_tell": say.cannot_tell,
}
"""Name of a text to the function that yields its sentences."""


@dataclass(frozen=True)
class FunderReport:
    """One record as the funder's pages show it; every method shows something and returns nothing.

    Use `open_funder_report`.
    """

    facts: Facts
    paper: str = "A4"

    def head(self) -> None:
        """Show the title and the lines that stand on every page."""
        facts = self.facts
        show(
            lines_block(
                "head", "head", ["What the programme did, for those who paid for it", *page_notes(facts, plain=True)],
                title=facts.title, synthetic=facts.synthetic, paper=self.paper,
                until=facts.meta.get("data_until") or "", running=running(facts),
            )
        )  # fmt: skip

    def lead(self) -> None:
        """Show the answer: what was seen, in whom, how sure."""
        show(lines_block("lead", "lead", say.lead(self.facts)))

    def numbers(self) -> None:
        """Show three numbers in words: people, sessions and hours."""
        facts = self.facts
        n = say.enrolled(facts)
        found = [(facts.small.count(n), "people took part" if n else "people: not reported (the table participants)")]
        for exposure, words in (("sessions", "sessions"), ("hours", "hours of active training")):
            text = say.delivered(facts, exposure, words)
            amount, _, rest = text.partition(" ")
            share = say.share_of_plan(facts, exposure)
            unknown = f"{words}: not reported (the table sessions)"
            found.append((amount, f"{rest}{f', {share}' if share else ''}") if text else ("?", unknown))
        lines = [f"{number} {words}" for number, words in found]
        show(lines_block("numbers", "numbers", lines, pairs=[list(pair) for pair in found]))

    def text(self, name: str) -> None:
        """Show a text: reach, stay, harms, costs or cannot_tell."""
        if name not in TEXTS:
            raise UsageError(f"there is no text '{name}'; there are {', '.join(TEXTS)}")
        lines = [line for line in TEXTS[name](self.facts) if line]
        show(lines_block("text", name, lines, **({"as_list": True} if name == "cannot_tell" else {})))

    def next_step(self) -> None:
        """Show what the author plans next."""
        show(lines_block("text", "next_step", [say.next_step(self.facts)]))

    def new_page(self) -> None:
        """Begin a new page in print."""
        show(lines_block("break", "break", []))

    def people(self) -> None:
        """Show how many people were better, about the same and worse, as a picture that counts."""
        facts = self.facts
        rows = say.shown_rows(facts)
        if not rows:
            show(not_drawn("people", "People better, about the same, worse", "the record compares no visits"))
        for row, words, shown in rows:
            name = "people" if row["group"] == "all" else f"people_{row['group']}"
            if shown is None or len(shown.cells) < 2:
                why = "the error of the test is not known" if shown is None else "too few people to show the counts"
                show(not_drawn(name, "People better, about the same, worse", why))
                continue
            show(self._picture(name, row, words, shown))

    def _picture(self, name: str, row: Any, words: say.Words, shown: Shown) -> Block:
        from outcomes.reports.figures import people_counts

        facts = self.facts
        group = "" if row["group"] == "all" else f", {facts.group_label(row['group'])}"
        long = [_long(words, members, row) for members, _ in shown.cells]
        counts = [n for _, n in shown.cells]
        of = "" if shown.n is None else f" of {fmt.number(shown.n)}"
        title = f"{capital(facts.plain_name(row))}{group}: {fmt.number(counts[0])}{of} people {long[0]}"
        note = self._note(row, shown)
        kinds = ["good" if m == (0,) else "other" if m == (2,) else "within" for m, _ in shown.cells]
        up = words[0] in ("better", "larger", "higher")
        axes = people_counts(long, counts, kinds=kinds, up=up, marks=not facts.public, title=title, note=note,
                             synthetic=facts.synthetic)  # fmt: skip
        lines = [(w, fmt.number(n)) for w, n in zip(long, counts, strict=True)]
        if shown.rest is not None:
            lines.append(("not measured both times", fmt.number(shown.rest)))
        table = Table.build(title, ("Change", "People"), lines, note=facts.small.note)
        told = "; ".join(f"{w}: {t}" for w, t in lines)
        return figure_block(name, axes, f"{title}. {note}", f"{title}. {told}. {note}", table)

    def _note(self, row: Any, shown: Any) -> str:
        facts = self.facts
        n = "n not shown" if shown.n is None else f"n = {fmt.number(shown.n)}"
        text = f"{n} people measured both times."
        if row["mdc"] is not None:
            size = fmt.quantity(row["mdc"], row["unit"], facts.decimals(row))
            text += f" About the same: a change of less than {size}, the usual error of the test."
        return text

    def months(self) -> None:
        """Show the sessions delivered month by month, against the plan."""
        from outcomes.reports.figures import delivered_by_month

        facts = self.facts
        rows = months_shown(facts)
        heading = "Sessions month by month"
        if not rows or all(r["delivered_sessions"] is None for r in rows):
            few = (
                "fewer people than may be shown"
                if rows_of(facts.record, "delivery")
                else "the table sessions is absent"
            )
            show(not_drawn("months", heading, few))
            return
        labels = [f"weeks {fmt.number(r['first_week'])} to {fmt.number(r['last_week'])}" for r in rows]
        plan = [r["planned_sessions"] for r in rows]
        done = [r["delivered_sessions"] for r in rows]
        title = "Sessions delivered (solid) and planned (dashed), by weeks from the start"
        planned = None if all(p is None for p in plan) else [float("nan") if p is None else float(p) for p in plan]
        axes = delivered_by_month(
            labels, [float("nan") if d is None else float(d) for d in done], planned, ylabel="sessions, all people",
            title=title, note="All people who trained in those weeks.", synthetic=facts.synthetic,
        )  # fmt: skip
        lines = [
            (
                capital(label),
                "not known" if d is None else fmt.number(d),
                "none planned" if p is None else fmt.number(p),
            )
            for label, d, p in zip(labels, done, plan, strict=True)
        ]
        table = Table.build(title, ("Weeks", "Delivered", "Planned"), lines)
        alt = f"{title}. {'; '.join(f'{a}: {d} delivered, {p} planned' for a, d, p in lines)}."
        show(figure_block("months", axes, title, alt.replace("none planned planned", "none planned"), table))

    def outcomes(self) -> None:
        """Show every measure: how many people were better, about the same and worse."""
        facts = self.facts
        lines = []
        for row in [*facts.rows, *facts.others()]:
            if row["group"] != "all" and len(facts.rows) and facts.rows[0]["group"] == "all":
                continue
            words, counts = say.classes(facts, row)
            group = "" if row["group"] == "all" else f", {facts.group_label(row['group'])}"
            main = " (main result)" if row["role"] == "primary" else ""
            shown = None if counts is None else split(facts.small, say.enrolled(facts), counts)
            name = f"{capital(facts.plain_name(row))}{group}{main}"
            lines.append((name, say.counted_from(facts, row), *_three(words, shown)))
        if not lines:
            show(lines_block("text", "outcomes", [say.not_answered("Measures", "[[measures]] in the protocol")]))
            return
        columns = ("Measure", "Counts as a change", "Better", "About the same", "Worse")
        more = f" {len(lines) - MOST_ROWS} more measures stand in the record." if len(lines) > MOST_ROWS else ""
        lines = lines[:MOST_ROWS]
        note = "People measured both times. A step of a grade has no size, so any step counts. Other measures count a "
        note += (
            "change of at least the usual error of the test. Where no direction is better, the cell says which way it "
        )
        note += f"went. The main result was chosen beforehand; the others stand beside it. {facts.small.note}{more}"
        show(table_block("outcomes", Table.build("All measures, in people", columns, lines, left=(1,), note=note)))

    def beside_published(self) -> None:
        """Show, where the protocol asks for it, what others found in other people under other conditions."""
        for block in beside_published(self.facts, whole=False):
            show(block)


def _long(words: say.Words, members: tuple[int, ...], row: Any) -> str:
    """Return what the people of one printed count have in common, with how much a change had to be."""
    text = say.cell_words(words, members)
    plain = row["level"] == "ordinal" or row["mdc"] is None
    return text if plain or members not in ((0,), (2,)) else f"{text} by more than the usual error"


def _three(words: say.Words, shown: Shown | None) -> tuple[str, ...]:
    """Return the cells of one outcome under better, about the same and worse."""
    if shown is None:
        return ("not known",) * 3
    if len(shown.cells) < 2:
        return ("not shown",) * 3
    texts = ["counted there"] * 3
    for members, n in shown.cells:
        named = members == (1,) or (len(members) == 1 and words[0] in ("better", "worse"))
        texts[members[-1] if members[-1] < 3 and members[0] != 1 else members[0]] = (
            fmt.number(n) if named else f"{fmt.number(n)} {say.cell_words(words, members)}"
        )
    return tuple(texts)


def months_shown(facts: Facts) -> list[dict[str, Any]]:
    """Return the rows of the delivery table; weeks with too few people are joined to the weeks before them."""
    joined: list[dict[str, Any]] = []
    for row in rows_of(facts.record, "delivery"):
        if joined and facts.small.hides(row["people"]):
            last = joined[-1]
            for key in ("planned_sessions", "delivered_sessions"):
                known = [v for v in (last[key], row[key]) if v is not None]
                last[key] = sum(known) if known else None
            last["last_week"] = row["last_week"]
        elif not facts.small.hides(row["people"]):
            joined.append(dict(row))
    return joined


def open_funder_report(
    *, study: str, record: str = "", reader: str = "funder", measure: str = "", contrast: str = "", paper: str = "",
    public: bool = False, who: str = "",
) -> FunderReport:  # fmt: skip
    """Open one record of a study for the funder's pages.

    Parameters
    ----------
    study : str
        The study folder.
    record : str
        Name of a folder under ``results``; empty for the latest.
    reader : str
        "funder".
    measure, contrast : str
        What the report is about, of what the record holds; empty for the protocol's own.
    paper : {"", "A4", "Letter"}
        Empty for the protocol's own.
    public : bool
        The larger minimum of people, and counts without marks.
    who : str
        For the participant's page only.

    Returns
    -------
    FunderReport

    Raises
    ------
    UsageError
        A parameter does not fit this record or this reader.
    """
    if reader != "funder":
        raise UsageError(f"this notebook writes the funder's report, not '{reader}'")
    if who:
        raise UsageError("'who' names a participant; the funder's report is about all of them")
    facts, _ = open_facts(Path(study), record, measure=measure, contrast=contrast, public=public)
    planned = ((facts.meta.get("report") or {}).get("funder") or {}).get("paper")
    return FunderReport(facts, paper or str(planned or "A4"))
