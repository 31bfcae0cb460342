"""What the protocol follows over time: one scale of one measure at one place, by one rule for the two sides."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.errors import DefinitionError, Problem, near_word

if TYPE_CHECKING:
    from outcomes.measures import Catalogue
    from outcomes.measures.schema import Definition, Scale
    from outcomes.toml_source import TomlSource
    from protocols.schema import MeasurePlan, Protocol

AVERAGED = ("mean", "modelled")
"""Rules for both sides whose value is the mean of both; "modelled" sets a model of every limb beside it."""


@dataclass(frozen=True)
class Series:
    """One outcome of the protocol: a single number per participant and visit.

    Parameters
    ----------
    plan : MeasurePlan
        The entry of ``[[measures]]`` that asks for it.
    definition : Definition
    scale : Scale
    place : str
        Where on the body; empty for a measure that has no places.
    sides : str
        ``"mean"``, ``"trained"``, ``"worse"`` or ``"modelled"`` (rule for both sides), ``"left"``, ``"right"`` or
        ``"both"`` (that side alone), empty for a measure without sides.
    """

    plan: MeasurePlan
    definition: Definition
    scale: Scale
    place: str
    sides: str

    @property
    def measure_part(self) -> str:
        """Second part of the record key: ``measure[@variant].scale``."""
        variant = _key_text(self.plan.variant or "")
        return f"{self.definition.key}{'@' + variant if variant else ''}.{self.scale.key}"

    @property
    def place_part(self) -> str:
        """Third part of the record key: ``place.side rule``."""
        if not self.sides:
            return self.place or "-"
        return f"{self.place or '-'}.{self.sides}"

    @property
    def name(self) -> str:
        """Both parts; unique in a protocol."""
        return f"{self.measure_part}/{self.place_part}"

    @property
    def side_words(self) -> str:
        """What one value is, in words, of a measure with sides, such as "mean of both sides"; empty for any other."""
        if self.sides in ("left", "right"):
            return f"{self.sides} side"
        words = {"worse": "worse side", "trained": "trained side"} | dict.fromkeys(AVERAGED, "mean of both sides")
        return words.get(self.sides, "")

    @property
    def label(self) -> str:
        """What a reader calls it."""
        title = self.definition.title
        if len(self.definition.scales) > 1:
            title += f", {self.scale.key.replace('_', ' ')}"
        where = self.place.replace("_", " ")
        extra = ", ".join(part for part in (where, self.side_words) if part)
        return f"{title} ({extra})" if extra else title

    @property
    def ordinal(self) -> bool:
        """Whether the scale only ranks."""
        return self.scale.level == "ordinal"

    @property
    def hoped_sign(self) -> int:
        """+1 where more is better or hoped for, -1 where less is, 0 where neither was said."""
        if self.scale.better in ("higher", "lower"):
            return 1 if self.scale.better == "higher" else -1
        return {"increase": 1, "decrease": -1}.get(self.plan.hoped_for or "", 0)

    @property
    def words(self) -> tuple[str, str, str]:
        """What a change beyond error in the good, within, and in the other direction is called."""
        if self.scale.better in ("higher", "lower"):
            return ("better", "within", "worse")
        return ("smaller", "within", "larger") if self.hoped_sign < 0 else ("larger", "within", "smaller")


def _key_text(text: str) -> str:
    return "".join(c if c.isalnum() or c in "_.-" else "_" for c in text.lower())


def planned_series(protocol: Protocol, catalogue: Catalogue) -> tuple[Series, ...]:
    """Return every series that the protocol follows, in its order.

    Parameters
    ----------
    protocol : Protocol
    catalogue : Catalogue

    Raises
    ------
    DefinitionError
        A measure, version, scale, place, side, variant, band set or published value that does not exist; limbs of an
        ordinal scale without a rule; a primary outcome of more than one number; two entries for one series.
    """
    problems: list[Problem] = []
    found: list[Series] = []
    for index, plan in enumerate(protocol.measures):
        checker = _Checker(plan, index, protocol.source, problems)
        definition = checker.definition(catalogue)
        if definition is None:
            continue
        series = list(checker.series(definition))
        if plan.role == "primary" and len(series) > 1:
            checker.problem(
                "role",
                f"the primary outcome is one number; {len(series)} are named "
                f"({', '.join(s.name for s in series)}): name one scale and one place, the rest in other entries",
            )
        for one in series:
            if any(one.name == other.name for other in found):
                checker.problem("measure", f"{one.name} is planned twice")
            found.append(one)
    if problems:
        raise DefinitionError(problems)
    return tuple(found)


@dataclass
class _Checker:
    """Names of one entry of ``[[measures]]`` against its definition; collects problems."""

    plan: MeasurePlan
    index: int
    source: TomlSource
    problems: list[Problem]

    def problem(self, key: str, message: str) -> None:
        self.problems.append(self.source.problem(("measures", self.index, key), message))

    def definition(self, catalogue: Catalogue) -> Definition | None:
        key = self.plan.measure
        known = tuple(catalogue.keys())
        if key not in known:
            self.problem("measure", f"no measure '{key}'{near_word(key, known)}")
            return None
        versions = catalogue.versions(key)
        if self.plan.version is not None and self.plan.version not in versions:
            self.problem("version", f"'{self.plan.version}' is not one of {', '.join(versions)}")
            return None
        return catalogue.get(key, self.plan.version)

    def series(self, definition: Definition) -> Iterator[Series]:
        self._known("published", [self.plan.published or ""], [p.key for p in definition.published] + [""])
        self._known("bands", [self.plan.bands or ""], [b.set for b in definition.bands] + [""])
        scales = self._known("scales", self.plan.scales, [s.key for s in definition.scales])
        places = self._known("places", self.plan.places, definition.rows.place)
        if self.plan.places and not definition.rows.place:
            places = []
        for scale_key in scales or [definition.main_scale.key]:
            scale = definition.scale(scale_key)
            sides = self._sides(definition, scale)
            for place in places or definition.rows.place or ("",):
                yield Series(self.plan, definition, scale, place, sides)

    def _known(self, key: str, names: object, known: object) -> list[str]:
        """Return the names that exist; the others become problems."""
        words = list(known)  # type: ignore[call-overload]
        good = []
        for name in names or ():  # type: ignore[attr-defined]
            if name in words:
                good.append(name)
            else:
                allowed = ", ".join(word for word in words if word) or "none, as this measure has none"
                self.problem(key, f"'{name}' is not one of {allowed}{near_word(name, words)}")
        return good

    def _sides(self, definition: Definition, scale: Scale) -> str:
        rule, sides = self.plan.limbs, tuple(self.plan.sides or ())
        if not definition.rows.side:
            if rule is not None:
                self.problem("limbs", f"{definition.key} has no sides")
            return ""
        if len(sides) == 1:
            return sides[0]
        if scale.level == "ordinal":
            if rule is None:
                self.problem("limbs", f"{scale.key} only ranks: say how two sides become one ('worse' or 'trained')")
            elif rule in ("mean", "modelled"):
                self.problem("limbs", f"{scale.key} only ranks: a mean of two grades is no grade")
        if rule == "worse" and scale.better not in ("higher", "lower"):
            self.problem("limbs", f"{scale.key} has no better direction, so neither side is the worse")
        return rule or "mean"
