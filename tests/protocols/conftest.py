"""A small protocol that is accepted, and a way to change it."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from outcomes.errors import DefinitionError
from protocols import parse_protocol

ACCEPTED = """\
schema = 1
[study]
title = "Twelve weeks"
design = "single arm"
[[visits]]
key = "week0"
label = "Week 0"
week = 0
when = "baseline"
[[visits]]
key = "week12"
label = "Week 12"
week = 12
when = "end"
[[measures]]
measure = "limb_girth"
role = "primary"
places = ["mid_thigh"]
[analysis]
compare = ["week0", "week12"]
[harms]
collection = "not collected"
"""

GROUPS = """\
[[groups]]
key = "early"
label = "Early start"
reference = true
[[groups]]
key = "late"
label = "Late start"
words = ["L", "2"]
"""


@pytest.fixture
def accepted() -> str:
    """Text of a protocol without a fault."""
    return ACCEPTED


@pytest.fixture
def grouped() -> str:
    """Text of a protocol with two groups, without a fault."""
    return ACCEPTED.replace('"single arm"', '"parallel groups"') + GROUPS


@pytest.fixture
def faults() -> Callable[[str], list[str]]:
    """Return the printed faults of a protocol text."""

    def read(text: str) -> list[str]:
        with pytest.raises(DefinitionError) as caught:
            parse_protocol(text)
        return str(caught.value).splitlines()

    return read
