"""What the conference notebook calls: open one record, and show it piece by piece."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from outcomes.errors import UsageError
from outcomes.reports import asked_tables, dose_response_tables, group_tables, model_tables, recorded_tables
from outcomes.reports import conference_tables as tables
from outcomes.reports import format as fmt
from outcomes.reports.abstract import Abstract, build_abstract, page_notes, running
from outcomes.reports.agreement_tables import RETEST_TABLES
from outcomes.reports.blocks import Block, lines_block, show, table_block
from outcomes.reports.change_sentences import both_numbers
from outcomes.reports.conference_figures import Figures
from outcomes.reports.dose_response_sentences import dose_answer
from outcomes.reports.facts import DESIGNS, Facts
from outcomes.reports.figure_words import capital
from outcomes.reports.opening import open_facts
from outcomes.reports.people import People
from outcomes.reports.published import beside_published
from outcomes.reports.study_sentences import allocation, programme
from outcomes.reports.tables import Table
from outcomes.result import Record

TABLES: dict[str, Callable[[Facts], Table]] = {
    "participants": tables.participants,
    "outcomes": tables.outcomes,
    "groups": group_tables.groups,
    "sizes": asked_tables.sizes,
    "important": asked_tables.important,
    "reliable": asked_tables.reliable,
    "dose": tables.dose,
    "recorded": recorded_tables.recorded,
    "guidelines": recorded_tables.guidelines,
    "load": recorded_tables.load,
    "associations": tables.associations,
    "dose_within": dose_response_tables.within,
    "dose_curves": dose_response_tables.curves,
    "dose_prediction": dose_response_tables.prediction,
    "dose_origins": dose_response_tables.origins,
    "limbs": model_tables.limbs,
    "all_visits": model_tables.all_visits,
    "other_rules": model_tables.other_rules,
    "flags": model_tables.flags,
    "harms": tables.harms,
    "data": tables.data,
    "measures": tables.measures,
    **RETEST_TABLES,
}
WHERE_PLANNED = (
    *("recorded", "guidelines", "load"),
    *("groups", "sizes", "important", "reliable", "limbs", "all_visits", "other_rules", "flags"),
    *("dose_within", "dose_curves", "dose_prediction", "dose_origins"),
    *RETEST_TABLES,
)
"""Tables that are shown only where they have a row: not every plan asks for them."""

INSIDE = "This page is for those who may see single persons: figures mark them. With --public none does."
"""Stands on the page of a conference report that is not public; its abstract marks nobody in either case."""


@dataclass(frozen=True)
class ConferenceReport:
    """One record, ready to be shown; every method shows something and returns nothing.

    Use `open_report`.
    """

    facts: Facts
    figures: Figures
    word_limit: int = 0
    paper: str = "A4"
    protocol_facts: Facts | None = None

    @cached_property
    def abstract_text(self) -> Abstract:
        """The abstract, fitted to its limit."""
        return build_abstract(self.facts, word_limit=self.word_limit)

    def head(self) -> None:
        """Show title, design and the lines that stand on every page."""
        facts = self.facts
        design = DESIGNS.get(facts.design, "Design not reported (design under [study])") + allocation(facts)
        what = programme(facts)
        inside = () if facts.public else (INSIDE,)
        show(
            lines_block(
                "head", "head", [f"{design}{f': {what}' if what else ''}.", *page_notes(facts), *inside],
                title=facts.title, synthetic=facts.synthetic, paper=self.paper,
                until=facts.meta.get("data_until") or "", running=running(facts),
            )
        )  # fmt: skip

    def settle(self) -> None:
        """Show what the author should settle before handing the abstract in."""
        lines = [*self._both_numbers(), *self.abstract_text.findings]
        show(lines_block("settle", "settle", lines or ["Nothing is left to settle."]))

    def _both_numbers(self) -> list[str]:
        """Return, where a choice of the protocol was changed for this record, the number of the protocol beside it."""
        if self.protocol_facts is None:
            return []
        changed = "; ".join(self.facts.changed_choices)
        numbers = both_numbers(self.protocol_facts, self.facts)
        lines = [f"{name}: by the protocol: {one}; in this report: {other}" for name, one, other in numbers]
        return [f"Differs from protocol: {changed}. {capital(line).rstrip('.')}." for line in lines]

    def abstract(self) -> None:
        """Show the abstract with its length; its figure, without a mark of a person, goes into the document."""
        plan = (self.facts.meta.get("report") or {}).get("conference") or {}
        asked = {"figure_cm": plan.get("figure_cm"), "table": bool(plan.get("table"))}
        text = {"abstract": self.abstract_text.to_dict(), **asked}
        figure = self.figures.for_the_abstract()
        if figure is None:
            show(Block("abstract", "abstract", text))
        else:
            picture = {key: figure.data[key] for key in ("caption", "alt")}
            show(Block("abstract", "abstract", {**text, **picture}, figure.svg, figure.png))

    def figure(self, name: str) -> None:
        """Show a figure: participant_flow, paired_change, change_against_error, groups, grades, dose_over_weeks,
        dose_against_change, within_person_lines or dose_curves; where it cannot be drawn, the reason."""
        draw: Callable[[], Iterator[Block]] | None = getattr(self.figures, name, None)
        if draw is None:
            raise UsageError(f"there is no figure '{name}'")
        shown = []
        for block in draw():
            if block.data not in shown:
                show(block)
            shown.append(block.data)

    def dose_answer(self) -> None:
        """Show the answer on dose line by line; nothing where the record relates no dose to change."""
        lines = dose_answer(self.facts)
        if lines:
            show(lines_block("text", "dose_answer", lines, as_list=True))

    def table(self, name: str) -> None:
        """Show a table, one of those that `TABLES` names; nothing where the plan did not ask for it."""
        if name not in TABLES:
            raise UsageError(f"there is no table '{name}'; there are {', '.join(TABLES)}")
        table = TABLES[name](self.facts)
        if table.rows or name not in WHERE_PLANNED:
            show(table_block(name, table))

    def beside_published(self) -> None:
        """Show, where the protocol asks for it, what others found in other people under other conditions."""
        for block in beside_published(self.facts):
            show(block)

    def notes(self) -> None:
        """Show how each kind of number was made, the caveats, and the author's own statements."""
        record = self.facts.record
        methods = {e.method for e in record.entries.values() if e.method and e.key.split("/")[0] != "flow"}
        lines = [f"{fmt.clean(record.methods[m])}" for m in sorted(methods) if m in record.methods]
        lines += [f"Caveat: {fmt.clean(text)}" for _, text in sorted(record.caveats.items())]
        lines += [
            f"{key.replace('_', ' ').capitalize()}: {text}" for key, text in sorted(self.facts.statements.items())
        ]
        show(lines_block("text", "notes", list(dict.fromkeys(lines)) or ["No method note."], as_list=True))


