"""The printed sentence of each method and caveat of this room."""

from __future__ import annotations

_REML = "restricted maximum likelihood at its exact optimum"
_ML = "maximum likelihood at its exact optimum"
_MARGINAL = "Marginal model of repeated values (generalised estimating equations; Liang & Zeger 1986, Biometrika 73:13)"
_MODEL = "Linear mixed model with a random effect of the participant"

METHODS: dict[str, str] = {
    "mixed_term_kenward_roger": f"{_MODEL}, {_REML}; standard error, t interval and p with the degrees of freedom of "
    "Kenward & Roger (1997, Biometrics 53:983).",
    "mixed_term_satterthwaite": f"{_MODEL}; t interval and p with the degrees of freedom of Satterthwaite (1946, "
    "Biometrics Bull 2:110), as in Kuznetsova et al (2017, J Stat Softw 82(13)).",
    "mixed_f_kenward_roger": f"{_MODEL}, {_REML}; F of several terms together, scaled, with the degrees of freedom of "
    "Kenward & Roger (1997, Biometrics 53:983).",
    "mixed_f_satterthwaite": f"{_MODEL}; F of several terms together with the degrees of freedom of Fai & Cornelius "
    "(1996, J Stat Comput Simul 54:363).",
    "mixed_sd_reml": f"{_MODEL}: standard deviation (or correlation) of a random part, {_REML}.",
    "mixed_sd_ml": f"{_MODEL}: standard deviation (or correlation) of a random part, {_ML}.",
    "mixed_sd_profile_reml": "Profile-likelihood interval of a random part by the restricted likelihood: values "
    "whose deviance exceeds the smallest by at most the chi-square quantile with 1 degree of freedom; too wide where "
    "the true variance is 0.",
    "mixed_sd_profile_ml": "Profile-likelihood interval of a random part: values whose deviance exceeds the smallest "
    "by at most the chi-square quantile with 1 degree of freedom; too wide where the true variance is 0.",
    "mixed_information": "Information criterion of the maximum likelihood fit, all variance parts and the residual "
    "variance counted among the parameters, n the number of values; compare fits of the same values only.",
    "limb_modelled": f"{_MODEL} and a fixed difference of the limbs, {_REML}: mean change of both limbs, Kenward-Roger "
    "interval; people with one limb count, too.",
    "limb_difference": f"{_MODEL} and a fixed difference of the limbs, {_REML}: change of one limb less that of the "
    "other, Kenward-Roger interval.",
    "limb_likeness": "Correlation of the changes of two limbs of a person: variance between people over the whole "
    "variance of the mixed model.",
    "limb_person_means": "Mean over people of the mean of their two limbs; Student t interval.",
    "limbs_as_people": "Mean over limbs as if each were a person of its own; Student t interval. For comparison only.",
    "visit_change": f"{_MODEL} and a mean of its own for each visit, {_REML}: difference of two visits with the values "
    "of everybody, Kenward-Roger interval.",
    "visit_mean": f"{_MODEL} and a mean of its own for each visit, {_REML}: mean at a visit, Kenward-Roger interval.",
    "visit_pairs": "Mean change of the people who have both values; Student t interval.",
    "regression_to_mean": "Mean change that selection by the first value would bring with nothing done: (1 - "
    "reliability) times the distance of the first mean from that of people like these without the cut-off (Davis "
    "1976, Am J Epidemiol 104:493).",
    "marginal_term_cr0": f"{_MARGINAL}; standard error by the sandwich over people as it is, normal interval and p.",
    "marginal_term_cr1": f"{_MARGINAL}; standard error by the sandwich over people times people/(people - 1), t "
    "interval and p with Satterthwaite's degrees of freedom.",
    "marginal_term_cr2": f"{_MARGINAL}; standard error by the sandwich over people, unbiased if the working model "
    "holds (Bell & McCaffrey 2002, Surv Methodol 28:169), t interval and p with Satterthwaite's degrees of freedom.",
    "marginal_term_cr3": f"{_MARGINAL}; standard error by the sandwich over people as if each were left out (Mancl & "
    "DeRouen 2001, Biometrics 57:126), t interval and p with Satterthwaite's degrees of freedom.",
    "pooled_imputations": "Mean of the estimates of several imputed tables; variance within and between tables (Rubin "
    "1987, Multiple Imputation for Nonresponse in Surveys); t interval and p with the degrees of freedom of Barnard & "
    "Rubin (1999, Biometrika 86:948).",
    "mixed_leave_one_out": "Extreme of the coefficients that remain when each participant in turn is left out and the "
    "model, variances included, is fitted anew.",
}
"""Method id to its sentence."""

CAVEATS: dict[str, str] = {
    "no_difference_between_people": "The variance between people is estimated as 0: people differ by no more than the "
    "variation within them explains. The coefficients are those of least squares.",
    "one_line_between_people": "Intercepts and slopes of people are estimated to lie on one line (correlation of 1 or "
    "-1, or one of the two without variance): the data do not tell two separate differences between people.",
    "limbs_are_not_people": "Two limbs of a person are no two people: this interval is wrong, too short wherever limbs "
    "of a person are alike, and stands for comparison only.",
    "same_course_of_all": "People differ in level only in this model, as the values do not tell their own courses over "
    "time apart; the interval may be too short.",
    "selection_assumed": "The mean of people without the cut-off is taken from the protocol as known without error; "
    "the interval is that of the reliability of the clinic's own repeat tests alone.",
    "few_people": "Fewer than 6 people: the variance between them is hardly known (common practice, no source).",
    "profile_open": "The likelihood does not bound the value on one side, so the interval ends at the limit of what is "
    "possible.",
}
"""Caveat id to its sentence."""
