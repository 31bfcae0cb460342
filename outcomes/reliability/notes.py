"""The printed sentence of each method and caveat of this room."""

from __future__ import annotations

_ICC = "McGraw & Wong (1996) Psychol Methods 1:30; Shrout & Fleiss (1979) Psychol Bull 86:420"

_LIMITS = "Bland & Altman 1999, Stat Methods Med Res 8:135"
_HC2 = "t interval with HC2 variance and Satterthwaite degrees of freedom (Imbens & Kolesár 2016, Rev Econ Stat 98:701)"
_REPLICATES = "Bland & Altman 2007, J Biopharm Stat 17:571; intervals Zou 2013, Stat Methods Med Res 22:630"
_FISHER = "t interval on Fisher's scale with the standard error of leaving one person out"
_KAPPA = "Cohen 1960, 1968; Fleiss, Cohen & Everitt 1969, Psychol Bull 72:323"

AGREEMENT: dict[str, str] = {
    "agreement_bias": f"Bias: mean of second minus first measurement; Student t interval ({_LIMITS}).",
    "agreement_bias_ratio": "Bias as a ratio: geometric mean of second over first measurement; Student t interval on "
    "the "
    f"logarithm ({_LIMITS}).",
    "agreement_deviation": "Standard deviation of the differences of two single measurements, n - 1; chi-square "
    "interval "
    f"({_LIMITS}).",
    "agreement_deviation_log": "Standard deviation of the differences of natural logarithms, n - 1; chi-square "
    "interval "
    f"({_LIMITS}).",
    "agreement_deviation_replicates": "Standard deviation of the difference of two single measurements, from the "
    "variance "
    f"of means and that within people; interval by recovering the variance of each ({_REPLICATES}).",
    "limit_of_agreement": "Limit of agreement: bias ± multiplier (1.96) × standard deviation of the differences; the "
    f"entry names its interval: formula of 1999, of 1986, or exact by noncentral t ({_LIMITS}; Carkeet 2015, Optom Vis "
    "Sci 92:e71).",
    "limit_of_agreement_ratio": "Limit of agreement as a ratio of second to first measurement: that of the differences "
    "of "
    f"logarithms, turned back ({_LIMITS}).",
    "limit_of_agreement_replicates": "Limit of agreement for single measurements where people have replicates: bias ± "
    f"1.96 × standard deviation of such a difference ({_REPLICATES}).",
    "acceptable_difference": "Largest difference that is acceptable in use, fixed in the protocol.",
    "acceptable_share": "Share of people whose difference is at most the acceptable one; Wilson interval (1927, J Am "
    "Stat Assoc 22:209).",
    "acceptable_verdict": "Within: both limits of agreement lie inside ± the acceptable difference with their whole "
    f"exact intervals; beyond: the whole interval of a limit lies outside; undecided else ({_LIMITS}; the three words: "
    "common practice, no source).",
    "limit_by_size": "Limit of agreement at a given size: regression of the differences on the mean of both, and of "
    f"the size of the residuals ({_LIMITS}, section 3.2); interval by recovering the variances of bias and spread (Zou "
    "2013, Stat Methods Med Res 22:630), those of the spread as of sizes of normal residuals.",
    "bias_by_size": "Bias at a given size: regression of the differences on the mean of both measurements "
    f"({_LIMITS}, section 3.2); {_HC2}.",
    "bias_slope": "Change of the bias per unit of size: slope of the differences on the mean of both measurements "
    f"({_LIMITS}, section 3.2); {_HC2}.",
    "spread_slope": "Change of the standard deviation of the differences per unit of size: slope of the size of the "
    f"residuals times √(π/2) ({_LIMITS}, section 3.2); score interval, the variance of the size of a normal residual "
    "following from its mean (without a source of its own; simulated).",
    "kappa": f"Kappa: agreement of two ratings beyond chance, every difference counts alike ({_KAPPA}); {_FISHER}.",
    "kappa_linear": "Linear weighted kappa: a difference counts by the number of grades on the whole declared scale, "
    f"used or not ({_KAPPA}); {_FISHER}.",
    "kappa_quadratic": "Quadratic weighted kappa: a difference counts by the squared number of grades on the whole "
    f"declared scale, used or not ({_KAPPA}); {_FISHER}.",
    "kappa_free": f"Weighted kappa with weights that were given ({_KAPPA}); {_FISHER}.",
    "fleiss_kappa": "Fleiss' kappa: agreement of several ratings beyond chance, shares of grades over all ratings; t "
    "interval on Fisher's scale, standard error linearised over people (Fleiss 1971, Psychol Bull 76:378; Gwet 2021, "
    "Educ Psychol Meas 81:781).",
    "ac1": "AC1: agreement beyond chance, where chance agreement stays small when one grade is common; t interval "
    "on Fisher's scale, standard error linearised over people (Gwet 2008, Br J Math Stat Psychol 61:29).",
    "ac2": "AC2: AC1 with weights between grades of the whole declared scale (Gwet 2014, Handbook of Inter-Rater "
    "Reliability).",
    "krippendorff_nominal": "Krippendorff's alpha, nominal; bias-corrected bootstrap over people (Krippendorff 2011).",
    "krippendorff_ordinal": "Krippendorff's alpha, ordinal: grades are as far apart as the ratings between them are "
    "many; "
    "bias-corrected bootstrap over people (Krippendorff 2011).",
    "krippendorff_interval": "Krippendorff's alpha, interval: squared differences; bias-corrected bootstrap over "
    "people "
    "(Krippendorff 2011).",
    "krippendorff_ratio": "Krippendorff's alpha, ratio: squared differences over sums; bias-corrected bootstrap over "
    "people (Krippendorff 2011).",
}
"""Method id to its sentence, for agreement of measurements and of grades."""

