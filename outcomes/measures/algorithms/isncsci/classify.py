"""Everything that one examination may be classified as."""

from __future__ import annotations

from dataclasses import dataclass, replace

from outcomes.measures.algorithms.isncsci.examination import Examination
from outcomes.measures.algorithms.isncsci.grade import UNDECIDED, D, Grades, grade, halves_of
from outcomes.measures.algorithms.isncsci.segments import SIDES
from outcomes.measures.algorithms.isncsci.side import Case, Side, cases, resolve_stars
from outcomes.measures.algorithms.isncsci.zones import motor_zone, sensory_zone


@dataclass(frozen=True, slots=True)
class Choices:
    """The open points of the rules, as they are read here.

    Parameters
    ----------
    by_dermatome : bool
        See `side.cases`.
    without_muscles : int
        See `grade.grade`.
    """

    by_dermatome: bool
    without_muscles: int

    @classmethod
    def of(cls, options: dict[str, str]) -> Choices:
        """Return the choices that the options of a definition name."""
        undecided = options["ais_without_key_muscles"] == "undecided"
        return cls(options["motor_level_rule"] == "by_dermatome", UNDECIDED if undecided else D)


@dataclass(frozen=True, slots=True)
class Classified:
    """What an examination may be classified as.

    Parameters
    ----------
    possible : dict of str to frozenset of int
        Every scale that is no sum, with each value that some completion of the examination gives; 0 where a zone does
        not apply.
    cases : tuple of list of Case
        Of the right and the left side.
    grades : Grades
    """

    possible: dict[str, frozenset[int]]
    cases: tuple[list[Case], list[Case]]
    grades: Grades


def classify(exam: Examination, choices: Choices) -> Classified:
    """Classify one examination.

    Parameters
    ----------
    exam : Examination
    choices : Choices

    Returns
    -------
    Classified

    Notes
    -----
    Nothing is enumerated that need not be: a level depends on the first segment that fails, so each side has a few
    cases, each with what its scores may then be; the two answers of the anal examination are enumerated in full.

    References
    ----------
    Rupp R et al. (2021) Top Spinal Cord Inj Rehabil 27(2):1-22. Zones: Schuld C et al. (2024) Spinal Cord 62:79-87.
    Every legal substitution of what was not tested: Schuld C et al. (2012) J Neurotrauma 29:453-461.
    """
    settled = [_settled(side, exam.as_examined, choices.by_dermatome) for side in exam.sides]
    found = [[case for one in sides for case in cases(one, by_dermatome=choices.by_dermatome)] for sides in settled]
    halves = [halves_of(of_side, others) for of_side, others in zip(found, exam.others, strict=True)]
    grades = grade(halves[0], halves[1], exam.sacral, without_muscles=choices.without_muscles)
    possible: dict[str, set[int]] = {
        "nli": grades.levels,
        "complete": {int(not complete) for complete in grades.complete},
        "ais": grades.grades,
    }
    for name, sides, of_side, others in zip(SIDES, settled, found, exam.others, strict=True):
        possible[f"sensory_level_{name}"] = {case.sensory for case in of_side}
        possible[f"motor_level_{name}"] = {case.motor for case in of_side}
        possible[f"zpp_sensory_{name}"] = sensory_zone(sides, exam.sacral.pressure)
        possible[f"zpp_motor_{name}"] = motor_zone(of_side, exam.sacral.contraction)
        possible[f"zpp_motor_with_nonkey_{name}"] = motor_zone(of_side, exam.sacral.contraction, others)
    frozen = {key: frozenset(values) for key, values in possible.items()}
    return Classified(frozen, (found[0], found[1]), grades)


def _settled(side: Side, as_examined: bool, by_dermatome: bool) -> list[Side]:
    """Return what the side may be once its stars are settled."""
    if as_examined:
        return [replace(side, starred=frozenset())]
    return resolve_stars(side, by_dermatome=by_dermatome)
