"""The catalogue of measures: the packaged definitions, and those that a study adds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from outcomes.errors import DefinitionError, Problem, UsageError, near_word
from outcomes.measures import compiled
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

    _own: Mapping[str, tuple[Definition, ...]]

    @classmethod
    def packaged(cls) -> Catalogue:
        """Return the definitions that come with the package; each is read once, when it is first asked for."""
        return _PACKAGED

    def with_folder(self, folder: str | Path) -> Catalogue:
        """Return a catalogue that also holds the definitions of a folder.

        Parameters
        ----------
        folder : path
            Holds ``<key>.toml`` and, for older versions, ``<key>@<version>.toml``.

        Returns
        -------
        Catalogue
            In it a definition of the folder that is named ``<key>.toml`` is the current one of its key.

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
        own = dict(self._own)
        problems = []
        for key, definitions in _read_folder(folder).items():
            known = self.versions(key)
            problems += [_taken(definition) for definition in definitions if definition.version in known]
            own[key] = (*definitions, *self._own.get(key, ()))
        if problems:
            raise DefinitionError(problems)
        return Catalogue(own)

    def get(self, key: str, version: str | None = None) -> Definition:
        """Return one definition.

        Parameters
        ----------
        key : str
        version : str, optional
            The current one by default.

        Returns
        -------
        Definition

        Raises
        ------
        UsageError
            No such measure or version.
        """
        definitions = self._all(key)
        if not definitions:
            raise UsageError(f"no measure '{key}'{near_word(key, self.keys())}")
        for definition in definitions:
            if version in (None, definition.version):
                return definition
        known = self.versions(key)
        near = near_word(str(version), known)
        raise UsageError(f"{key} has no version '{version}'; known: {', '.join(known)}{near}")

    @property
    def own(self) -> tuple[Definition, ...]:
        """The definitions that were added to the packaged ones."""
        return tuple(definition for definitions in self._own.values() for definition in definitions)

    def versions(self, key: str) -> tuple[str, ...]:
        """Return the versions of a measure, the current one first; empty where it is not known."""
        return tuple(definition.version for definition in self._all(key))

    def keys(self) -> tuple[str, ...]:
        """Return the keys of all measures, in order."""
        return tuple(sorted({*_packaged_files(), *self._own}))

    def _all(self, key: str) -> tuple[Definition, ...]:
        """Return the definitions of one key, the current one first: a study's own before the packaged."""
        found = [*self._own.get(key, ()), *_packaged(key)]
        return tuple(sorted(found, key=lambda definition: definition.file != f"{key}.toml"))

    def __iter__(self) -> Iterator[Definition]:
        """Iterate over the current definition of every measure."""
        definitions = [self.get(key) for key in self.keys()]
        _keep_compiled()
        return iter(definitions)

    def __len__(self) -> int:
        return len(self.keys())

    def __contains__(self, key: object) -> bool:
        return key in self.keys()


_PACKAGED = Catalogue({})


@cache
def _packaged_files() -> Mapping[str, tuple[Path, ...]]:
    """Return the packaged files by key."""
    found: dict[str, list[Path]] = {}
    for path in sorted(FOLDER.glob("*.toml"), key=lambda path: path.name):
        found.setdefault(path.stem.partition("@")[0], []).append(path)
    return {key: tuple(paths) for key, paths in found.items()}


@cache
def _packaged(key: str) -> tuple[Definition, ...]:
    return tuple(_read(path) for path in _packaged_files().get(key, ()))


_PARSED: list[Path] = []
"""Packaged files whose compiled form did not fit and that were read as TOML."""


def _read(path: Path) -> Definition:
    """Return the definition of a packaged file: compiled if that fits its content, else as read from the TOML."""
    found = compiled.load(path, path.read_bytes())
    if found is None:
        _PARSED.append(path)
        found = read_definition(path)
    return found


def _keep_compiled() -> None:
    """Write the compiled form again where a packaged definition had to be read from its TOML."""
    if _PARSED:
        paths = [path for paths in _packaged_files().values() for path in paths]
        by_file = {one.file: one for key in _packaged_files() for one in _packaged(key)}
        compiled.write((path, by_file[path.name]) for path in paths)
    _PARSED.clear()


def _read_folder(folder: Path) -> dict[str, list[Definition]]:
    """Return the definitions of a folder by key; raise with the problems of all its files."""
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
        known.append(definition)
    if problems:
        raise DefinitionError(problems)
    return found


def _taken(definition: Definition) -> Problem:
    message = f"{definition.key} {definition.version} is defined already; give your own version another name"
    return Problem(definition.file, None, "version", message)
