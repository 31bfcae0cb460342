"""The short form of the study of generated inputs; the long one is intake_study.py, its result intake_study.txt."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))
from intake_inputs import catalogue, check_protocol, check_study, damaged_protocol, studies

SHORT = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


@pytest.fixture(scope="module")
def known(tmp_path_factory: pytest.TempPathFactory):
    return catalogue(tmp_path_factory.mktemp("measures"))


@SHORT
@given(generated=studies())
def test_any_generated_study_is_read_or_refused_with_exact_balances_and_no_wrong_number(known, generated):
    assert check_study(generated, known) in ("read", "stopped", "protocol refused")


@SHORT
@given(seed=st.integers(0, 2**32))
def test_any_damaged_protocol_is_read_or_refused_in_words(seed):
    assert check_protocol(damaged_protocol(seed)) in ("read", "refused")


def test_a_killed_run_leaves_whole_files_and_the_next_clears_up():
    """A handful of the kills of kill_study.py."""
    import kill_study

    assert kill_study.run(4, seed=1) == []
