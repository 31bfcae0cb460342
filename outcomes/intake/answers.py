"""Answers of assessments and repeats: which measure, item, place, side and trial they belong to, and what they say.

The text of a response is read only by the measure's own definition.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from outcomes.errors import DesignError, near_word
from outcomes.intake.doubts import number_doubts
from outcomes.intake.drafts import NORMALISED, Draft
from outcomes.intake.numerals import NUMBER_PATTERN, POINTED_EXPECTED, POINTED_PATTERN, number_problem, plain_number
from outcomes.intake.raw import CLOCK, DATE, NUMBER, TEXT, number_text, texts, unique
from outcomes.intake.settling import Reader, reject, rounded
from outcomes.intake.slips import fitting_measure, fitting_unit, holding_version, spelled_unit
from outcomes.intake.totals import set_totals_aside, typed_totals
from outcomes.units import conversion_factor
from outcomes.vocabulary import ABSENT_WORDS

if TYPE_CHECKING:
    from outcomes.intake.raw import Flags, Integers, Texts
    from outcomes.measures import Catalogue, Definition, Item, Reading
    from protocols.schema import Protocol

ABSENT = "absent_because"
AS_TEXT = "Format the column as text before typing grades such as 1+ or 1-2."

HINTS = {
    "looks_like_date": "; a grade may have become a date",
    "decimal_comma": "; with a decimal point",
    "ambiguous_number": "; the comma could be a thousands mark or a decimal mark",
    "censored": "; a limit of the device is no value: leave it empty and say so in a note",
    "two_values": "; one value a cell, one side a row",
    "unit_in_cell": "; the number alone, without its unit",
    "formula_error": "; an error is not the same as empty",
}
"""What to say beside what an item accepts, by the rule that a response breaks."""


def read_answers(draft: Draft, reader: Reader, catalogue: Catalogue) -> None:
    """Check the key of every answer and read its response.

    Parameters
    ----------
    draft : Draft
        Assessments or repeats, its other columns read.
    reader : Reader
        Takes the findings.
    catalogue : Catalogue
    """
    _fill(draft)
    planned = planned_definitions(reader.protocol, catalogue)
    codes, measures = unique(draft.text["measure"])
    for code, measure in enumerate(measures):
        rows = (codes == code) & draft.used
        if not measure or not rows.any():
            continue
        if measure not in planned:
            _unplanned(draft, reader, rows, measure, planned, catalogue)
            continue
        _versions(draft, reader, rows, planned[measure], catalogue)
        for definition in planned[measure]:
            mine = rows & draft.used & (draft.text["version"] == definition.version)
            totals = typed_totals(draft, definition, mine)
            _Answers(draft, reader, definition, catalogue).read(mine & ~totals)
            set_totals_aside(draft, reader, definition, totals, catalogue)
    _both(draft, reader)


def planned_definitions(protocol: Protocol, catalogue: Catalogue) -> dict[str, list[Definition]]:
    """Return the definitions that the protocol names: measure to one a version."""
    planned: dict[str, list[Definition]] = {}
    for plan in protocol.measures:
        if plan.measure not in catalogue or plan.version not in (None, *catalogue.versions(plan.measure)):
            continue
        definition = catalogue.get(plan.measure, plan.version)
        known = planned.setdefault(plan.measure, [])
        if all(definition.version != other.version for other in known):
            known.append(definition)
    return planned


def _fill(draft: Draft) -> None:
    """Give the table every column that its answers need, blank where the clinic has none."""
    import numpy as np

    for name in ("version", "place", "side", ABSENT):
        draft.text.setdefault(name, texts([""] * len(draft)))
    draft.number.setdefault("trial", np.full(len(draft), np.nan))


def _unplanned(
    draft: Draft,
    reader: Reader,
    rows: Flags,
    measure: str,
    planned: dict[str, list[Definition]],
    catalogue: Catalogue,
) -> None:
    """Set rows aside whose measure the protocol does not name; a measure of the catalogue is said once a sheet."""
    import numpy as np

    listed = ", ".join(planned)
    if measure not in catalogue:
        expected = f"a measure of the protocol: {listed}{near_word(measure, planned)}"
        reject(draft, reader, "measure", np.flatnonzero(rows), "unknown_measure", expected)
        return
    sheets = draft.sheet_of_rows()
    for sheet in np.unique(sheets[rows]).tolist():
        mine = np.flatnonzero(rows & (sheets == sheet))
        count = f"{len(mine)} rows of {measure} are" if len(mine) > 1 else f"one row of {measure} is"
        expected = f"a measure of the protocol: {listed}; {count} set aside"
        reader.found.over(draft, mine, "measure", "set_aside", "not_in_protocol", expected, found=measure)
        draft.set_aside(mine, "not_in_protocol")


def _versions(draft: Draft, reader: Reader, rows: Flags, definitions: list[Definition], catalogue: Catalogue) -> None:
    """Fill the version in, and set rows aside that name another; ask once where nobody has said which it is."""
    import numpy as np

    known = [definition.version for definition in definitions]
    given, measure = draft.text["version"], definitions[0].key
    if len(known) == 1:
        silent = np.flatnonzero(rows & (given == ""))
        versions = catalogue.versions(measure)
        if len(versions) > 1 and all(p.version is None for p in reader.protocol.measures if p.measure == measure):
            expected = f"the version, here or in the protocol: {' or '.join(versions)}; taken as {known[0]}"
            reader.found.at(draft, silent[:1], "measure", "ask", "version_not_named", expected)
        given[rows & (given == "")] = known[0]
    wrong = np.flatnonzero(rows & ~np.isin(given, known))
    expected = f"the version of the protocol: {' or '.join(known)}"
    reject(draft, reader, "version", wrong, "version", expected)


def _both(draft: Draft, reader: Reader) -> None:
    """Set aside an answer beside a reason why there is none: either could be the slip."""
    import numpy as np

    rows = np.flatnonzero(draft.used & (draft.text["response"] != "") & (draft.text[ABSENT] != ""))
    if len(rows):
        found = [f"{draft.text['response'][row]} and {draft.text[ABSENT][row]}" for row in rows.tolist()]
        expected = "an answer or a reason why there is none, not both"
        reader.found.at(draft, rows, "response", "set_aside", "answer_and_absent", expected, found=found)
        for name in ("response", ABSENT):
            draft.empty(name, rows, "answer_and_absent")


@dataclass(slots=True)
class _Answers:
    """Answers of one measure."""

    draft: Draft
    reader: Reader
    definition: Definition
    catalogue: Catalogue

    def read(self, rows: Flags) -> None:
        """Check keys and read responses of the rows of this measure."""
        self._items(rows)
        self._places(rows & self.draft.used)
        self._sides(rows & self.draft.used)
        self._trials(rows & self.draft.used)
        rows = rows & self.draft.used
        for item in self.definition.items:
            mine = rows & (self.draft.text["item"] == item.key)
            if mine.any():
                self._responses(item, mine)

    def _reject_rows(self, column: str, rows: Flags, rule: str, expect: Callable[[str], str]) -> None:
        import numpy as np

        chosen = np.flatnonzero(rows)
        if len(chosen):
            values = self.draft.text.get(column)
            expected = [expect("" if values is None else str(values[row])) for row in chosen.tolist()]
            reject(self.draft, self.reader, column, chosen, rule, expected)

    def _items(self, rows: Flags) -> None:
        import numpy as np

        known = [item.key for item in self.definition.items]
        listed = ", ".join(known) if len(known) <= 12 else f"{', '.join(known[:12])}, ..."
        wrong = rows & ~np.isin(self.draft.text["item"], known)
        self._reject_rows(
            "item",
            wrong,
            "unknown_item",
            lambda text: (
                f"an item of {self.definition.key}: {listed}"
                f"{holding_version(text, self.definition, self.catalogue) or near_word(text, known)}"
            ),
        )

    def _whole(self) -> Flags:
        """Return the rows of items that may hold for the whole measure at a visit."""
        import numpy as np

        return np.isin(self.draft.text["item"], [item.key for item in self.definition.context])

    def _places(self, rows: Flags) -> None:
        import numpy as np

        place, known = self.draft.text["place"], list(self.definition.rows.place)
        key = self.definition.key
        if known:
            wrong = rows & ~np.isin(place, known) & ~((place == "") & self._whole())
            listed = ", ".join(known)
            self._reject_rows(
                "place", wrong, "unknown_place", lambda text: f"a place of {key}: {listed}{near_word(text, known)}"
            )
        else:
            self._reject_rows("place", rows & (place != ""), "no_place", lambda _: f"nothing; {key} has no places")

    def _sides(self, rows: Flags) -> None:
        side, key = self.draft.text["side"], self.definition.key
        if self.definition.rows.side:
            wrong = rows & (side == "") & ~self._whole()
            self._reject_rows("side", wrong, "no_side", lambda _: f"left or right; {key} is taken on both sides")
        else:
            self._reject_rows("side", rows & (side != ""), "side_not_used", lambda _: f"nothing; {key} has no sides")

    def _trials(self, rows: Flags) -> None:
        import numpy as np

        trial, limits, key = self.draft.number["trial"], self.definition.rows.trial, self.definition.key
        given = rows & ~np.isnan(trial)
        if limits is None:
            self._reject_rows("trial", given, "trial_not_used", lambda _: f"nothing; {key} has no trials")
        else:
            wrong = given & ~((trial >= 1) & (trial <= limits.max))
            self._reject_rows("trial", wrong, "trial", lambda _: f"a trial of {key}: 1 to {limits.max}")

    def _responses(self, item: Item, rows: Flags) -> None:
        """Read the responses of one item through its definition."""
        import numpy as np

        from outcomes.measures import read_responses

        draft = self.draft
        dates = rows & np.isin(draft.types["response"], (DATE, CLOCK)) & (not item.free_text)
        if dates.any():
            self._dates(np.flatnonzero(dates))
        if item.range is not None:
            self._decimals(item, rows & ~dates)
            self._turn_units(item, rows & ~dates)
        chosen = np.flatnonzero(rows & ~dates & (draft.text["response"] != ""))
        if not len(chosen):
            return
        places = draft.text["place"][chosen].tolist()
        texts_read = draft.text["response"][chosen].tolist()
        reading = read_responses(self.definition, item.key, texts_read, places=places)
        self._spell(chosen, reading)
        self._absent(chosen, reading)
        self._impossible(item, chosen, texts_read, reading)
        self._plus_lost(item, chosen)
        self._unusual(item, chosen, reading)

    def _dates(self, rows: Integers) -> None:
        expected = "an answer; the spreadsheet holds a date there"
        reject(self.draft, self.reader, "response", rows, "looks_like_date", expected, remedy=AS_TEXT)

    def _decimals(self, item: Item, rows: Flags) -> None:
        """Turn declared decimal commas; refuse a column in doubt."""
        import numpy as np

        draft, decimal = self.draft, self.reader.protocol.intake.decimal
        chosen = np.flatnonzero(rows)
        codes, different = unique(draft.text["response"])
        doubted = number_doubts(draft, "response", codes, different, self.reader, rows)
        draft.empty("response", doubted, "column_in_doubt")
        if decimal == ",":
            shaped = np.array([bool(POINTED_PATTERN.fullmatch(text)) for text in different], dtype=bool)
            pointed = rows & shaped[codes] & (draft.types["response"] == TEXT)
            wrong = np.flatnonzero(pointed)
            reject(draft, self.reader, "response", wrong, "ambiguous_number", POINTED_EXPECTED)
            plain = texts([plain_number(text, ",") for text in different])[codes]
            changed = chosen[(plain != draft.text["response"])[chosen] & ~pointed[chosen]]
            draft.text["response"][changed] = plain[changed]
            draft.mark("response", changed, NORMALISED, "decimal_comma")

    def _turn_units(self, item: Item, rows: Flags) -> None:
        import numpy as np

        draft = self.draft
        for i, feed in enumerate(draft.feeds):
            given = feed.units.get("response", "")
            mine = np.flatnonzero(rows & (draft.feed == i) & bool(given))
            if not len(mine):
                continue
            try:
                factor = conversion_factor(given, item.unit or "")
            except DesignError as error:
                expected = f"a unit that can be turned into {item.unit or 'none'}; {error.reason}"
                self.reader.found.over(draft, mine, "response", "block", "unit", expected, found=given)
                continue
            if factor != 1.0:
                self._multiply(mine, factor, f"{given} to {item.unit}")

    def _multiply(self, rows: Integers, factor: float, reason: str) -> None:
        import numpy as np

        values = self.draft.text["response"]
        numbers = np.array([bool(NUMBER_PATTERN.fullmatch(text)) for text in values[rows].tolist()], dtype=bool)
        rows = rows[numbers]
        turned = rounded(np.array([float(text) for text in values[rows].tolist()], dtype=np.float64) * factor)
        values[rows] = texts([number_text(value) for value in turned.tolist()])
        self.draft.mark("response", rows, NORMALISED, reason)

    def _spell(self, rows: Integers, reading: Reading) -> None:
        """Take the definition's spelling of every answer."""
        values = self.draft.text["response"]
        changed = (reading.text != values[rows]) & (reading.text != "")
        values[rows[changed]] = reading.text[changed]
        self.draft.mark("response", rows[changed], NORMALISED, "declared_spelling")

    def _absent(self, rows: Integers, reading: Reading) -> None:
        """Move a word such as NT from the response to the reason why there is none."""
        is_word = reading.absent != ""
        if not is_word.any():
            return
        draft, moved, meant = self.draft, rows[is_word], reading.absent[is_word]
        known = draft.text[ABSENT][moved]
        expected = f"one reason; '{ABSENT}' gives another, which is kept"
        self.reader.found.at(draft, moved[(known != "") & (known != meant)], "response", "ask", "two_reasons", expected)
        draft.text[ABSENT][moved[known == ""]] = meant[known == ""]
        draft.text["response"][moved] = ""
        draft.mark("response", moved, NORMALISED, "absent_word")

    def _impossible(self, item: Item, rows: Integers, typed: list[str], reading: Reading) -> None:
        """Set aside what the definition refuses."""
        import numpy as np

        wrong = np.flatnonzero(reading.problem != "")
        by_rule: dict[tuple[str, str], list[tuple[int, str]]] = {}
        hint_of = cache(lambda rule, text, place: self._hint(item, rule, text, place))
        places = self.draft.text["place"]
        for i in wrong.tolist():
            rule = str(reading.problem[i])
            hint = hint_of(rule, typed[i], str(places[rows[i]]))
            remedy = AS_TEXT if rule == "looks_like_date" else ""
            by_rule.setdefault((rule, remedy), []).append((i, reading.expected + hint))
        for (rule, remedy), cells in by_rule.items():
            chosen = rows[[i for i, _ in cells]]
            reject(self.draft, self.reader, "response", chosen, rule, [text for _, text in cells], remedy=remedy)

    def _hint(self, item: Item, rule: str, text: str, place: str) -> str:
        """Return in words what an answer that was refused may have meant."""
        if rule in HINTS:
            return HINTS[rule]
        if item.range is not None and NUMBER_PATTERN.fullmatch(text):
            return self._fits(item, float(text), place)
        if text.casefold().replace(" ", "_") in ABSENT_WORDS:
            return f"; why there is no answer belongs in {ABSENT}"
        problem = number_problem(text, ".")[0]
        if problem == "missing_word":
            return "; empty, or declared under [intake] missing_words, if it means missing"
        if rule == "not_a_number":
            if problem == "clock":
                return "; one number in that unit, not hours or minutes and seconds"
            if re.search("[0-9]", text):
                return HINTS.get(problem, "; the number alone: words and signs beside it belong in the column note")
            return f"; where there is no value, an empty cell and the reason in {ABSENT}"
        return fitting_measure(text, item.key, self.definition, self.catalogue) if rule == "not_a_code" else ""

    def _fits(self, item: Item, value: float, place: str) -> str:
        """Return in words the other unit in which a value would be usual at its place."""
        usual = item.usual_at.get(place, item.usual)
        unit = fitting_unit(value, item.unit, usual) if usual else ""
        return f"; the value would fit {spelled_unit(unit)}" if unit else ""

    def _plus_lost(self, item: Item, rows: Integers) -> None:
        """Ask about a grade typed as a number where its twin with a plus never occurs in the column."""
        draft = self.draft
        for code in item.codes or {}:
            base = code.rstrip("+-")
            if base == code or base not in (item.codes or {}):
                continue
            for place in dict.fromkeys(self._headings(rows)):
                mine = rows[[there == place for there in self._headings(rows)]]
                answers: Texts = draft.text["response"][mine]
                numbers = mine[(answers == base) & (draft.types["response"][mine] == NUMBER)]
                if len(numbers) and not (answers == code).any():
                    expected = f"{base} or {code}; cells that are numbers: {len(numbers)}, cells with {code}: none"
                    remedy = (
                        f"A spreadsheet may have turned {code} into {base}: look at the paper, format cells as text."
                    )
                    self.reader.found.over(
                        draft, numbers, "response", "ask", "plus_lost", expected, found=base, remedy=remedy
                    )

    def _headings(self, rows: Integers) -> list[tuple[int, int]]:
        """Return sheet and heading of the response of every row."""
        feeds = [(feed.sheet, feed.headings.get("response", -1)) for feed in self.draft.feeds]
        return [feeds[i] for i in self.draft.feed[rows].tolist()]

    def _unusual(self, item: Item, rows: Integers, reading: Reading) -> None:
        """Ask about values outside the usual range of the definition."""
        import numpy as np

        odd = np.flatnonzero((reading.unusual != "") & (self.draft.text["response"][rows] != ""))
        said: dict[str, list[tuple[int, str]]] = {"unit_slip": [], "unusual": []}
        for i in odd.tolist():
            hint = self._fits(item, float(reading.value[i]), str(self.draft.text["place"][rows[i]]))
            said["unit_slip" if hint else "unusual"].append((i, f"usually {reading.usual[i]}{hint}"))
        for rule, cells in said.items():
            chosen = rows[[i for i, _ in cells]]
            self.reader.found.at(self.draft, chosen, "response", "ask", rule, [text for _, text in cells])
