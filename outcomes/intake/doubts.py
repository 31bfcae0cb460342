"""A whole column in doubt: decimal commas, thousands marks, units, dates in two orders. Refused, never guessed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from outcomes.errors import DesignError
from outcomes.intake.dates import formats_for, order_of
from outcomes.intake.drafts import USED
from outcomes.intake.numerals import COMMA_PATTERN, NUMBER_PATTERN, THOUSANDS_PATTERN
from outcomes.units import conversion_factor

if TYPE_CHECKING:
    from outcomes.intake.drafts import Draft
    from outcomes.intake.raw import Flags, Integers
    from outcomes.intake.settling import Reader

DECIMAL_REMEDY = 'Say decimal = "," under [intake] in protocol.toml if the comma is a decimal mark.'


def number_doubts(
    draft: Draft, name: str, codes: Integers, different: list[str], reader: Reader, only: Flags | None = None
) -> Flags:
    """Refuse a column of numbers that can be read in two ways, sheet by sheet; return the cells in doubt.

    Parameters
    ----------
    draft : Draft
    name : str
        Column.
    codes, different : int array, list of str
        Its texts, settled.
    reader : Reader
        Takes the findings.
    only : array of bool, optional
        The rows that hold numbers; all by default.
    """
    import numpy as np

    doubted = np.zeros(len(draft), dtype=bool)
    shape = [bool(COMMA_PATTERN.fullmatch(text) or THOUSANDS_PATTERN.fullmatch(text)) for text in different]
    if reader.protocol.intake.decimal == "," or not any(shape):
        return doubted
    has_comma = np.array(shape, dtype=bool)[codes]
    has_point = np.array(["." in text for text in different], dtype=bool)[codes] & ~has_comma
    thousands = np.array([bool(THOUSANDS_PATTERN.fullmatch(text)) for text in different], dtype=bool)[codes]
    sheets = draft.sheet_of_rows()
    numeric = draft.used if only is None else draft.used & only
    for sheet in np.unique(sheets[has_comma & numeric]).tolist():
        here = (sheets == sheet) & numeric
        rows = np.flatnonzero(here & has_comma)
        if (here & has_point).any() or (len(rows) < 2 and not thousands[rows].any()):
            continue
        doubted[rows] = True
        rule = "ambiguous_number" if thousands[rows].all() else "decimal_comma"
        expected = (
            "numbers without a comma; it could be a thousands mark or a decimal comma"
            if rule == "ambiguous_number"
            else "numbers with a decimal point"
        )
        cells = f", {len(rows)} cells" if len(rows) > 1 else ""
        reader.found.over(draft, rows, name, "block", rule, expected + cells, remedy=DECIMAL_REMEDY)
    return doubted


def date_doubts(draft: Draft, form: str, rows: Integers, rule: str, reader: Reader, filled: int) -> bool:
    """Refuse a column of dates that can be read in two ways; return whether it was refused.

    Parameters
    ----------
    draft : Draft
    form : str
        Column.
    rows : int array
        Rows of one sheet whose text breaks `rule`.
    rule : str
    reader : Reader
    filled : int
        Cells of the column in that sheet that hold anything.
    """
    if rule not in ("ambiguous_date", "two_digit_year", "date_serial") or len(rows) * 2 < filled:
        return False
    typed = [draft.typed_text(row, form).strip() for row in rows.tolist()]
    day_first, month_first = formats_for(typed[0])
    if rule == "ambiguous_date":
        only_day, only_month = order_of(typed)
        expected = f"dates with one reading, {len(rows)} cells; day and month could be swapped"
        if only_day or only_month:
            settling = next(i for i, text in enumerate(typed) if text in (only_day, only_month))
            order = "day" if typed[settling] == only_day else "month"
            also = f", but '{only_month}' only month first" if only_day and only_month else ""
            rows = rows[[settling, *range(settling), *range(settling + 1, len(typed))]]
            expected = f"dates with one reading, {len(rows)} cells; this one can only be {order} first{also}"
        either = f'"{day_first}" or "{month_first}"'
        remedy = f"Say date_format = {either} under [intake] in protocol.toml, or format in columns.csv."
    elif rule == "two_digit_year":
        expected, remedy = f"dates with four digits of year, {len(rows)} cells", "Type the year in full."
    else:
        expected = f"dates, {len(rows)} cells; numbers may be date serials, which are read only from real date cells"
        remedy = "Format the column as dates in the spreadsheet, or type days such as 2026-03-31."
    reader.found.over(draft, rows, form, "block", rule, expected, remedy=remedy)
    return True


def unit_row(draft: Draft, reader: Reader) -> None:
    """Refuse a sheet whose first row below the headings holds units instead of data."""
    import numpy as np

    for index, feed in enumerate(draft.feeds):
        sheet = draft.sheets[feed.sheet]
        first = np.flatnonzero((draft.feed == index) & (draft.position == 0))
        if not len(first) or sheet.units:
            continue
        row = int(first[0])
        quantities = [form for form in feed.headings if _wanted(draft, form) and draft.typed_text(row, form)]
        units = [form for form in quantities if _is_unit(draft.typed_text(row, form), _wanted(draft, form))]
        if units and len(units) == len(quantities) and draft.row_state[row] == USED:
            number = draft.place(row).row
            expected = f"data below the headings; row {number} looks like units"
            remedy = f"Say unit_row = {number} under [intake] in protocol.toml, or give the unit in columns.csv."
            reader.found.over(draft, first, units[0], "block", "unit_row", expected, remedy=remedy)
            draft.set_aside(first, "unit_row")


def _wanted(draft: Draft, form: str) -> str:
    return "cm" if form == "response" else draft.table.by_heading[form].unit


def _is_unit(text: str, wanted: str) -> bool:
    text = text.strip().strip("[]()")
    if not text or NUMBER_PATTERN.fullmatch(text):
        return False
    try:
        conversion_factor(text, wanted)
    except DesignError as error:
        return "cannot be turned" in error.reason
    return True
