"""The printed sentence of each method and caveat of this room."""

from __future__ import annotations

_ICC = "McGraw & Wong (1996) Psychol Methods 1:30; Shrout & Fleiss (1979) Psychol Bull 86:420"

METHODS: dict[str, str] = {
    "icc_1_1": "ICC(1,1): (between-people mean square - within-people mean square) / (between + (k - 1) within), one "
    f"score, one-way; exact F interval; negative values kept ({_ICC}, there ICC(1,1)).",
    "icc_a_1": "ICC(A,1): absolute agreement of one score, variance of occasions counted as error; interval by F with "
    f"Satterthwaite degrees of freedom; negative values kept ({_ICC}, there ICC(2,1)).",
    "icc_c_1": "ICC(C,1): consistency of one score, variance of occasions left out; exact F interval; negative values "
    f"kept ({_ICC}, there ICC(3,1)).",
    "icc_1_k": f"ICC(1,k): one-way, mean of k scores; exact F interval; negative values kept ({_ICC}).",
    "icc_a_k": f"ICC(A,k): absolute agreement of the mean of k scores; interval from that of ICC(A,1) ({_ICC}, there "
    "ICC(2,k)).",
    "icc_c_k": f"ICC(C,k): consistency of the mean of k scores; exact F interval; negative values kept ({_ICC}, there "
    "ICC(3,k)).",
    "concordance": "Concordance correlation: agreement of two occasions with each other; the product of Pearson's "
    "correlation and of how near the line of the people lies to that of equal scores; variances with divisor n; "
    "interval by Fisher's transformation; negative values kept (Lin 1989, Biometrics 45:255; Lin 2000, Biometrics "
    "56:324).",
    "standard_error_agreement": "Standard error of measurement, agreement: root of variance of occasions plus error "
    "variance of the two-way analysis; a negative variance of occasions counts as 0; chi-square interval, with "
    "Satterthwaite degrees of freedom where the variance of occasions is above 0 (Weir 2005, J Strength Cond Res "
    "19:231).",
    "standard_error_consistency": "Standard error of measurement, consistency: root of the error mean square of the "
    "two-way analysis, (n - 1)(k - 1) degrees of freedom; chi-square interval (Weir 2005, J Strength Cond Res 19:231).",
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
}
"""Method id to its sentence."""

CAVEATS: dict[str, str] = {
    "perfect_agreement": "No error was seen, so the value has no interval; the error is below the step of the scale.",
    "no_interval_variance": "The interval is not defined for these variances.",
    "occasion_variance_negative": "The estimated variance of occasions was negative and counts as 0.",
    "few_retested": "Fewer than 10 people were retested; the error itself is known only roughly, as its interval "
    "shows.",
}
"""Caveat id to its sentence."""
