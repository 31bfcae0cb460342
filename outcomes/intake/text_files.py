"""Read csv and tsv files: encoding, separator, quotes, ragged rows, with the spreadsheet's own row numbers."""

from __future__ import annotations

import codecs
import csv
import io
import re
import unicodedata
from collections.abc import Callable, Collection, Iterable, Sequence
from typing import TYPE_CHECKING

from outcomes.intake.raw import BLANK, TEXT, Sheet, texts

if TYPE_CHECKING:
    from outcomes.intake.collector import Collector
    from outcomes.intake.raw import Texts, Types
    from protocols.schema import IntakeRules

SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
WORKBOOK_START = b"PK\x03\x04"
OLE_START = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
UTF16_STARTS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)

LOOK_AHEAD = 30
"""Rows among which headings are looked for where the declared row has none."""

Refuse = Callable[..., None]


def read_text_file(name: str, raw: bytes, rules: IntakeRules, known: Collection[str], found: Collector) -> Sheet | None:
    """Read one text file into a sheet.

    Parameters
    ----------
    name : str
        File inside the study folder.
    raw : bytes
    rules : IntakeRules
        ``[intake]`` of the protocol.
    known : collection of str
        Headings that would be recognised; decides between separators.
    found : Collector
        Takes the findings.

    Returns
    -------
    Sheet or None
        None where the file cannot be read in one way only.
    """

    def refuse(rule: str, expected: str, *, row: int | None = None, found_text: str = "", remedy: str = "") -> None:
        found.add("block", rule, expected, file=name, row=row, found=found_text, remedy=remedy)

    text = _decode(raw, rules, refuse)
    if text is None:
        return None
    text, declared = _first_line(text)
    separator, note = (
        (declared, f"separator declared in the first line: {SEPARATORS[declared]}")
        if declared and rules.separator in (None, declared)
        else _separator(name, text, rules, known, refuse)
    )
    if not separator:
        return None
    records = _records(text, separator, refuse)
    if records is None:
        return None
    likely = likely_header(enumerate(records, start=1), known, rules.header_row)
    sheet = banner_sheet(name, "", rules, likely) if likely else to_sheet(name, records, rules, refuse)
    if sheet is not None and note:
        sheet.notes.append(note)
    return sheet


def _decode(raw: bytes, rules: IntakeRules, refuse: Refuse) -> str | None:
    """Return the text of a file, or None after saying why there is none."""
    if not raw.strip():
        refuse("empty_file", "headings and rows; the file is empty")
    elif raw.startswith(WORKBOOK_START):
        refuse("workbook_as_text", "text; the content is a workbook: name the file .xlsx, or save it as csv")
    elif raw.startswith(OLE_START):
        refuse("workbook_as_text", "text; the content is an old or encrypted workbook: save it as .xlsx or csv")
    elif rules.encoding is not None:
        return _declared(raw, rules.encoding, refuse)
    elif raw.startswith(UTF16_STARTS) or raw[:1000].count(0) > len(raw[:1000]) // 4:
        refuse("encoding", "UTF-8; the file is UTF-16", remedy=_encoding_remedy("utf-16"))
    else:
        try:
            return raw.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            byte = f"byte 0x{raw[error.start]:02x}"
            remedy = _encoding_remedy("windows-1252")
            row = _row_of(raw, error.start)
            refuse(
                "encoding", f"UTF-8; {byte} in row {row} is not, as in Latin-1 or Windows-1252", row=row, remedy=remedy
            )
    return None


def _declared(raw: bytes, encoding: str, refuse: Refuse) -> str | None:
    try:
        codec = codecs.lookup(encoding)
        if not codec._is_text_encoding:
            raise LookupError(encoding)
        if codec.name == "utf-8" or not _is_utf8(raw):
            return raw.decode("utf-8-sig" if codec.name == "utf-8" else codec.name)
        expected = f"{encoding}, as [intake] encoding says; the file is UTF-8, and its accents would be read wrongly"
        refuse("encoding", expected, remedy="Save all files in one encoding; for UTF-8 [intake] needs none.")
    except LookupError:
        refuse("encoding", f"an encoding that exists under [intake] encoding, such as windows-1252, not '{encoding}'")
    except UnicodeDecodeError as error:
        row = _row_of(raw, error.start)
        refuse("encoding", f"{encoding}, as [intake] encoding says; byte 0x{raw[error.start]:02x} is not", row=row)
    except UnicodeError:
        refuse("encoding", f"{encoding}, as [intake] encoding says")
    return None


