"""Value labels of statistics files: whether a cell means its value or the label of its value, and what the file itself
declares missing. Where both could be meant, nothing is chosen: columns.csv says it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from outcomes.intake.drafts import NORMALISED, Draft
from outcomes.intake.mapping import LABELS, VALUES
from outcomes.intake.raw import TEXT, texts, unique

if TYPE_CHECKING:
    from outcomes.intake.raw import Flags, Integers, Types
    from outcomes.intake.settling import Reader
    from outcomes.measures import Catalogue

REASON = "value_label"
MISSING = "missing_in_file"
VALUE, LABEL, IN_DOUBT = range(3)


def apply_labels(draft: Draft, reader: Reader, catalogue: Catalogue) -> None:
    """Turn labelled values of statistics files into their labels where the column holds words.

    Parameters
    ----------
    draft : Draft
        Takes the labels in the place of the values, counted as normalised.
    reader : Reader
        Takes the findings.
    catalogue : Catalogue
        Says whether an answer can be the value, its label, or either.
    """
    for index, feed in enumerate(draft.feeds):
        sheet = draft.sheets[feed.sheet]
        for name, position in feed.headings.items():
            rows = draft.feed == index
            _declared_missing(draft, name, rows, sheet.missing.get(position, frozenset()))
            labels = sheet.labels.get(position)
            if labels and name in draft.table.by_heading:
                wanted = feed.formats.get(name, "")
                _apply(draft, name, rows, labels, wanted, reader, catalogue)


def _declared_missing(draft: Draft, name: str, rows: Flags, missing: frozenset[str]) -> None:
    import numpy as np

    if missing:
        draft.empty(name, np.flatnonzero(rows & np.isin(draft.typed[name], list(missing))), MISSING)


def _apply(
    draft: Draft,
    name: str,
    rows: Flags,
    labels: Mapping[str, str],
    wanted: str,
    reader: Reader,
    catalogue: Catalogue,
) -> None:
    import numpy as np

    kind = draft.table.by_heading[name].kind
    mine = np.flatnonzero(rows & np.isin(draft.typed[name], list(labels)))
    if wanted == VALUES or not len(mine):
        return
    if wanted != LABELS and name == "response":
        says = _readings(draft, mine, labels, catalogue)
        doubted = mine[says == IN_DOUBT]
        if len(doubted):
            typed = draft.typed_text(int(doubted[0]), name)
            expected = f"an answer with one reading; the value is {typed}, and its label is '{labels[typed]}'"
            remedy = f"Say format = {LABELS} or {VALUES} for the heading in columns.csv."
            reader.found.over(draft, doubted, name, "block", "value_labels", expected, remedy=remedy)
            draft.empty(name, doubted, "column_in_doubt")
        mine = mine[says == LABEL]
    elif wanted != LABELS and kind not in ("word", "key", "text"):
        return
    _replace(draft, name, mine, labels)


def _readings(draft: Draft, rows: Integers, labels: Mapping[str, str], catalogue: Catalogue) -> Types:
    """Return for every row whether its answer is the value, the label of the value, or could be both."""
    import numpy as np

    named = [draft.typed.get(part) for part in ("measure", "item")]
    known: dict[tuple[str, ...], int] = {}
    says = np.zeros(len(rows), dtype=np.int8)
    for i, row in enumerate(rows.tolist()):
        key = (*("" if part is None else str(part[row]).strip() for part in named), str(draft.typed["response"][row]))
        if key not in known:
            known[key] = _reading(key[0], key[1], key[2], labels[key[2]], catalogue)
        says[i] = known[key]
    return says


def _reading(measure: str, item: str, value: str, label: str, catalogue: Catalogue) -> int:
    from outcomes.measures import read_responses

    if measure not in catalogue or item not in [one.key for one in catalogue.get(measure).items]:
        return VALUE
    reading = read_responses(catalogue.get(measure), item, [value, label.strip()])
    fits = [not problem for problem in reading.problem.tolist()]
    if all(fits) and reading.text[0] != reading.text[1]:
        return IN_DOUBT
    return LABEL if fits == [False, True] else VALUE


def _replace(draft: Draft, name: str, rows: Integers, labels: Mapping[str, str]) -> None:
    if len(rows):
        codes, different = unique(draft.typed[name][rows])
        draft.typed[name][rows] = texts([labels[text] for text in different])[codes]
        draft.types[name][rows] = TEXT
        draft.mark(name, rows, NORMALISED, REASON)
