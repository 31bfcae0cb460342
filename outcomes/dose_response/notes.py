"""The printed sentence of each method and caveat of this room."""

from __future__ import annotations

_FREEDMAN_LANE = (
    "p by permuting the residuals of change given the first value over the people (Freedman & Lane 1983, J Bus Econ "
    "Stat 1:292), p = (b + 1)/(N + 1), or exact where all orders can be counted"
)

METHODS: dict[str, str] = {
    "dose_slope": "Between persons: least-squares slope of change on dose with the first value held constant, for the "
    f"stated amount of dose; t interval, n - 3 degrees of freedom; {_FREEDMAN_LANE}. An association, not an effect.",
    "dose_slope_raw": "Between persons: least-squares slope of change on dose, the first value not held; t interval, "
    "n - 2 degrees of freedom. An association, not an effect.",
    "dose_partial_correlation": "Partial correlation of dose and change given the first value; interval by Fisher's "
    "transformation.",
    "dose_rank": "Partial rank correlation (Spearman) of dose and change given the first value, mid-ranks; interval by "
    "Fisher's transformation with the Bonett-Wright variance (Bonett & Wright 2000, Psychometrika 65:23), an "
    "approximation; "
    f"{_FREEDMAN_LANE}, on ranks.",
    "dose_leave_one_out": "Extreme of the slopes that remain when each person in turn is left out.",
    "dose_within_person_r": "Correlation of cumulative dose and time within persons, each person's means removed (the "
    "repeated-measures correlation of Bland & Altman 1995, BMJ 310:446).",
    "dose_median_person_r": "Median over people of each person's own correlation of cumulative dose and time.",
    "dose_vif": "Variance inflation of dose when time is in the same within-person model: 1/(1 - r²), r the "
    "correlation within persons.",
    "dose_repeated_measures": "Correlation within people, each person's means removed (Bland & Altman 1995, BMJ "
    "310:446); interval by Fisher's transformation. Time is not held.",
    "dose_within": "Within persons: mixed model of the values on each person's mean dose, the deviation of dose from "
    "it, and time, with a random level (and course) of each person; the coefficient of the deviation, for the stated "
    "amount of dose; Kenward-Roger interval. An association, not an effect.",
    "dose_between": "Between persons, in the mixed model with time: coefficient of each person's mean dose, for the "
    "stated amount of dose; Kenward-Roger interval. An association, not an effect.",
    "dose_time": "Within persons, in the same mixed model: coefficient of time; Kenward-Roger interval.",
    "dose_time_alone": "Within persons: coefficient of time in a mixed model without any dose; Kenward-Roger interval.",
    "dose_only_time": "Share of the variation of dose within persons that is the passing of time: the square of their "
    "correlation within persons.",
    "dose_curve_linear": "Least squares of change on dose, what is held constant at its mean; t interval.",
    "dose_curve_log": "Least squares of change on the logarithm of dose plus an offset; t interval.",
    "dose_curve_saturating": "Least squares of change on dose/(ED50 + dose), ED50 searched from a thousandth to one "
    "and a half times the largest dose; t interval from the linearised fit.",
    "dose_curve_aicc": "Akaike's criterion with the small-sample correction (Hurvich & Tsai 1989, Biometrika 76:297), "
    "the residual variance counted among the parameters.",
    "dose_curve_weight": "Share of exp(-AICc/2) among the linear, the logarithmic and the saturating curve.",
    "dose_ed50": "Dose of half the largest change of the saturating curve; profile interval from the residual squares, "
    "refused where the search ends inside it or where no dose at all fits as well.",
    "dose_prediction_error": "Root mean square error when each participant's change is predicted from the others by "
    "least squares.",
    "dose_prediction_gain": "1 less the ratio of squared prediction errors, each participant left out in turn; 0 or "
    "less means that dose predicts no better.",
    "dose_origin_rank": "Rank correlation (Spearman) of dose with a characteristic known at baseline; interval with "
    "the Bonett-Wright variance (Bonett & Wright 2000, Psychometrika 65:23); not tested.",
    "dose_description": "Median, lowest and highest of the people's values; no association is computed.",
}
"""Method id to its sentence."""

CAVEATS: dict[str, str] = {
    "association": "An association between persons: people who did more may differ in other ways; confounding by what "
    "was not measured cannot be excluded.",
    "dose_is_time": "Dose rises with time so closely (variance inflation above 10) that an effect of dose cannot be "
    "told from the passing of time.",
    "dealt_by_first_value": "Where dose was dealt out by the first value, the error of that value falls back over time "
    "in step with the dose: in invented cohorts of 40 people whose dose did nothing, 13 in 100 showed an association "
    "within persons, not 5.",
    "same_course": "The values do not tell people's own courses over time apart, so people differ in level only and "
    "the interval may be too short.",
    "baseline_constant": "The first value is the same for everybody, so there is nothing to hold constant.",
    "one_person_decides": "Without one of the people the slope cannot be estimated, so the range is not given.",
    "perfect_fit": "Dose and first value explain the change without rest, so the slope has no interval.",
}
"""Caveat id to its sentence."""