def _is_utf8(raw: bytes) -> bool:
    """Whether bytes beyond ASCII are UTF-8, which text in another encoding hardly ever is by chance."""
    try:
        return not raw.isascii() and bool(raw.decode("utf-8"))
    except UnicodeDecodeError:
        return False


def _encoding_remedy(encoding: str) -> str:
    return f'Save the file as UTF-8 text, or say encoding = "{encoding}" under [intake] in protocol.toml.'


def _row_of(raw: bytes, position: int) -> int:
    before = raw[:position].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return before.count(b"\n") + 1


def _first_line(text: str) -> tuple[str, str]:
    """Return the text without a first line such as ``sep=;``, and the separator that it declares, else "".

    Spreadsheet programs write and read that line; they show it as no row, so it is counted as none.
    """
    found = re.match(r'"?sep=([,;\t|])"?(?:\r\n|\r|\n)', text)
    return (text[found.end() :], found[1]) if found else (text, "")


def likely_header(rows: Iterable[tuple[int, Sequence[str]]], known: Collection[str], header_row: int) -> int | None:
    """Return the row that looks like the headings where the declared one has none of them, else None.

    Parameters
    ----------
    rows : iterable of (int, sequence of str)
        Rows by their number, from the first on.
    known : collection of str
        Headings that would be recognised.
    header_row : int
        Row of the headings as declared.
    """
    counts: dict[int, int] = {}
    for number, cells in rows:
        if number > max(LOOK_AHEAD, header_row):
            break
        counts[number] = sum(tidy_heading(cell) in known for cell in cells if cell)
    best = max(counts, key=lambda number: counts[number], default=header_row)
    return best if counts.get(header_row, 0) == 0 and counts.get(best, 0) >= 2 else None


def banner_sheet(name: str, title: str, rules: IntakeRules, likely: int) -> Sheet:
    """Return a sheet without content whose headings seem to stand in another row than the declared one."""
    import numpy as np

    nothing = np.zeros(0, dtype=np.int64)
    return Sheet(name, title, [], [], [], nothing, header_row=rules.header_row, likely_header=likely)


def _separator(name: str, text: str, rules: IntakeRules, known: Collection[str], refuse: Refuse) -> tuple[str, str]:
    """Return the separator and a note where it is not the one that the file's name promises."""
    if rules.separator is not None:
        return rules.separator, ""
    usual = "\t" if name.lower().endswith((".tsv", ".tab")) else ","
    headers = {separator: _header(text, separator, rules.header_row, known) for separator in SEPARATORS}
    splitting = [separator for separator, header in headers.items() if len(header) > 1]
    if not splitting:
        return usual, ""
    counts = {separator: sum(cell.strip() in known for cell in headers[separator]) for separator in splitting}
    best = max(counts.values())
    winners = [separator for separator in splitting if counts[separator] == best]
    if len(winners) > 1:
        words = " or ".join(SEPARATORS[separator] for separator in winners)
        refuse(
            "separator",
            f"headings that one separator splits; {words} would",
            row=rules.header_row,
            remedy='Say separator = ";" (or the one that is meant) under [intake] in protocol.toml.',
        )
        return "", ""
    return winners[0], "" if winners[0] == usual else f"separator found in the headings: {SEPARATORS[winners[0]]}"


