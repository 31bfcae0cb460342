"""The sentences that reports print beside a dose: one per rule of counting, and one per caveat."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from protocols import Protocol

METHODS: dict[str, str] = {
    "dose_delivered": (
        "Sessions marked done or shortened are delivered; missed and cancelled sessions are planned but not delivered. "
        "Sessions of every mode and setting count."
    ),
    "dose_from_sessions": "Minutes and work of a session are those written in the sessions table.",
    "dose_from_traces": (
        "Minutes and work of a session are those of its trace. A sample holds until the next one, at most for the "
        "stated gap, beyond which the time counts as unrecorded; active time has the rider's power above 0 W with "
        "stimulation on where its current is recorded; the motor's negative work stands apart; a session without a "
        "trace has no value."
    ),
    "trace_recorded_work": (
        "Recorded work: the sum over active samples of power times the time that the sample holds, at most the gap."
    ),
    "trace_trapezoid_work": (
        "Trapezoid work: the sum over active steps, none longer than the gap, of the mean power of both ends times the "
        "step."
    ),
    "dose_counts_for_visit": (
        "A session counts for a visit when it lies on an earlier day, or on the same day when the clock times of both "
        "are known and the session is earlier."
    ),
    "dose_active_minutes": (
        "Active minutes are minutes with stimulation on and net positive power, as recorded. Motor-driven (passive) "
        "minutes, ramp and cool-down never count, total minutes are never used in their place, and voluntary minutes "
        "are summed apart."
    ),
    "dose_known_sums": (
        "Sums are over the sessions whose value is recorded; the number of delivered sessions without one stands "
        "beside. Where no delivered session has a value there is no sum."
    ),
    "dose_planned_sessions": (
        "Planned sessions accrue evenly, one seventh of the week's sessions a day, from the day of enrolment, and are "
        "counted to the nearest whole session (a half counts up): 3 a week fall on its 2nd, 4th and 6th day, and a "
        "full week holds exactly 3. "
        "A prescription overrides the training protocol from its first day to its last."
    ),
    "dose_matching": (
        "Within each programme week the sessions on record, in order of time, stand for the planned ones: a planned "
        "session that has a row falls on the day of that row, one without a row counts as missed (not recorded) on its "
        "day in the even spread, and rows beyond the plan are delivered or missed without being planned."
    ),
    "dose_planned_minutes": (
        "Planned active minutes are those written at the session; else those of the prescription in force; else those "
        "of the training protocol for that programme week, the last of which repeats."
    ),
    "dose_planned_work": (
        "Work is planned only where a prescription names it; unless it does for every session planned so far, planned "
        "work is 'not planned', never 0 and never a part of the sum. The same holds for planned active minutes."
    ),
    "dose_charge": (
        "The charge of a session is that of the stimulating phase, over all channels and segments on record: current x "
        "pulse width x frequency x duty x time. A session with a channel of which a setting is missing has no value; "
        "no setting is assumed. Charge is not planned, for no prescription names a duty."
    ),
    "dose_planned_until_withdrawal": (
        "A person is planned for on every day before withdrawal, and not beyond the end of the programme."
    ),
    "dose_planned_until_programme_end": (
        "A person is planned for until the end of the programme, whether or not the person left before."
    ),
    "dose_rate": (
        "A dose rate is the dose divided by the weeks (days / 7) from the baseline visit to the visit, or by the weeks "
        "of the window where the dose is summed over a window; where these are not above 0 there is no rate."
    ),
    "dose_to_visit": "The dose at a visit is the sum over all sessions that count for it.",
    "dose_since_last_visit": (
        "The dose at a visit is the sum over the sessions that count for it and not for the visit held before it."
    ),
    "dose_recent": "The dose at a visit is the sum over the sessions of the last days before it, as many as stated.",
    "dose_lag": "The sum, and the weeks that a rate is taken over, stop the stated number of days before the visit.",
    "hours_since_last_session": (
        "Hours run from the start of the last delivered session to the visit, by the local clock, and are given only "
        "where both clock times are known."
    ),
    "mean_of_ratios": (
        "Relative dose intensity, mean of ratios: delivered / planned of each person, averaged over people, each "
        "person counting the same."
    ),
    "ratio_of_sums": (
        "Relative dose intensity, ratio of sums: everything delivered / everything planned over all people, longer "
        "programmes counting more."
    ),
    "attendance": "Attendance is sessions delivered / sessions planned; extra sessions can lift it above 1.",
    "missed_runs": (
        "A missed run is 1 or 2 planned sessions in a row that were not delivered, an interruption 3 or more; a "
        "session whose state is not on record is left out of the row."
    ),
    "dose_reduced": ("A dose-reduced session was attended with more than 0 but less than the planned active minutes."),
    "early_stops": "An early stop is a session marked shortened.",
    "guideline_weeks": (
        "Weeks that met a published exercise guideline (Martin Ginis et al. 2018): weeks of the programme, until the "
        "person left, with at least so many delivered sessions of at least so many active minutes, over all such "
        "weeks of everybody. Minutes alone are compared; whether the effort was moderate to vigorous is not on record."
    ),
    "trace_sum": "Sum over the recorded sessions in which it is known.",
    "trace_median": "Median of the recorded sessions in which it is known, beside it the quartiles.",
    "trace_motor_work": "Motor work: the sum of negative power times the time that the sample holds, as a size.",
    "trace_fatigue_index": (
        "Fatigue index: mean power of the last active minute over that of the first, in sessions of at least three "
        "active minutes; 1 where nothing fell."
    ),
    "trace_asymmetry": (
        "Asymmetry: the formula stands beside each index; the median of the recorded sessions in which both sides "
        "are known. A single day's value says little: at least three sessions of a person should be averaged."
    ),
    "load_mechanical": (
        "Mechanical energy: work / 4.184, what the crank received and not what the body spent; mean over the delivered "
        "sessions in which it is known."
    ),
    "load_metabolic": (
        "Metabolic energy: mechanical energy over the gross efficiency that the protocol assumes; it was not measured, "
        "and doubles where the efficiency is half. Mean over the delivered sessions in which it is known."
    ),
    "load_session_rpe": (
        "Session-RPE load: exertion of the whole session times total minutes; loads of the two scales cannot be "
        "compared, and without feeling below the lesion the effort of stimulated muscles may not be perceived. Mean "
        "over the delivered sessions in which it is known."
    ),
    "load_heart_rate": (
        "Heart-rate load: total minutes x r x a exp(b r), r = (mean - rest) / (peak - rest) of the heart rate, a and b "
        "= 0.64 and 1.92 (male), 0.86 and 1.67 (female), from memory. Rest and peak are the person's last ones tested "
        "on or before the day of the session; the peak was measured, never predicted from age: at or above T6 it lies "
        "far below any prediction. Mean over the delivered sessions in which it is known."
    ),
    "load_met_standard": (
        "Standard MET-minutes: oxygen uptake of the active minutes / 3.5 mL/kg/min, times active minutes. Mean over "
        "the delivered sessions in which it is known."
    ),
    "load_met_sci": (
        "SCI MET-minutes: oxygen uptake of the active minutes / 2.7 mL/kg/min (Collins et al. 2010, Med Sci Sports "
        "Exerc 42:691), times active minutes; 1.296 times as many as the standard ones, and never mixed with them. "
        "Mean over the delivered sessions in which it is known."
    ),
    "discontinued": "A person discontinued when the day of leaving lies before the end of the programme.",
}
"""Id of a method to the sentence that reports print."""

CAVEATS: dict[str, str] = {
    "dose_lower_bound": "A lower bound: some delivered sessions have no recorded value.",
    "sessions_without_day": "Sessions without a readable day are counted for no visit and no week.",
    "sessions_without_status": "Sessions whose state is not on record are neither delivered nor missed.",
    "two_intensities": (
        "The mean of ratios and the ratio of sums differ whenever people planned different amounts; both are given."
    ),
    "charge_follows_tolerance": (
        "Charge rises as a person tolerates more current; it is partly a mark of the person, not only a dose."
    ),
    "work_is_partly_outcome": "Work rises because a person grows stronger; it is partly an outcome, not only a dose.",
}
"""Id of a caveat to the sentence that reports print."""

SOURCES: dict[str, str] = {
    "relative_dose_intensity": (
        "Nilsen et al. 2018, Med Sci Sports Exerc 50:1134; Fairman et al. 2020 (definitions of relative dose "
        "intensity, missed and interrupted exercise)"
    ),
}
"""Publications behind the definitions."""


def rules(protocol: Protocol) -> dict[str, str]:
    """Return the rules of counting that hold under a protocol, id to sentence, in the order of the method note.

    Parameters
    ----------
    protocol : Protocol
        Its `dose` chooses the window, the lag and how long a person is planned for.
    """
    dose = protocol.dose
    window = "to visit" if dose is None else dose.cumulate
    until = "withdrawal" if dose is None else dose.planned_until
    chosen = [
        f"dose_from_{'sessions' if dose is None else dose.source}",
        *("dose_delivered", "dose_counts_for_visit", "dose_active_minutes", "dose_known_sums"),
        *("dose_planned_sessions", "dose_matching", "dose_planned_minutes", "dose_planned_work"),
        "dose_charge",
        f"dose_planned_until_{until.replace(' ', '_')}",
        f"dose_{window.replace(' ', '_')}",
        "dose_rate",
        *(("dose_lag",) if dose is not None and dose.lag_days else ()),
        "hours_since_last_session",
    ]
    return {name: METHODS[name] for name in chosen}
