"""Published results beside a study's own: other people under other conditions, and said to be so."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from outcomes.reports import format as fmt
from outcomes.reports.blocks import Block, table_block
from outcomes.reports.facts import Facts
from outcomes.reports.tables import Table
from outcomes.toml_source import read_toml

PATH = Path(__file__).parent / "published.toml"


@cache
def published() -> tuple[str, tuple[dict[str, Any], ...]]:
    """Return the sentence that stands below them, and the packaged results."""
    data = read_toml(PATH).data
    return str(data["standing"]), tuple(data["results"])


def wanted(facts: Facts) -> bool:
    """Return whether the protocol asks for published results (``beside_published`` under ``[report]``)."""
    return bool((facts.meta.get("report") or {}).get("beside_published"))


def beside_published(facts: Facts) -> Iterator[Block]:
    """Yield the table of published results of the measure that the report is about; nothing unless it is asked for."""
    if not wanted(facts) or facts.row is None:
        return
    standing, results = published()
    row = facts.row
    stem = str(row["measure"]).partition(".")[0].partition("@")[0]
    lines = [
        (r["source"], r["population"], fmt.number(r["n"]), r["training"], r["result"])
        for r in results
        if stem in r["measures"]
    ]
    if row["change"] is not None and not facts.small.hides(row["n"]):
        from outcomes.reports.change_sentences import change_words

        what = facts.plain_name(row)
        words = f"mean change in {what}: {change_words(facts, row)}"
        lines.insert(0, ("this study", "see above", fmt.number(row["n"]), "see above", words))
    if len(lines) < 2:
        standing = f"No published result of this measure is packaged. {standing}"
    columns = ("Source", "People", "n", "Training", "Result")
    table = Table.build("Beside published results", columns, lines, left=(1, 3, 4), note=standing)
    yield table_block("beside_published", table)
