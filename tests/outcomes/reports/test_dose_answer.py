"""Tables, figures and lines of the answer on dose, and of models and other rules, from small records."""

from __future__ import annotations

import numpy as np
import pytest

from outcomes.analysis import dose_models, model, sensitivity
from outcomes.errors import DesignError
from outcomes.reports import dose_response_tables, model_tables
from outcomes.reports.dose_response_sentences import dose_answer
from outcomes.reports.facts import Facts
from outcomes.reports.figures import dose_curves, within_person_lines

HEAD = {
    "measure": "limb_girth.girth", "place": "mid_thigh.mean", "label": "Limb girth (mid thigh, mean of both sides)",
    "group": "all", "contrast": "week16_minus_week0", "key": "k", "unit": "cm",
}  # fmt: skip
WITHIN = HEAD | {
    "exposure": "active_minutes", "per": "10 h", "people": 26, "values": 112, "within": 1.2, "within_low": 0.5,
    "within_high": 1.9, "between": -0.5, "between_low": -7.9, "between_high": 6.9, "time": -0.05, "time_low": -0.15,
    "time_high": 0.05, "time_alone": 0.114, "only_time": 0.87, "r": 0.9337, "vif": 7.8, "together": 0.73,
    "together_low": 0.62, "together_high": 0.82, "own_courses": "level and course",
}  # fmt: skip
CURVES = [
    HEAD | {"exposure": "active_minutes", "curve": name, "n": 20, "start": -0.7, "size": 0.002, "aicc": aicc,
            "weight": weight, "offset": 25.0, "flat_aicc": 82.7, "half_dose": half, "reason": reason}
    for name, aicc, weight, half, reason in (
        ("linear", 75.8, 0.8, None, None), ("log", 79.4, 0.13, None, None),
        ("saturating", 80.6, 0.07, 3855.0, "the data do not bound it"),
    )
]  # fmt: skip
PREDICTION = HEAD | {
    "exposure": "active_minutes", "n": 20, "mean_error": 1.67, "baseline_error": 1.74, "dose_error": 1.41,
    "gain": 0.29, "gain_of_dose": 0.34,
}  # fmt: skip
ORIGIN = {"key": "k", "group": "all", "contrast": "c", "exposure": "active_minutes", "characteristic": "age_years",
          "n": 21, "rank": -0.41, "low": -0.74, "high": 0.07}  # fmt: skip


def with_tables(builder, **tables):
    made = builder().girth().association().dose()
    columns = {
        "dose_within": dose_models.WITHIN, "dose_curves": dose_models.CURVES, "dose_origins": dose_models.ORIGINS,
        "dose_prediction": dose_models.PREDICTIONS, "limbs": model.LIMB_COLUMNS, "visit_models": model.VISIT_COLUMNS,
        "sensitivity": sensitivity.COLUMNS, "flags": sensitivity.FLAGS,
    }  # fmt: skip
    for name, rows in tables.items():
        made.table(name, tuple(columns[name]), [[row.get(c) for c in columns[name]] for row in rows])
    return Facts(made.build())


def test_the_answer_parts_between_from_within_and_tells_what_is_only_time(builder) -> None:
    facts = with_tables(
        builder, dose_within=[WITHIN], dose_curves=CURVES, dose_prediction=[PREDICTION], dose_origins=[ORIGIN]
    )
    text = "\n".join(dose_answer(facts))
    for words in (
        "numbers are given per 10 h",
        "Within persons, time held: a person's value went along with that person's own dose: 1.2 (95% CI 0.5 to 1.9)",
        "87% is only the passing of time",
        "variance inflation 7.8",
        "linear 0.80, log 0.13, saturating 0.07",
        "Half-maximal dose: not given (the data do not bound it)",
        "better than by the mean",
        "age years: rank correlation −0.41 (n = 21)",
        "Without holding the first value",
        "confounding by what was not measured cannot be excluded",
    ):
        assert words in text


def test_a_refusal_within_persons_is_printed_with_its_reason(builder) -> None:
    refused = WITHIN | {"within": None, "within_low": None, "within_high": None, "within_reason": "dose is time"}
    facts = with_tables(builder, dose_within=[refused])
    assert any("Within persons: not given (dose is time)" in line for line in dose_answer(facts))
    assert "not given: dose is time" in dose_response_tables.within(facts).rows[0][2]


def test_a_null_is_printed_as_plainly(builder) -> None:
    null = WITHIN | {"within": 0.1, "within_low": -0.4, "within_high": 0.6}
    assert any(
        "could not tell whether a person's value" in line
        for line in dose_answer(with_tables(builder, dose_within=[null]))
    )
    flat = [row | {"flat_aicc": 70.0} for row in CURVES]
    assert any("No dose at all fits no worse" in line for line in dose_answer(with_tables(builder, dose_curves=flat)))


def test_few_people_are_withheld_everywhere(builder) -> None:
    few = {"n": 3, "people": 3}
    facts = with_tables(
        builder, dose_within=[WITHIN | few], dose_curves=[row | few for row in CURVES],
        dose_prediction=[PREDICTION | few], dose_origins=[ORIGIN | few],
    )  # fmt: skip
    for table in (
        dose_response_tables.within(facts), dose_response_tables.curves(facts), dose_response_tables.prediction(facts),
        dose_response_tables.origins(facts),
    ):  # fmt: skip
        assert all("not shown" in " ".join(row) and "1.2" not in " ".join(row) for row in table.rows)


