"""Figures: plain columns in, axes out, nothing global touched, the same bytes twice."""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
import pytest

from outcomes.errors import DesignError
from outcomes.reports.figures import (
    attendance_map,
    change_against_error,
    changes_by_group,
    delivered_by_month,
    dose_against_change,
    dose_over_weeks,
    forest_of_effects,
    one_person,
    ordinal_shares,
    paired_change,
    participant_flow,
    people_counts,
    style,
)

BEFORE = np.array([40.0, 45.0, 50.0, 44.0])
AFTER = np.array([42.0, 45.5, 49.0, 47.0])


def drawings():
    yield paired_change(
        BEFORE, AFTER, mean=(1.1, 0.2, 2.0), error=1.5, unpaired=[43.0], title="A finding", synthetic=True
    )
    yield change_against_error(AFTER - BEFORE, error=1.5, words=("larger", "smaller"), counts=("2", "2", "0"))
    yield ordinal_shares(["0", "1", "1+"], [2, 1, 1], [3, 1, 0])
    yield dose_over_weeks([1, 2, 3], [50.0, np.nan, 70.0], [60.0, 60.0, 80.0])
    yield dose_against_change(
        [100.0, 200, 300, 400], AFTER - BEFORE, slope=(1.0, -0.5, 2.5), per=100, leave_one_out=(0.5, 1.4)
    )
    yield participant_flow([("enrolled", 5), ("analysed", 4)], beside=[(0, "1 left")])
    yield people_counts(["better", "about the same", "worse"], [23, 8, 6], title="A count")
    yield people_counts(["better", "about the same or worse"], [23, 14], kinds=("good", "within"), marks=False)
    yield delivered_by_month(["weeks 1 to 4", "weeks 5 to 8"], [400.0, np.nan], [540.0, 520.0], ylabel="sessions")
    yield one_person(["Week 0", "Week 8", "Week 16"], [44.0, np.nan, 46.0], error=1.1, ylabel="cm", synthetic=True)
    yield forest_of_effects(["A", "B"], [0.5, np.nan], [0.1, np.nan], [0.9, np.nan], texts=["0.5", "none"])
    yield changes_by_group(
        [AFTER - BEFORE, [0.5, 0.5, -1.0]], labels=["A", "B"], means=[1.1, 0.0], differences=[(1.2, 0.1, 2.3)],
        names=["A minus B"], ylabel="cm", synthetic=True,
    )  # fmt: skip
    yield attendance_map([[3.0, 0.0], [1.0, np.nan]], [[3.0, 3.0], [3.0, np.nan]])


@pytest.mark.parametrize("index", range(13))
def test_files_are_the_same_bytes_twice(index):
    first, second = list(drawings())[index], list(drawings())[index]
    for kind in ("svg", "png"):
        assert style.save(first.figure, kind, title="t") == style.save(second.figure, kind, title="t")
        assert style.save(first.figure, kind, title="t") == style.save(first.figure, kind, title="t")


def test_nothing_global_is_touched():
    from matplotlib import _pylab_helpers

    settings, open_figures = dict(mpl.rcParams), len(_pylab_helpers.Gcf.figs)
    for axes in drawings():
        style.save(axes.figure, "svg")
    assert dict(mpl.rcParams) == settings
    assert len(_pylab_helpers.Gcf.figs) == open_figures


def test_axes_that_are_given_are_drawn_on():
    from matplotlib.figure import Figure

    ax = Figure().subplots()
    assert paired_change(BEFORE, AFTER, ax=ax) is ax
    assert change_against_error(AFTER - BEFORE, error=1.0, ax=ax) is ax
    assert dose_over_weeks([1], [2.0], ax=ax) is ax


def test_marks_follow_the_class_and_not_the_colour_alone():
    ax = change_against_error([-3.0, -1.0, 0.5, 2.0], error=1.5, up=True)
    by_label = {c.get_label(): c for c in ax.collections if c.get_label() in ("good", "within", "other")}
    assert [len(by_label[k].get_offsets()) for k in ("good", "within", "other")] == [1, 2, 1]
    shapes = {k: c.get_paths()[0].vertices.tobytes() for k, c in by_label.items()}
    assert len(set(shapes.values())) == 3


def test_down_is_good_where_less_is_better():
    ax = change_against_error([-3.0, 2.0], error=1.5, up=False)
    good = next(c for c in ax.collections if c.get_label() == "good")
    assert good.get_offsets()[0][1] == -3.0


