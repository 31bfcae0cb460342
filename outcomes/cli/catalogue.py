"""`outcomes measures`: the catalogue as a list, or one card."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from outcomes.cli.output import Output, columns_text
from outcomes.errors import UsageError, near_word

if TYPE_CHECKING:
    from outcomes.measures import Catalogue, Definition


def print_catalogue(key: str | None, filters: Mapping[str, str | None], study: Path | None, output: Output) -> None:
    """Print the measures that pass the filters, or the card of one.

    Raises
    ------
    UsageError
        No measure of that key or version, no folder of that name, or no measure passes the filters.
    """
    from outcomes.measures import Catalogue, card, listing

    catalogue = Catalogue.packaged()
    if study is not None:
        if not (study / "measures").is_dir():
            raise UsageError(f"{study} has no folder 'measures'")
        catalogue = catalogue.with_folder(study / "measures")
    if key is not None:
        definition = _found(catalogue, key)
        versions = catalogue.versions(definition.key)
        output.data(card(definition), whole_document(definition, versions))
        others = [f"{definition.key}@{version}" for version in versions if version != definition.version]
        if others:
            output.say(f"Other versions: outcomes measures {' or '.join(others)}")
        return
    chosen = [catalogue.get(row["key"], row["version"]) for row in listing(catalogue, filters["word"])]
    chosen = [definition for definition in chosen if _passes(definition, filters)]
    if not chosen:
        words = ", ".join(f"--{name} {word}" for name, word in filters.items() if word)
        raise UsageError(f"no measure for {words}; outcomes measures lists all")
    rows = [("key", "title", "construct", "scales")]
    rows += [(d.key, d.title, d.construct, ", ".join(scale.key for scale in d.scales)) for d in chosen]
    output.data("\n".join(columns_text(rows)), [as_document(definition) for definition in chosen])
    output.say("One card: outcomes measures KEY")


def _found(catalogue: Catalogue, wanted: str) -> Definition:
    """Return the definition of a key, or of ``key@version``."""
    known = tuple(catalogue.keys())
    key, _, version = wanted.partition("@")
    if key not in known:
        raise UsageError(f"no measure '{key}'{near_word(key, known)}\nKnown: {', '.join(sorted(known))}")
    return catalogue.get(key, version or None)


def _passes(definition: Definition, filters: Mapping[str, str | None]) -> bool:
    texts = {"domain": (definition.construct, *definition.domain), "population": definition.populations}
    return all(
        any(_plain(word) in _plain(text) for text in texts[name])
        for name, word in filters.items()
        if word and name in texts
    )


def _plain(text: str) -> str:
    return text.lower().replace("_", " ")


def whole_document(definition: Definition, versions: Sequence[str]) -> dict[str, Any]:
    """Return everything that the definition of one measure holds, for programs; an open end of a range is null.

    Parameters
    ----------
    definition : Definition
    versions : sequence of str
        All of the measure, the current one first.
    """

    def plain(value: Any) -> Any:
        if isinstance(value, Mapping):
            return {str(key): plain(one) for key, one in value.items()}
        if isinstance(value, tuple | list):
            return [plain(one) for one in value]
        return None if isinstance(value, float) and math.isinf(value) else value

    document: dict[str, Any] = plain(dataclasses.asdict(definition))
    return document | {"versions": list(versions), "main_scale": definition.main_scale.key}


def as_document(definition: Definition) -> dict[str, Any]:
    """Return what JSON output says of one measure."""
    return {
        "key": definition.key,
        "version": definition.version,
        "title": definition.title,
        "construct": definition.construct,
        "domain": list(definition.domain),
        "populations": list(definition.populations),
        "source": definition.source,
        "scales": [{"key": s.key, "unit": s.unit, "level": s.level, "better": s.better} for s in definition.scales],
    }
