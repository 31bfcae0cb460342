"""Subscales whose first item is the hardest and whose second is the easiest, so that the others may be left out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from outcomes.measures.algorithms.contract import Algorithm, Formed, Given
from outcomes.vocabulary import ABSENT_WORDS

if TYPE_CHECKING:
    from outcomes.measures.algorithms.contract import Flags, Floats

SUBSCALES = {"grasp": 6, "grip": 4, "pinch": 6, "gross": 3}
"""Items of each subscale."""
MOST = 3.0
LYLE = 1.0
SKIPPED = (0, *(1 + ABSENT_WORDS.index(word) for word in ("not_tested", "not_applicable")))
"""Why an item may have no answer that the shortcut explains: left empty, or said not to have been tested."""


def keys_of(subscale: str) -> tuple[str, ...]:
    """Return the items of a subscale, the hardest first and the easiest second."""
    return tuple(f"{subscale}_{number}" for number in range(1, SUBSCALES[subscale] + 1))


def run(given: Given) -> dict[str, Formed]:
    """Return every subscale and the total.

    Parameters
    ----------
    given : Given

    Returns
    -------
    dict of str to Formed

    References
    ----------
    Lyle RC (1981), from memory; the shortcut: report of the NINDS Common Data Elements on the test.
    """
    parts = {subscale: _subscale(given, subscale) for subscale in SUBSCALES}
    return {**parts, "total": _total(given, parts)}


def _subscale(given: Given, subscale: str) -> Formed:
    import numpy as np

    keys = keys_of(subscale)
    items = np.array([given.once(key) for key in keys])
    blank, formed = np.isnan(items), Formed.empty(given.people)
    complete = ~blank.any(axis=0)
    explained = np.isin(np.array([given.absent[key][0] for key in keys]), SKIPPED) | ~blank
    short = (given.once("method") == LYLE) & ~complete & explained.all(axis=0)
    hardest, easiest = items[0] == MOST, (items[1] == 0) & (items[0] < MOST)
    as_most = short & hardest & (blank | (items == MOST)).all(axis=0)
    as_none = short & easiest & (blank | (items == 0))[2:].all(axis=0)
    formed.value[complete] = items[:, complete].sum(axis=0)
    formed.value[as_most] = MOST * len(keys)
    formed.value[as_none] = items[0, as_none]
    formed.explanation[complete] = f"{subscale}: sum of its {len(keys)} items"
    formed.explanation[as_most] = f"{subscale} = {MOST * len(keys):g}: {keys[0]} is 3, so the others count as 3"
    formed.explanation[as_none] = f"{subscale} = {keys[0]}: {keys[1]} is 0, so the others count as 0"
    _say_why_not(formed, items, blank, given.once("method") == LYLE, keys)
    formed.mark((items[0] > 0) & (items[1] == 0), f"{keys[0]} above 0 although {keys[1]} is 0")
    formed.mark(complete & hardest & (items < MOST).any(axis=0), f"{keys[0]} is 3 although another is below")
    return formed


def _say_why_not(formed: Formed, items: Floats, blank: Flags, lyle: Flags, keys: tuple[str, ...]) -> None:
    """Give the reason where items are blank and no shortcut explains it."""
    import numpy as np

    none = np.isnan(formed.value)
    for row in np.unique(blank[:, none], axis=1).T:
        mine = none & (blank == row[:, None]).all(axis=0)
        names = ", ".join(key for key, missing in zip(keys, row, strict=True) if missing)
        formed.reason[mine & lyle] = f"{names} blank, which the shortcut does not explain"
        formed.reason[mine & ~lyle] = f"{names} blank, and the method is not said to be lyle"


def _total(given: Given, parts: dict[str, Formed]) -> Formed:
    import numpy as np

    total = Formed.empty(given.people)
    total.value = np.array([part.value for part in parts.values()]).sum(axis=0)
    total.explanation[:] = f"total: sum of {', '.join(parts)}"
    for part in parts.values():
        total.marks += [(rows & ~np.isnan(total.value), text) for rows, text in part.marks]
        told = np.isnan(part.value)
        pairs = zip(total.reason[told], part.reason[told], strict=True)
        total.reason[told] = [f"{before}; {why}" if before else why for before, why in pairs]
    return total


ITEMS = [key for subscale in SUBSCALES for key in keys_of(subscale)]
ALGORITHM = Algorithm(
    items={**dict.fromkeys(ITEMS, (0.0, 1.0, 2.0, 3.0)), "method": (0.0, LYLE)},
    scales={**{subscale: (*keys_of(subscale), "method") for subscale in SUBSCALES}, "total": (*ITEMS, "method")},
    run=run,
    decisions=(
        "A subscale with all items answered is their sum, by either method.",
        "method = lyle: item 1, the hardest, graded 3 counts every blank item of its subscale as 3; else item 2, the "
        "easiest, graded 0 counts every blank item after it as 0. Any other blank leaves no score.",
        "method = full, or not said: any blank leaves no score.",
        "Item 1 above 0 although item 2 is 0 contradicts the order: the score stands and is flagged.",
    ),
)
