"""One shape for every number: intervals, estimates, results of statistics, and the record that holds them all."""

from __future__ import annotations

import dataclasses
import html
import json
import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from outcomes.coverage import Shortfall, coverage_shortfall, is_coverage_caveat, shortfall_sentences
from outcomes.errors import DataError, Finding

if TYPE_CHECKING:
    import pandas as pd

Scalar = float | int | str | None
Status = Literal["estimated", "not estimable", "not planned"]
Role = Literal["primary", "secondary", "exploratory", "descriptive"]


@dataclass(frozen=True, slots=True)
class Interval:
    """A confidence interval; either end may be infinite, neither is ever nan.

    Parameters
    ----------
    low, high : float
        Ends, in the unit of the value they belong to; ``low <= high``.
    level : float
        Nominal coverage, such as 0.95.
    method : str
        Name of the method, such as ``"Student t"``.
    """

    low: float
    high: float
    level: float
    method: str

    def __post_init__(self) -> None:
        if math.isnan(self.low) or math.isnan(self.high) or self.low > self.high:
            raise ValueError(f"not an interval: {self.low} to {self.high}")


@dataclass(frozen=True, slots=True, kw_only=True)
class HypothesisTest:
    """A hypothesis test beside an estimate.

    Parameters
    ----------
    name : str
        Such as ``"sign-flip"``.
    p : float
        Two-sided unless the name says otherwise; in (0, 1].
    statistic : float, optional
        In its own unit.
    df : tuple of float, optional
        Degrees of freedom.
    exact : bool
        Whether p comes from full enumeration; else `error` is its Monte-Carlo standard error, if it was simulated.
    error : float, optional
        Monte-Carlo standard error of p.
    """

    name: str
    p: float
    statistic: float | None = None
    df: tuple[float, ...] = ()
    exact: bool = False
    error: float | None = None

    def __post_init__(self) -> None:
        if not 0 < self.p <= 1:
            raise ValueError(f"p of {self.name} is {self.p}")
        if self.statistic is not None and math.isnan(self.statistic):
            raise ValueError(f"the statistic of {self.name} is not a number")


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """One number that a statistic returns, with all that is needed to print it honestly.

    Parameters
    ----------
    value : float, int or str
        Never rounded, never nan.
    unit : str
        UCUM code; ``"1"`` for what has no dimension.
    method : str
        Id of a method note (see ``outcomes.analysis.methods``), such as ``"mean_change"``.
    n_people : int
        Participants behind the number.
    n_values : int
        Values behind it.
    interval : Interval, optional
    test : Test, optional
    source : str
        Publication of the method.
    caveats : tuple of str
        Ids of the caveats that go with the number. Where an interval of this method held the truth too seldom in
        simulated studies of so many people, the id of the caveat that says so is among them by itself.
    """

    value: Scalar
    unit: str
    method: str
    n_people: int
    n_values: int
    interval: Interval | None = None
    test: HypothesisTest | None = None
    source: str = ""
    caveats: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if isinstance(self.value, float) and not math.isfinite(self.value):
            raise ValueError(f"{self.method}: a value of {self.value} is no estimate")
        others = tuple(caveat for caveat in self.caveats if not is_coverage_caveat(caveat))
        short = self.shortfall
        object.__setattr__(self, "caveats", (*others, short.caveat) if short else others)

    @property
    def shortfall(self) -> Shortfall | None:
        """How its interval fell short of 95 % in simulated studies; None where it did not, or has none."""
        return _shortfall(self)


def _shortfall(one: Estimate | Entry) -> Shortfall | None:
    return coverage_shortfall(one.method, one.interval.level, one.n_people) if one.interval else None


class Result:
    """Base of every result of a statistic: frozen fields, plain Python numbers, nothing rounded."""

    __slots__ = ()

    def summary(self) -> str:
        """Return the sentence that a paper needs: rounded, with unit, n and method."""
        raise NotImplementedError

    def to_frame(self) -> pd.DataFrame:
        """Return one row with a column per field, estimates spread into value, low and high."""
        import pandas as pd

        row: dict[str, Any] = {}
        for item in dataclasses.fields(self):  # type: ignore[arg-type]
            value = getattr(self, item.name)
            if isinstance(value, Estimate):
                row[item.name] = value.value
                if value.interval is not None:
                    row[f"{item.name}_low"], row[f"{item.name}_high"] = value.interval.low, value.interval.high
            elif isinstance(value, str | int | float | bool) or value is None:
                row[item.name] = value
        return pd.DataFrame([row])

    def shortfalls(self) -> dict[str, str]:
        """Return which of its intervals held the truth too seldom in simulated studies: id of a caveat to sentence."""
        return shortfall_sentences(one.shortfall for one in self._estimates() if one.shortfall)

    def _estimates(self) -> Iterator[Estimate]:
        waiting: list[Any] = [self]
        while waiting:
            one = waiting.pop(0)
            if isinstance(one, Estimate):
                yield one
            elif isinstance(one, Result):
                waiting.extend(getattr(one, item.name) for item in dataclasses.fields(one))  # type: ignore[arg-type]
            elif isinstance(one, Mapping):
                waiting.extend(one.values())
            elif isinstance(one, list | tuple):
                waiting.extend(one)

    def _repr_html_(self) -> str:
        return "".join(f"<p>{html.escape(said)}</p>" for said in (self.summary(), *self.shortfalls().values()))


