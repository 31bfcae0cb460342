"""The picture of one session: the same bytes for the same trace, words and table that say the same."""

from __future__ import annotations

import numpy as np
import pytest

from outcomes.dose import one_session
from outcomes.errors import DesignError
from outcomes.reports import draw_session
from outcomes.reports.figures import session_trace


def trace(**more):
    t = np.array([*range(300), *range(400, 500)], dtype=float)
    power = np.where(t < 60, -4.0, np.where((t > 200) & (t < 220), -1.0, 12.0))
    current = np.where(t < 30, 0.0, 70.0)
    return one_session(t, participant_id="P7", session_id="S3", power_w=power, current_ma=current, **more)


def test_words_and_table_say_what_is_drawn() -> None:
    picture = draw_session(trace(), synthetic=True)
    # by hand: active from 60 s to 201 s, 220 s to the last sample before the gap of 101 s and 5 s of it, 400 s to 499 s
    assert "active 5.4 min in 3 bouts" in picture.words
    assert "96 s of it unrecorded" in picture.words
    assert "phases passive 0.5 min, ramp 0.5 min, active 5.4 min, fatigue 0.3 min" in picture.words
    assert picture.table["bout"].max() == 3
    assert picture.table.loc[picture.table["t_s"] == 210, "phase"].item() == "fatigue"
    active = picture.table["bout"] > 0
    held = np.minimum(np.diff(picture.table["t_s"], append=499.0), 5.0)
    assert held[active].sum() == picture.row["active_s"].item()
    assert picture.png.startswith(b"\x89PNG")


def test_the_same_trace_gives_the_same_bytes_and_the_svg_says_it_in_words() -> None:
    first, second = draw_session(trace()), draw_session(trace())
    assert (first.svg, first.png) == (second.svg, second.png)
    assert "active 5.4 min in 3 bouts" in first.svg.decode()


def test_a_short_dropout_of_power_breaks_no_bout_and_the_last_sample_makes_none() -> None:
    t = np.arange(121.0)
    power = np.where((t > 50) & (t < 54), np.nan, 12.0)
    picture = draw_session(one_session(t, participant_id="P", session_id="S", power_w=power))
    assert picture.row["active_bouts"].item() == 1
    assert "in 1 bout;" in picture.words
    assert set(picture.table["bout"]) == {0, 1}
    late = np.where(t < 120, -3.0, 12.0)
    lone = draw_session(one_session(t, participant_id="P", session_id="S", power_w=late))
    assert lone.row["active_bouts"].item() == 0
    assert "in 0 bouts;" in lone.words


def test_a_phase_too_short_for_its_word_is_named_below() -> None:
    axes = session_trace(range(101), ["ramp", *["active"] * 100], power_w=[5.0] * 101)
    words = [text.get_text() for text in axes[-1].texts]
    assert words == ["active"]
    assert "In the strip: ramp light grey." in axes[0].figure._supxlabel.get_text()


def test_only_what_was_recorded_gets_a_panel() -> None:
    axes = session_trace([0, 1, 2], ["", "", ""], cadence_rpm=[40, 41, 42], power_w=[np.nan] * 3)
    assert [ax.get_ylabel() for ax in axes] == ["cadence (rpm)", ""]
    with pytest.raises(DesignError, match="no power, cadence or current"):
        draw_session(one_session([0, 1], heart_rate_bpm=[90, 91]))
    with pytest.raises(DesignError, match="needs samples"):
        session_trace([], [], power_w=[])


def test_a_gap_is_not_drawn_through() -> None:
    axes = session_trace([0, 1, 100, 101], ["active"] * 4, power_w=[5, 5, 5, 5])
    drawn = axes[0].lines[0].get_ydata()
    assert int(np.isnan(np.asarray(drawn, dtype=float)).sum()) == 1
