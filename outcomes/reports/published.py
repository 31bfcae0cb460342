"""Published results beside a study's own: other people under other conditions, and said to be so."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from outcomes.reports import format as fmt
from outcomes.reports.blocks import Block, table_block
from outcomes.reports.facts import Facts
from outcomes.reports.study_sentences import programme
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


def beside_published(facts: Facts, *, whole: bool = True) -> Iterator[Block]:
    """Yield the study's own numbers beside published results; nothing unless the protocol asks for it.

    Parameters
    ----------
    facts : Facts
    whole : bool
        Training delivered and harms too, beside the outcome that the report is about.
    """
    if not wanted(facts):
        return
    standing, results = published()
    row = facts.row
    stem = "" if row is None else str(row["measure"]).partition(".")[0].partition("@")[0]
    lines: list[tuple[str, ...]] = []
    for topic, own in ((stem, _change), ("training", _training), ("harms", _harms))[: 3 if whole else 1]:
        found = [_line(r) for r in results if topic in r["beside"]]
        mine = own(facts)
        if found and mine is not None:
            lines.append(("this study", "see above", *mine, "this record"))
        lines += found
    if not lines:
        standing = f"No published result of this measure is packaged. {standing}"
    columns = ("Source", "People", "n", "Training", "Result", "Read in")
    table = Table.build("Beside published results", columns, lines, left=(1, 3, 4, 5), note=standing)
    yield table_block("beside_published", table)


def _line(result: dict[str, Any]) -> tuple[str, ...]:
    n = fmt.number(result["n"]) if "n" in result else "not seen"
    return (result["source"], result["population"], n, result["training"], result["result"], result["seen"])


def _change(facts: Facts) -> tuple[str, str, str] | None:
    """Return n, training and change of the outcome that the report is about; None where it may not be printed."""
    from outcomes.reports.change_sentences import change_words

    row = facts.row
    if row is None or row["change"] is None or facts.small.hides(row["n"]):
        return None
    kind = "typical shift in" if row["level"] == "ordinal" else "mean change in"
    words = f"{kind} {facts.plain_name(row)}: {change_words(facts, row)}"
    return fmt.number(row["n"]), programme(facts) or "not reported", words


def _training(facts: Facts) -> tuple[str, str, str] | None:
    """Return people, training and the share of planned sessions that was delivered."""
    done, plan = (facts.value("delivery", f"{k}_sum", exposure="sessions") for k in ("delivered", "planned"))
    n = facts.value("flow", "enrolled")
    if done is None or not plan or n is None or facts.small.hides(int(n)):
        return None
    share = facts.value("delivery", "share", exposure="sessions")
    words = f"{fmt.share(int(done), int(plan), fraction=share)} planned sessions"
    return fmt.number(n), programme(facts) or "not reported", words


def _harms(facts: Facts) -> tuple[str, str, str] | None:
    """Return people, training and adverse events."""
    from outcomes.reports.study_sentences import harms

    n = facts.value("flow", "enrolled")
    words = " ".join(sentence.text for sentence in harms(facts))
    return (
        None if n is None or facts.small.hides(int(n)) else (fmt.number(n), programme(facts) or "not reported", words)
    )
