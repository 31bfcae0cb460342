"""The one reading of a response: from the text of a cell to a code, a number or a word, or to what is wrong with it."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from outcomes.errors import UsageError
from outcomes.units import printed_unit

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from outcomes.measures.schema import Definition, Item

NOT_AVAILABLE = "NA"
"""A response that says no more than an empty cell."""

_NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_IS_NUMBER = re.compile(_NUMBER)
_MONTH = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*"
_DATE = r"[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}(?:[ T].*)?|[0-9]{1,2}[./][0-9]{1,2}[./][0-9]{2,4}"
_WORDED_DATE = rf"[0-9]{{1,2}}[ .-]*{_MONTH}(?:[ .-]*[0-9]{{2,4}})?|{_MONTH}[ .-]*[0-9]{{1,4}}"

_FAULTS: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("formula_error", re.compile(r"#.*")),
    ("looks_like_date", re.compile(f"{_DATE}|{_WORDED_DATE}", re.IGNORECASE)),
    ("ambiguous_number", re.compile(r"[+-]?[1-9][0-9]{0,2}(?:,[0-9]{3})+(?:\.[0-9]*)?")),
    ("decimal_comma", re.compile(r"[+-]?[0-9]*,[0-9]+")),
    ("censored", re.compile(rf"(?:[<>≤≥]=?)\s*{_NUMBER}.*")),
    ("not_finite", re.compile(r"[+-]?(?:inf|infinity|nan)", re.IGNORECASE)),
    ("two_values", re.compile(rf"{_NUMBER}\s*(?:/|;|\||\bor\b|-)\s*{_NUMBER}.*")),
    ("unit_in_cell", re.compile(rf"{_NUMBER}\s*[^\W\d_\s].*|{_NUMBER}\s*[%°\"']+")),
)
"""What a text that is no number or code looks like, in the order in which it is asked."""

RULES = (
    *(rule for rule, _ in _FAULTS),
    "not_a_code",
    "not_a_word",
    "not_a_number",
    "hard_limit",
)
"""Every rule key that a reading can give as its problem."""

_FORMS = str.maketrans({"−": "-", "＋": "+", "－": "-", "．": ".", **{chr(0xFF10 + d): str(d) for d in range(10)}})
"""Unicode minus, full-width digits and signs."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What the responses of one item say; arrays in the order of the texts.

    Parameters
    ----------
    text : array of str
        Canonical text; empty where the cell holds no answer.
    value : array of float
        Number of the code, or the number itself; nan where there is none.
    absent : array of str
        Word of the vocabulary for why there is no answer, where the response says so; else empty.
    problem : array of str
        Rule that an impossible response breaks (see `RULES`), else empty; its value and text are then missing.
    unusual : array of str
        ``"usual_range"`` where the number is possible but unusual, else empty.
    normalised : array of bool
        Whether the canonical text differs from what was typed.
    expected : str
        What the item accepts, in words.
    usual : array of str
        The usual range in words, where it was left; else empty.
    """

    text: NDArray[np.object_]
    value: NDArray[np.float64]
    absent: NDArray[np.object_]
    problem: NDArray[np.object_]
    unusual: NDArray[np.object_]
    normalised: NDArray[np.bool_]
    expected: str
    usual: NDArray[np.object_]


def read_responses(
    definition: Definition, item: str, texts: Iterable[object], *, places: Sequence[object] | None = None
) -> Reading:
    """Read the responses of one item; each different text is read once.

    Parameters
    ----------
    definition : Definition
    item : str
        Key of the item.
    texts : iterable of str
        As typed; None and nan are empty cells. A number stands for the shortest decimal that reads back.
    places : sequence of str, optional
        Where on the body each was taken, for usual ranges that differ by place.

    Returns
    -------
    Reading

    Raises
    ------
    UsageError
        The measure has no such item.

    Notes
    -----
    Blanks around the text go, declared spellings, Unicode minus and full-width digits are normalised; nothing else is
    changed. A code is one of the list or refused: ``1.0`` is not ``1``. A number has a decimal point, no unit, and
    lies in the hard range. An empty text and ``NA`` say that there is no answer.

    Examples
    --------
    >>> from outcomes.measures import Catalogue
    >>> reading = read_responses(Catalogue.packaged().get("mas"), "grade", ["1+ ", "1.5", "NT"])
    >>> list(reading.text), list(reading.problem), list(reading.absent)
    (['1+', '', ''], ['', 'not_a_code', ''], ['', '', 'not_tested'])
    """
    one = definition.item(item)
    numbers: dict[str, int] = {}
    which = np.fromiter((numbers.setdefault(as_text(text), len(numbers)) for text in texts), dtype=np.intp)
    found = [_read(text, one, definition.rows.absent_words) for text in numbers]
    columns = list(zip(*found, strict=True)) if found else [()] * 4
    text, value, absent, problem = (
        _objects(columns[0]),
        np.array(columns[1], dtype=float),
        *map(_objects, columns[2:]),
    )
    typed = _objects(tuple(numbers))
    normalised = np.array([a != b and b != "" for a, b in zip(typed, text, strict=True)], dtype=bool)
    unusual, usual = _usual(one, value[which], places)
    return Reading(
        text[which],
        value[which],
        absent[which],
        problem[which],
        unusual,
        normalised[which],
        expected_of(one, definition.rows.absent_words),
        usual,
    )


def as_text(value: Any) -> str:
    """Return a cell as text: empty for what is missing, a number as the shortest decimal that reads back.

    Examples
    --------
    >>> as_text(1.0), as_text(44.50), as_text(None), as_text("1+ ")
    ('1', '44.5', '', '1+ ')
    """
    if isinstance(value, str):
        return value
    if value is None or type(value).__name__ in ("NAType", "NaTType"):
        return ""
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float):
        if math.isnan(value):
            return ""
        return str(int(value)) if value.is_integer() and abs(value) < 1e16 else repr(value)
    return str(value)


def _objects(values: Sequence[str]) -> NDArray[np.object_]:
    out = np.empty(len(values), dtype=object)
    out[:] = values
    return out


def _read(typed: str, item: Item, absent_words: Mapping[str, str]) -> tuple[str, float, str, str]:
    """Return canonical text, number, absent word and broken rule of one response."""
    text = unicodedata.normalize("NFC", typed).strip()
    if not item.free_text:
        text = text.translate(_FORMS)
    text = item.spellings.get(text, text)
    if text in item.codes:
        return text, item.codes[text], "", ""
    if text in item.words:
        return text, math.nan, "", ""
    if text in absent_words:
        return "", math.nan, absent_words[text], ""
    if text in ("", NOT_AVAILABLE):
        return "", math.nan, "", ""
    if item.free_text:
        return text, math.nan, "", ""
    if item.range is not None and _IS_NUMBER.fullmatch(text):
        number = float(text)
        if not math.isfinite(number):
            return "", math.nan, "", "not_finite"
        inside = item.range[0] <= number <= item.range[1]
        return (text, number, "", "") if inside else ("", math.nan, "", "hard_limit")
    for rule, pattern in _FAULTS:
        if pattern.fullmatch(text):
            return "", math.nan, "", rule
    rule = "not_a_number" if item.range is not None else "not_a_word" if item.words else "not_a_code"
    return "", math.nan, "", rule


def _usual(
    item: Item, value: NDArray[np.float64], places: Sequence[object] | None
) -> tuple[NDArray[np.object_], NDArray[np.object_]]:
    """Return the rule and the range in words where a number is unusual at its place."""
    unusual, usual = np.full(len(value), "", dtype=object), np.full(len(value), "", dtype=object)
    where = np.array(["" for _ in value] if places is None else [as_text(place) for place in places], dtype=object)
    if len(where) != len(value):
        raise UsageError(f"{len(where)} places for {len(value)} texts")
    for place in {*item.usual_at} if places is not None else ():
        _mark(item, item.usual_at[place], value, where == place, unusual, usual)
    if item.usual is not None:
        rest = ~np.isin(where, list(item.usual_at)) if item.usual_at else np.ones(len(value), dtype=bool)
        _mark(item, item.usual, value, rest, unusual, usual)
    return unusual, usual


def _mark(
    item: Item,
    limits: tuple[float, float],
    value: NDArray[np.float64],
    rows: NDArray[np.bool_],
    unusual: NDArray[np.object_],
    usual: NDArray[np.object_],
) -> None:
    out = rows & ((value < limits[0]) | (value > limits[1]))
    unusual[out], usual[out] = "usual_range", span(limits, item.unit)


def span(limits: tuple[float, float], unit: str = "") -> str:
    """Return a range in words.

    Examples
    --------
    >>> span((10, 100), "cm"), span((0, float("inf")), "m")
    ('10 to 100 cm', '0 m or more')
    """
    tail = f" {printed_unit(unit)}" if unit and printed_unit(unit) else ""
    low, high = limits
    return f"{low:.6g}{tail} or more" if math.isinf(high) else f"{low:.6g} to {high:.6g}{tail}"


def expected_of(item: Item, absent_words: Mapping[str, str]) -> str:
    """Return in words what an item accepts.

    Examples
    --------
    >>> from outcomes.measures import Catalogue
    >>> mas = Catalogue.packaged().get("mas")
    >>> expected_of(mas.item("grade"), mas.rows.absent_words)
    'one of 0, 1, 1+, 2, 3, 4; or NT'
    """
    tail = f"; or {', '.join(absent_words)}" if absent_words else ""
    if item.free_text:
        return f"text{tail}"
    if item.range is not None:
        return f"{span(item.range, item.unit)}{tail}"
    return f"one of {', '.join(item.codes or item.words)}{tail}"
