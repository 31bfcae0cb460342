"""A published value is used only where everything that it holds for is what the study measured."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from outcomes.errors import DesignError
from outcomes.measures import Catalogue, Definition, PublishedValue, against_threshold, published_value
from outcomes.measures.checking import OF_ERROR, half_digit

BODY = """
[[items]]
key = "a"
range = [0, 10]
[[scales]]
key = "value"
main = true
rule = "value"
items = ["a"]
level = "ratio"
better = "higher"
[[scales]]
key = "other"
rule = "value"
items = ["a"]
level = "ratio"
better = "higher"
"""

PUBLISHED = """
[[published]]
key = "{key}"
{more}
unit = "cm"
population = "people of the tests"
source = "made for the tests"
status = "MEMORY"
"""


@pytest.fixture(scope="module")
def form(define: Callable[..., Definition]) -> Definition:
    rows = {
        "good": 'statistic = "mdc95"\nvalue = 2\nunit_of_analysis = "one value"',
        "fast": 'statistic = "mdc95"\nvalue = 2\nunit_of_analysis = "one value"\nvariant = "pace=fast"',
        "slow_people": 'statistic = "mdc95"\nvalue = 2\nunit_of_analysis = "one value"\nstratum = "below 0.4 m/s"',
        "other": 'statistic = "mdc95"\nvalue = 2\nunit_of_analysis = "one value"\nscale = "other"',
        "not_said": 'statistic = "mdc95"\nvalue = 2',
        "ninety": 'statistic = "mdc90"\nvalue = 2\nunit_of_analysis = "one value"',
        "interval": 'statistic = "mdc95"\nvalue = [1, 2]\nunit_of_analysis = "one value"',
    }
    return define(BODY + "".join(PUBLISHED.format(key=key, more=more) for key, more in rows.items()))


def test_a_value_that_holds_is_returned_with_its_people_and_source(form: Definition) -> None:
    value = published_value(form, "good", variant="", unit_of_analysis="one value")
    assert (value.value, value.unit, value.population, value.status) == (2.0, "cm", "people of the tests", "MEMORY")
    assert published_value(form, "fast", variant="pace=fast", unit_of_analysis="one value").key == "fast"
    assert published_value(form, "other", variant="", unit_of_analysis="one value", scale="other").key == "other"
    stratum = published_value(form, "slow_people", variant="", unit_of_analysis="one value", stratum="below 0.4 m/s")
    assert stratum.key == "slow_people"


@pytest.mark.parametrize(
    ("key", "variant", "unit", "reason"),
    [
        ("goood", "", "one value", "form has no published value 'goood'; did you mean 'good'?"),
        (None, "", "one value", "form has no published value ''"),
        ("good", "pace=fast", "one value", "holds for the variant 'not stated', the study has 'pace=fast'"),
        ("fast", "", "one value", "holds for the variant 'pace=fast', the study has 'none stated'"),
        ("fast", "pace=fast,start=static", "one value", "the study has 'pace=fast,start=static'"),
        ("good", "", "mean of both sides", "holds for the unit of analysis 'one value', the study has 'mean of both"),
        ("not_said", "", "one value", "holds for the unit of analysis 'not stated', the study has 'one value'"),
        ("slow_people", "", "one value", "holds for the stratum 'below 0.4 m/s', the study has 'none stated'"),
        ("other", "", "one value", "holds for the scale 'other', the study has 'value'"),
        ("ninety", "", "one value", "the published value 'ninety' is a mdc90, not a mdc95"),
        ("interval", "", "one value", "the published value 'interval' is not a single number"),
    ],
)
def test_a_value_that_does_not_hold_is_refused_with_its_reason(
    form: Definition, key: str | None, variant: str, unit: str, reason: str
) -> None:
    with pytest.raises(DesignError) as refusal:
        published_value(form, key, variant=variant, unit_of_analysis=unit)
    assert reason in refusal.value.reason


@pytest.mark.parametrize("key", Catalogue.packaged().keys())
def test_no_packaged_value_becomes_an_error_of_the_mean_of_both_sides(key: str) -> None:
    definition = Catalogue.packaged().get(key)
    for value in definition.published:
        with pytest.raises(DesignError):
            published_value(definition, value.key, variant="", unit_of_analysis="mean of both sides")


MEASURES = Catalogue.packaged()
WALK = {"variant": "pace=comfortable", "people": "stroke", "statistic": "mdc"}
LEVEL = {"variant": "effort=maximum", "statistic": "smallest_real_difference"}
INPATIENTS = {"statistic": "mcid", "people": "stroke_inpatients"}
BLOCKS = {"statistic": "smallest_real_difference", "people": "stroke"}
MS = {"people": "multiple_sclerosis"}
PAIN = {"statistic": "mcid", "people": "spinal_cord_injury"}
RISING = {"statistic": "mcid", "people": "walking_spinal_cord_injury"}
LEAN = {"statistic": "least_significant_change", "people": "spinal_cord_injury", "unit_of_analysis": ""}


CHANGES = [  # name of the case, measure, before, after, how, threshold, met
    # Scivoletto et al. (2014) Spinal Cord 52:65-69: 1.682 levels in paraplegia
    ("wisci2_04", "wisci2", 12, 13, LEVEL | {"people": "paraplegia"}, 1.682, False),
    ("wisci2_by_two", "wisci2", 12, 14, LEVEL | {"people": "paraplegia"}, 1.682, True),
    # Hosoi et al. (2023) Front Neurol 14:1219505: by speed before
    ("tenmwt_08", "tenmwt", 0.35, 0.41, WALK, 0.05, True),
    ("tenmwt_middle", "tenmwt", 0.4, 0.46, WALK, 0.11, False),
    ("tenmwt_fast", "tenmwt", 0.9, 1.11, WALK, 0.21, True),
    # Donoghue & Stokes (2009) J Rehabil Med 41(5): by score before; reaching it is enough
    ("bbs_04", "bbs", 30, 36, {"statistic": "mdc95", "people": "older_adults"}, 7, False),
    ("bbs_05", "bbs", 48, 52, {"statistic": "mdc95", "people": "older_adults"}, 4, True),
    # Hsieh et al. (2007) Neurorehabil Neural Repair 21:233-238: 1.85 on 0 to 20, 9.25 on 0 to 100
    ("barthel_05.1", "barthel", 11, 12, INPATIENTS | {"scale": "total_20"}, 1.85, False),
    ("barthel_05.2", "barthel", 55, 60, INPATIENTS, 9.25, False),
    # Chen et al. (2009) Neurorehabil Neural Repair 23:435-440: by hand
    ("bbt_01", "bbt", 22, 28, BLOCKS | {"variant": "hand=more_affected"}, 5.5, True),
    ("bbt_02", "bbt", 52, 58, BLOCKS | {"variant": "hand=less_affected"}, 7.8, False),
    # Schwid et al. (2002) Neurology: 20 % of the own value
    ("nhpt_02", "nhpt", 60.0, 50.0, MS | {"statistic": "reliable_change_percent"}, 20, False),
    # Hobart et al. (2013) Neurology 80:1509-1517: 20 % of speed; 7.62 m in 10 and in 8 s
    ("t25fw_02", "t25fw", 0.762, 0.9525, MS | {"statistic": "mcid_percent", "scale": "speed"}, 20, True),
    # Bowman et al. (2025) Top Stroke Rehabil 32:553-561
    ("twomwt_02", "twomwt", 80, 112, {"statistic": "mcid", "people": "subacute_stroke"}, 31, True),
    # Costelloe et al. (2007) J Neurol Neurosurg Psychiatry 78:841-844
    ("msis29_05", "msis29", 55, 47, MS | {"statistic": "mic", "stratum": "disability score 5.5 to 8.5"}, 8, True),
    # Hanley et al. (2006) J Pain 7:25-31: 1.8 points or 36 %
    ("nrs_1.1", "pain_nrs", 6, 4, PAIN | {"key": "decrease_sci"}, 1.8, True),
    ("nrs_1.2", "pain_nrs", 6, 4, PAIN | {"key": "decrease_sci_percent"}, 36, False),
    # Clin Rehabil doi 10.1177/02692155221122672: with and without hands, to be exceeded
    ("ftsts_with_hands", "ftsts", 20, 17.73, RISING | {"variant": "hands=with"}, 2.27, False),
    ("ftsts_without_hands", "ftsts", 20, 17.99, RISING | {"variant": "hands=without"}, 2.0, True),
    # 2.77 times the precision error of 2.7 % (PMC6127003, table 4)
    ("lean_1", "dxa_lean", 8.2, 8.9, LEAN, 7.5, True),
]


@pytest.mark.parametrize(
    ("measure", "before", "after", "how", "threshold", "met"),
    [pytest.param(*rest, id=name) for name, *rest in CHANGES],
)
def test_a_change_is_held_against_the_value_that_matches_in_everything(
    measure: str, before: float, after: float, how: dict[str, str], threshold: float, met: bool
) -> None:
    found = against_threshold(MEASURES.get(measure), before, after, **how)
    assert (found.threshold, found.met) == (threshold, met)
    assert found.change == pytest.approx(after - before)
    assert found.source in found.summary()


def test_improvement_of_a_scale_that_is_better_when_lower_has_the_other_sign() -> None:
    how = {"statistic": "mic", "people": "multiple_sclerosis", "stratum": "disability score 5.5 to 8.5"}
    found = against_threshold(MEASURES.get("msis29"), 55, 47, **how)
    assert (found.change, found.improvement) == (-8, 8)


@pytest.mark.parametrize(
    ("measure", "before", "after", "how", "reason"),
    [
        ("bbs", 30, 36, {"statistic": "mdc95", "people": "acute_stroke"}, "holds for the people 'older_adults'"),
        ("bbs", 30, 36, {"statistic": "mdc90", "people": "stroke"}, "holds for the people 'stroke_inpatients'"),
        (
            "scim3",
            40,
            50,
            {"statistic": "mdc95", "people": "spinal_cord_injury"},
            "no published mdc95 of scim3 match",
        ),
        (
            "tenmwt",
            0.35,
            0.41,
            WALK | {"variant": "pace=comfortable,start=static"},
            "holds for the variant 'pace=comfortable', the study has 'pace=comfortable,start=static'",
        ),
        ("pain_nrs", 4, 6, {"statistic": "mcid", "people": "chronic_pain"}, "holds for a decrease only"),
        ("pain_nrs", 6, 4, {"statistic": "mcid", "people": "spinal_cord_injury"}, "several published values match"),
        (
            "limb_girth",
            50,
            52,
            {"statistic": "mdc95", "people": "spinal_cord_injury"},
            "no published mdc95 of limb_girth matches$",
        ),
        ("fma_motor", 20, 30, {"statistic": "mcid", "people": "subacute_stroke"}, "is not a single number"),
        (
            "barthel",
            55,
            60,
            {"statistic": "mcid", "people": "stroke_inpatients", "unit_of_analysis": "mean of both sides"},
            "holds for the unit of analysis 'one value'",
        ),
    ],
)
def test_without_a_full_match_the_reason_is_said(
    measure: str, before: float, after: float, how: dict[str, str], reason: str
) -> None:
    with pytest.raises(DesignError, match=reason):
        against_threshold(MEASURES.get(measure), before, after, **how)


THRESHOLDS = (
    "mdc",
    "mdc90",
    "mdc95",
    "mcid",
    "mid",
    "mic",
    "mcid_percent",
    "smallest_real_difference",
    "standard_error",
)


def all_definitions() -> list[Definition]:
    return [MEASURES.get(key, version) for key in MEASURES.keys() for version in MEASURES.versions(key)]  # noqa: SIM118


@pytest.mark.parametrize("definition", all_definitions(), ids=lambda d: d.file)
def test_every_threshold_says_in_a_word_for_whom_it_holds(definition: Definition) -> None:
    assert [v.key for v in definition.published if v.statistic in THRESHOLDS and not v.people] == []


def test_every_published_pair_of_change_and_error_gives_its_factor() -> None:
    # 1.96 and 1.645 times the root of 2: 2.77 and 2.33, within the rounding of both printed numbers
    pairs = []
    for definition in all_definitions():
        for error in definition.published:
            for change in definition.published:
                same = [(v.scale, v.source, v.population, v.variant, v.unit) for v in (error, change)]
                kinds = error.statistic == "standard_error" and change.statistic in OF_ERROR and same[0] == same[1]
                if kinds and isinstance(error.value, float) and isinstance(change.value, float):
                    pairs.append((definition.key, change.key, change.statistic, change.value, error.value))
    assert len(pairs) >= 10
    for _, _, statistic, change, error in pairs:
        low = (change - half_digit(change)) / (error + half_digit(error))
        high = (change + half_digit(change)) / (error - half_digit(error))
        assert low <= {"mdc95": 1.96, "mdc90": 1.645}[statistic] * 2**0.5 <= high


def test_a_study_of_other_people_has_no_published_value() -> None:
    walk = MEASURES.get("twomwt")
    with pytest.raises(DesignError, match="holds for the people 'healthy_adults', the study has 'spinal_cord_injury'"):
        published_value(walk, "mdc95_healthy", variant="", unit_of_analysis="one value", people="spinal_cord_injury")
    found = published_value(walk, "mdc95_healthy", variant="", unit_of_analysis="one value", people="healthy_adults")
    assert found.value == 42.5


SINGLE = [
    pytest.param(definition, value, id=f"{definition.file}-{value.key}")
    for definition in all_definitions()
    for value in definition.published
    if value.statistic in THRESHOLDS and isinstance(value.value, float) and value.people
]


@pytest.mark.parametrize(("definition", "value"), SINGLE)
def test_the_better_direction_of_a_scale_decides_the_sign_of_an_improvement(
    definition: Definition, value: PublishedValue
) -> None:
    low, high = value.baseline or definition.scale(value.scale).range or (1.0, 10.0)
    before = (low + min(high, low + 20)) / 2
    sign = {"higher": 1, "lower": -1}[definition.scale(value.scale).better]
    for step in {"increase": (1,), "decrease": (-1,)}.get(value.direction, (1, -1)):
        found = against_threshold(
            definition,
            before,
            before + step * 0.01,
            statistic=value.statistic,
            people=value.people[0],
            scale=value.scale,
            variant=value.variant,
            unit_of_analysis=value.unit_of_analysis,
            stratum=None if value.baseline else value.stratum,
            key=value.key,
        )
        assert found.improvement == pytest.approx(sign * found.change)
        assert found.met is (abs(found.compared) >= value.value)
