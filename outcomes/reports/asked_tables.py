"""Tables of what a plan asks for besides: effect sizes and percent, important change, reliable change."""

from __future__ import annotations

from collections.abc import Iterator

from outcomes.reports import format as fmt
from outcomes.reports.facts import Facts
from outcomes.reports.small_numbers import NOT_SHOWN
from outcomes.reports.tables import Table
from outcomes.result import Entry

SIZES = ("d_z", "hedges_g", "d_av", "d_rms", "d_rm", "d_before", "g_before", "rank_biserial", "probability_of_rise")
PERCENT = ("mean_percent", "percent_of_mean", "geometric")


def _entries(facts: Facts, analysis: str, statistics: tuple[str, ...] = ()) -> Iterator[tuple[Entry, str]]:
    """Yield the entries of one analysis for the report's contrast, each with its group as readers call it."""
    for key, entry in facts.record.entries.items():
        kind, _, _, group, contrast, _, statistic = key.split("/")
        if kind == analysis and contrast == facts.contrast_part and (not statistics or statistic in statistics):
            yield entry, "" if group == "all" else facts.group_label(group)


def _cells(facts: Facts, entry: Entry, group: str, unit: str = "") -> tuple[str, str, str]:
    """Return name, n and value with interval of one entry."""
    name = fmt.clean(entry.label, 200) + (f"; {group}" if group else "")
    if facts.small.hides(entry.n_people):
        return name, facts.small.words, NOT_SHOWN
    n = fmt.number(entry.n_people)
    if entry.status != "estimated" or not isinstance(entry.value, int | float):
        return name, n, f"{entry.status}: {fmt.clean(entry.reason or 'no reason given')}"
    used = unit or entry.unit
    if entry.interval is None:
        return name, n, fmt.quantity(entry.value, used, 2)
    return name, n, fmt.with_interval(entry.value, entry.interval.low, entry.interval.high, used)


def sizes(facts: Facts) -> Table:
    """Return the effect sizes and percent changes that the plan names, within each group."""
    rows = [_cells(facts, *one) for one in _entries(facts, "change", SIZES + PERCENT)]
    note = (
        "Without unit unless in percent; later minus earlier. The name says what the mean change was divided by. An "
        "interval stands where its method is defined: noncentral t for d_z and g, from 20 people a bootstrap for the "
        "others."
    )
    return Table.build("Standardised change", ("Size", "n", f"Value ({facts.ci})"), rows, note=note)


def important(facts: Facts) -> Table:
    """Return what people themselves called an important change; no rows without an anchor."""
    rows = [_cells(facts, *one) for one in _entries(facts, "important")]
    note = (
        "Important by the people's own rating (the anchor) or, where that is said, by the spread of the scores alone. "
        "Not the minimal detectable change, which says what a test can tell from error: a change can be important and "
        "below it, or beyond it and unimportant. A rating follows the present state more than the change."
    )
    return Table.build("Important change", ("Method", "n", f"Value ({facts.ci})"), rows, note=note)


def reliable(facts: Facts) -> Table:
    """Return how many people changed reliably; no rows where the plan did not ask."""
    rows: list[tuple[str, str, str]] = []
    found = list(_entries(facts, "reliable_change"))
    for start in range(len(found)):
        entry, group = found[start]
        statistic = entry.key.rpartition("/")[2]
        if statistic in ("better", "within", "other"):
            continue
        name, n, value = _cells(facts, entry, group)
        if statistic.startswith("share_") and entry.status == "estimated":
            count = facts.record.get(entry.key.replace("/share_", "/"))
            if count is None or _close(facts, int(count.value or 0), entry.n_people):
                value = NOT_SHOWN
            else:
                value = f"{fmt.number(int(count.value or 0))} people; share {value}"
        rows.append((name, n, value))
    note = "Beyond the threshold of the reliable change index: more than error, which is not to say that it matters."
    return Table.build("Reliable change", ("People", "n", f"Value ({facts.ci})"), rows, note=note)


def _close(facts: Facts, count: int, of: int) -> bool:
    """Return whether a count, or what it leaves, is too small to be printed."""
    return facts.small.hides(count) or facts.small.hides(of - count)
