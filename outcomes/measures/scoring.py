"""The score of one person at one moment, and scores of many complete answer sets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from outcomes.errors import DataError, Finding, UsageError, near_word
from outcomes.measures.catalogue import Catalogue
from outcomes.measures.kernel import Answers, evaluate
from outcomes.measures.reasons import explain, explanations, flags
from outcomes.measures.responses import as_text, expected_of, read_responses
from outcomes.result import Result
from outcomes.units import printed_unit
from outcomes.vocabulary import ABSENT_WORDS

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from outcomes.measures.schema import Definition, Item

BLOCK = 16_384
"""Answer sets that are scored at a time, so that they stay in the cache."""


@dataclass(frozen=True, kw_only=True)
class Score(Result):
    """Result of `score`: every scale of one measure, each with its value or the reason why there is none.

    Parameters
    ----------
    measure, version, variant : str
    scales : dict of str to float or None
        Never rounded.
    reasons : dict of str to str
        For each scale without a value.
    bands : dict of str to dict of str to str
        For each scale with bands: set of bands to the label that holds.
    flags : dict of str to tuple of str
        What to know about each value.
    items_answered, items_expected : dict of str to int
    units : dict of str to str
    explanations : dict of str to str
        For each scale that an algorithm forms: how its value was reached, in one line.
    names : dict of str to str
        For each value that has a name, such as ``C6``: that name.
    """

    measure: str
    version: str
    variant: str
    scales: Mapping[str, float | None]
    reasons: Mapping[str, str]
    bands: Mapping[str, Mapping[str, str]]
    flags: Mapping[str, tuple[str, ...]]
    items_answered: Mapping[str, int]
    items_expected: Mapping[str, int]
    units: Mapping[str, str] = field(default_factory=dict)
    explanations: Mapping[str, str] = field(default_factory=dict)
    names: Mapping[str, str] = field(default_factory=dict)

    def __getitem__(self, scale: str) -> float | None:
        return self.scales[scale]

    def summary(self) -> str:
        """Return every scale with its value, or with the reason why there is none."""
        parts = [
            f"{key} {self.names.get(key) or f'{value:g} {printed_unit(self.units[key])}'.rstrip()}"
            if value is not None
            else f"{key}: no score ({self.reasons[key]})"
            for key, value in self.scales.items()
        ]
        return f"{self.measure}: {'; '.join(parts)}"


def score(
    measure: str | Definition,
    answers: Mapping[str, object],
    *,
    absent: Mapping[str, object] | None = None,
    version: str | None = None,
    context: Mapping[str, object] | None = None,
    catalogue: Catalogue | None = None,
) -> Score:
    """Score one person's answers to one measure, at one place and side.

    Parameters
    ----------
    measure : str or Definition
        Key of the measure, or its definition.
    answers : dict
        Item to answer, as typed or as a number; a list answers a repeated item, in the order of its readings. A missing
        answer is None or left out. Context items may stand here as well.
    absent : dict, optional
        Item to the word for why it has no answer, such as ``{"time": "unable"}``; a list for a repeated item.
    version : str, optional
        The current version by default.
    context : dict, optional
        Context item to its word, such as ``{"pace": "comfortable"}``.
    catalogue : Catalogue, optional
        The packaged one by default.

    Returns
    -------
    Score

    Raises
    ------
    UsageError
        No such measure or version.
    DataError
        An unknown item or an impossible answer: item, what was found, what is expected; all of them.

    Examples
    --------
    >>> score("mas", {"grade": "1+"})["rank"]
    2.0
    >>> score("psfs", {"frequency": 0}).reasons
    {'severity': 'severity not asked because frequency is 0'}
    """
    definition = measure if not isinstance(measure, str) else (catalogue or Catalogue.packaged()).get(measure, version)
    given = {**answers, **(context or {})}
    reader = _Reader(definition)
    reader.refuse_unknown([*given, *(absent or {})])
    for key in {*answers} & {*(context or {})}:
        reader.add(key, "two_answers", as_text(answers[key]), "an answer or a context word, not both")
    variant = [f"{key}={word}" for key in definition.rows.variant if (word := reader.word(key, given))]
    for key in definition.rows.context:
        reader.word(key, given)
    read = [reader.answer(item, given.get(item.key), (absent or {}).get(item.key)) for item in definition.answers]
    if reader.findings:
        raise DataError(reader.findings)
    return _score(definition, _one(definition, read), ",".join(variant))


@dataclass
class _Reader:
    """Reads the answers of one person; collects what is impossible."""

    definition: Definition
    findings: list[Finding] = field(default_factory=list)

    def add(self, item: str, rule: str, found: str, expected: str) -> None:
        self.findings.append(
            Finding(
                grade="block", rule=rule, expected=expected, table=self.definition.key, file=self.definition.key,
                column=item, found=found,
            )
        )  # fmt: skip

    def refuse_unknown(self, keys: Sequence[str]) -> None:
        known = [item.key for item in self.definition.items]
        for key in dict.fromkeys(key for key in keys if key not in known):
            self.add("item", "unknown_word", key, f"one of {', '.join(known)}{near_word(key, known)}")

    def word(self, key: str, given: Mapping[str, object]) -> str:
        """Return the canonical text of a context item, empty where it is not known."""
        reading = read_responses(self.definition, key, [given.get(key)])
        if reading.problem[0]:
            self.add(key, reading.problem[0], as_text(given[key]), reading.expected)
        return str(reading.text[0])

    def answer(self, item: Item, given: object, absent: object) -> tuple[list[float], list[int], bool]:
        """Return the readings of one item as numbers, why each is absent, and whether they are numbered."""
        numbered = isinstance(given, list | tuple) or isinstance(absent, list | tuple)
        texts = list(given) if isinstance(given, list | tuple) else [given]
        words = list(absent) if isinstance(absent, list | tuple) else [absent] * len(texts)
        if given is None and isinstance(absent, list | tuple):
            texts = [None] * len(words)
        words += [None] * (len(texts) - len(words))
        texts += [None] * (len(words) - len(texts))
        if numbered and self.definition.rows.trial is None:
            self.add(item.key, "trial", f"{len(texts)} readings", "one answer: it is measured once")
        if not numbered and not as_text(given).strip() and absent is None:
            return [np.nan], [0], False
        reading = read_responses(self.definition, item.key, texts)
        codes = []
        for i, word in enumerate(words):
            said = as_text(word) or str(reading.absent[i])
            if reading.problem[i]:
                self.add(item.key, reading.problem[i], as_text(texts[i]), reading.expected)
            elif said and said not in ABSENT_WORDS:
                self.add(
                    item.key, "unknown_word", said, f"one of {', '.join(ABSENT_WORDS)}{near_word(said, ABSENT_WORDS)}"
                )
                said = ""
            elif word is not None and (reading.text[i] or (reading.absent[i] and reading.absent[i] != said)):
                self.add(item.key, "answer_and_absence", as_text(texts[i]), f"an answer or '{said}', not both")
            codes.append(1 + ABSENT_WORDS.index(said) if said in ABSENT_WORDS else 0)
        return reading.value.tolist(), codes, numbered


def _one(definition: Definition, read: list[tuple[list[float], list[int], bool]]) -> Answers:
    """Return the answers of one person as the kernel takes them."""
    most = max((len(values) for values, _, numbered in read if numbered), default=1)
    any_numbered = any(numbered for _, _, numbered in read)
    shape = (len(read), most, 1)
    value, reason = np.full(shape, np.nan), np.zeros(shape, dtype=np.int8)
    shared = np.zeros((len(read), 1), dtype=bool)
    for i, (values, codes, numbered) in enumerate(read):
        value[i, : len(values), 0], reason[i, : len(codes), 0] = values, codes
        if any_numbered and not numbered:
            shared[i] = not np.isnan(values[0]) or codes[0] > 0
            value[i, :, 0] = values[0]
    return Answers(value, reason, np.array([most]), np.zeros((len(read), 1), dtype=bool), shared)


def _score(definition: Definition, answers: Answers, variant: str) -> Score:
    scored = evaluate(definition, answers)
    reasons = explain(definition, answers, scored)
    values = {key: float(one.value[0]) for key, one in scored.items()}
    scales = {key: None if np.isnan(value) else value for key, value in values.items()}
    marked = {key: flags(one)[0] for key, one in scored.items()}
    return Score(
        measure=definition.key,
        version=definition.version,
        variant=variant,
        scales=scales,
        reasons={key: str(reasons[key][0]) for key, value in scales.items() if value is None},
        bands={
            key: {} if "unable" in marked[key] else _bands(definition, key, value)  # being unable is no slow walk
            for key, value in values.items()
            if any(band.scale == key for band in definition.bands)
        },
        flags={key: tuple(text.split("; ")) if text else () for key, text in marked.items()},
        items_answered={key: int(one.answered[0]) for key, one in scored.items()},
        items_expected={key: int(one.expected[0]) for key, one in scored.items()},
        units={scale.key: scale.unit for scale in definition.scales},
        explanations={key: text for key, one in scored.items() if (text := str(explanations(one)[0]))},
        names={
            scale.key: scale.name_of(value)
            for scale in definition.scales
            if scale.codes and (value := scales[scale.key]) is not None
        },
    )


def _bands(definition: Definition, scale: str, value: float) -> dict[str, str]:
    return {band.set: band.label for band in definition.bands if band.scale == scale and band.holds(value)}


def score_sets(
    measure: str | Definition,
    answers: Mapping[str, ArrayLike],
    *,
    version: str | None = None,
    catalogue: Catalogue | None = None,
) -> dict[str, NDArray[np.float64]]:
    """Score many answer sets that are already numbers, one array an item: the fast way, without reasons.

    Parameters
    ----------
    measure : str or Definition
        Key of the measure, or its definition.
    answers : dict of str to array of shape (n,)
        Item to the numbers of its codes, or its measured numbers; nan where there is no answer. An item may be left
        out. Each set holds one reading.
    version : str, optional
        The current version by default.
    catalogue : Catalogue, optional
        The packaged one by default.

    Returns
    -------
    dict of str to array of shape (n,)
        Scale to scores; nan where none may be formed. `score` and `score_table` say why.

    Raises
    ------
    UsageError
        No such measure, version or item; arrays of different lengths.
    DataError
        A number that is no code of its item or lies outside its hard range.

    Examples
    --------
    >>> score_sets("psfs", {"frequency": [0, 3], "severity": [float("nan"), 2]})["severity"].tolist()
    [nan, 2.0]
    """
    definition = measure if not isinstance(measure, str) else (catalogue or Catalogue.packaged()).get(measure, version)
    items = definition.answers
    known = [item.key for item in items]
    for key in answers:
        if key not in known:
            raise UsageError(f"{definition.key} has no answers '{key}'{near_word(key, known)}")
    columns = {key: np.asarray(column) for key, column in answers.items()}
    n = len(next(iter(columns.values()))) if columns else 0
    if any(column.shape != (n,) for column in columns.values()):
        raise UsageError(f"answers to {definition.key} are not all of length {n}")
    out = {scale.key: np.full(n, np.nan) for scale in definition.scales}
    for start in range(0, n, BLOCK):
        part = slice(start, min(start + BLOCK, n))
        size = part.stop - part.start
        value = np.full((len(items), 1, size), np.nan)
        for i, item in enumerate(items):
            if item.key in columns:
                value[i, 0] = columns[item.key][part]
                _refuse_illegal(definition, item, value[i, 0], start)
        plain = np.zeros((len(items), size), dtype=bool)
        block = Answers(value, np.zeros(value.shape, dtype=np.int8), np.ones(size, dtype=np.intp), plain, plain)
        for key, one in evaluate(definition, block).items():
            out[key][part] = one.value
    return out


def _legal(item: Item, value: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return where a number is one of the item's codes, lies in its hard range, or is missing."""
    legal: NDArray[np.bool_] = value != value
    if item.range is not None:
        legal |= (value >= item.range[0]) & (value <= item.range[1])
    else:
        legal |= np.isin(value, list(item.codes.values()))
    return legal


