"""Small pieces of the words and data of figures."""

from __future__ import annotations

from typing import Any

from outcomes.reports import format as fmt
from outcomes.reports.blocks import Block, lines_block
from outcomes.reports.change_sentences import grade_order
from outcomes.reports.conference_tables import better_words
from outcomes.reports.facts import Facts
from outcomes.reports.study_sentences import limb_words
from outcomes.units import printed_unit


def not_drawn(name: str, heading: str, why: str) -> Block:
    """Return the line that stands in place of a figure."""
    return lines_block("text", name, [f"{heading}: not drawn ({why})."])


def figure_name(name: str, row: Any) -> str:
    """Return the name of a figure's files; a group's own figure carries its key."""
    return name if row["group"] == "all" else f"{name}_{row['group']}"


def file_part(key: str) -> str:
    """Return a part of a record key as a piece of a file name."""
    return "".join(c if c.isalnum() else "_" for c in str(key))


def stage_note(row: Any) -> str:
    """Return the note of a stage of the flow in brackets."""
    note = fmt.clean(row["note"] or "", 60)
    return f" ({note})" if note else ""


def capital(text: str) -> str:
    """Return `text` with a capital first letter."""
    return text[:1].upper() + text[1:]


def note_line(row: Any) -> str:
    """Return the line below a figure: n, limbs, direction word."""
    limbs = limb_words(row)
    return f"n = {row['n']} people{f', {limbs}' if limbs else ''}; {better_words(row)}."


def axis_label(facts: Facts, row: Any, lead: str) -> str:
    """Return the label of an axis: what, and its unit."""
    name = facts.title_of(row)[0]
    unit = printed_unit(row["unit"])
    return f"{lead}{name}{f' ({unit})' if unit else ''}"


def good_is_up(row: Any) -> bool:
    """Return whether the better or hoped-for direction of an outcome is upwards."""
    return bool(row["better"] == "higher" or row["words_better"] == "larger")


def better_way(row: Any) -> str:
    """Return which change stands at the right of zero in a forest of effects."""
    return "a rise" if good_is_up(row) else "a fall"


def floats(values: list[Any]) -> list[float]:
    """Return values as numbers, nan where there is none."""
    return [float("nan") if v is None else float(v) for v in values]


def number_or(value: float | None, words: str) -> str:
    """Return a whole number as it is printed, or the words that say why there is none."""
    return words if value is None else fmt.number(value)


def margins(cells: list[dict[str, Any]]) -> tuple[list[str], list[int], list[int]]:
    """Return the grades that occur, in the order of the transition table, and how many people were at each."""
    befores = list(dict.fromkeys(c["before"] for c in cells))
    afters = sorted({c["after"] for c in cells} - set(befores))
    levels = sorted({*befores, *afters}, key=grade_order)
    before = [sum(int(c["n"]) for c in cells if c["before"] == level) for level in levels]
    after = [sum(int(c["n"]) for c in cells if c["after"] == level) for level in levels]
    return levels, before, after
