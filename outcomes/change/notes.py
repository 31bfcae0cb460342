"""The printed sentence of each method and caveat of this room."""

from __future__ import annotations

METHODS: dict[str, str] = {
    "mean_change": "Mean of the people's changes, change = later - earlier; Student t interval, n - 1 degrees of "
    "freedom; p by flipping the signs of the changes (Fisher 1935, The Design of Experiments, section 21), exact "
    "where the changes lie on a grid or n is at most 40, else random flips with p = (b + 1)/(N + 1).",
    "sd_change": "Standard deviation of the people's changes, n - 1.",
    "mean_before": "Mean at the earlier visit, of the people who have both.",
    "sd_before": "Standard deviation at the earlier visit, n - 1, of the people who have both.",
    "mean_after": "Mean at the later visit, of the people who have both.",
    "sd_after": "Standard deviation at the later visit, n - 1, of the people who have both.",
    "correlation_before_after": "Pearson correlation of both visits; interval by Fisher's transformation (Fisher 1921, "
    "Metron 1:3).",
    "mean_change_bca": "Mean change with a bias-corrected and accelerated bootstrap interval over people (Efron & "
    "Tibshirani 1993, An Introduction to the Bootstrap, chapter 14).",
    "d_z": "Mean change divided by the standard deviation of the changes (also called standardised response mean); "
    "interval by noncentral t, n - 1 degrees of freedom (Lakens 2013, Front Psychol 4:863).",
    "d_av": "Mean change divided by the mean of the standard deviations of both visits (Lakens 2013, Front Psychol "
    "4:863); BCa bootstrap interval over people from n = 20, none below.",
    "hedges_g": "d_z times the exact small-sample correction with n - 1 degrees of freedom; so is its interval (Hedges "
    "1981, J Educ Stat 6:107).",
    "sign_flip": "Probability, over all flips of the signs of the changes, of a sum at least as far from 0 as the "
    "observed one (Fisher 1935, The Design of Experiments, section 21).",
    "median_before": "Median at the earlier visit, of the people who have both; between two grades their mean.",
    "median_after": "Median at the later visit, of the people who have both; between two grades their mean.",
    "hodges_lehmann_change": "Hodges-Lehmann estimate: median of the Walsh averages of the changes, zeros kept; "
    "interval from their order statistics (Hollander & Wolfe 1999, Nonparametric Statistical Methods, 3.2-3.3); p by "
    "the exact signed-rank test with mid-ranks, people without change left out, 1 if nobody changed (Wilcoxon 1945, "
    "Biometrics Bull 1:80).",
    "signed_rank": "Exact conditional signed-rank test with mid-ranks for ties; zeros by the rule that its name gives "
    "(Wilcoxon 1945, Biometrics Bull 1:80; Pratt 1959, J Am Stat Assoc 54:655).",
    "rank_biserial": "Matched rank-biserial correlation: (rank sum of rises - rank sum of falls)/(their sum), people "
    "without change left out (Kerby 2014, Compr Psychol 3:11.IT.3.1).",
    "count_lower": "People with a lower grade at the later visit.",
    "count_same": "People with the same grade at both visits.",
    "count_higher": "People with a higher grade at the later visit.",
    "count_better": "People whose change in the stated direction is at least the minimal detectable change; a tie "
    "counts.",
    "count_within": "People whose change is smaller than the minimal detectable change.",
    "count_other": "People whose change against the stated direction is at least the minimal detectable change.",
    "share_beyond": "Share of the people with a change of at least the minimal detectable change, with the score "
    "interval (Wilson 1927, J Am Stat Assoc 22:209).",
    "expected_by_error": "Share of people whose change would reach the minimal detectable change, in either "
    "direction, by measurement error alone: Student t with the degrees of freedom of the standard error; its interval "
    "from the chi-square interval of the standard error.",
    "expected_by_known_error": "Share of people whose change would reach the minimal detectable change, in either "
    "direction, by measurement error alone: normal distribution, the standard error taken as known.",
}
"""Method id to its sentence."""

CAVEATS: dict[str, str] = {
    "two_people": "Two people: the interval rests on one degree of freedom.",
    "p_cannot_reach": "With so few people who changed, no p below the level could have been reached.",
    "p_simulated": "p comes from random flips; its Monte-Carlo standard error is given.",
    "ties_level": "With tied changes the level of the interval is approximate.",
    "all_equal": "Everybody changed by the same amount, so there is no spread, interval or effect size.",
    "below_bootstrap": "Fewer than 20 people: no bootstrap interval.",
    "no_bootstrap": "The bootstrap interval is not defined for these data.",
}
"""Caveat id to its sentence."""
