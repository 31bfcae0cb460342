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
    "correlation_before_after": "Pearson correlation of both visits; interval by Fisher's transformation (Fisher "
    "1921, Metron 1:3).",
    "mean_change_bca": "Mean change with a bias-corrected and accelerated bootstrap interval over people (Efron & "
    "Tibshirani 1993, An Introduction to the Bootstrap, chapter 14).",
    "d_z": "Mean change divided by the standard deviation of the changes (also called standardised response mean); "
    "interval by noncentral t, n - 1 degrees of freedom (Lakens 2013, Front Psychol 4:863).",
    "d_av": "Mean change divided by the mean of the standard deviations of both visits (Lakens 2013, Front Psychol "
    "4:863); BCa bootstrap interval over people from n = 20, none below.",
    "hedges_g": "d_z times the exact small-sample correction with n - 1 degrees of freedom; so is its interval "
    "(Hedges 1981, J Educ Stat 6:107).",
    "sign_flip": "Probability, over all flips of the signs of the changes, of a sum at least as far from 0 as the "
    "observed one (Fisher 1935, The Design of Experiments, section 21).",
    "median_before": "Median at the earlier visit, of the people who have both; between two grades their mean.",
    "median_after": "Median at the later visit, of the people who have both; between two grades their mean.",
    "hodges_lehmann_change": "Hodges-Lehmann estimate: median of the Walsh averages of the changes, zeros kept; "
    "interval from their order statistics (Hollander & Wolfe 1999, Nonparametric Statistical Methods, 3.2-3.3); p by "
    "the exact signed-rank test with mid-ranks, people without change left out, 1 if nobody changed (Wilcoxon 1945, "
    "Biometrics Bull 1:80).",
    "signed_rank": "Exact conditional signed-rank test with mid-ranks for ties; zeros by the rule that its name "
    "gives (Wilcoxon 1945, Biometrics Bull 1:80; Pratt 1959, J Am Stat Assoc 54:655).",
    "rank_biserial": "Matched rank-biserial correlation: (rank sum of rises - rank sum of falls)/(their sum), people "
    "without change left out (Kerby 2014, Compr Psychol 3:11.IT.3.1); interval from its jackknife variance within -1 "
    "to 1 (form of Feng & Cliff 2004, J Mod Appl Stat Methods 3:322), one-sided where all went one way.",
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
    "direction, by measurement error alone: Student t with the degrees of freedom of the standard error; its "
    "interval from the chi-square interval of the standard error.",
    "expected_by_known_error": "Share of people whose change would reach the minimal detectable change, in either "
    "direction, by measurement error alone: normal distribution, the standard error taken as known.",
    "d_rms": "Mean change divided by the root mean square of the standard deviations of both visits (Lakens 2013, "
    "Front Psychol 4:863); BCa bootstrap interval over people from n = 20, none below.",
    "d_rm": "d_z times the root of 2 (1 - r), r the correlation of both visits (Lakens 2013, Front Psychol 4:863); "
    "BCa bootstrap interval over people from n = 20, none below.",
    "d_before": "Mean change divided by the standard deviation of the first visit (Glass's divisor; Becker 1988, Br "
    "J Math Stat Psychol 41:257); BCa bootstrap interval over people from n = 20, none below.",
    "g_before": "d_before times the exact small-sample correction with n - 1 degrees of freedom (Hedges 1981, J Educ "
    "Stat 6:107).",
    "d_s": "Difference of the group means divided by the pooled standard deviation; interval by noncentral t, n1 + "
    "n2 - 2 degrees of freedom (Hedges 1981, J Educ Stat 6:107).",
    "g_s": "d_s times the exact small-sample correction with n1 + n2 - 2 degrees of freedom; so is its interval.",
    "d_second": "Difference of the group means divided by the standard deviation of the reference group (Glass 1976, "
    "Educ Res 5(10):3); interval by noncentral t, n2 - 1 degrees of freedom.",
    "g_second": "d_second times the exact small-sample correction with n2 - 1 degrees of freedom.",
    "probability_of_rise": "Share of people with a higher grade at the later visit, those with the same grade "
    "counting a half; Wilson interval, too wide rather than too narrow where grades stay (Wilson 1927, J Am Stat "
    "Assoc 22:209).",
    "cliff_dominance": "Cliff's delta: share of pairs of people, one of each group, in which the first is higher, "
    "minus the share in which it is lower; Feng-Cliff interval; p by the exact rank-sum test over all divisions of "
    "the people into such groups, mid-ranks for ties (Cliff 1993, Psychol Bull 114:494; Feng & Cliff 2004, J Mod "
    "Appl Stat Methods 3:322).",
    "common_language": "Share of pairs of people, one of each group, in which the first is higher, ties counting a "
    "half (McGraw & Wong 1992, Psychol Bull 111:361); interval that of Cliff's delta.",
    "percent_mean": "Mean of the people's own percent changes; Student t interval. Only for a ratio scale.",
    "percent_change_of_mean": "Mean change in percent of the mean first value. Only for a ratio scale.",
    "percent_geometric": "Percent change of the geometric mean; Student t interval of the logarithms. Only for a "
    "ratio scale.",
    "rci_better": "People whose reliable change index is beyond its threshold in the stated direction: change, less "
    "practice where that was asked for, divided by the root of 2 times the standard error of measurement (Jacobson & "
    "Truax 1991, J Consult Clin Psychol 59:12; practice: Chelune et al. 1993, Neuropsychology 7:41).",
    "rci_within": "People whose reliable change index is within its threshold.",
    "rci_other": "People whose reliable change index is beyond its threshold against the stated direction.",
    "rci_share": "Share of the people whose reliable change index is beyond its threshold, with the score interval "
    "(Wilson 1927, J Am Stat Assoc 22:209).",
    "rci_expected": "Share of people whose index error alone would put beyond its threshold, both directions together: "
    "Student t with the degrees of freedom of the standard error, interval from the chi-square interval of the "
    "standard error; normal and without interval where it is taken as known.",
    "ancova": "Difference of the later values between groups given the first value (analysis of covariance; Vickers "
    "& Altman 2001, BMJ 323:1123); Student t interval and test, one residual variance.",
    "ancova_hc3": "Difference of the later values between groups given the first value (analysis of covariance; "
    "Vickers & Altman 2001, BMJ 323:1123); Student t interval and test, standard errors that allow each person "
    "another variance (HC3; MacKinnon & White 1985, J Econom 29:305).",
    "ancova_slope": "Later value per unit of the first value, within groups (analysis of covariance).",
    "ancova_information": "Information criterion of the analysis of covariance with one residual variance, which "
    "counts among its parameters (Akaike 1974, IEEE Trans Autom Control 19:716; AICc: Hurvich & Tsai 1989, Biometrika "
    "76:297; BIC: Schwarz 1978, Ann Stat 6:461); compare fits of the same values only.",
    "slopes_differ": "F test that the later value does not follow the first one by the same slope in all groups: a "
    "note on the model, not a step that chooses it.",
    "change_difference": "Difference of the mean changes of two groups, unequal spreads; interval and test by Welch "
    "(1947, Biometrika 34:28).",
    "change_difference_pooled": "Difference of the mean changes of groups, one spread for all; Student t interval "
    "and test.",
    "d_ppc2": "Difference of the mean changes divided by the pooled standard deviation of the first visit, exact "
    "small-sample correction; interval from its large-sample variance (Morris 2008, Organ Res Methods 11:364; variance "
    "from memory).",
    "d_ppc2_bootstrap": "Difference of the mean changes divided by the pooled standard deviation of the first visit, "
    "exact small-sample correction (Morris 2008, Organ Res Methods 11:364); BCa bootstrap interval, people drawn "
    "within groups.",
    "share_difference": "Difference of two groups' shares of people; Newcombe interval (1998, Stat Med 17:873).",
    "number_needed": "Number needed to treat: 1 divided by the difference of the shares; above 0 to benefit (NNTB), "
    "below 0 to harm (NNTH) (Altman 1998, BMJ 317:1309).",
    "number_needed_end": "1 divided by an end of the interval of the difference of the shares (Altman 1998, BMJ "
    "317:1309).",
    "important_roc": "Important change by the anchor, ROC: the midpoint between two observed changes with the "
    "largest sensitivity + specificity, a change of at least it counting as important; of several as good the one "
    "nearest to their middle (Youden 1950, Cancer 3:32); percentile bootstrap interval over people.",
    "important_corner": "Important change by the anchor, ROC: the midpoint between two observed changes at which the "
    "curve is nearest to the corner where sensitivity and specificity are 1 (Perkins & Schisterman 2006, Am J "
    "Epidemiol 163:670); percentile bootstrap interval over people.",
    "important_predicted": "Important change by the anchor, predictive modelling: the change at which a logistic "
    "model's odds of an important change equal those of the group (Terluin et al. 2015, J Clin Epidemiol 68:1388); "
    "percentile bootstrap interval over people.",
    "important_adjusted": "Important change by the anchor, predictive modelling adjusted for a share of important "
    "changes that is not a half (Terluin et al. 2017, J Clin Epidemiol 83:90; formula from memory); percentile "
    "bootstrap interval over people.",
    "important_mean_change": "Mean change of the people whose own rating lies just above no change (Jaeschke et al. "
    "1989, Control Clin Trials 10:407); Student t interval.",
    "roc_area": "Area under the ROC curve: chance that of two people, one with an important change by the anchor and "
    "one without, the first changed more, ties counting a half; interval from DeLong's variance on the logit scale "
    "(DeLong et al. 1988, Biometrics 44:837; Pohar Perme & Manevski 2018, Stat Methods Med Res, doi "
    "10.1177/0962280218814556), one-sided where both kinds do not overlap.",
    "roc_area_difference": "Difference of the areas under two ROC curves of the same people; interval and test by the "
    "variance of DeLong et al. (1988, Biometrics 44:837).",
    "roc_sensitivity": "Share of the people with an important change by the anchor whose change reaches the "
    "cut-point; Wilson interval, the cut-point taken as given.",
    "roc_specificity": "Share of the people without an important change by the anchor whose change does not reach "
    "the cut-point; Wilson interval, the cut-point taken as given.",
    "share_important": "Share of people whose own rating calls the change important; Wilson interval.",
    "half_sd": "Half of the standard deviation of the first visit: a size without an anchor (Norman et al. 2003, Med "
    "Care 41:582); chi-square interval.",
    "one_standard_error": "One standard error of measurement: a size without an anchor (Wyrwich et al. 1999, J Clin "
    "Epidemiol 52:861).",
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
    "resamples_lost": "Some resamples had no value and were left out of the bootstrap interval.",
    "number_needed_straddles": "The difference may be 0: the interval of the number needed runs through infinity, "
    "from benefit to harm.",
    "anchor_follows_state": "A person's own rating of change follows the present state more than the change.",
    "no_anchor": "A size without an anchor: nobody was asked what matters.",
    "not_randomised": "People were not randomised to groups: the groups may differ in what was not measured.",
}
"""Caveat id to its sentence."""
