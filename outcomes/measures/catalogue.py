"""The catalogue of measures: the packaged definitions, and those that a study adds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType

from outcomes.errors import DefinitionError, Problem, UsageError, near_word
from outcomes.measures.loading import read_definition
from outcomes.measures.schema import Definition

FOLDER = Path(__file__).parent / "definitions"


@dataclass(frozen=True)
class Catalogue:
    """Definitions by key and version; immutable.

    Use `Catalogue.packaged`, and `with_folder` for a study's own definitions.

    Examples
    --------
    >>> catalogue = Catalogue.packaged()
    >>> catalogue.get("mas").title
    'Modified Ashworth Scale'
    """

    _by_key: Mapping[str, tuple[Definition, ...]]

    @classmethod
    def packaged(cls) -> Catalogue:
        """Return the definitions that come with the package; they are read once."""
        return _packaged()

    def with_folder(self, folder: str | Path) -> Catalogue:
        """Return a catalogue that also holds the definitions of a folder.

        Parameters
        ----------
        folder : path
            Holds ``<key>.toml`` and, for older versions, ``<key>@<version>.toml``.

        Raises
        ------
        UsageError
            There is no such folder.
        DefinitionError
            Every problem of every file; a key and version that the catalogue holds already.
        """
        folder = Path(folder)
        if not folder.is_dir():
            raise UsageError(f"{folder} is not a folder")
        own = _read_folder(folder)
        problems = []
        merged = dict(self._by_key)
        for key, definitions in own.items():
            known = {definition.version for definition in self._by_key.get(key, ())}
            for definition in definitions:
                if definition.version in known:
                    problems.append(_taken(definition))
            current = tuple(one for one in definitions if one.file == f"{key}.toml")
            older = tuple(one for one in definitions if one.file != f"{key}.toml")
            merged[key] = (*current, *self._by_key.get(key, ()), *older)
        if problems:
            raise DefinitionError(problems)
        return Catalogue(MappingProxyType(dict(sorted(merged.items()))))

    def get(self, key: str, version: str | None = None) -> Definition:
        """Return one definition.

        Parameters
        ----------
        key : str
        version : str, optional
            The current one by default.

        Raises
        ------
        UsageError
            No such measure or version.
        """
        if key not in self._by_key:
            raise UsageError(f"no measure '{key}'{near_word(key, self._by_key)}")
        for definition in self._by_key[key]:
            if version in (None, definition.version):
                return definition
        known = self.versions(key)
        raise UsageError(f"{key} has no version '{version}'; known: {', '.join(known)}{near_word(str(version), known)}")

    def versions(self, key: str) -> tuple[str, ...]:
        """Return the versions of a measure, the current one first; empty where it is not known."""
        return tuple(definition.version for definition in self._by_key.get(key, ()))

    def keys(self) -> tuple[str, ...]:
        """Return the keys of all measures, in order."""
        return tuple(self._by_key)

    def __iter__(self) -> Iterator[Definition]:
        """Iterate over the current definition of every measure."""
        return (definitions[0] for definitions in self._by_key.values())

    def __len__(self) -> int:
        return len(self._by_key)

    def __contains__(self, key: object) -> bool:
        return key in self._by_key


@cache
def _packaged() -> Catalogue:
    return Catalogue(MappingProxyType(_read_folder(FOLDER)))


def _read_folder(folder: Path) -> dict[str, tuple[Definition, ...]]:
    """Return the definitions of a folder by key, the current version of each first."""
    problems: list[Problem] = []
    found: dict[str, list[Definition]] = {}
    for path in sorted(folder.glob("*.toml"), key=lambda path: path.name):
        try:
            definition = read_definition(path)
        except DefinitionError as error:
            problems += error.problems
            continue
        known = found.setdefault(definition.key, [])
        if definition.version in (one.version for one in known):
            problems.append(_taken(definition))
        known.insert(0 if path.stem == definition.key else len(known), definition)
    if problems:
        raise DefinitionError(problems)
    return {key: tuple(definitions) for key, definitions in found.items()}


def _taken(definition: Definition) -> Problem:
    message = f"{definition.key} {definition.version} is defined already; give your own version another name"
    return Problem(definition.file, None, "version", message)