# ---------------------------------------------------------------------------------------------------- the record

SCHEMA = 1
KEY_PARTS = ("analysis", "measure", "place", "group", "contrast", "exposure", "statistic")
_PART = re.compile(r"[a-z0-9_.@-]+")


def record_key(
    analysis: str,
    statistic: str,
    *,
    measure: str = "-",
    place: str = "-",
    group: str = "all",
    contrast: str = "-",
    exposure: str = "-",
) -> str:
    """Return the key of one number: ``analysis/measure.scale/place.side/group/contrast/exposure/statistic``.

    Examples
    --------
    >>> record_key("change", "mean", measure="limb_girth.girth", place="mid_thigh.mean", contrast="week16_minus_week0")
    'change/limb_girth.girth/mid_thigh.mean/all/week16_minus_week0/-/mean'
    """
    key = "/".join((analysis, measure, place, group, contrast, exposure, statistic))
    check_key(key)
    return key


def check_key(key: str) -> None:
    """Raise ValueError unless `key` follows the grammar of the record."""
    parts = key.split("/")
    if len(parts) != len(KEY_PARTS) or not all(_PART.fullmatch(part) for part in parts):
        raise ValueError(f"record key {key!r} does not follow {'/'.join(KEY_PARTS)}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One number of the record, as ``record.json`` holds it."""

    key: str
    label: str
    role: Role
    status: Status
    unit: str = ""
    reason: str = ""
    value: Scalar = None
    interval: Interval | None = None
    test: HypothesisTest | None = None
    n_people: int = 0
    n_values: int = 0
    unit_of_analysis: str = "participant"
    method: str = ""
    source: str = ""
    inputs: tuple[str, ...] = ()
    """What the number was made of: keys of the record, ``people/<table>``, ``ledger/<table>`` (rows of the clinic's
    table), ``definition/<measure>`` or ``protocol/<section>``."""
    caveats: tuple[str, ...] = ()

    @property
    def shortfall(self) -> Shortfall | None:
        """As that of an `Estimate`."""
        return _shortfall(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordTable:
    """A table of the record: what a figure or a printed table draws from.

    Parameters
    ----------
    name : str
        Such as ``"dose_by_week"``.
    columns : dict of str to str
        Column name to UCUM code, empty for words.
    rows : tuple of tuples
        Scalars in column order; None where there is no value.
    """

    name: str
    columns: Mapping[str, str]
    rows: tuple[tuple[Scalar, ...], ...]

    def to_frame(self) -> pd.DataFrame:
        """Return the table as a data frame."""
        import pandas as pd

        return pd.DataFrame(list(self.rows), columns=list(self.columns))


def plain(value: Any) -> Scalar:
    """Return `value` as a plain Python scalar: numpy numbers unwrapped, nan and NA as None."""
    if value is None or isinstance(value, str | bool):
        return value
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float):
        return value if not math.isnan(value) else None
    if isinstance(value, int | str):
        return value
    if type(value).__name__ in ("NAType", "NaTType"):
        return None
    raise TypeError(f"{type(value).__name__} is no scalar of the record")


@dataclass(slots=True)
class Record:
    """Every number of one analysis, by key, with the tables that figures draw from and the notes that they cite.

    Parameters
    ----------
    meta : dict
        title, synthetic, data_until, protocol hash, definition versions, changed choices, statements.
    entries : dict of str to Entry
    tables : dict of str to RecordTable
    methods, caveats : dict of str to str
        Text of every method note and caveat that an entry names.
    """

    meta: dict[str, Any] = field(default_factory=dict)
    entries: dict[str, Entry] = field(default_factory=dict)
    tables: dict[str, RecordTable] = field(default_factory=dict)
    methods: dict[str, str] = field(default_factory=dict)
    caveats: dict[str, str] = field(default_factory=dict)

    def __getitem__(self, key: str) -> Entry:
        return self.entries[key]

    def get(self, key: str) -> Entry | None:
        """Return the entry under `key`, or None."""
        return self.entries.get(key)

    def add(
        self,
        key: str,
        estimate: Estimate,
        *,
        label: str,
        role: Role = "descriptive",
        unit_of_analysis: str = "participant",
        inputs: Sequence[str] = (),
    ) -> Entry:
        """Write one estimate under `key`; a key that is taken is our own fault and raises ValueError."""
        return self._put(
            Entry(
                key=key,
                label=label,
                role=role,
                status="estimated",
                unit_of_analysis=unit_of_analysis,
                inputs=tuple(inputs),
                **{f.name: getattr(estimate, f.name) for f in dataclasses.fields(Estimate)},
            )
        )

    def refuse(
        self,
        key: str,
        reason: str,
        *,
        label: str,
        role: Role = "descriptive",
        status: Status = "not estimable",
        unit: str = "",
        n_people: int = 0,
        inputs: Sequence[str] = (),
    ) -> Entry:
        """Write that the number under `key` cannot be given, and why."""
        return self._put(
            Entry(
                key=key,
                label=label,
                role=role,
                status=status,
                reason=reason,
                unit=unit,
                n_people=n_people,
                inputs=tuple(inputs),
            )
        )

    def add_table(self, name: str, columns: Mapping[str, str], rows: Iterable[Iterable[Any]]) -> RecordTable:
        """Write a table; values are unwrapped to plain scalars."""
        if name in self.tables:
            raise ValueError(f"record table {name!r} is written twice")
        cells = tuple(tuple(plain(value) for value in row) for row in rows)
        if any(len(row) != len(columns) for row in cells):
            raise ValueError(f"record table {name!r}: a row does not have {len(columns)} values")
        self.tables[name] = RecordTable(name=name, columns=dict(columns), rows=cells)
        return self.tables[name]

    def _put(self, entry: Entry) -> Entry:
        check_key(entry.key)
        if entry.key in self.entries:
            raise ValueError(f"record key {entry.key!r} is written twice")
        self.entries[entry.key] = entry
        return entry

    def to_json(self) -> str:
        """Return the record as JSON text: the same text for the same numbers."""
        document = {
            "schema": SCHEMA,
            "meta": self.meta,
            "estimates": [_entry_json(entry) for entry in self.entries.values()],
            "tables": [
                {
                    "name": table.name,
                    "columns": [{"name": name, "unit": unit} for name, unit in table.columns.items()],
                    "rows": [[_json_scalar(value) for value in row] for row in table.rows],
                }
                for table in self.tables.values()
            ],
            "methods": dict(sorted(self.methods.items())),
            "caveats": dict(sorted(self.caveats.items())),
        }
        return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1) + "\n"

    @classmethod
    def from_json(cls, text: str, name: str = "record.json") -> Record:
        """Return the record that `to_json` wrote.

        Raises
        ------
        DataError
            Not a record of this schema.
        """
        try:
            document = json.loads(text)
            if document["schema"] != SCHEMA:
                raise ValueError(f"schema {document['schema']}")
            record = cls(meta=document["meta"], methods=document["methods"], caveats=document["caveats"])
            for row in document["estimates"]:
                record._put(_entry_from_json(row))
            for table in document["tables"]:
                record.tables[table["name"]] = RecordTable(
                    name=table["name"],
                    columns={column["name"]: column["unit"] for column in table["columns"]},
                    rows=tuple(tuple(_scalar(value) for value in row) for row in table["rows"]),
                )
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            finding = Finding(
                grade="block",
                rule="record",
                file=name,
                found=str(error),
                expected=f"a record of schema {SCHEMA}",
                remedy="Run outcomes analyse again.",
            )
            raise DataError([finding]) from error
        return record

    @classmethod
    def read(cls, path: Path) -> Record:
        """Return the record in a file; see `from_json`."""
        return cls.from_json(path.read_text(encoding="utf-8"), path.name)


