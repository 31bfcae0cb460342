"""What the catalogue says of a measure: one line in a list, or a card in plain text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import TYPE_CHECKING

from outcomes.measures.algorithms import name_of
from outcomes.measures.algorithms.agreement import used_by
from outcomes.measures.responses import expected_of, span
from outcomes.units import printed_unit

if TYPE_CHECKING:
    from outcomes.measures.catalogue import Catalogue
    from outcomes.measures.schema import Band, Definition, Item, PublishedValue, Rows, Scale

WIDTH = 100
LONG_ROW = 12
"""Items that are answered alike and stand together on a card."""
FEW_NAMES = 8
"""Names of values that are listed one by one."""
BETTER = {"higher": "higher is better", "lower": "lower is better", "none": "size only, no better direction"}


def listing(catalogue: Catalogue, word: str | None = None) -> list[dict[str, str]]:
    """Return one row for each measure whose card holds `word`.

    Parameters
    ----------
    catalogue : Catalogue
    word : str, optional
        Looked for in key, title, construct, domains, populations and scales; all measures by default.

    Returns
    -------
    list of dict
        key, version, title, construct, scales, populations.

    Examples
    --------
    >>> from outcomes.measures import Catalogue
    >>> [row["key"] for row in listing(Catalogue.packaged(), "Modified Ashworth")]
    ['mas']
    """
    rows = []
    for definition in catalogue:
        row = {
            "key": definition.key,
            "version": definition.version,
            "title": definition.title,
            "construct": definition.construct,
            "scales": ", ".join(scale.key for scale in definition.scales),
            "populations": ", ".join(definition.populations),
        }
        text = " ".join([*row.values(), *definition.domain]).lower().replace("_", " ")
        if word is None or word.lower().replace("_", " ") in text:
            rows.append(row)
    return rows


def card(definition: Definition) -> str:
    """Return what a measure is, how it is scored and what is known of it, as plain text.

    Parameters
    ----------
    definition : Definition

    Returns
    -------
    str
        Lines of at most 100 characters.

    Examples
    --------
    >>> from outcomes.measures import Catalogue
    >>> print(card(Catalogue.packaged().get("mas")).splitlines()[0])
    Modified Ashworth Scale (mas, version bohannon1987)
    """
    parts = [
        f"{definition.title} ({definition.key}, version {definition.version})",
        *_facts(definition),
        *_section("Rows", _rows(definition.rows)),
        *_section("Items", _items(definition)),
        *_section("Scales", (_scale(definition, scale) for scale in definition.scales)),
        *_section("Options", _options(definition)),
        *_section("How it is decided", (line for used in used_by(definition) for line in used.decisions)),
        *_section("Bands", (_band(band) for band in definition.bands)),
        *_section("Published properties", (_published(value) for value in definition.published)),
        *_section("Traps", definition.traps),
    ]
    return "\n".join(parts)


def _section(title: str, lines: Iterable[str]) -> Iterator[str]:
    body = list(lines)
    if not body:
        return
    yield ""
    yield title
    for line in body:
        yield from _wrapped(line)


def _wrapped(line: str, first: str = "  ") -> list[str]:
    return textwrap.wrap(line, WIDTH, initial_indent=first, subsequent_indent="    ", break_on_hyphens=False)


def _facts(definition: Definition) -> Iterator[str]:
    source = f"{definition.source} [{definition.status}]" if definition.status else definition.source
    facts = {
        "Measures": definition.construct,
        "Domain": ", ".join(definition.domain),
        "Used with": ", ".join(definition.populations),
        "By": definition.mode,
        "Source": source,
        "Licence": definition.licence,
        "LOINC": definition.loinc,
    }
    for name, text in facts.items():
        if text:
            yield from _wrapped(f"{name}: {text}", "")


def _rows(rows: Rows) -> Iterator[str]:
    if rows.place:
        yield f"place: {', '.join(rows.place)}"
    for place, words in rows.landmarks.items():
        yield f"{place}: {words}"
    if rows.side:
        yield "side: left, right, both"
    if rows.trial is not None:
        few = " (fewer are flagged)" if rows.fewer == "flag" else ""
        numbers = str(rows.trial.max) if rows.trial.min == rows.trial.max else f"{rows.trial.min} to {rows.trial.max}"
        yield f"readings: {numbers}{few}{_combined(rows)}"
    if rows.variant:
        yield f"never joined: different {', '.join(rows.variant)}"
    if rows.context:
        yield f"kept beside the score: {', '.join(rows.context)}"
    if rows.at_least:
        yield f"no score with fewer than {rows.at_least} items of the form answered"
    if rows.absent_words:
        yield "as an answer: " + ", ".join(f"{typed} = {word}" for typed, word in rows.absent_words.items())


def _combined(rows: Rows) -> str:
    if not rows.combine:
        return ""
    text = f"; {rows.combine} of the {rows.combine_on}"
    if rows.if_spread_over is not None:
        text += f", {rows.then} where they lie more than {rows.if_spread_over:g} apart"
    return text


def _items(definition: Definition) -> Iterator[str]:
    """Yield what each item takes; a long row of items that are answered alike is told together."""
    for about, row in groupby(definition.items, _item):
        keys = [item.key for item in row]
        if len(keys) < LONG_ROW:
            yield from (f"{key}: {about}" for key in keys)
        else:
            yield f"{', '.join(keys)}: {about}"


def _item(item: Item) -> str:
    text = expected_of(item, {})
    if item.codes and list(item.codes) != [f"{number:g}" for number in item.codes.values()]:
        text += " (counted as " + ", ".join(f"{number:g}" for number in item.codes.values()) + ")"
    if item.usual is not None:
        text += f"; usually {span(item.usual, item.unit)}"
    for place, limits in item.usual_at.items():
        text += f"; {place} usually {span(limits, item.unit)}"
    if item.default is not None:
        text += f"; {item.default:g} {printed_unit(item.unit)} where not given".rstrip()
    if item.left_out_if is not None:
        reasons = " or ".join(item.left_out_if).replace("_", " ")
        text += f"; may be left out where {reasons}" if reasons else "; never left out"
    if item.asked_if is not None:
        text += f"; asked only if {item.asked_if}"
    return text


def _scale(definition: Definition, scale: Scale) -> str:
    unit = printed_unit(scale.unit)
    limits = "" if scale.range is None else f" {span(scale.range)}"
    main = ", the main scale" if scale.main and len(definition.scales) > 1 else ""
    about = f"{scale.key}:{limits} {unit} ({scale.level}; {BETTER[scale.better]}{main})".replace("  ", " ")
    missing = _missing(scale)
    return f"{about}: {_rule(definition, scale)}{f'; {missing}' if missing else ''}"


def _options(definition: Definition) -> Iterator[str]:
    """Yield every option of the algorithms, the word that holds first."""
    for used in used_by(definition):
        chosen = used.chosen(definition.options)
        for name, words in used.options.items():
            others = [f"{word}: {about}" for word, about in words.items() if word != chosen[name]]
            yield f"{name} = {chosen[name]} ({words[chosen[name]]}); or {'; or '.join(others)}"


def _rule(definition: Definition, scale: Scale) -> str:
    if name := name_of(scale.rule):
        values = list(scale.codes)
        few = ", ".join(values) if len(values) <= FEW_NAMES else f"{values[0]} to {values[-1]}, {len(values)} values"
        return f"by the algorithm {name}" + (f", one of {few}" if values else "")
    parts = scale.items or scale.scales
    names = ", ".join(parts)
    words = {
        "value": f"the number of {names}",
        "recode": f"{names} recoded: " + ", ".join(f"{code} = {number:g}" for code, number in scale.recode.items()),
        "sum": f"sum of {', '.join(_counted(scale))}",
        "mean": f"mean of {names}",
        "largest": f"largest of {names}",
        "trials": f"{names}",
        "ratio": " / ".join(parts),
    }
    text = words[scale.rule]
    if scale.items and scale.rule in ("trials", "ratio") and definition.rows.trial is not None:
        how = scale.combine or definition.rows.combine
        on = scale.combine_on or definition.rows.combine_on
        text = f"{how} of the readings: {text}" if on == "readings" else f"{text} of each reading, then their {how}"
    if (scale.factor, scale.offset) != (1.0, 0.0):
        text += f", times {scale.factor:g}" + (f", plus {scale.offset:g}" if scale.offset else "")
    return text if scale.cap is None else f"{text}; above {scale.cap:g} counts as {scale.cap:g}, flagged"


def _counted(scale: Scale) -> list[str]:
    """Return the parts of a sum with what each is multiplied by."""
    parts = list(scale.items or scale.scales)
    if scale.times:
        parts = [f"{part} x {factor}" for part, factor in zip(parts, scale.times, strict=True)]
    if scale.weights:
        parts = [f"{weight:g} x {part}" for part, weight in zip(parts, scale.weights, strict=True)]
    return parts


def _missing(scale: Scale) -> str:
    if scale.withheld:
        return f"NO SCORE IS FORMED: {scale.withheld}"
    if name_of(scale.rule):
        text = ""
    elif scale.rule == "largest":
        text = f"of those answered, at least {scale.at_least}"
    elif scale.missing == "no score":
        text = "a missing answer leaves no score"
    else:
        text = f"{scale.missing} where at least {scale.at_least} {'is' if scale.at_least == 1 else 'are'} answered"
    text += "; a total that was typed instead of items is taken and marked" if scale.total_only else ""
    return text if scale.unable is None else f"{text}; unable counts as {scale.unable:g}"


def _band(band: Band) -> str:
    ends = {"closed": "", "low open": ", without the lower end", "high open": ", without the upper end"}
    limits = span(band.range) + ends.get(band.ends, ", without both ends")
    status = f" [{band.status}]" if band.status else ""
    return f"{band.set}, {band.scale} {limits}: {band.label} ({band.source}){status}"


def _published(value: PublishedValue) -> str:
    number = value.value if isinstance(value.value, str) else _numbers(value.value)
    text = f"{value.key}: {value.statistic} {number} {printed_unit(value.unit)}".rstrip()
    words = {"increase": "for an increase", "decrease": "for a decrease"}
    parts = [value.population, value.variant, value.stratum, value.unit_of_analysis, value.method]
    parts += [words.get(value.direction, ""), "must be exceeded" if value.exceeded else ""]
    for part in parts:
        text += f"; {part}" if part else ""
    return f"{text} ({value.source}) [{value.status}]"


def _numbers(value: float | tuple[float, float]) -> str:
    return f"{value[0]:g} to {value[1]:g}" if isinstance(value, tuple) else f"{value:g}"