_GAPS = (
    "variances by restricted maximum likelihood as scores are missing; interval from the values that leave one person "
    "out, on Fisher's scale with t, occasions as they are"
)

INCOMPLETE: dict[str, str] = {
    f"icc_{part}_incomplete": f"{name}: {what}; {_GAPS}; negative values kept ({_ICC})."
    for part, name, what in (
        ("1_1", "ICC(1,1)", "variance of people over that of people and within people, one-way"),
        ("a_1", "ICC(A,1)", "variance of people over that of people, occasions and error"),
        ("c_1", "ICC(C,1)", "variance of people over that of people and error"),
        ("1_k", "ICC(1,k)", "as ICC(1,1), for the mean of k scores"),
        ("a_k", "ICC(A,k)", "as ICC(A,1), for the mean of k scores"),
        ("c_k", "ICC(C,k)", "as ICC(C,1), for the mean of k scores"),
    )
}
"""Method id to its sentence, for intraclass correlations with missing scores."""

METHODS: dict[str, str] = (
    {
        "icc_1_1": "ICC(1,1): (between-people mean square - within-people mean square) / (between + (k - 1) within), "
        "one "
        f"score, one-way; exact F interval; negative values kept ({_ICC}, there ICC(1,1)).",
        "icc_a_1": "ICC(A,1): absolute agreement of one score, variance of occasions counted as error; interval by F "
        "with "
        f"Satterthwaite degrees of freedom; negative values kept ({_ICC}, there ICC(2,1)).",
        "icc_c_1": "ICC(C,1): consistency of one score, variance of occasions left out; exact F interval; negative "
        "values "
        f"kept ({_ICC}, there ICC(3,1)).",
        "icc_1_k": f"ICC(1,k): one-way, mean of k scores; exact F interval; negative values kept ({_ICC}).",
        "icc_a_k": f"ICC(A,k): absolute agreement of the mean of k scores; interval from that of ICC(A,1) ({_ICC}, "
        f"there "
        "ICC(2,k)).",
        "icc_c_k": f"ICC(C,k): consistency of the mean of k scores; exact F interval; negative values kept ({_ICC}, "
        f"there "
        "ICC(3,k)).",
        "concordance": "Concordance correlation: agreement of two occasions with each other; the product of Pearson's "
        "correlation and of how near the line of the people lies to that of equal scores; variances with divisor n; "
        "interval by Fisher's transformation; negative values kept (Lin 1989, Biometrics 45:255; Lin 2000, Biometrics "
        "56:324).",
        "standard_error_agreement": "Standard error of measurement, agreement: root of variance of occasions plus "
        "error "
        "variance of the two-way analysis; a negative variance of occasions counts as 0; chi-square interval, with "
        "Satterthwaite degrees of freedom where the variance of occasions is above 0 (Weir 2005, J Strength Cond Res "
        "19:231).",
        "standard_error_consistency": "Standard error of measurement, consistency: root of the error mean square of "
        "the "
        "two-way analysis, (n - 1)(k - 1) degrees of freedom; chi-square interval (Weir 2005, J Strength Cond Res "
        "19:231).",
        "within_person_standard_deviation": "Within-person standard deviation: root of the mean of the people's own "
        "variances, mean change between occasions included, n (k - 1) degrees of freedom; chi-square interval (Bland & "
        "Altman 1996, BMJ 313:744).",
        "mdc95": "Minimal detectable change of one person, 95 %: 1.96 × √2 × standard error of measurement, agreement "
        "(Weir 2005, J Strength Cond Res 19:231).",
        "mdc90": "Minimal detectable change of one person, 90 %: 1.645 × √2 × standard error of measurement, agreement "
        "(Weir 2005, J Strength Cond Res 19:231).",
        "mdc95_consistency": "Minimal detectable change of one person, 95 %, mean change between occasions left out: "
        "1.96 × √2 × standard error of measurement, consistency (Weir 2005, J Strength Cond Res 19:231).",
        "percent_of_mean": "The quantity before it in percent of the mean of all scores; ratio scales only.",
        "mdc95_trials": "Minimal detectable change of one person, 95 %, where both values are means of k trials: that "
        "of "
        "one "
        "score divided by √k (Weir 2005, J Strength Cond Res 19:231).",
        "mdc95_group": "Minimal detectable change of the mean of a group, 95 %: that of one person divided by √n; it "
        "says "
        "nothing about one person (Terwee et al 2007, J Clin Epidemiol 60:34).",
        "precision_error": "Precision error: root mean square of the people's standard deviations, Σ(repeats - 1) "
        "degrees "
        "of "
        "freedom, a shift between repeats included; chi-square interval (Glueer et al 1995, Osteoporos Int 5:262).",
        "precision_error_percent": "Precision error in percent: root mean square of the people's coefficients of "
        "variation; "
        "chi-square interval, approximate; ratio scales only (Glueer et al 1995, Osteoporos Int 5:262).",
        "least_significant_change": "Least significant change, 95 %: 2.77 times the precision error, the rounded "
        "factor of "
        "bone densitometry (Glueer et al 1995, Osteoporos Int 5:262).",
        "least_significant_change_exact": "Least significant change, 95 %: 1.96 × √2 times the precision error (Glueer "
        "et "
        "al "
        "1995, Osteoporos Int 5:262).",
        "coefficient_of_variation": "Coefficient of variation: 100 (exp(√error mean square of logarithms) - 1), mean "
        "change "
        "between occasions left out; chi-square interval turned back (Hopkins 2000, Sports Med 30:1).",
        "cronbach_alpha": "Cronbach's alpha: k/(k - 1)·(1 - sum of item variances / variance of the total); people "
        "with a "
        "missing answer left out unless said otherwise; interval of Feldt (Cronbach 1951, Psychometrika 16:297).",
        "participant_bootstrap": "The statistic that the entry names, with a bias-corrected and accelerated bootstrap "
        "interval over people, occasions as they are (Efron & Tibshirani 1993, An Introduction to the Bootstrap, "
        "chapter 14), its levels expanded for few people (Hesterberg 2014, arXiv 1411.5279).",
        "participant_bootstrap_spread": "The standard error, detectable change or limit that the entry names, with the "
        "same bootstrap interval, which for these is too narrow with few people (Efron & Tibshirani 1993; Hesterberg "
        "2014, arXiv 1411.5279).",
        "standard_error_from_icc": "Standard deviation of all scores times √(1 - ICC(A,1)): another number than the "
        "root of the error mean square; no interval (Weir 2005, J Strength Cond Res 19:231).",
        "degrees_of_freedom": "Degrees of freedom, Σ(repeats - 1) over people; at least 30 are asked for (Glueer et "
        "al 1995, Osteoporos Int 5:262).",
        "size_quantile": "Quantile of the means of both measurements: a size at which limits by regression are given.",
        "mcdonald_omega": "Omega: share of the total's variance that the common factor explains, congeneric items, "
        "maximum "
        "likelihood; percentile interval by bootstrap over people (McDonald 1999).",
    }
    | AGREEMENT
    | INCOMPLETE
)
"""Method id to its sentence."""

