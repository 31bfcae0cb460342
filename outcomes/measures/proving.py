"""Whether a definition gives the scores that its own worked examples expect."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from outcomes.errors import DataError, DefinitionError, Problem
from outcomes.measures.checking import half_digit
from outcomes.measures.scoring import score
from outcomes.toml_source import spell_path

if TYPE_CHECKING:
    from outcomes.measures.catalogue import Catalogue
    from outcomes.measures.schema import Definition, Example


def refuse_contradictions(catalogue: Catalogue) -> None:
    """Refuse a catalogue to which a definition was added whose worked example does not hold.

    Parameters
    ----------
    catalogue : Catalogue

    Raises
    ------
    DefinitionError
        Every example that does not hold, of every added definition; the packaged ones are tested.
    """
    problems = [problem for definition in catalogue.own for problem in contradictions(definition)]
    if problems:
        raise DefinitionError(problems)


def contradictions(definition: Definition) -> list[Problem]:
    """Return where the examples of a definition do not hold.

    Parameters
    ----------
    definition : Definition

    Returns
    -------
    list of Problem
        Without line; none where every example holds.

    Notes
    -----
    A number holds within half of the last decimal that is written of it; a whole number holds exactly.
    """
    found = []
    for i, example in enumerate(definition.examples):
        for part, message in _wrong(definition, example):
            found.append(Problem(definition.file, None, spell_path(("examples", i, *part)), message))
    return found


def _wrong(definition: Definition, example: Example) -> Iterator[tuple[tuple[str, ...], str]]:
    try:
        scored = score(definition, example.given, absent=example.absent, context=example.context)
    except DataError as refusal:
        refused = [str(finding.column) for finding in refusal.findings]
        if refused != [example.refused]:
            wanted = f"that {example.refused} is refused" if example.refused else "no refusal"
            yield ("refused",), f"expects {wanted}; it refuses {', '.join(refused)}"
        return
    if example.refused:
        yield ("refused",), f"expects that {example.refused} is refused; it is taken"
        return
    for scale, expected in example.expected.items():
        value = scored[scale]
        got: float | str = scored.reasons[scale] if value is None else value
        if not _holds(got, expected):
            yield ("expected", scale), f"expects {_said(expected)}; it gives {_said(got)}"
    for scale, labels in example.bands.items():
        for name, label in labels.items():
            found = scored.bands[scale].get(name)
            if found != label:
                said = f"'{found}'" if found else "no band"
                yield ("bands", scale, name), f"expects '{label}'; it gives {said}"
    for scale, flags in example.flags.items():
        if list(scored.flags[scale]) != flags:
            given = ", ".join(scored.flags[scale]) or "none"
            yield ("flags", scale), f"expects {', '.join(flags) or 'none'}; it gives {given}"


def _holds(got: float | str | None, expected: float | str) -> bool:
    if isinstance(expected, str) or isinstance(got, str) or got is None:
        return got == expected
    slack = 0.0 if float(expected).is_integer() else half_digit(expected)
    return abs(got - expected) <= slack + 1e-9


def _said(value: float | str | None) -> str:
    return f"{value:.6g}" if isinstance(value, int | float) else f"'{value}'"
