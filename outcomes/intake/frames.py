"""From drafts to the frames that other rooms read, and from a caller's frames to sheets."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from outcomes.files import sha256
from outcomes.intake.days import Visits, all_visits
from outcomes.intake.drafts import Draft
from outcomes.intake.ledger import Source, row_ids
from outcomes.intake.raw import Sheet, cell, clock_text, texts
from outcomes.intake.text_files import blank_out, tidy_heading
from outcomes.vocabulary import TABLES, Column, Table

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    from outcomes.intake.raw import Integers
    from protocols.schema import Protocol


def build_frames(
    drafts: Mapping[str, Draft], protocol: Protocol
) -> tuple[dict[str, pd.DataFrame], dict[str, list[Source]]]:
    """Return the tables, used rows only, and the sources of derived visits."""
    import numpy as np
    import pandas as pd

    tables = {name: _frame(draft, np.flatnonzero(draft.used)) for name, draft in drafts.items()}
    visits = all_visits(drafts, protocol)
    only = visits.take(np.flatnonzero(visits.table == "assessments"))
    derived = [Source("assessments", int(row)) for row in only.row.tolist()]
    if len(only):
        more = _derived_visits(only, len(drafts["visits"]) if "visits" in drafts else 0)
        given = tables.get("visits")
        tables["visits"] = more if given is None else pd.concat([given, more], ignore_index=True)
    elif "visits" not in tables:
        tables["visits"] = _derived_visits(only, 0)
    ordered = {name: tables[name] for name in TABLES if name in tables}
    return ordered, {"visits": derived} if derived else {}


def _frame(draft: Draft, rows: Integers) -> pd.DataFrame:
    import numpy as np
    import pandas as pd

    ids = np.array(row_ids(draft.name, len(draft)), dtype=object)[rows]
    columns: dict[str, Any] = {"row_id": strings(ids)}
    for column in draft.table.columns:
        columns |= _column(draft, column, rows)
    for name in draft.extra:
        columns[name] = strings(draft.typed[name][rows])
    return pd.DataFrame(columns)


def strings(values: NDArray[np.object_]) -> pd.Series[str]:
    """Return texts as a `str` column, missing where empty."""
    import numpy as np
    import pandas as pd

    blank = values == ""
    if blank.any():
        values = values.copy()
        values[blank] = np.nan
    column: pd.Series[str] = pd.Series(values, dtype="str")
    return column


def _column(draft: Draft, column: Column, rows: Integers) -> dict[str, Any]:
    """Return the columns of the frame that one column of the vocabulary gives."""
    import numpy as np

    name, count = column.name, len(draft)
    if column.kind in ("number", "integer"):
        return {name: draft.number.get(name, np.full(count, np.nan))[rows]}
    if column.kind in ("date", "moment"):
        given: dict[str, Any] = {name: draft.moment.get(name, np.full(count, np.datetime64("NaT", "us")))[rows]}
        for part in ("day", "clock") if column.kind == "moment" else ("day",):
            twin = f"{column.stem}_{part}"
            given[twin] = draft.number.get(twin, np.full(count, np.nan))[rows]
        return given
    if name in draft.text:
        return {name: strings(draft.text[name][rows])}
    return {name: strings(texts([""] * len(rows)))}


def _derived_visits(visits: Visits, offset: int) -> pd.DataFrame:
    """Return the visits that only assessments know, as rows of the table visits."""
    import pandas as pd

    count = len(visits)
    blank = texts([""] * count)
    return pd.DataFrame(
        {
            "row_id": strings(texts([f"visits/{offset + i}" for i in range(1, count + 1)])),
            "participant_id": strings(visits.participant),
            "visit": strings(visits.visit),
            "visited_at": visits.moment,
            "visited_day": visits.day,
            "visited_clock": visits.clock,
            "status": strings(blank),
            "reason": strings(blank),
        }
    )


def sheet_of_frame(name: str, frame: pd.DataFrame) -> Sheet:
    """Return a caller's frame as a sheet: row 2 is its first row, as if it had been saved.

    Parameters
    ----------
    name : str
        Table.
    frame : DataFrame
        Columns as in the vocabulary. A frame that came out of a study (it has `row_id`) may carry both forms of a day;
        the dates are taken where there are any.
    """
    if "row_id" in frame.columns:
        frame = _one_form(TABLES[name], frame.drop(columns="row_id"))
    return sheet_of_columns(name, frame)


def sheet_of_columns(file: str, frame: pd.DataFrame) -> Sheet:
    """Return the columns of a frame as a sheet of a file: row 2 is its first row."""
    import numpy as np

    columns, types = [], []
    for position, heading in enumerate(frame.columns):
        values, kinds = _cells(str(heading), frame.iloc[:, position])
        columns.append(values)
        types.append(kinds)
    filled = np.zeros(len(frame), dtype=bool)
    for kinds in types:
        filled |= kinds != 0
    rows = np.flatnonzero(filled)
    headings = [tidy_heading(str(heading)) for heading in frame.columns]
    return Sheet(
        file,
        "",
        headings,
        [column[rows] for column in columns],
        [kinds[rows] for kinds in types],
        rows + 2,
        blank_rows=len(frame) - len(rows),
        trimmed_headings=sum(a != b for a, b in zip(headings, frame.columns, strict=True)),
    )


def _one_form(table: Table, frame: pd.DataFrame) -> pd.DataFrame:
    """Undo what a study adds to a table: columns that the clinic does not have, and the second form of a day."""
    if frame.columns.has_duplicates:
        return frame
    for column in table.columns:
        if column.kind not in ("date", "moment") or column.name not in frame.columns:
            continue
        twins = [form for form in column.headings[1:] if form in frame.columns]
        dated = frame[column.name].notna().any()
        frame = frame.drop(columns=twins if dated or not twins else column.name)
    kept = [name for name in frame.columns if name in table.required_columns or frame[name].notna().any()]
    return frame[kept]


def _cells(heading: str, column: pd.Series[Any]) -> tuple[NDArray[np.object_], NDArray[np.int8]]:
    """Return the cells of one column of a frame as canonical texts and types."""
    import numpy as np
    import pandas as pd

    if heading.endswith("_clock") and pd.api.types.is_numeric_dtype(column.dtype):
        clocks = [clock_text(value * 60) if value == value else "" for value in column.astype(float).tolist()]
        values = texts(clocks)
        return values, blank_out(values)
    objects = column.astype(object).where(column.notna(), None).tolist()
    if pd.api.types.is_string_dtype(column.dtype) and all(v is None or isinstance(v, str) for v in objects):
        values = texts([v or "" for v in objects])
        return values, blank_out(values)
    pairs = [cell(_plain(value)) for value in objects]
    return texts([text for text, _ in pairs]), np.array([kind for _, kind in pairs], dtype=np.int8)


def _plain(value: Any) -> Any:
    """Return a scalar of numpy or pandas as plain Python."""
    import numpy as np
    import pandas as pd

    if isinstance(value, np.datetime64):
        value = pd.Timestamp(value)
    if hasattr(value, "to_pydatetime"):
        return value.to_pydatetime(warn=False)
    return value.item() if hasattr(value, "item") else value


def frame_hash(sheet: Sheet) -> str:
    """Return the SHA-256 of a sheet's headings and cells."""
    parts = ["\x1f".join(sheet.headings)]
    parts += ["\x1f".join(row) for row in zip(*(column.tolist() for column in sheet.columns), strict=True)]
    return sha256("\x1e".join(parts).encode("utf-8", "surrogatepass"))
