"""A scale that ends at its first item: a person who cannot sit gets 0 and is not asked the rest."""

from __future__ import annotations

from outcomes.measures.algorithms.contract import Algorithm, Formed, Given

STATIC = tuple(f"static_{number}" for number in range(1, 4))
DYNAMIC = tuple(f"dynamic_{number}" for number in range(1, 11))
COORDINATION = tuple(f"coord_{number}" for number in range(1, 5))
PARTS = {"static": STATIC, "dynamic": DYNAMIC, "coordination": COORDINATION}
CODES = {
    "static_1": (0.0, 2.0),
    "static_2": (0.0, 2.0),
    "static_3": (0.0, 1.0, 2.0, 3.0),
    **dict.fromkeys(DYNAMIC, (0.0, 1.0)),
    "coord_1": (0.0, 1.0, 2.0),
    "coord_2": (0.0, 1.0),
    "coord_3": (0.0, 1.0, 2.0),
    "coord_4": (0.0, 1.0),
}


def run(given: Given) -> dict[str, Formed]:
    """Return the three parts and the total.

    Parameters
    ----------
    given : Given

    Returns
    -------
    dict of str to Formed

    References
    ----------
    Verheyden G et al. (2004) Clin Rehabil 18:326-334.
    """
    import numpy as np

    ended = given.once("static_1") == 0
    rest = np.array([given.once(key) for key in CODES if key != "static_1"])
    contradicts = ended & (rest > 0).any(axis=0)
    formed = {}
    for name, keys in {**PARTS, "total": tuple(CODES)}.items():
        one = Formed.empty(given.people)
        one.value = np.array([given.once(key) for key in keys]).sum(axis=0)
        one.explanation[:] = f"{name}: sum of its {len(keys)} items"
        one.value[ended] = 0.0
        one.explanation[ended] = f"{name} = 0: static_1 is 0, which ends the test"
        one.refuse(contradicts, "static_1 is 0, which ends the test, but a later item is above 0")
        formed[name] = one
    return formed


ALGORITHM = Algorithm(
    items=CODES,
    scales={**{name: tuple(dict.fromkeys(("static_1", *keys))) for name, keys in PARTS.items()}, "total": tuple(CODES)},
    run=run,
    decisions=(
        "static_1 graded 0 ends the test: every part and the total are 0, and the later items may be blank.",
        "Else every item of a part is needed for it, and all 17 for the total.",
    ),
)
