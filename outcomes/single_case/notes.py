"""The printed sentence of each method and caveat of this room."""

from __future__ import annotations

METHODS: dict[str, str] = {
    "nap": "Non-overlap of all pairs: share of the pairs of a value of each phase in which that of the second is the "
    "better one, ties counting a half (Parker & Vannest 2009, Behav Ther 40:357); interval by method 5 of Newcombe "
    "(2006, Stat Med 25:559).",
    "phase_tau": "Tau, A against B: pairs in which the value of the second phase is better less those in which it is "
    "worse, over all pairs of both phases; twice the non-overlap of all pairs less 1 (Parker et al. 2011, Behav Ther "
    "42:284); so is its interval.",
    "pnd": "Percentage of non-overlapping data: share of the values of the second phase that are better than the best "
    "of the first (Scruggs et al. 1987, Remedial Spec Educ 8(2):24).",
    "tau_u_parker": "Tau-U, A against B less the trend of A, over the pairs of both phases (m n); can pass 1 (Parker "
    "et al. 2011, Behav Ther 42:284).",
    "tau_u_pairs": "Tau-U, A against B less the trend of A, over the pairs that are counted: those of both phases and "
    "those within A (divisor m n + m (m - 1)/2).",
    "tau_u_whole": "Tau-U, A against B plus the trend of B less the trend of A, over all pairs of the series (Parker "
    "et al. 2011, Behav Ther 42:284).",
    "phase_difference": "Mean of the second phase less mean of the first; of several people the mean over them; p is "
    "the share of all starts that the lot could have drawn with a difference at least as good (Edgington & Onghena "
    "2007, Randomization Tests).",
}
"""Method id to its sentence."""

CAVEATS: dict[str, str] = {
    "values_follow": "Values of one person that follow each other are alike; the interval takes them as independent "
    "and is too short then.",
    "lot_cannot_reach": "The lot had so few starts to draw from that no p below 5 % could have been reached.",
}
"""Caveat id to its sentence."""