def _steps(item: Item) -> tuple[float, float] | None:
    """Return the smallest and largest code where the codes are all the whole numbers between them."""
    numbers = sorted(set(item.codes.values()))
    whole = bool(numbers) and numbers == [numbers[0] + i for i in range(len(numbers))] and numbers[0].is_integer()
    return (numbers[0], numbers[-1]) if whole else None


def _all_legal(item: Item, value: NDArray[np.float64]) -> bool:
    """Return whether `_legal` holds for every number, by the fewest passes over them."""
    steps = _steps(item)
    if steps is None:
        return bool(_legal(item, value).all())
    low, high = np.fmin.reduce(value), np.fmax.reduce(value)
    if low < steps[0] or high > steps[1]:
        return False
    return bool(np.count_nonzero(np.rint(value) == value) == np.count_nonzero(value == value))


def _refuse_illegal(definition: Definition, item: Item, value: NDArray[np.float64], start: int) -> None:
    """Raise DataError unless every number is a code of the item, or lies in its hard range."""
    if _all_legal(item, value):
        return
    findings = [
        Finding(
            grade="block",
            rule="not_a_code" if item.codes else "hard_limit",
            expected=expected_of(item, definition.rows.absent_words),
            file=definition.key,
            column=item.key,
            found=f"{value[i]:g} in set {start + i + 1}",
        )
        for i in np.flatnonzero(~_legal(item, value)).tolist()
    ]
    raise DataError(findings)