def open_report(
    *,
    study: str,
    record: str = "",
    reader: str = "conference",
    measure: str = "",
    contrast: str = "",
    dose_metric: str = "",
    dose_window: str = "",
    dose_lag: str = "",
    limbs: str = "",
    minimal_change: str = "",
    word_limit: int = 0,
    paper: str = "A4",
    public: bool = False,
    who: str = "",
) -> ConferenceReport:
    """Open one record of a study for the conference report.

    Parameters
    ----------
    study : str
        The study folder.
    record : str
        Name of a folder under ``results``; empty for the latest.
    reader : str
        "conference".
    measure, contrast, dose_metric : str
        What the report is about, of what the record holds; empty for the protocol's own.
    dose_window, dose_lag, limbs, minimal_change : str
        What the record was analysed with; another choice is another analysis, which `write_report` runs, and is refused
        here.
    word_limit : int
        Instead of the protocol's limit; 0 keeps it.
    paper : {"A4", "Letter"}
    public : bool
        No marks of persons, and the larger minimum of people.
    who : str
        For the participant's page only.

    Returns
    -------
    ConferenceReport

    Raises
    ------
    UsageError
        A parameter does not fit this record or this reader.
    """
    if reader != "conference":
        raise UsageError(f"this notebook writes the conference report, not '{reader}'")
    if who:
        raise UsageError("'who' names a participant; the conference report is about all of them")
    folder = Path(study)
    facts, results = open_facts(
        folder, record, measure=measure, contrast=contrast, dose_metric=dose_metric, public=public
    )
    refuse_other_analysis(
        facts, reader,
        {"dose_window": dose_window, "dose_lag": dose_lag, "limbs": limbs, "minimal_change": minimal_change},
    )  # fmt: skip
    if facts.rows and facts.visits:
        facts.exposures  # noqa: B018  a wrong dose_metric is refused now, not in a later cell
    planned = planned_facts(folder, results) if facts.meta.get("changed_choices") else None
    return ConferenceReport(facts, Figures(facts, People(results / "people")), word_limit, paper, planned)


def planned_facts(folder: Path, results: Path) -> Facts | None:
    """Return the facts of the protocol's own run, where there is one beside this record."""
    from outcomes.analysis import latest_results

    try:
        latest = latest_results(folder)
    except UsageError:
        return None
    return None if latest == results else Facts(Record.read(latest / "record.json"))


def refuse_other_analysis(facts: Facts, reader: str, wanted: dict[str, str]) -> None:
    """Refuse a choice that would need other numbers than the record holds."""
    plan = facts.meta.get("dose_plan") or {}
    used = {("cumulate", str(plan.get("cumulate"))), ("lag_days", str(plan.get("lag_days")))}
    used |= {(str(c["key"]).rpartition(".")[2], str(c["used"])) for c in facts.meta.get("changed_choices") or ()}
    keys = {"dose_window": "cumulate", "dose_lag": "lag_days"}
    for name, value in wanted.items():
        if value and (keys.get(name, name), value) not in used:
            raise UsageError(
                f"{name} = '{value}' changes the analysis, not only the report; "
                f'outcomes report FOLDER --for {reader} --set "{name}={value}" runs it with that one choice changed'
            )