def _header(text: str, separator: str, header_row: int, known: Collection[str]) -> list[str]:
    """Return the headings as one separator gives them, none where the text cannot be split by it.

    Where the declared row holds no known heading, the row that looks like the headings is taken.
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    first: list[tuple[int, list[str]]] = []
    try:
        for number, record in enumerate(reader, start=1):
            first.append((number, record))
            if number >= max(header_row, LOOK_AHEAD):
                break
    except csv.Error:
        return dict(first).get(header_row, [])  # `_records` says what is wrong with the text
    return dict(first).get(likely_header(first, known, header_row) or header_row, [])


def _records(text: str, separator: str, refuse: Refuse) -> list[list[str]] | None:
    """Return every record, or None after naming the row in which a quote goes wrong."""
    records: list[list[str]] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        records.extend(reader)
    except csv.Error as error:
        row = len(records) + 1
        if "expected after" in str(error):
            expected = "nothing between a closing quote and the separator, or the quote doubled inside quoted text"
        else:
            expected = "a closing quote; one opened in this row is never closed"
        refuse("quote", expected, row=row)
        return None
    return records


def to_sheet(name: str, records: list[list[str]], rules: IntakeRules, refuse: Refuse) -> Sheet | None:
    """Return records as a sheet: headings, non-blank rows, short rows; extra fields are refused."""
    import numpy as np

    if len(records) < rules.header_row or not any(cell.strip() for cell in records[rules.header_row - 1]):
        refuse(
            "no_headings",
            f"headings in row {rules.header_row}",
            row=rules.header_row,
            remedy="Say header_row under [intake] in protocol.toml if they stand in another row.",
        )
        return None
    typed = records[rules.header_row - 1]
    body = _Body(len(typed), 1 + max(i for i, cell in enumerate(typed) if cell.strip()), rules.unit_row, refuse)
    for number, record in enumerate(records[rules.header_row :], start=rules.header_row + 1):
        body.take(number, record)
    columns = body.columns()
    headings = [tidy_heading(cell) for cell in typed[: body.reach]]
    return Sheet(
        name,
        "",
        headings,
        columns,
        [blank_out(column) for column in columns],
        np.array(body.rows, dtype=np.int64),
        header_row=rules.header_row,
        blank_rows=body.blank,
        trimmed_headings=sum(a != b for a, b in zip(headings, typed, strict=False)),
        short=body.short,
        unit_row=rules.unit_row,
        units=body.units,
    )


class _Body:
    """The records below the headings."""

    def __init__(self, fields: int, width: int, unit_row: int | None, refuse: Refuse) -> None:
        self.fields, self.width, self.unit_row, self.refuse = fields, width, unit_row, refuse
        self.reach = width
        self.rows: list[int] = []
        self.kept: list[list[str]] = []
        self.short: dict[int, int] = {}
        self.units: dict[int, str] = {}
        self.blank = 0

    def take(self, number: int, record: list[str]) -> None:
        """Take one record, with its row number."""
        if not any(map(str.strip, record)):
            self.blank += 1
            return
        if number == self.unit_row:
            self.units = {i: cell.strip() for i, cell in enumerate(record) if cell.strip()}
            return
        if len(record) != self.width:
            self._uneven(number, record)
        self.rows.append(number)
        self.kept.append(record)

    def columns(self) -> list[Texts]:
        """Return the cells column by column; a short record ends in blanks."""
        if self.reach > self.width or self.short:
            self.kept = [record[: self.reach] + [""] * (self.reach - len(record)) for record in self.kept]
        columns = [texts(list(column)) for column in zip(*self.kept, strict=False)][: self.reach]
        return columns or [texts([]) for _ in range(self.reach)]

    def _uneven(self, number: int, record: list[str]) -> None:
        if len(record) < self.width:
            self.short[number] = len(record)
            return
        filled = max(i + 1 for i, cell in enumerate(record) if cell.strip())
        if filled > self.fields:
            self.refuse(
                "too_many_fields",
                f"{self.fields} fields, as there are headings; the row has {len(record)}",
                row=number,
                remedy="Put text that contains the separator in quotes.",
            )
        self.reach = max(self.reach, min(filled, self.fields))


def blank_out(column: Texts) -> Types:
    """Make cells of nothing but blanks empty, and return the types of a text column."""
    import numpy as np

    for text in {text for text in set(column.tolist()) if text and not text.strip()}:
        column[column == text] = ""
    kinds: Types = np.where(column == "", BLANK, TEXT).astype(np.int8)
    return kinds


def tidy_heading(text: str) -> str:
    """Return a heading trimmed and in Unicode form NFC.

    Examples
    --------
    >>> tidy_heading(" girth ")
    'girth'
    """
    return unicodedata.normalize("NFC", text.strip())
