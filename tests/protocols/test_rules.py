"""What one key says about another."""

from __future__ import annotations

import pytest

from protocols import parse_protocol

SINGLE = [
    ('[[visits]]\nkey = "week12"', '[[visits]]\nkey = "week0"', "visits[1].key: 'week0' is used twice"),
    ('"week0", "week12"]', '"week0", "week13"]', "analysis.compare: no visit 'week13'; did you mean 'week12'?"),
    ('"week0", "week12"]', '"week0", "week0"]', "analysis.compare: two different visits are needed"),
    (
        '"week0", "week12"]',
        '"week12", "week0"]',
        "the first visit must be the earlier one: week12 is week 12, week0 week 0",
    ),
    ("week = 12\n", "window_days = [3, 3]\n", "visits[1].window_days: a window needs the planned week"),
    ('compare = ["week0", "week12"]', "", "key 'compare' is required, except for design"),
    ('when = "baseline"', 'when = "during"', 'visits: one visit needs when = "baseline"'),
    ('role = "primary"', 'role = "secondary"', 'exactly one measure needs role = "primary", found none'),
    (
        "[harms]",
        '[[measures]]\nmeasure = "mas"\nrole = "primary"\n[harms]',
        "measures[1].role: exactly one measure is primary, and measures[0] already is",
    ),
    (
        "[harms]",
        '[[measures]]\nmeasure = "limb_girth"\nrole = "secondary"\nplaces = ["mid_thigh"]\n[harms]',
        "measures[1].measure: 'limb_girth' is listed twice for the same scales and places",
    ),
    ('["mid_thigh"]', '["mid_thigh"]\nvisits = ["week0"]', "the primary measure is compared at 'week12', which is not"),
    ('["mid_thigh"]', '["mid_thigh"]\nvisits = ["wek0", "week0", "week12"]', "no visit 'wek0'; did you mean 'week0'?"),
    ('["mid_thigh"]', '["mid_thigh", "mid_thigh"]', "measures[0].places: 'mid_thigh' stands twice"),
    ('["mid_thigh"]', '["mid_thigh"]\nsides = ["left"]\nlimbs = "mean"', "one side alone needs no rule for two"),
    ('["mid_thigh"]', '["mid_thigh"]\nminimal_change = "published"', "needs the key 'published'"),
    (
        '["mid_thigh"]',
        '["mid_thigh"]\npublished = "x"',
        'measures[0].published: only with minimal_change = "published"',
    ),
    (
        '["mid_thigh"]',
        '["mid_thigh"]\nanchor = "grc"\nanchor_important = 4',
        "measures[0].anchor: no [[measures]] entry 'grc'",
    ),
    (
        '["mid_thigh"]',
        '["mid_thigh"]\nanchor = "limb_girth"\nanchor_important = 4',
        "measures[0].anchor: a measure cannot be its own anchor",
    ),
    ('["mid_thigh"]', '["mid_thigh"]\nanchor = "grc"', "measures[0]: an anchor needs the key 'anchor_important'"),
    ('["mid_thigh"]', '["mid_thigh"]\nanchor_slight = [1, 3]', "anchor_slight: only with the key 'anchor'"),
    (
        '["mid_thigh"]',
        '["mid_thigh"]\nanchor = "grc"\nanchor_important = 4\nanchor_slight = [3, 1]',
        "anchor_slight: [lowest, highest] is needed, found 3 before 1",
    ),
    (
        '["mid_thigh"]',
        '["mid_thigh"]\nreliable_change = "classic"',
        'measures[0].reliable_change: only with minimal_change = "own"',
    ),
    ("[analysis]", '[analysis]\neffect_sizes = ["d"]', "'d' is not one of d_z, hedges_g, d_av, d_rms, d_rm, d_before"),
    ("[analysis]", '[analysis]\neffect_sizes = ["d_z", "d_z"]', "analysis.effect_sizes: 'd_z' stands twice"),
    ('["mid_thigh"]', '["mid_thigh"]\nlimbs = "best"', "limbs: 'best' is not one of mean, trained, worse, modelled"),
    ('["mid_thigh"]', '["mid_thigh"]\ncap = 0', "measures[0].cap: found the number 0, expected a number above 0"),
    ("[harms]", '[[groups]]\nkey = "a"\nlabel = "A"\n[harms]', '[[groups]] are for design = "parallel groups"'),
    ('design = "single arm"', 'design = "single arm"\nallocation = "randomised"', "study.allocation: only for design"),
    ("[analysis]", '[analysis]\nreport = "both"', "analysis.report: there are no groups; 'all' is the only choice"),
    ("[harms]", '[dose]\ncumulate = "recent"\n[harms]', "needs the key 'recent_days'"),
    ("[harms]", "[dose]\nrecent_days = 14\n[harms]", 'dose.recent_days: only with cumulate = "recent"'),
    ("[harms]", "[dose]\nmetrics = []\n[harms]", "dose.metrics: at least one dose is needed, or leave [dose] out"),
    ("[harms]", '[dose]\nmetrics = ["charge"]\n[harms]', "'charge' is not one of active_minutes, work_kj, charge_c"),
    ("[harms]", "[report.conference]\nwords = 250\ncharacters = 2000\n[harms]", "give words or characters, not both"),
    ("[harms]", "[privacy]\ninternal_minimum = 20\n[harms]", "cannot be smaller than internal_minimum, 20"),
    ("[harms]", "[intake]\nheader_row = 3\nunit_row = 2\n[harms]", "unit_row: must lie below the headings in row 3"),
    ("[harms]", '[intake]\ndate_format = "dd.mm.yyyy"\n[harms]', "'dd.mm.yyyy' lacks a part; a format looks like"),
    ("[harms]", '[intake]\ndecimal = ","\nseparator = ","\n[harms]', "a comma cannot be both"),
    ('collection = "not collected"', 'collection = "none"', "'none' is not one of table, none occurred, not collected"),
    (
        "[harms]",
        '[[analysis.events]]\ntable = "changes"\nkind = "medicines"\nstrategy = "excluded"\n[harms]',
        "'medicines' is not one of medicine, therapy, chair, walking_aid, illness; did you mean 'medicine'?",
    ),
    (
        "[harms]",
        '[[report.funder.costs]]\nlabel = "x"\namount = 1\ncurrency = "euro"\n[harms]',
        "three capital letters",
    ),
    ("[harms]", '[[not_applicable]]\nguideline = "tidier"\nitem = "9"\n[harms]', "key 'reason' is required"),
]

