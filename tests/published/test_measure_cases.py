"""Every worked case of a measure, as ``cases/measures_*.toml`` gives it.

A case may have a name (``case``), which is then the name of its test; of several that make one, each adds its number,
as in ``mas_1.2``. `once_checked` holds what a scale that is withheld would give by the rule that is still from memory;
`explained` a part of the line that explains a score; a band "" stands for none of its set.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from outcomes.errors import DataError
from outcomes.measures import Catalogue, Score, score

FILES = sorted((Path(__file__).parent / "cases").glob("measures_*.toml"))
CASES = [
    pytest.param(case, id=case.get("case", f"{file.stem}-{number}-{case['measure']}"))
    for file in FILES
    for number, case in enumerate(tomllib.loads(file.read_text(encoding="utf-8"))["cases"], start=1)
]


def test_there_are_cases_of_every_measure() -> None:
    measures = {case.values[0]["measure"] for case in CASES}
    assert measures == set(Catalogue.packaged().keys())


def in_order(case: dict[str, Any]) -> dict[str, str]:
    """Return the answers that stand in a row: those of the first items of the measure with that beginning."""
    definition = Catalogue.packaged().get(case["measure"], case.get("version"))
    answers = {}
    for name, texts in case.get("in_order", {}).items():
        keys = [item.key for item in definition.items if item.key.startswith(f"{name}_")]
        answers |= dict(zip(keys, texts.split(), strict=False))
    return answers


@pytest.mark.parametrize("case", CASES)
def test_a_measure_gives_the_score_of_its_source(case: dict[str, Any]) -> None:
    assert case["source"]
    case = {**case, "given": {**in_order(case), **case.get("given", {})}}
    assert case["status"] in ("VERIFIED", "COMPUTED", "MEMORY")
    circumstances = {name: case.get(name) for name in ("context", "absent", "version")}
    if "refused" in case:
        with pytest.raises(DataError) as refusal:
            score(case["measure"], case["given"], **circumstances)
        assert [finding.column for finding in refusal.value.findings] == [case["refused"]]
        assert case.get("rule") in (None, refusal.value.findings[0].rule)
        return
    scored = score(case["measure"], case["given"], **circumstances)
    assert case.get("expected") or case.get("named")
    assert {scale: scored.names.get(scale) for scale in case.get("named", {})} == case.get("named", {})
    for scale, expected in case.get("expected", {}).items():
        if isinstance(expected, str):
            assert (scored[scale], scored.reasons[scale]) == (None, expected)
        else:
            assert scored[scale] == pytest.approx(expected, abs=case.get("tolerance", 0), rel=0)
    if "once_checked" in case:
        scored = unlocked(case)
        assert {scale: scored[scale] for scale in case["once_checked"]} == case["once_checked"]
    for scale, labels in case.get("bands", {}).items():
        assert {name: scored.bands.get(scale, {}).get(name, "") for name in labels} == labels
    for scale, flags in case.get("flags", {}).items():
        assert list(scored.flags[scale]) == flags
    for scale, count in case.get("answered", {}).items():
        assert scored.items_answered[scale] == count
    for scale, text in case.get("explained", {}).items():
        assert text in scored.explanations[scale]


def unlocked(case: dict[str, Any]) -> Score:
    """Return the score that the rule from memory gives where it is not withheld."""
    definition = Catalogue.packaged().get(case["measure"], case.get("version"))
    scales = tuple(replace(scale, withheld="") for scale in definition.scales)
    return score(replace(definition, scales=scales), case["given"])
