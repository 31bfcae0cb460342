"""Read Parquet, SPSS and Stata files: typed columns, value labels, and what the file itself declares missing."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

from outcomes.intake.frames import sheet_of_columns
from outcomes.intake.raw import NUMBER, cell

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.intake.collector import Collector
    from outcomes.intake.raw import Sheet

PARQUET = (".parquet",)
STATISTICS = (".sav", ".zsav", ".dta")
"""Files of statistics programs, read with the extra ``statfiles``."""

CELL_LIMIT = 5_000_000
"""Rows times columns of one file that are read."""

INSTALL = "Install it with: pip install 'outcomes[statfiles]'; or save the table as csv."


class _Refused(Exception):
    """The file cannot be read; the text says what would do."""


def read_data_file(name: str, suffix: str, raw: bytes, found: Collector) -> Sheet | None:
    """Read a Parquet, SPSS or Stata file into a sheet: row 2 is its first row, as if it had been saved as a table.

    Parameters
    ----------
    name : str
        File inside the study folder.
    suffix : str
        Its ending in small letters.
    raw : bytes
    found : Collector
        Takes the findings.

    Returns
    -------
    Sheet or None
        None where the file cannot be read; a finding says why.
    """
    try:
        if suffix in PARQUET:
            return sheet_of_columns(name, _parquet(raw))
        return _statistics(name, suffix, raw)
    except _Refused as error:
        found.add("block", "data_file", str(error), file=name)
    except ImportError:
        expected = "csv or xlsx, or the library pyreadstat, which reads files of statistics programs"
        found.add("block", "file_kind", expected, file=name, remedy=INSTALL)
    return None


def _refuse_large(rows: int, columns: int) -> None:
    if rows * max(columns, 1) > CELL_LIMIT:
        raise _Refused(f"at most {CELL_LIMIT:,} cells; the file has {rows:,} rows of {columns:,} columns")


def _parquet(raw: bytes) -> pd.DataFrame:
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        file = pq.ParquetFile(io.BytesIO(raw))
        _refuse_large(file.metadata.num_rows, file.metadata.num_columns)
        table = file.read()
        nested = [
            field.name for field in table.schema if pa.types.is_nested(field.type) or pa.types.is_binary(field.type)
        ]
        if nested:
            raise _Refused(f"columns of numbers, texts and days; '{nested[0]}' holds something else")
        frame: pd.DataFrame = table.to_pandas(
            date_as_object=True, integer_object_nulls=True, strings_to_categorical=False, ignore_metadata=True
        )
    except (pa.ArrowException, OSError, ValueError) as error:
        raise _Refused("a Parquet file that can be read; this one is damaged or of another kind") from error
    return frame


def _statistics(name: str, suffix: str, raw: bytes) -> Sheet:
    import pyreadstat

    read = pyreadstat.read_dta if suffix == ".dta" else pyreadstat.read_sav
    try:
        _, meta = read(io.BytesIO(raw), metadataonly=True)
        _refuse_large(meta.number_rows or 0, meta.number_columns or 0)
        frame, meta = read(io.BytesIO(raw), user_missing=True)
    except (pyreadstat.ReadstatError, pyreadstat.PyreadstatError, ValueError, OSError, UnicodeDecodeError) as error:
        raise _Refused("a file of SPSS or Stata that can be read; this one is damaged or of another kind") from error
    _refuse_large(len(frame), frame.shape[1])
    sheet = sheet_of_columns(name, frame)
    for position, heading in enumerate(frame.columns):
        labels = {cell(_plain(value))[0]: label for value, label in meta.variable_value_labels.get(heading, {}).items()}
        if labels:
            sheet.labels[position] = labels
        missing = _missing(sheet, position, meta, str(heading))
        if missing:
            sheet.missing[position] = missing
    return sheet


def _plain(value: Any) -> Any:
    return value.item() if hasattr(value, "item") else value


def _missing(sheet: Sheet, position: int, meta: Any, heading: str) -> frozenset[str]:
    """Return the texts of a column that the file itself declares missing: SPSS ranges, letters of Stata."""
    declared = {str(value) for value in meta.missing_user_values.get(heading, ())}
    ranges = meta.missing_ranges.get(heading, ())
    texts = set(sheet.columns[position].tolist()) - {""}
    kinds = dict(zip(sheet.columns[position].tolist(), sheet.types[position].tolist(), strict=True))
    return frozenset(text for text in texts if text in declared or _in_ranges(text, kinds[text] == NUMBER, ranges))


def _in_ranges(text: str, is_number: bool, ranges: Any) -> bool:
    for part in ranges:
        low, high = part["lo"], part["hi"]
        if isinstance(low, str):
            if text == low.strip():
                return True
        elif is_number and low <= float(text) <= high:
            return True
    return False
