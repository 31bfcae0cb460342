"""The one formatter, by table. Rules: SAMPL (Lang and Altman 2015); a rule without a source says so."""

from __future__ import annotations

import math

import pytest

from outcomes.reports import format as fmt


@pytest.mark.parametrize(
    ("p", "printed"),
    [
        # P exact to two significant digits, floor 0.001 (JMIR author rules, as read)
        (0.000001, "P < 0.001"),
        (0.00099999, "P < 0.001"),
        (0.001, "P = 0.0010"),
        (0.00104, "P = 0.0010"),
        (0.0123, "P = 0.012"),
        (0.0125, "P = 0.013"),  # half up
        (0.04999, "P = 0.050"),
        (0.0996, "P = 0.10"),
        (0.35, "P = 0.35"),
        (0.999, "P = 1.0"),
        (1.0, "P = 1.0"),
    ],
)
def test_p_has_two_significant_digits_and_a_floor(p, printed):
    assert fmt.p_value(p) == printed


@pytest.mark.parametrize(
    ("value", "decimals", "printed"),
    [
        (2.5, 0, "3"),  # half up, not to even (our rule)
        (0.125, 2, "0.13"),
        (1.005, 2, "1.01"),  # the decimal that was written, not the binary fraction below it
        (-1.25, 1, "−1.3"),  # away from zero, with a minus sign
        (-0.44999999999999996, 1, "−0.5"),  # -11.7 / 26, which a computer cannot hold
        (-0.04, 1, "0.0"),  # no minus before zero
        (9999, 0, "9999"),
        (10000, 0, "10,000"),
        (-1234567.0, 0, "−1,234,567"),
        (math.inf, 1, "unbounded"),
    ],
)
def test_numbers_are_rounded_half_up(value, decimals, printed):
    assert fmt.number(value, decimals) == printed


@pytest.mark.parametrize(
    ("width", "decimals"),
    [(1.6, 1), (0.99, 2), (10.0, 0), (9.9, 1), (0.012, 3), (1e-9, 4), (None, 1), (0.0, 1), (math.inf, 1), (1234, 0)],
)
def test_decimals_show_a_width_with_two_digits(width, decimals):
    assert fmt.decimals_for(width) == decimals  # our rule, no source: an instrument's resolution is not in the record


@pytest.mark.parametrize(
    ("n", "of", "printed"),
    [
        # percent with n/N, none below 20, no decimals below 100 (SAMPL, from memory)
        (9, 14, "9 of 14"),
        (19, 19, "19 of 19"),
        (10, 20, "10 of 20 (50%)"),
        (33, 99, "33 of 99 (33%)"),
        (33, 100, "33 of 100 (33.0%)"),
        (0, 40, "0 of 40 (0%)"),
        (130, 120, "130 of 120 (108.3%)"),
    ],
)
def test_a_percentage_never_stands_alone(n, of, printed):
    assert fmt.share(n, of) == printed


def test_an_interval_stands_with_its_estimate_and_unit():
    assert fmt.with_interval(1.2, 0.4, 2.0, "cm") == "1.2 (0.4 to 2.0) cm"
    assert fmt.with_interval(-1.2, -2.0, -0.4, "{score}", 1, "95% CI") == "−1.2 (95% CI −2.0 to −0.4) points"
    assert fmt.with_interval(0.5, -math.inf, 1.5, "1", 1) == "0.5 (unbounded to 1.5)"


def test_a_spread_is_labelled():
    assert fmt.with_spread(45.25, 4.05, "cm", 1) == "45.3 (SD 4.1) cm"
    assert fmt.with_spread(45.25, None, "cm") == "45.3 cm"


@pytest.mark.parametrize(
    ("level", "words"), [(0.95, "95% CI"), (0.9, "90% CI"), (0.999, "99.9% CI"), (0.975, "97.5% CI")]
)
def test_an_interval_is_named_by_its_level(level, words):
    assert fmt.level_words(level) == words


def test_text_of_a_study_becomes_one_visible_line():
    assert fmt.clean("two\nlines\t and  blanks") == "two lines and blanks"
    assert fmt.clean("right\u202eleft") == "right\\u202eleft"
    assert len(fmt.clean("x" * 5000)) == 2000
    assert fmt.clean("x" * 5000).endswith("…")
