"""From what is possible to a value, its line and its flags, for many examinations."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from outcomes.measures.algorithms.contract import Formed, Given
from outcomes.measures.algorithms.isncsci.classify import Choices, Classified, classify
from outcomes.measures.algorithms.isncsci.examination import Examination, examinations
from outcomes.measures.algorithms.isncsci.grade import UNDECIDED, B, C, D
from outcomes.measures.algorithms.isncsci.segments import INTACT, KEY, S45, SIDES
from outcomes.measures.algorithms.isncsci.sentences import listed, reason, sentence
from outcomes.measures.algorithms.isncsci.totals import named
from outcomes.measures.algorithms.isncsci.zones import NOT_APPLICABLE

if TYPE_CHECKING:
    from outcomes.measures.algorithms.contract import Flags

OPTIONAL = ("starred_grades", "prior_deficit", "nonkey_right", "nonkey_left")
"""Items that may be left empty without a word: what that means is a rule of its own."""
WITHOUT_A_VALUE = {"ais": (0, UNDECIDED)}
OPEN_POINT = "open point of the rules"


def classified(given: Given, scales: Mapping[str, tuple[str, ...]]) -> dict[str, Formed]:
    """Return every scale that is no sum.

    Parameters
    ----------
    given : Given
    scales : dict of str to tuple of str
        Scale to the items it depends on.
    """
    import numpy as np

    formed = {scale: Formed.empty(given.people) for scale in scales}
    unknown = _unknown(given, scales)
    choices, marks = Choices.of(dict(given.options)), _Marks()
    for person, exam in enumerate(examinations(given)):
        found = classify(exam, choices)
        others = list(_otherwise(exam, found, choices))
        for scale, one in formed.items():
            values = found.possible[scale]
            starred = ""
            for text, other, star in others:
                if other[scale] != values:
                    marks.set(scale, f"{text}: {listed(scale, other[scale])}", person)
                    starred = "*" if star else starred
            if len(values) == 1 and _is_value(scale, value := next(iter(values))):
                one.value[person] = value
                one.explanation[person] = sentence(scale, exam, found, starred)
            else:
                lacking = unknown(scale, person) if len(values) > 1 else ""
                one.reason[person] = reason(scale, values, exam) + lacking
        for scale, text in _warnings(exam, found):
            marks.set(scale, text, person)
    for scale, one in formed.items():
        for text, rows in marks.of(scale, given.people):
            one.mark(rows, text)
        blank = sum(
            (np.isnan(given.once(item)) & (given.absent[item][0] == 0)).astype(int)
            for item in scales[scale]
            if item not in OPTIONAL
        )
        for count in set(np.unique(blank).tolist()) - {0}:
            one.mark(blank == count, f"{count} empty, taken as not tested")
    return formed


def _is_value(scale: str, value: int) -> bool:
    missing = (NOT_APPLICABLE,) if scale.startswith("zpp") else WITHOUT_A_VALUE.get(scale, ())
    return value not in missing


class _Marks:
    """Flags of some people, gathered by scale and text."""

    def __init__(self) -> None:
        self.people: dict[tuple[str, str], list[int]] = {}

    def set(self, scale: str, text: str, person: int) -> None:
        self.people.setdefault((scale, text), []).append(person)

    def of(self, scale: str, people: int) -> Iterator[tuple[str, Flags]]:
        """Yield the flags of one scale with the people that they hold for."""
        import numpy as np

        for (of_scale, text), persons in self.people.items():
            if of_scale == scale:
                rows = np.zeros(people, dtype=bool)
                rows[persons] = True
                yield text, rows


def _unknown(given: Given, scales: Mapping[str, tuple[str, ...]]) -> Callable[[str, int], str]:
    """Return a function that names what is not known of a person's scale."""
    import numpy as np

    lacks = {item: np.isnan(value[0]) | (value[0] < 0) for item, value in given.value.items()}
    for item in ("nonkey_right", "nonkey_left"):
        lacks[item] = given.absent[item][0] > 0

    def told(scale: str, person: int) -> str:
        items = [item for item in scales[scale] if item != "starred_grades" and lacks[item][person]]
        return f", unknown {named(items)}" if items else ""

    return told


def _otherwise(
    exam: Examination, found: Classified, choices: Choices
) -> Iterator[tuple[str, Mapping[str, frozenset[int]], bool]]:
    """Yield what other readings of the rules would give, where these can differ, and whether it is for a star."""
    if not exam.as_examined and any(side.starred for side in exam.sides):
        plain = classify(replace(exam, as_examined=True), choices)
        yield "depends on starred grades, as examined", plain.possible, True
    if _readings_may_differ(found):
        other = classify(exam, replace(choices, by_dermatome=not choices.by_dermatome))
        name = "strict" if choices.by_dermatome else "by_dermatome"
        yield f"{OPEN_POINT}, motor_level_rule {name}", other.possible, False
    if any(others != (0,) for others in exam.others):
        without = classify(replace(exam, others=((0,), (0,))), choices)
        kept = {**found.possible, "ais": without.possible["ais"]}
        yield "decided by non-key muscles, without them", kept, False


def _readings_may_differ(found: Classified) -> bool:
    """Whether a walk down the motor segments met, below the first abnormal one, a segment without key muscle."""
    return any(
        position not in KEY
        for of_side in found.cases
        for case in of_side
        for position in range(case.sensory + 2, (case.stop or S45) + 1)
    )


def _warnings(exam: Examination, found: Classified) -> Iterator[tuple[str, str]]:
    """Yield scale and text of what else must be known."""
    grades = found.possible["ais"]
    if B in grades and not exam.others_recorded:
        yield "ais", "non-key muscles not recorded, taken as none"
    if grades & {C, D} and any(not any(key > level for key in KEY) for level in found.grades.levels):
        yield "ais", f"{OPEN_POINT}, no key muscle below the neurological level"
    if found.grades.levels == {INTACT} and grades & {B, C, D}:
        yield "ais", "every level is INT although contraction or pressure is absent"
    for side in SIDES:
        plain, longer = (found.possible[f"zpp_motor{part}_{side}"] for part in ("", "_with_nonkey"))
        if plain != longer:
            text = f"{OPEN_POINT}, with non-key muscles: {listed('nli', longer)}"
            yield f"zpp_motor_{side}", text