TRAINING = '[training]\nmode = "legs"\nweeks = 2\nsessions_per_week = 3\n'

TRAINED = [
    ("active_minutes = [20, 30, 40]", "training.active_minutes: 3 weeks are listed, the programme has 2"),
    ("active_minutes = [20, -1]", "active_minutes[1]: found the number -1, expected a number at least 0"),
    ("active_minutes = 30", "training.active_minutes: found the number 30, expected a list in [ ]"),
    ("current_ma = [140, 40]", "current_ma: [lowest, highest] is needed, found 140 before 40"),
    ("current_ma = [40, 140, 150]", "training.current_ma: two values are needed"),
    ("pulse_width_us = 0.3", "pulse_width_us: found the number 0.3, expected a number at least 10"),
    (
        '[[training.channels]]\nchannel = 1\nmuscle = "a"\nside = "left"\n' * 2,
        "training.channels[1].channel: channel 1 is used twice",
    ),
    ('[[training.channels]]\nchannel = 1\nmuscle = "a"\nside = "L"', "'L' is not one of left, right, both"),
]

PAIRED = [
    ("reference = true", "reference = false", "groups: exactly one group needs reference = true, found 0"),
    ('label = "Late start"', 'label = "Late"\nreference = true', "exactly one group needs reference = true, found 2"),
    (
        "reference = true",
        "reference = true\ntrained = 0",
        "groups[0].trained: found the number 0, expected true or false",
    ),
    ('key = "late"', 'key = "early"', "groups[1].key: 'early' is used twice"),
    ('key = "late"', 'key = "all"', "groups[1].key: 'all' stands for everybody"),
    ('label = "Early start"', 'label = "E"\nwords = ["L"]', "'L' already stands for group 1"),
    ('["L", "2"]', '["early"]', "groups[1].words: 'early' already stands for group 1"),
]


def test_at_least_one_group_is_trained(grouped, faults):
    untrained = grouped.replace('label = "Early start"', 'label = "Early start"\ntrained = false')
    assert [group.trained for group in parse_protocol(untrained).groups] == [False, True]
    nobody = untrained.replace('label = "Late start"', 'label = "Late start"\ntrained = false')
    assert "groups: at least one group is trained" in "\n".join(faults(nobody))


@pytest.mark.parametrize(("out", "put", "message"), SINGLE)
def test_single_arm(accepted, faults, out, put, message):
    assert out in accepted
    assert message in "\n".join(faults(accepted.replace(out, put, 1)))


@pytest.mark.parametrize(("line", "message"), TRAINED)
def test_training(accepted, faults, line, message):
    assert parse_protocol(accepted + TRAINING).training is not None
    assert message in "\n".join(faults(accepted + TRAINING + line))


@pytest.mark.parametrize(("out", "put", "message"), PAIRED)
def test_groups(grouped, faults, out, put, message):
    assert message in "\n".join(faults(grouped.replace(out, put, 1)))


def test_parallel_groups_need_two(accepted, faults):
    text = accepted.replace('"single arm"', '"parallel groups"')
    assert "parallel groups need at least 2 [[groups]], found 0" in "\n".join(faults(text))


def test_every_rule_fault_names_a_line_of_the_file(accepted, faults):
    found = faults(accepted.replace('"week0", "week12"]', '"week0", "week0"]'))
    line = accepted.splitlines().index('compare = ["week0", "week12"]') + 1
    assert found == [f"protocol.toml, line {line}, analysis.compare: two different visits are needed"]


def test_faults_of_schema_and_rules_come_together(accepted, faults):
    found = faults(accepted.replace('role = "primary"', 'role = "secondary"').replace("week = 12", 'week = "12"'))
    assert len(found) == 2


def test_without_weeks_the_order_of_the_visits_decides(accepted, faults):
    text = accepted.replace("week = 0\n", "").replace("week = 12\n", "")
    assert parse_protocol(text).visits[1].week is None
    found = faults(text.replace('"week0", "week12"]', '"week12", "week0"]'))
    assert len(found) == 1
    assert "in the order of [[visits]] where no week is given" in found[0]