CAVEATS: dict[str, str] = {
    "perfect_agreement": "No error was seen, so the value has no interval; the error is below the step of the scale.",
    "no_interval_variance": "The interval is not defined for these variances.",
    "occasion_variance_negative": "The estimated variance of occasions was negative and counts as 0.",
    "few_retested": "Fewer than 10 people were retested; the error itself is known only roughly, as its interval "
    "shows.",
    "few_pairs": "Fewer than 30 pairs: the limits of agreement themselves are known only roughly, as their intervals "
    "show.",
    "few_concordance": "Fewer than 12 people: the interval of a concordance is rough.",
    "few_rated": "Fewer than 30 people were rated: this interval is rough.",
    "few_resampled": "Fewer than 25 people: an interval by bootstrap may be too narrow.",
    "pairwise_no_interval": "Answers are missing and covariances come from different people, so there is no interval.",
    "own_variance_zero": "An item's own variance was estimated at 0; the factor model does not fit these items well.",
    "no_interval_jackknife": "Without one of the people nothing is left to estimate by, so there is no interval.",
    "resamples_without_fit": "Some resamples of people allowed no fit and were left out of the bootstrap interval.",
    "no_interval_bootstrap": "The bootstrap over people is not defined for these data, so there is no interval.",
    "between_variance_negative": "The estimated variance of the differences between people was negative and counts as "
    "0.",
    "occasions_in_group": "Occasions differed by more than error; that part does not shrink with more people, so the "
    "detectable change of a group is too small.",
}
"""Caveat id to its sentence."""