def test_every_person_is_one_line():
    ax = paired_change(BEFORE, AFTER, error=1.5)
    assert len(ax.lines) == 4
    assert len(paired_change(BEFORE, AFTER, persons=False, means=(45.0, 46.0)).lines) == 1


def test_panels_that_are_compared_share_a_scale():
    limits = ((30.0, 60.0), 4.0)
    pair = [paired_change(BEFORE, AFTER + shift, mean=(1.0, 0.5, 1.5), limits=limits) for shift in (0, 5)]
    assert {ax.get_ylim() for ax in pair} == {(30.0, 60.0)}
    assert {ax.figure.axes[1].get_ylim() for ax in pair} == {(-6.0, 6.0)}


def test_everybody_of_a_group_is_one_ring_at_the_own_height_and_no_group_has_an_interval():
    ax = changes_by_group([AFTER - BEFORE, [0.5, 0.5]], labels=["A", "B"], means=[1.1, 0.5])
    first, second = (one.get_offsets() for one in ax.collections)
    assert sorted(first[:, 1]) == sorted(AFTER - BEFORE)
    assert list(second[:, 1]) == [0.5, 0.5]
    assert len(set(second[:, 0])) == 2  # two equal changes stand beside each other
    assert len(ax.lines) == 3  # zero and two means
    assert not changes_by_group([[1.0], [2.0]], labels=["A", "B"], means=[1.0, 2.0], persons=False).collections


def test_the_slope_stays_within_the_data():
    ax = dose_against_change([100.0, 300.0], [1.0, 2.0], slope=(1.0, 0.5, 1.5), per=100)
    line = max(ax.lines, key=lambda one: one.get_linewidth())
    assert list(line.get_xdata()) == [100.0, 300.0]
    assert list(line.get_ydata()) == [0.5, 2.5]  # through the means (200, 1.5), 1.0 per 100


@pytest.mark.parametrize(
    "draw",
    [
        lambda: paired_change([], []),
        lambda: paired_change([1.0], [1.0, 2.0]),
        lambda: change_against_error([], error=1.0),
        lambda: change_against_error([1.0], error=0.0),
        lambda: ordinal_shares(["0"], [0], [0]),
        lambda: ordinal_shares(["0"], [1, 2], [3]),
        lambda: dose_over_weeks([], []),
        lambda: dose_against_change([1.0], []),
        lambda: participant_flow([]),
        lambda: changes_by_group([[1.0]], labels=["A"]),
        lambda: changes_by_group([[1.0], []], labels=["A", "B"]),
        lambda: changes_by_group([[1.0], [2.0]], labels=["A", "B"], means=[1.0]),
        lambda: changes_by_group([[1.0], [2.0]], labels=["A", "B"], differences=[(1.0, 0.0, 2.0)]),
    ],
)
def test_what_cannot_be_drawn_is_refused_in_words(draw):
    with pytest.raises(DesignError, match=r"\w+ \w+"):
        draw()


def test_a_dollar_sign_is_no_formula():
    ax = paired_change(BEFORE, AFTER, title=r"cost $\frac{1}{0}$ and $", ylabel="a $b$ c")
    assert style.save(ax.figure, "svg").startswith(b"<?xml")


def test_characters_that_the_font_lacks_are_named():
    assert style.missing_glyphs(["girth", "测量", "±−≥"]) == "测量"


def test_a_character_that_the_font_lacks_does_not_warn():
    drawn = style.save(paired_change(BEFORE, AFTER, title="测").figure, "png")
    assert drawn.startswith(b"\x89PNG")


def contrast(colour):
    def linear(channel):
        value = int(channel, 16) / 255
        return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4

    red, green, blue = (linear(colour[i : i + 2]) for i in (1, 3, 5))
    return 1.05 / (0.2126 * red + 0.7152 * green + 0.0722 * blue + 0.05)


def test_marks_and_text_stand_out_from_white():
    """WCAG 2.2: 3:1 for graphics (1.4.11), 4.5:1 for text (1.4.3); the contrast formula is the one it defines."""
    assert contrast("#0072B2") == pytest.approx(5.19, abs=0.005)  # standards list of the project, computed
    for mark in (style.BLUE, style.VERMILLION, style.INK, style.BLACK, style.PERSON, style.BAND_EDGE):
        assert contrast(mark) >= 3
    for text in (style.INK, style.QUIET, style.BLUE, style.BLACK):
        assert contrast(text) >= 4.5