def _json_scalar(value: Scalar) -> Scalar:
    """Return `value` as JSON can hold it: an infinite end of an interval is a word."""
    if isinstance(value, float) and math.isinf(value):
        return "infinity" if value > 0 else "-infinity"
    return value


def _scalar(value: Any) -> Scalar:
    return {"infinity": math.inf, "-infinity": -math.inf}.get(value, value) if isinstance(value, str) else value


def _entry_json(entry: Entry) -> dict[str, Any]:
    row = {f.name: getattr(entry, f.name) for f in dataclasses.fields(Entry)}
    if entry.interval is not None:
        row["interval"] = {k: _json_scalar(v) for k, v in dataclasses.asdict(entry.interval).items()}
    if entry.test is not None:
        row["test"] = {**dataclasses.asdict(entry.test), "statistic": _json_scalar(entry.test.statistic)}
    return row


def _entry_from_json(row: dict[str, Any]) -> Entry:
    row = dict(row)
    if row["interval"] is not None:
        ends: dict[str, Any] = {k: _scalar(v) for k, v in row["interval"].items()}
        row["interval"] = Interval(**ends)
    if row["test"] is not None:
        test: dict[str, Any] = row["test"]
        row["test"] = HypothesisTest(**{**test, "statistic": _scalar(test["statistic"]), "df": tuple(test["df"])})
    return Entry(**{**row, "inputs": tuple(row["inputs"]), "caveats": tuple(row["caveats"])})