def test_the_limbs_stand_side_by_side_and_the_wrong_claim_is_called_one(builder) -> None:
    rows = [
        HEAD | {"way": way, "people": people, "limbs": limbs, "change": 1.5, "low": low, "high": 3 - low}
        for way, people, limbs, low in (
            ("limbs modelled", 22, 42, 0.9), ("person means", 20, 40, 0.8), ("limbs counted as people", 22, 42, 1.1),
        )
    ]  # fmt: skip
    table = model_tables.limbs(with_tables(builder, limbs=rows))
    assert [row[2] for row in table.rows] == ["42", "40", "42"]
    assert table.rows[2][3] == "1.50 (1.10 to 1.90) cm"
    assert "wrong claim" in table.note


def test_a_run_that_leaves_few_people_out_shows_no_count_to_subtract(builder) -> None:
    run = HEAD | {
        "role": "primary", "run": "same rater", "n": 18, "left_out": 2, "unknown": 0, "change": 1.2, "low": 0.4,
        "high": 2.0, "main_n": 20, "main_change": 1.3,
    }  # fmt: skip
    facts = with_tables(builder, sensitivity=[run, run | {"n": 12, "left_out": 8}])
    few, many = model_tables.other_rules(facts).rows
    assert few[1] == "fewer than 5 left out"
    assert many[1] == "12; 8"
    assert few[2] == "1.2 (0.4 to 2.0) cm"
    public = Facts(facts.record, public=True)
    assert set(model_tables.other_rules(public).rows[0][1:]) == {"not shown"}


def test_flags_are_shares_of_those_of_whom_it_is_known(builder) -> None:
    rows = [
        {"flag": "medicine", "people": 6, "known": 26, "words": "people whose medicine changed"},
        {"flag": "medicine", "people": 2, "known": 26, "words": "people whose medicine changed"},
        {"flag": "natural_recovery", "people": 0, "known": 0, "words": "people early after onset"},
    ]
    cells = [row[2] for row in model_tables.flags(with_tables(builder, flags=rows)).rows]
    assert cells == ["6 of 26 (23%)", "fewer than 5 of 26", "not known of anybody"]


def test_all_visits_stand_beside_complete_pairs(builder) -> None:
    row = HEAD | {"people": 26, "values": 130, "pairs": 20, "change": 1.9, "low": 1.3, "high": 2.5, "pairs_change": 2.0,
                  "pairs_low": 1.3, "pairs_high": 2.8, "own_courses": "level and course", "boundary": ""}  # fmt: skip
    cells = model_tables.all_visits(with_tables(builder, visit_models=[row])).rows[0]
    assert cells[1:4] == ("26; 20", "1.9 (1.3 to 2.5) cm", "2.0 (1.3 to 2.8) cm")


def test_a_line_for_each_person_and_the_common_slope_within_the_data() -> None:
    dose, value = np.tile([0.0, 100.0, 200.0], 4), np.arange(12.0)
    axes = within_person_lines(np.repeat(list("abcd"), 3), dose, value, slope=(1.0, 0.5, 1.5), per=100.0)
    assert len(axes.lines) == 4 + 2 + 1
    low, high = axes.lines[-1].get_xdata()
    assert dose.min() <= low < high <= dose.max()
    again = within_person_lines(np.repeat(list("abcd"), 3), dose, value, ax=axes)
    assert again is axes
    with pytest.raises(DesignError):
        within_person_lines([], [], [])


def test_the_curves_are_those_of_the_record() -> None:
    dose = np.array([0.0, 50.0, 100.0, 400.0])
    curves = [("linear", 1.0, 0.01, None, 0.7), ("log", 0.5, 0.3, None, 0.2), ("saturating", 0.0, 4.0, 80.0, 0.1)]
    axes = dose_curves(dose, dose / 100, curves, offset=4.0)
    drawn = {line.get_label().partition(",")[0]: line for line in axes.lines if "weight" in str(line.get_label())}
    assert drawn["linear"].get_ydata()[-1] == pytest.approx(1 + 0.01 * 400)
    assert drawn["log"].get_ydata()[0] == pytest.approx(0.5 + 0.3 * np.log(4.0))
    assert drawn["saturating"].get_ydata()[-1] == pytest.approx(4 * 400 / 480)
    assert drawn["linear"].get_linewidth() > drawn["log"].get_linewidth()
    with pytest.raises(DesignError):
        dose_curves(dose, dose[:-1], curves)


def test_groups_that_stand_apart_are_answered_apart_where_the_outcome_is_of_everybody(builder) -> None:
    made = builder().girth().association().dose()
    both = [made.associations[0] | {"group": group} for group in ("arms", "legs")]
    made.associations[:] = both
    made.table("dose_curves", tuple(dose_models.CURVES), [])
    facts = Facts(made.build())
    assert facts.association("active_minutes") is None
    lines = dose_answer(facts)
    assert [line for line in lines if line.startswith("Group ")] == ["Group arms:", "Group legs:"]
    from outcomes.reports.change_sentences import association
    from outcomes.reports.conference_tables import associations

    said = [sentence.text for sentence in association(facts)]
    assert [text.partition(":")[0] for text in said[:2]] == ["arms", "legs"]
    assert associations(facts).rows[0][0].endswith("; arms")
