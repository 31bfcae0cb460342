"""Every number of a printed text, traced to the record: what a reader's page may hold and nothing else."""

from __future__ import annotations

import json
import math
import re
from decimal import ROUND_HALF_UP, Decimal

from outcomes.reports.small_numbers import SmallNumbers

PRINTED = re.compile(r"(?<![\w.])[−-]?\d[\d,]*(?:\.\d+)?")
HASH = re.compile(r"[0-9a-f]{12,64}")
RATIO = re.compile(r"([\d,]+) of ([\d,]+)[^()\d]{0,40}\((\d+(?:\.\d)?)%\)")


def numbers_of(value):
    """Yield every number in plain data, those inside its texts included."""
    if isinstance(value, bool) or value is None:
        return
    if isinstance(value, int | float):
        if math.isfinite(value):
            yield float(value)
    elif isinstance(value, str):
        if not HASH.fullmatch(value):
            yield from (float(m.replace(",", "").replace("−", "-")) for m in PRINTED.findall(value))
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from numbers_of(key)
            yield from numbers_of(item)
    else:
        for item in value:
            yield from numbers_of(item)


def rounded(value: float, decimals: int) -> Decimal:
    return Decimal(f"{value:.12g}").quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)


def untraced(text: str, record, *, public: bool = False, more=()) -> list[str]:
    """Return the printed numbers of `text` that no number of the record rounds to.

    A percentage after "n of N" must be that ratio; others must be 100 times a fraction of the record.
    """
    known = {abs(n) for n in numbers_of(json.loads(record.to_json())) if abs(n) < 1e12} | {abs(float(n)) for n in more}
    known |= {n * 100 for n in known if n <= 5}
    known |= {0.001, float(SmallNumbers.of(record.meta["privacy"], public=public).minimum), 100 * record.meta["level"]}
    missing = []
    for n, of, percent in RATIO.findall(text):
        ratio = 100 * float(n.replace(",", "")) / float(of.replace(",", ""))
        if rounded(ratio, len(percent.partition(".")[2])) == Decimal(percent):
            known.add(float(percent))
        else:
            missing.append(percent)
    by_decimals: dict[int, set] = {}
    for token in PRINTED.findall(text):
        plain = token.lstrip("−-").replace(",", "")
        decimals = len(plain.partition(".")[2])
        if decimals not in by_decimals:
            by_decimals[decimals] = {rounded(n, decimals) for n in known}
        if Decimal(plain) not in by_decimals[decimals]:
            missing.append(token)
    return missing
