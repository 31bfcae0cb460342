"""What one report is about: the record, the outcome that was chosen from it, and how small numbers are printed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from outcomes.errors import UsageError, near_word
from outcomes.reports import format as fmt
from outcomes.reports.small_numbers import SmallNumbers
from outcomes.result import Entry, Record, record_key

DESIGNS = {
    "single arm": "Single-arm before-after study without a control group",
    "parallel groups": "Study of parallel groups",
    "single case": "Single-case study",
    "test-retest": "Test-retest study",
}
"""How the first line of every report names the design."""

SHORT_DESIGNS = {**DESIGNS, "single arm": "Single-arm study, no control group"}
"""The same where words are few."""

Row = Mapping[str, Any]


def source_of(row: Mapping[str, Any], most: int) -> str:
    """Return the source of a measure or published value, and what of it still has to be looked up.

    Parameters
    ----------
    row : dict
        With ``source``, and where it has them ``status`` and ``from_memory``.
    most : int
        Characters that the source may have.
    """
    source = fmt.clean(row["source"], most) or "not named"
    what = fmt.clean(row.get("from_memory", ""), 500)
    if what or row.get("status") == "MEMORY":
        return f"{source} [from memory, check before use{f': {what}' if what else ''}]"
    return source


def rows_of(record: Record, table: str) -> list[dict[str, Any]]:
    """Return a table of the record as one mapping per row; none where the table is absent."""
    found = record.tables.get(table)
    return [] if found is None else [dict(zip(found.columns, row, strict=True)) for row in found.rows]


@dataclass(frozen=True)
class Facts:
    """The record as one report reads it.

    Parameters
    ----------
    record : Record
    measure : str
        Outcome that the report is about: a key of the record's outcomes, a measure part such as ``limb_girth.girth``,
        or a measure key; empty for the primary outcome.
    contrast : str
        ``<to>_minus_<from>``; empty for the protocol's.
    dose_metric : str
        ``"active_minutes"``, ``"work_kj"`` or ``"charge_c"``; empty for the first that the record has.
    public : bool
        Whether the report is for publication: no marks of persons, the larger minimum of people.
    """

    record: Record
    measure: str = ""
    contrast: str = ""
    dose_metric: str = ""
    public: bool = False

    # ------------------------------------------------------------------------------------------------ the study

    @property
    def meta(self) -> dict[str, Any]:
        """What the record says about itself."""
        return self.record.meta

    @cached_property
    def small(self) -> SmallNumbers:
        """The rule for counts of few people."""
        return SmallNumbers.of(self.meta.get("privacy") or {}, public=self.public)

    @property
    def design(self) -> str:
        """The protocol's word for the design."""
        return str(self.meta.get("design") or "")

    @property
    def title(self) -> str:
        """Title of the study, as one safe line."""
        return fmt.clean(self.meta.get("title") or "Untitled study", 300)

    @property
    def synthetic(self) -> bool:
        """Whether the data are invented."""
        return bool(self.meta.get("synthetic"))

    @property
    def level(self) -> float:
        """Level of the intervals."""
        return float(self.meta.get("level") or 0.95)

    @property
    def ci(self) -> str:
        """Name of the intervals, such as ``95% CI``."""
        return fmt.level_words(self.level)

    @property
    def statements(self) -> Mapping[str, str]:
        """Sentences of the author, by key."""
        return {k: fmt.clean(v) for k, v in (self.meta.get("statements") or {}).items()}

    def visit_label(self, key: str) -> str:
        """Return what readers call a visit."""
        labels = {v["key"]: v["label"] for v in self.meta.get("visits") or ()}
        return fmt.clean(labels.get(key) or key, 60)

    def group_label(self, key: str) -> str:
        """Return what readers call a group."""
        labels = {g["key"]: g["label"] for g in self.meta.get("groups") or ()}
        return fmt.clean(labels.get(key) or key, 60)

    @property
    def changed_choices(self) -> list[str]:
        """One line for each choice in which the analysis differs from the protocol, or the report from its outcome."""
        choices = [{k: fmt.clean(v, 200) for k, v in c.items()} for c in self.meta.get("changed_choices") or ()]
        lines = [f"{choice['key']}: {choice['used']} (protocol: {choice['protocol']})" for choice in choices]
        row = self.row
        if row is not None and self.measure and row["role"] != "primary":
            lines.append(f"outcome: {fmt.clean(row['label'])} (protocol: {row['role']}, not the primary outcome)")
        return lines

    # ---------------------------------------------------------------------------------------------- the outcome

    @cached_property
    def visits(self) -> tuple[str, str]:
        """Keys of the compared visits, earlier first; empty texts where nothing is compared."""
        compare = list(self.meta.get("compare") or ())
        wanted = self.contrast or (f"{compare[1]}_minus_{compare[0]}" if len(compare) == 2 else "")
        known = dict.fromkeys(row["contrast"] for row in rows_of(self.record, "outcomes"))
        if wanted and known and wanted not in known:
            raise UsageError(
                f"contrast '{wanted}' is not in this record, which holds {', '.join(known)}{near_word(wanted, known)}; "
                "another contrast is another analysis: outcomes analyse FOLDER --set analysis.compare=FROM,TO"
            )
        after, _, before = wanted.partition("_minus_")
        return before, after

    @cached_property
    def rows(self) -> list[dict[str, Any]]:
        """Rows of the outcomes table that the report is about: one for everybody, or one for each group."""
        rows = [r for r in rows_of(self.record, "outcomes") if r["contrast"] == self.contrast_part]
        if not self.measure:
            return [r for r in rows if r["role"] == "primary"]
        for name in ("key", "series", "measure", "stem"):
            found = [r for r in rows if self.measure == _names(r)[name]]
            if len({(r["measure"], r["place"]) for r in found}) == 1:
                return found
            if found:
                several = ", ".join(_names(r)["series"] for r in found)
                raise UsageError(f"measure '{self.measure}' names several outcomes; choose one of {several}")
        known = [_names(r)["series"] for r in rows] or ["none"]
        raise UsageError(
            f"measure '{self.measure}' is not in this record, which holds {', '.join(dict.fromkeys(known))}"
            f"{near_word(self.measure, known)}"
        )

    @property
    def row(self) -> dict[str, Any] | None:
        """Row of the outcomes table for everybody, else for the first group; None where nothing is compared."""
        return next((r for r in self.rows if r["group"] == "all"), self.rows[0] if self.rows else None)

    @property
    def contrast_part(self) -> str:
        """Fifth part of the record's keys."""
        before, after = self.visits
        return f"{after}_minus_{before}" if after else "-"

    def entry(self, analysis: str, statistic: str, row: Row | None = None, **parts: str) -> Entry | None:
        """Return an entry of the record; measure, place, group and contrast come from `row`, if given."""
        if row is not None:
            mine = {"measure": row["measure"], "place": row["place"], "group": row["group"]}
            parts = {**mine, "contrast": row["contrast"], **parts}
        return self.record.get(record_key(analysis, statistic, **parts))

    def value(self, analysis: str, statistic: str, row: Row | None = None, **parts: str) -> float | None:
        """Return the number of an entry; None where the record has none."""
        entry = self.entry(analysis, statistic, row, **parts)
        if entry is None or entry.status != "estimated" or not isinstance(entry.value, int | float):
            return None
        return entry.value

    def decimals(self, row: Row) -> int:
        """Return the decimals in which an outcome is printed everywhere.

        Two digits of the spread of the first values (of the interval's width for a scale that only ranks), and more
        where rounding would hide that an interval leaves out zero or that a mean change is not the error it is held
        against.
        """
        low, high = row["change_low"], row["change_high"]
        if low is None or high is None:
            return fmt.decimals_for(row["before_sd"])
        places = fmt.decimals_of_interval(low, high, fmt.decimals_for(row["before_sd"] or high - low))
        sizes = abs(row["change"]), row["mdc"]
        while sizes[1] and sizes[0] != sizes[1] and places < fmt.MOST_DECIMALS:
            if fmt.number(sizes[0], places) != fmt.number(sizes[1], places):
                break
            places += 1
        return places

    def title_of(self, row: Row) -> tuple[str, str]:
        """Return an outcome's name with its place, and with its place and side rule."""
        full = fmt.clean(row["label"], 160)
        title, _, extra = full.partition(" (")
        place = str(row["place"]).partition(".")[0].replace("_", " ")
        return (f"{title} ({place})" if place and extra.startswith(place) else title), full

    def plain_name(self, row: Row) -> str:
        """Return what people outside the field call an outcome: the protocol's plain_name, else its title."""
        place = str(row["place"]).partition(".")[0]
        stem = str(row["measure"]).partition(".")[0].partition("@")[0]
        for entry in self.meta.get("plain_names") or ():
            if entry["measure"] == stem and (place in entry["places"] or not entry["places"]):
                return fmt.clean(entry["name"], 60)
        title = self.title_of(row)[0]
        proper = any(word[:1].isupper() or word[:1].isdigit() for word in title.split()[1:]) or title[:2].isupper()
        return title if proper else f"{title[:1].lower()}{title[1:]}"

    # ---------------------------------------------------------------------------------------------- the dose

    @cached_property
    def exposures(self) -> list[str]:
        """Doses that the record sums up to the later compared visit, those that the protocol relates to change first;
        the charge only where it does."""
        _, after = self.visits
        asked = (self.meta.get("dose_plan") or {}).get("metrics") or ()
        known = list(dict.fromkeys((*asked, "active_minutes", "work_kj")))
        there = [e for e in known if self.value("dose", "delivered_sum", contrast=after or "-", exposure=e) is not None]
        if self.dose_metric and self.dose_metric not in known:
            raise UsageError(f"dose_metric '{self.dose_metric}' is not one of {', '.join(known)}")
        if self.dose_metric and self.dose_metric not in there:
            raise UsageError(f"dose_metric '{self.dose_metric}' is not in this record")
        return sorted(there, key=lambda e: e != self.dose_metric)

    def association(self, exposure: str) -> dict[str, Any] | None:
        """Return the row of the dose-response table for the report's outcome and group, and one exposure."""
        row = self.row
        found = self.associations(exposure)
        return next((r for r in found if row is not None and r["group"] in (None, "all", row["group"])), None)

    def associations(self, exposure: str) -> list[dict[str, Any]]:
        """Return the rows of the dose-response table for the report's outcome and one exposure: that of its group, or
        one for each group where the outcome is reported for everybody and the dose by group."""
        row = self.row
        if row is None:
            return []
        mine = (row["measure"], row["place"], row["contrast"])
        found = [
            r
            for r in rows_of(self.record, "dose_response")
            if (r["measure"], r["place"], r["contrast"]) == mine and r["exposure"] == exposure
        ]
        own = [r for r in found if r["group"] in (None, "all", row["group"])]
        return own or (found if row["group"] == "all" else [])

    def others(self) -> Iterator[dict[str, Any]]:
        """Yield the rows of every other outcome, secondary ones first, in the protocol's order."""
        mine = {(r["measure"], r["place"]) for r in self.rows}
        for role in ("primary", "secondary", "exploratory"):
            for row in rows_of(self.record, "outcomes"):
                if row["role"] == role and (row["measure"], row["place"]) not in mine:
                    yield row


def _names(row: Row) -> dict[str, str]:
    """Return the names under which an outcome may be asked for."""
    series = f"{row['measure']}/{row['place']}"
    stem = row["measure"].partition(".")[0].partition("@")[0]
    return {"key": row["key"], "series": series, "measure": row["measure"], "stem": stem}
