"""Read a protocol: TOML, then the schema, then what one key says about another; every fault at once."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pydantic import ValidationError

from outcomes.errors import DefinitionError, UsageError, near_word
from outcomes.toml_source import TomlSource, parse_toml, read_toml
from protocols.rules import broken_rules
from protocols.schema import Protocol
from protocols.wording import problems_of, unknown_statements

STUDIES = Path(__file__).parent / "studies"


def read_protocol(path: str | Path) -> Protocol:
    """Read and check a protocol file.

    Parameters
    ----------
    path : path
        A TOML file of at most one megabyte.

    Returns
    -------
    Protocol
        Frozen; defaults filled in.

    Raises
    ------
    DefinitionError
        Holds every fault of the file, each with its line and key path.
    """
    return build(read_toml(Path(path)))


def parse_protocol(text: str, name: str = "protocol.toml") -> Protocol:
    """Check a protocol given as text; see `read_protocol`.

    Parameters
    ----------
    text : str
        TOML.
    name : str
        How messages call it.
    """
    return build(parse_toml(text, name))


def build(source: TomlSource, data: dict[str, Any] | None = None) -> Protocol:
    """Return the protocol that `data` describes, by default what `source` holds.

    Parameters
    ----------
    source : TomlSource
        The file, for the lines of messages; its data are what the protocol's hash is taken of.
    data : dict, optional
        The file's data with choices changed for one run.

    Raises
    ------
    DefinitionError
        Holds every fault.
    """
    content = source.data if data is None else data
    problems = unknown_statements(content, source)
    try:
        protocol = Protocol.model_validate(_tuples(_with_defaults(content)))
    except ValidationError as error:
        problems = problems_of(error, source) + problems
        protocol = None
    taken = {problem.path for problem in problems}
    problems += [
        problem
        for problem in (source.problem(path, text) for path, text in broken_rules(content))
        if problem.path not in taken or not problem.path
    ]
    if problems or protocol is None:
        raise DefinitionError(sorted(dict.fromkeys(problems), key=lambda problem: problem.line or 0))
    protocol._source = source
    return protocol


def _with_defaults(data: dict[str, Any]) -> dict[str, Any]:
    """Return the data with the two defaults that depend on another key: who is reported, and the abstract's limit."""
    data = dict(data)
    study, analysis = data.get("study"), data.get("analysis", {})
    if isinstance(study, dict) and study.get("design") == "parallel groups" and isinstance(analysis, dict):
        data["analysis"] = {"report": "each group", **analysis}
    report = data.get("report")
    conference = report.get("conference") if isinstance(report, dict) else None
    if isinstance(report, dict) and isinstance(conference, dict) and not {"words", "characters"} & set(conference):
        data["report"] = {**report, "conference": {"words": 250, **conference}}
    return data


def _tuples(value: Any) -> Any:
    """Return the data with every list as a tuple, which cannot be changed later."""
    if isinstance(value, dict):
        return {key: _tuples(one) for key, one in value.items()}
    return tuple(_tuples(one) for one in value) if isinstance(value, list) else value


def packaged() -> tuple[str, ...]:
    """Return the names of the ready-made protocols.

    Examples
    --------
    >>> packaged()
    ('arm_cycling_12_weeks', 'leg_cycling_16_weeks', 'test_retest', 'wait_list')
    """
    return tuple(sorted(path.stem for path in STUDIES.glob("*.toml")))


def packaged_path(name: str) -> Path:
    """Return the file of a ready-made protocol.

    Parameters
    ----------
    name : str
        One of `packaged`.

    Raises
    ------
    UsageError
        No protocol of that name.
    """
    if name not in packaged():
        known = ", ".join(packaged())
        raise UsageError(f"no ready-made protocol '{name}'; there are {known}{near_word(name, packaged())}")
    return STUDIES / f"{name}.toml"
