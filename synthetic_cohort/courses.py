"""The true value of every outcome at any moment: what no tape and no rater can see."""

from __future__ import annotations

import math
from dataclasses import dataclass

from synthetic_cohort.parameters import number, section
from synthetic_cohort.people import Options, Person
from synthetic_cohort.tables import DAY
from synthetic_cohort.training import Training, risen

WEEK = 7 * DAY


@dataclass(frozen=True)
class Course:
    """One person's true outcomes over time.

    Parameters
    ----------
    medicine_day : int or None
        Day on which antispastic medicine was raised.
    """

    person: Person
    training: Training
    options: Options
    medicine_day: int | None

    def minutes_that_count(self, minute: int) -> float:
        """Return the active minutes that girth answers to, by the truth that was chosen."""
        effect = self.options.dose_effect
        if effect == "none":
            weeks = min(max(minute / WEEK, 0.0), self.options.weeks)
            return number("typical_dose.minutes_per_week") * weeks
        before = self.training.until(minute)
        if effect == "work_kj":
            return math.fsum(s.work_kj for s in before) / number("girth_effect_work.kj_per_minute")
        return math.fsum(s.active_minutes for s in before)

    def sessions_that_count(self, minute: int) -> float:
        """Return the sessions that tone answers to; time alone where dose does nothing."""
        if self.options.dose_effect == "none":
            weeks = min(max(minute / WEEK, 0.0), self.options.weeks)
            return number("typical_dose.sessions_per_week") * weeks
        return len(self.training.until(minute))

    def girth_percent(self, minute: int) -> float:
        """Return the true change of a trained thigh, in percent of its first girth.

        Notes
        -----
        Linear in the minutes that count, or with a ceiling S as S (1 - exp(-linear / S)); after the end of the
        programme a share is kept, falling exponentially to the one stated for 4 weeks.
        """
        gain = self.person.girth_percent * self.minutes_that_count(minute) / 1000
        if self.options.dose_effect == "saturating":
            ceiling = number("girth_effect.saturation_percent")
            gain = ceiling * (1 - math.exp(-gain / ceiling)) if gain > 0 else gain
        after = max(minute / WEEK - self.options.weeks, 0.0)
        return gain * math.exp(math.log(number("girth_effect.kept_after_4_weeks")) * after / 4)

    def girth_cm(self, place: str, side: str, minute: int) -> float:
        """Return the true girth of one limb; both thighs are trained, and the calf follows in part."""
        share = number("girth_effect.calf_share") if place == "calf_max" else 1.0
        return self.person.girth_cm[place, side] * (1 + share * self.girth_percent(minute) / 100)

    def lasting_tone(self, muscle: str, side: str, minute: int) -> float:
        """Return latent tone without hour of the day and without what the last session left."""
        tone = self.person.tone[muscle, side] + self.person.tone_per_20 * self.sessions_that_count(minute) / 20
        if self.medicine_day is not None and minute >= self.medicine_day * DAY:
            tone += number("medicine_change.mas_grades")
        return tone

    def tone(self, muscle: str, side: str, minute: int) -> float:
        """Return latent tone as it is at that moment, in grades."""
        swing = number(f"mas_day.{'cervical' if self.person.cervical else 'other'}_amplitude")
        hour = swing * math.cos(2 * math.pi * (minute % DAY - number("mas_day.peak_clock")) / DAY)
        hours = self.training.hours_since_end(minute)
        acute = number("mas_acute.after_session") * (1 - risen(hours, number("mas_acute.half_life_hours")))
        return self.lasting_tone(muscle, side, minute) + hour + acute

    def recovered_points(self, minute: int) -> float:
        """Return motor points that came back of themselves since enrolment, after a recent injury or stroke.

        Notes
        -----
        R(m) = R_12 (1 - 2^(-m/h)) / (1 - 2^(-12/h)) in months m since onset, flat from the stated end on.
        """
        table, start = section("recovery"), self.person.months_since_onset
        end, half = table["ends_months"], table["half_time_months"]
        if self.person.condition == "multiple_sclerosis" or start >= end:
            return 0.0
        now = min(start + minute / DAY / 30.4375, end)
        curve = risen(now, half) - risen(start, half)
        return float(table["motor_points_first_year"] * curve / risen(12, half))

    def trained_share(self, minute: int) -> float:
        """Return how much of a gain that comes with the programme is there: none at first, all at its end.

        Who waits gains by time alone where the truth is that the dose does nothing, and else nothing.
        """
        if self.person.waits and self.options.dose_effect != "none":
            return 0.0
        half = number("power_gain.half_time_weeks")
        weeks = min(max(minute / WEEK, 0.0), self.options.weeks)
        return risen(weeks, half) / risen(self.options.weeks, half)

    def gait_m_s(self, minute: int) -> float:
        """Return the true comfortable walking speed."""
        gain = self.person.gait_gain * self.trained_share(minute)
        recovered = number("recovery.gait_m_s_per_point") * self.recovered_points(minute)
        return max(self.person.gait_m_s + gain + recovered, number("gait.speed_m_s.low") / 2)

    def scim3(self, minute: int) -> float:
        """Return the true independence, on the scale of the total from 0 to 100."""
        gain = self.person.scim3_gain * self.trained_share(minute)
        recovered = number("recovery.scim3_per_point") * self.recovered_points(minute)
        return min(max(self.person.scim3 + gain + recovered, 0.0), 100.0)

    def life(self, minute: int) -> float:
        """Return the true satisfaction, from 0 to 100."""
        return min(max(self.person.life + self.person.life_gain * self.trained_share(minute), 0.0), 100.0)
