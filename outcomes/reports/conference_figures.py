"""The figures of the conference page: columns from the record and the person-level tables, words from the record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from outcomes.reports import conference_tables as printed
from outcomes.reports import dose_response_figures
from outcomes.reports import format as fmt
from outcomes.reports import overview_figures as overview
from outcomes.reports.agreement_figures import agreement_blocks
from outcomes.reports.blocks import Block, figure_block
from outcomes.reports.change_sentences import (
    associated,
    change_words,
    class_counts,
    direction,
    error_alone,
    transitions,
    verdict,
)
from outcomes.reports.facts import Facts, rows_of
from outcomes.reports.figure_words import (
    axis_label,
    capital,
    figure_name,
    file_part,
    floats,
    good_is_up,
    margins,
    not_drawn,
    note_line,
    number_or,
    stage_note,
)
from outcomes.reports.group_figures import group_blocks
from outcomes.reports.people import People
from outcomes.reports.study_sentences import limb_words
from outcomes.reports.tables import Table
from outcomes.units import printed_unit

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes


BETWEEN = "Association given the first value. Grey: interval of the slope; dotted: range leaving one person out."


@dataclass(frozen=True)
class Figures:
    """Draws the figures of one report; each method yields its blocks, or one that says why there is none."""

    facts: Facts
    people: People

    def agreement(self) -> Iterator[Block]:
        """Yield the agreement of two measurements for every measure of a test-retest study."""
        yield from agreement_blocks(self.facts, self.people)

    def groups(self) -> Iterator[Block]:
        """Yield the changes by group with the difference between groups; nothing where there are no groups."""
        yield from group_blocks(self.facts, self.people)

    def participant_flow(self) -> Iterator[Block]:
        """Yield the flow of participants."""
        from outcomes.reports.figures import participant_flow

        facts = self.facts
        rows = rows_of(facts.record, "flow")
        left = [r for r in rows if r["stage"].startswith("left")]
        later = self._later_visits()
        groups = [r for r in rows if r["note"] and str(r["note"]).startswith("group ")]
        drawn = [r for r in rows if r not in left and r not in groups and r["stage"] not in later]
        stages: list[tuple[str, int | None]]
        stages = [(capital(fmt.clean(r["stage"], 120) + stage_note(r)), int(r["n"])) for r in drawn]
        if groups:
            names = [facts.group_label(str(r["note"]).removeprefix("group ")) for r in groups]
            parts = [f"{name} n = {fmt.number(r['n'])}" for name, r in zip(names, groups, strict=True)]
            stages.append((f"{capital(fmt.clean(groups[0]['stage'], 120))}: {'; '.join(parts)}", None))
        if not stages:
            yield not_drawn("participant_flow", "Flow of participants", "the record has no table flow")
            return
        gone = [r for r in left if r["n"] and len(stages) > 1]
        beside = [((len(stages) - 2) // 2, self._left_words(int(r["n"]))) for r in gone]
        title = "Flow of participants"
        counts = "; ".join(name if n is None else f"{name}: {fmt.number(n)}" for name, n in stages)
        alt = f"Flow of participants. {counts}. {beside[0][1] if beside else ''}".strip()
        lines = [(fmt.clean(r["stage"], 120) + stage_note(r), fmt.number(r["n"])) for r in rows]
        axes = participant_flow(stages, beside=beside, synthetic=facts.synthetic, title=title)
        table = Table.build("Flow of participants", ("Stage", "People"), lines)
        yield self._block("participant_flow", axes, title, alt, table, n=str(stages[0][1]), source="table flow")

    def _later_visits(self) -> set[str]:
        """Return the labels of visits after the later compared one; they are in the table, not in the drawing."""
        labels = [(v["key"], v["label"]) for v in self.facts.meta.get("visits") or ()]
        keys = [key for key, _ in labels]
        after = self.facts.visits[1]
        return {label for _, label in labels[keys.index(after) + 1 :]} if after in keys else set()

    def _left_words(self, n: int) -> str:
        rows = rows_of(self.facts.record, "left")
        shown = self.facts.small.texts([int(r["n"]) for r in rows])
        reasons = [f"{fmt.clean(r['reason'], 40)} {k}" for r, k in zip(rows, shown, strict=True) if k.isdecimal()]
        if len(reasons) < len(rows):
            reasons.append("other reasons not shown" if reasons else "reasons not shown: few people each")
        return f"{fmt.number(n)} left before the end{f' ({chr(44).join(reasons)})' if reasons else ''}".replace(
            ",", ", "
        )

    def paired_change(self) -> Iterator[Block]:
        """Yield before and after of every person, with the mean change against the measurement error."""
        for row in self.facts.rows:
            pairs = self.people.pairs(row)
            name = figure_name("paired_change", row)
            why = self._no_change(row, pairs)
            if why or pairs is None:
                yield not_drawn(name, "Change of every person", why)
                continue
            axes = self._paired(row, pairs, persons=not self.facts.public)
            yield self._change_block(name, axes, row, pairs, self.change_title(row))

    def for_the_abstract(self) -> Block | None:
        """Return the figure that is handed in with the abstract: means and no mark of a person; None without one."""
        for row in self.facts.rows:
            pairs = self.people.pairs(row)
            if pairs is not None and not self._no_change(row, pairs):
                axes = self._paired(row, pairs, persons=False)
                return self._change_block("abstract", axes, row, pairs, self.change_title(row))
        return None

    def _paired(self, row: Any, pairs: pd.DataFrame, *, persons: bool) -> Axes:
        from outcomes.reports.figures import paired_change

        facts = self.facts
        interval = (row["change"], row["change_low"], row["change_high"])
        spreads = (row["before_sd"], row["after_sd"])
        bars = "" if persons or None in spreads else " Bars: standard deviation of the people."
        return paired_change(
            pairs["before"].to_numpy(), pairs["after"].to_numpy(),
            mean=None if None in interval else interval,
            error=row["mdc"], unpaired=self._unpaired(row, pairs) if persons else (),
            labels=(facts.visit_label(facts.visits[0]), facts.visit_label(facts.visits[1])),
            limits=self._shared_limits() if persons else None, ylabel=axis_label(facts, row, ""), persons=persons,
            means=(row["before_mean"], row["after_mean"]), spreads=spreads if bars else None,
            title=self.change_title(row), note=f"{note_line(row)}{bars}", source=self._error_source(row),
            synthetic=facts.synthetic,
        )  # fmt: skip

    def _shared_limits(self) -> tuple[tuple[float, float], float] | None:
        """Return one scale for the panels of all groups; None where there is one panel."""
        if len(self.facts.rows) < 2 or self.facts.public:
            return None
        found = [p for p in (self.people.pairs(row) for row in self.facts.rows) if p is not None and len(p)]
        values = [float(v) for p in found for v in p[["before", "after"]].to_numpy().ravel()]
        ends = [abs(row[k]) for row in self.facts.rows for k in ("change_low", "change_high") if row[k] is not None]
        if not values or not ends:
            return None
        room = 0.05 * (max(values) - min(values)) or 1.0
        return (min(values) - room, max(values) + room), max(ends)

    def change_against_error(self) -> Iterator[Block]:
        """Yield every person's change, sorted, against the measurement error."""
        from outcomes.reports.figures import change_against_error

        facts = self.facts
        for row in facts.rows:
            pairs = self.people.pairs(row)
            name = figure_name("change_against_error", row)
            why = self._no_change(row, pairs) or ("" if row["mdc"] else "the measurement error is not known")
            if facts.public:
                why = "a public report has no mark of a person"
            if why or pairs is None:
                yield not_drawn(name, "Change against the usual error of the test", why)
                continue
            _, shown = class_counts(facts, row)
            good, within, other = (n if n.isdecimal() else "" for n in shown)
            title = f"{shown[0]} of {row['n']} people: {row['words_better']} by at least the usual error of the test"
            axes = change_against_error(
                pairs["change"].to_numpy(), error=row["mdc"], up=good_is_up(row),
                words=(row["words_better"], row["words_other"]),
                counts=(good, within, other), ylabel=axis_label(facts, row, "change of "),
                title=capital(title),
                note=note_line(row), source=self._error_source(row), synthetic=facts.synthetic,
            )  # fmt: skip
            yield self._change_block(name, axes, row, pairs, capital(title))

    def grades(self) -> Iterator[Block]:
        """Yield the share of people at each grade before and after, for every ordinal outcome with few grades."""
        from outcomes.reports.figures import ordinal_shares

        facts = self.facts
        for row in [*facts.rows, *facts.others()]:
            cells = transitions(facts, row) if row["level"] == "ordinal" else []
            if not cells or facts.small.hides(row["n"]):
                continue
            table = printed.grades(facts, row)
            names, shown = class_counts(facts, row)
            counts = ", ".join(f"{a} {b}" for a, b in zip(names, shown, strict=True))
            told = ", ".join(f"{a} in {b}" for a, b in zip(names, shown, strict=True) if b.isdecimal())
            title = f"{facts.title_of(row)[1]}: grade {f'{told}, ' if told else ''}of {row['n']} people"
            name = figure_name(f"grades_{file_part(row['measure'])}_{file_part(row['place'])}".strip("_"), row)
            if facts.public:
                yield Block("table", name, {"table": table.to_dict()})
                continue
            levels, before, after = margins(cells)
            labels = (facts.visit_label(facts.visits[0]), facts.visit_label(facts.visits[1]))
            axes = ordinal_shares(
                levels, before, after, labels=labels, smallest=facts.small.minimum, title=title, note=note_line(row),
                synthetic=facts.synthetic,
            )  # fmt: skip
            alt = f"Share of people at each grade at {labels[0]} and {labels[1]}. {title}; grade {counts}."
            yield self._block(name, axes, title, alt, table, n=str(row["n"]), source=f"record {row['key']}", row=row)

    def dose_over_weeks(self) -> Iterator[Block]:
        """Yield delivered against planned training, week by week."""
        from outcomes.reports.figures import dose_over_weeks

        facts = self.facts
        rows = [r for r in rows_of(facts.record, "dose_by_week") if not facts.small.hides(r["people"])]
        named = {"active_minutes": "active minutes", "work_kj": "work in kJ", "charge_c": "charge in C"}
        what = next(iter(facts.exposures), "active_minutes")
        words = named[what]
        done = [r[f"delivered_{what}"] for r in rows]
        if not rows or all(d is None for d in done):
            yield not_drawn("dose_over_weeks", "Training over the weeks", f"{words} of sessions are not recorded")
            return
        plan = [r[f"planned_{what}"] for r in rows]
        title = f"Delivered {words} against plan, week by week"
        note = f"Sum over the people in training that week (at most {fmt.number(max(r['people'] for r in rows))})."
        axes = dose_over_weeks(
            [r["week"] for r in rows], floats(done), None if all(p is None for p in plan) else floats(plan),
            ylabel=f"{words}, all people", title=title, note=note, synthetic=facts.synthetic,
        )  # fmt: skip
        lines = [
            (
                f"Week {fmt.number(r['week'])}",
                fmt.number(r["people"]),
                number_or(d, "not recorded"),
                number_or(p, "none planned"),
            )
            for r, d, p in zip(rows, done, plan, strict=True)
        ]
        table = Table.build(title, ("Week", "People", "Delivered", "Planned"), lines)
        ends = [f"week {line[0].split()[1]}: {line[2]} ({line[3]} planned)" for line in (lines[0], lines[-1])]
        alt = f"Bars of {words} delivered each week inside hollow bars of what was planned. {'; '.join(ends)}."
        alt = alt.replace("none planned planned", "none planned")
        n = fmt.number(max(r["people"] for r in rows))
        yield self._block("dose_over_weeks", axes, title, alt, table, n=n, source="table dose_by_week")

    def attendance(self) -> Iterator[Block]:
        """Yield who came in which week."""
        yield overview.attendance(self.facts, self.people)

    def forest(self) -> Iterator[Block]:
        """Yield every mean change on one scale."""
        yield overview.forest(self.facts)

    def dose_against_change(self) -> Iterator[Block]:
        """Yield delivered dose against change, with the slope's interval and its range leaving one person out."""
        from outcomes.analysis.association import EXPOSURES
        from outcomes.reports.figures import dose_against_change

        facts, row = self.facts, self.facts.row
        name, heading = "dose_against_change", "Delivered dose and change"
        exposure = facts.exposures[0] if facts.exposures else ""
        link = facts.association(exposure) if exposure else None
        both = None if row is None or link is None else self._dose_and_change(row, EXPOSURES[exposure][0])
        if row is None or link is None or both is None or not len(both):
            yield not_drawn(name, heading, "dose and change are not both known")
            return
        if facts.small.hides(len(both)) or facts.public or row["level"] == "ordinal":
            few = f"{facts.small.words} people" if facts.small.hides(len(both)) else "no mark of a person is shown"
            yield not_drawn(name, heading, "a grade only ranks" if row["level"] == "ordinal" else few)
            return
        slope = (link["slope"], link["low"], link["high"])
        ends = (link["loo_low"], link["loo_high"])
        what = EXPOSURES[exposure][4]
        said = associated(facts, link, what)
        places = fmt.decimals_for(None if None in slope else link["high"] - link["low"])
        loo = "" if None in ends else f" Leaving one person out: {' to '.join(fmt.number(e, places) for e in ends)}."
        title = capital(said.partition(":")[0])
        axes = dose_against_change(
            both["dose"].to_numpy(), both["change"].to_numpy(),
            slope=None if None in slope else slope, per=EXPOSURES[exposure][2],
            leave_one_out=None if None in ends else ends,
            xlabel=f"delivered {what} up to {facts.visit_label(facts.visits[1])} ({EXPOSURES[exposure][1]})",
            ylabel=axis_label(facts, row, "change of "), title=title,
            note=f"{note_line(row)} {BETWEEN}",
            synthetic=facts.synthetic,
        )  # fmt: skip
        unit, dose_unit = printed_unit(row["unit"]), EXPOSURES[exposure][1]
        points = both.sort_values(["dose", "change"], kind="stable")
        lines = [
            (str(i), fmt.number(d), fmt.number(c, facts.decimals(row)))
            for i, (d, c) in enumerate(zip(points["dose"], points["change"], strict=True), start=1)
        ]
        columns = ("Person, by dose", f"Delivered {what}, {dose_unit}", f"Change, {unit}")
        caption = f"Association of delivered {what} with change"
        alt = f"One ring per person: delivered dose against change. {said}{loo}"
        yield self._block(name, axes, f"{caption}. {said}{loo}", alt, Table.build(caption, columns, lines),
                          n=str(link["n"]), source=f"record {link['key']}", row=row)  # fmt: skip

    def within_person_lines(self) -> Iterator[Block]:
        """Yield each person's values against that person's own dose."""
        yield from dose_response_figures.within_person_lines(self.facts, self.people)

    def dose_curves(self) -> Iterator[Block]:
        """Yield dose against change with the curves of the shortlist."""
        yield from dose_response_figures.dose_curves(self.facts, self.people)

    # ------------------------------------------------------------------------------------------------- pieces

    def change_title(self, row: Any) -> str:
        """Return the finding that the change figure shows."""
        facts = self.facts
        name, _ = facts.title_of(row)
        group = "" if row["group"] == "all" else f" ({facts.group_label(row['group'])})"
        if verdict(row, facts.level) == "changed" and row["change"] is not None:
            word = direction(row, row["change"] > 0)
            size = fmt.quantity(abs(row["change"]), row["unit"], facts.decimals(row))
            return f"{name}{group}: {word} by {size} on average"
        return f"Did {name}{group} change? The interval holds no change"

    def _no_change(self, row: Any, pairs: Any) -> str:
        if row["level"] == "ordinal":
            return "a grade only ranks; see the grades before and after"
        if pairs is None or not len(pairs) or row["change"] is None:
            return fmt.clean(row["reason"] or "nobody has both values")
        return f"{self.facts.small.words} people" if self.facts.small.hides(row["n"]) else ""

    def _unpaired(self, row: Any, pairs: pd.DataFrame) -> Any:
        """Return first values of people who have no second one."""
        values = self.people.values
        if values is None or row["group"] != "all":
            return ()
        place, _, side = str(row["place"]).rpartition(".")
        mine = values[(values["measure"] == pairs["measure"][0]) & (values["scale"] == pairs["scale"][0])]
        mine = mine[(mine["place"].fillna("-") == (place or str(row["place"]))) & mine["value"].notna()]
        if place:
            mine = mine[mine["side_rule"] == side]
        first = mine[mine["visit"] == self.facts.visits[0]]
        return first.loc[~first["participant_id"].isin(pairs["participant_id"]), "value"].to_numpy()

    def _dose_and_change(self, row: Any, column: str) -> pd.DataFrame | None:
        dose, pairs = self.people.dose, self.people.pairs(row)
        if dose is None or pairs is None or column not in dose:
            return None
        at = dose.loc[dose["visit"] == self.facts.visits[1], ["participant_id", column]].rename(
            columns={column: "dose"}
        )
        both = pairs[["participant_id", "change"]].merge(at, on="participant_id")
        return both[both["dose"].notna() & both["change"].notna()]

    def _error_source(self, row: Any) -> str:
        if row["mdc"] is None:
            return ""
        size = fmt.quantity(row["mdc"], row["unit"], self.facts.decimals(row))
        return f"Usual error of the test: minimal detectable change (95%) {size}; {fmt.clean(row['mdc_source'], 160)}."

    def _change_block(self, name: str, axes: Axes, row: Any, pairs: pd.DataFrame, title: str) -> Block:
        facts = self.facts
        labels = tuple(facts.visit_label(v) for v in facts.visits)
        full = facts.title_of(row)[1]
        alone = error_alone(facts, row)
        beyond = ""
        if row["mdc"] is not None:
            names, shown = class_counts(facts, row)
            counts = ", ".join(f"{a} {b}" for a, b in zip(names, shown, strict=True))
            tail = f"; error alone would put {alone} beyond it" if alone else ""
            beyond = f" Against the usual error of the test: {counts}{tail}."
        change = change_words(facts, row)
        alt = f"{full} at {labels[0]} and {labels[1]}, {row['n']} people; mean change {change}.{beyond}"
        caption = f"{title}. {full}, {labels[0]} and {labels[1]}; mean change {change}, n = {row['n']}.{beyond}"
        if facts.public:
            places = facts.decimals(row)
            lines = []
            for label, k in zip(labels, ("before", "after"), strict=True):
                mean = fmt.with_spread(row[f"{k}_mean"], row[f"{k}_sd"], row["unit"], places)
                lines.append((label, mean, fmt.number(row["n"])))
            table = Table.build(full, ("Visit", "Mean (SD)", "n"), lines)
        else:
            table = self._person_table(row, pairs, labels)
        return self._block(name, axes, caption, alt, table, n=str(row["n"]), source=f"record {row['key']}", row=row)

    def _person_table(self, row: Any, pairs: pd.DataFrame, labels: tuple[str, ...]) -> Table:
        places, unit = self.facts.decimals(row), printed_unit(row["unit"])
        numbers = pairs[["before", "after", "change"]].to_numpy()
        lines = [
            (
                str(i),
                *(fmt.number(float(v), places) for v in values),
                str(kind) if isinstance(kind, str) else "not known",
            )
            for i, (values, kind) in enumerate(zip(numbers, pairs["class"], strict=True), start=1)
        ]
        columns = ("Person, by change", *(f"{label}, {unit}" for label in labels), f"Change, {unit}", "Against error")
        return Table.build(f"{self.facts.title_of(row)[1]}: every person", columns, lines, left=(4,))

    def _block(
        self, name: str, axes: Axes, caption: str, alt: str, table: Table, *, n: str, source: str, row: Any = None
    ) -> Block:
        margin = [("n", n), ("source", source)] + ([("direction", printed.better_words(row))] if row else [])
        margin += [("limbs", limb_words(row))] if row and limb_words(row) else []
        return figure_block(name, axes, caption, alt, table, margin=margin)
