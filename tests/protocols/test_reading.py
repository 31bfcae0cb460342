"""Reading: the ready-made protocols, defaults, frozen values, and that all faults come at once in our words."""

from __future__ import annotations

import itertools
import subprocess
import sys
from pathlib import Path

import pydantic
import pytest

from outcomes.errors import DefinitionError, UsageError
from protocols import packaged, packaged_path, parse_protocol, read_protocol


@pytest.mark.parametrize("name", packaged())
def test_every_ready_made_protocol_is_accepted(name):
    protocol = read_protocol(packaged_path(name))
    others = {"wait_list": "parallel groups", "test_retest": "test-retest"}
    assert protocol.study.design == others.get(name, "single arm")
    assert protocol.frozen is None
    assert [measure.role for measure in protocol.measures].count("primary") == 1


def test_the_ready_made_protocols_are_leg_and_arm_cycling_measuring_twice_and_a_wait_list():
    assert packaged() == ("arm_cycling_12_weeks", "leg_cycling_16_weeks", "test_retest", "wait_list")


def test_the_group_that_waits_is_the_reference_and_is_not_trained():
    protocol = read_protocol(packaged_path("wait_list"))
    assert [(g.key, g.reference, g.trained) for g in protocol.groups] == [
        ("trained", False, True),
        ("waiting", True, False),
    ]
    assert protocol.analysis.report == "each group"


def test_leg_protocol_plans_the_visits_and_minutes_it_says_in_its_name():
    protocol = read_protocol(packaged_path("leg_cycling_16_weeks"))
    assert [visit.week for visit in protocol.visits] == [0, 4, 8, 12, 16, 20]
    assert protocol.training is not None
    assert (protocol.training.weeks, protocol.training.sessions_per_week) == (16, 3)
    minutes = protocol.training.active_minutes
    assert (minutes[0], minutes[-1]) == (20, 45)
    assert {round(b - a, 9) for a, b in itertools.pairwise(minutes)} == {2.5}


def test_no_ready_made_protocol_outside_the_package():
    with pytest.raises(UsageError, match="did you mean 'leg_cycling_16_weeks'"):
        packaged_path("leg_cycling_12_weeks")
    with pytest.raises(UsageError, match="no ready-made protocol"):
        packaged_path("../schema")


def test_defaults_are_filled_in_and_absent_parts_are_none_or_empty(accepted):
    protocol = parse_protocol(accepted)
    assert (protocol.training, protocol.dose, protocol.frozen) == (None, None, None)
    assert (protocol.groups, protocol.not_applicable, protocol.statements) == ((), (), {})
    assert protocol.analysis.alpha == 0.05
    assert protocol.analysis.report == "all"
    assert protocol.measures[0].minimal_change == "none"
    assert protocol.measures[0].limbs is None
    assert (protocol.report.conference.words, protocol.report.conference.characters) == (250, None)
    assert protocol.intake.on_error == "stop"
    assert (protocol.privacy.internal_minimum, protocol.privacy.public_minimum) == (5, 11)


def test_a_character_limit_takes_the_place_of_the_word_limit(accepted):
    protocol = parse_protocol(accepted + "[report.conference]\ncharacters = 2000\n")
    assert (protocol.report.conference.words, protocol.report.conference.characters) == (None, 2000)
    other = parse_protocol(accepted + '[report.conference]\nblind_words = ["x"]\n')
    assert other.report.conference.words == 250


def test_parallel_groups_are_reported_each_unless_said_otherwise(grouped):
    assert parse_protocol(grouped).analysis.report == "each group"
    said = grouped.replace("[analysis]\n", '[analysis]\nreport = "both"\n')
    assert parse_protocol(said).analysis.report == "both"


def test_a_test_retest_study_needs_no_visits():
    text = (
        'schema = 1\n[study]\ntitle = "x"\ndesign = "test-retest"\n[[measures]]\nmeasure = "sbp"\nrole = "primary"\n'
        '[harms]\ncollection = "none occurred"\n'
    )
    protocol = parse_protocol(text)
    assert protocol.visits == ()
    assert protocol.analysis.compare is None


def test_a_protocol_cannot_be_changed(accepted):
    protocol = parse_protocol(accepted)
    with pytest.raises(pydantic.ValidationError):
        protocol.analysis.alpha = 0.1
    assert isinstance(protocol.measures, tuple)


def test_importing_the_package_loads_no_pydantic():
    code = "import protocols, sys; assert 'pydantic' not in sys.modules and 'numpy' not in sys.modules"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_all_faults_are_listed_at_once_with_line_and_key(faults):
    found = faults(
        'schema = 1\n[study]\ntitle = 5\ndesign = "single am"\nsynthetic = "no"\n'
        '[[visits]]\nkey = "A b"\nlabel = "x"\nweek = "0"\nwhen = "baseline"\n'
        '[[measures]]\nmeasure = "mas"\nrole = "secondary"\n[analysis]\ncompare = ["a"]\nalhpa = 0.1\n'
    )
    assert found == [
        "protocol.toml: section [harms] is required",
        "protocol.toml, line 3, study.title: found the number 5, expected text in quotes",
        "protocol.toml, line 4, study.design: 'single am' is not one of single arm, parallel groups, single case, "
        "test-retest; did you mean 'single arm'?",
        "protocol.toml, line 5, study.synthetic: found the text 'no', expected true or false",
        "protocol.toml, line 7, visits[0].key: found the text 'A b', expected small letters, digits and _, beginning "
        "with a letter",
        "protocol.toml, line 9, visits[0].week: found the text '0', expected a number at least -52 and at most 520",
        'protocol.toml, line 11, measures: exactly one measure needs role = "primary", found none',
        "protocol.toml, line 15, analysis.compare: two values are needed: [first, second]",
        "protocol.toml, line 16, analysis.alhpa: unknown key 'alhpa'; did you mean 'alpha'?",
    ]


def test_a_file_that_is_not_there_is_an_error_without_trace(tmp_path: Path):
    with pytest.raises(DefinitionError, match=r"protocol\.toml: cannot be read: no such file"):
        read_protocol(tmp_path / "protocol.toml")
