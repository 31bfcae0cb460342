"""Choices changed for one run."""

from __future__ import annotations

import pytest

from outcomes.errors import UsageError
from protocols import packaged_path, parse_protocol, read_protocol, with_choices


def test_a_choice_is_typed_checked_and_listed_with_both_values(accepted):
    protocol = parse_protocol(accepted)
    changed, differing = with_choices(protocol, {"analysis.alpha": "0.1", "analysis.seed": "1"})
    assert changed.analysis.alpha == 0.1
    assert differing == [("analysis.alpha", 0.05, 0.1)]
    assert protocol.analysis.alpha == 0.05


def test_the_file_keeps_its_hash_and_seal(accepted):
    protocol = parse_protocol(accepted)
    changed, _ = with_choices(protocol, {"analysis.alpha": "0.1"})
    assert changed.sha256 == protocol.sha256
    assert with_choices(changed, {"analysis.seed": "3"})[0].analysis.alpha == 0.05


def test_entries_are_named_by_measure_visit_or_number():
    protocol = read_protocol(packaged_path("leg_cycling_16_weeks"))
    changed, differing = with_choices(
        protocol,
        {
            "measures.mas.limbs": "trained",
            "measures.0.minimal_change": "none",
            "visits.week16.week": "17",
            "dose.metrics": "work_kj",
            "training.current_ma": "50, 140",
            "study.synthetic": "true",
            "report.conference.words": "300",
        },
    )
    assert changed.measures[2].limbs == "trained"
    assert changed.measures[0].minimal_change == "none"
    assert changed.training is not None
    assert changed.training.current_ma == (50, 140)
    assert ("dose.metrics", ("active_minutes", "work_kj"), ("work_kj",)) in differing
    assert len(differing) == 7


def test_a_choice_in_a_section_that_the_file_lacks_has_no_protocol_value(accepted):
    _, differing = with_choices(parse_protocol(accepted), {"dose.lag_days": "2"})
    assert differing == [("dose.lag_days", None, 2)]


REFUSED = [
    ({"analysis.alhpa": "0.1"}, "no key 'alhpa' in analysis that can be set; did you mean 'alpha'?"),
    ({"alpah": "0.1"}, "no key 'alpah' that can be set"),
    ({"analysis.alpha": "ten"}, "analysis.alpha=ten: expected a number above 0 and below 0.5"),
    (
        {"analysis.alpha": "5"},
        "analysis.alpha=5 is refused: analysis.alpha: found the number 5.0, expected a number above",
    ),
    ({"analysis.alpha": "nan"}, "found the number nan"),
    ({"analysis.seed": "1.5"}, "expected a whole number"),
    ({"study.synthetic": "yes"}, "expected true or false"),
    ({"analysis.multiplicity": "holms"}, "'holms' is not one of holm, bh, none; did you mean 'holm'?"),
    ({"analysis.compare": "week0,week13"}, "no visit 'week13'"),
    ({"measures.limb_grith.limbs": "mean"}, "no entry 'limb_grith' in measures; did you mean 'limb_girth'?"),
    ({"analysis": "x"}, "'analysis' cannot be set for one run"),
    ({"measures": "x"}, "'measures' cannot be set for one run"),
    ({"schema": "1"}, "no key 'schema' that can be set"),
    ({"frozen.on": "2026-01-01"}, "no key 'frozen' that can be set"),
    ({"statements.consent": "x"}, "no key 'statements' that can be set"),
    ({"import os; os": "1"}, "'import os; os' is no key of protocol.toml"),
    ({"Analysis.alpha": "1"}, "is no key of protocol.toml"),
    ({"": "1"}, "'' is no key of protocol.toml"),
    ({"analysis.alpha.x": "1"}, "no key 'x' in analysis.alpha"),
    ({"analysis..alpha": "1"}, "no key '' in analysis"),
]


@pytest.mark.parametrize(("choices", "message"), REFUSED)
def test_what_is_no_choice_is_refused(accepted, choices, message):
    with pytest.raises(UsageError) as caught:
        with_choices(parse_protocol(accepted), choices)
    assert message in str(caught.value)


def test_a_measure_that_is_planned_twice_is_named_by_number():
    protocol = read_protocol(packaged_path("leg_cycling_16_weeks"))
    with pytest.raises(UsageError, match="2 entries of measures are 'limb_girth'; give its number from 0"):
        with_choices(protocol, {"measures.limb_girth.limbs": "trained"})


def test_a_value_with_code_in_it_stays_text(accepted):
    changed, _ = with_choices(parse_protocol(accepted), {"study.title": "'); import os"})
    assert changed.study.title == "'); import os"
