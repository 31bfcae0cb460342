"""Exercises for a class: invented data, a question, and an answer that the software works out again to check yours.

No answer is written down anywhere: each is computed from the printed data, by functions that records are made with.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from outcomes.errors import UsageError
from outcomes.reports import format as fmt
from outcomes.reports.tables import Table

SEED = 20260105
"""Of the invented data, so that a class works on the same ones."""

Answer = float | str


@dataclass(frozen=True)
class Exercise:
    """One exercise.

    Parameters
    ----------
    key : str
        Its name in the notebook's parameters: ``answer_<key>``.
    title : str
    task : tuple of str
        What to do, in sentences.
    data : Table
        Invented.
    solve : callable
        Works the answer out from the data.
    tolerance : float
        How far a number may be off; numbers are asked for to the digit that this is half of.
    lesson : str
        Shown once the answer is right.
    """

    key: str
    title: str
    task: tuple[str, ...]
    data: Table
    solve: Callable[[], Answer]
    tolerance: float
    lesson: str

    def check(self, answer: str) -> str:
        """Return whether an answer is right, without giving the right one away.

        Raises
        ------
        UsageError
            A number is asked for and the answer is none.
        """
        text = answer.strip().replace(fmt.MINUS, "-")
        if not text:
            return f"Not answered yet: set answer_{self.key}."
        right = self.solve()
        if isinstance(right, str):
            good = text.casefold() == right.casefold()
        else:
            good = abs(_number(text, self.key) - right) <= self.tolerance * (1 + 1e-9)
        shown = fmt.clean(answer, 60)
        return f"{shown} is right. {self.lesson}" if good else f"{shown} is not right yet. Look at the task again."


def _number(text: str, key: str) -> float:
    if not re.fullmatch(r"[+-]?\d+(?:\.\d+)?", text):
        raise UsageError(f"answer_{key}: found '{fmt.clean(text, 40)}', expected a number such as 12.3")
    return float(text)


@cache
def exercises() -> dict[str, Exercise]:
    """Return the exercises by key."""
    return {e.key: e for e in (_work(), _swap(), _limbs(), _time())}


# ----------------------------------------------------------------------------------------- the work of one session

BLOCKS = (("passive", 2.0, 0.0), ("ramp", 1.0, 4.5), ("active", 6.0, 9.2), ("active", 8.0, 11.6), ("active", 5.0, 8.4),
          ("cool-down", 2.0, 0.0))  # fmt: skip


def _work() -> Exercise:
    lines = [(str(i), phase, fmt.number(minutes, 1), fmt.number(power, 1))
             for i, (phase, minutes, power) in enumerate(BLOCKS, start=1)]  # fmt: skip
    table = Table.build("One invented session", ("Block", "Phase", "Minutes", "Mean power, W"), lines, left=(1,))
    task = (
        "Work is power times time: a watt for a second is a joule.",
        "Only the active phase counts. How much work was done in it, in kJ, to one decimal?",
    )
    lesson = "Passive minutes, the ramp and the cool-down are no work of the muscles that the programme trains."
    return Exercise("work", "The work of one session, by hand", task, table, _solve_work, 0.05, lesson)


def _solve_work() -> float:
    from outcomes.dose import work_from_mean_power

    return sum(work_from_mean_power(power, minutes * 60) for phase, minutes, power in BLOCKS if phase == "active")


# --------------------------------------------------------------------------------------------------- a swapped unit


@cache
def _girths() -> tuple[tuple[str, float, float], ...]:
    """Return id, first and second girth of twelve invented people, one second value in inches."""
    from outcomes.units import conversion_factor

    draw = random.Random(SEED)
    rows = []
    for i in range(12):
        first = draw.gauss(47.0, 9.0)
        rows.append((f"A{i + 1:02d}", round(first, 1), round(first + draw.gauss(0.8, 0.9), 1)))
    tall = max(range(12), key=lambda i: rows[i][1])
    who, first, second = rows[tall]
    rows[tall] = (who, first, round(second * conversion_factor("cm", "in"), 1))
    return tuple(rows)


def _swap() -> Exercise:
    lines = [(who, fmt.number(a, 1), fmt.number(b, 1)) for who, a, b in _girths()]
    table = Table.build("Thigh girth of invented people, cm", ("Person", "Week 0", "Week 16"), lines)
    task = (
        "One of the second values was measured in inches and typed as centimetres. An inch is 2.54 cm.",
        "It lies within the range of a thigh, so no limit finds it. Whose is it?",
    )
    lesson = "A value can be possible and still be wrong: what gives it away is the same person's other value."
    return Exercise("swap", "A unit that was swapped", task, table, _solve_swap, 0.0, lesson)


def _solve_swap() -> str:
    from outcomes.units import conversion_factor

    inch = conversion_factor("in", "cm")
    return max(_girths(), key=lambda row: abs(row[2] - row[1]) - abs(row[2] * inch - row[1]))[0]


# --------------------------------------------------------------------------------------------- limbs are not people


@cache
def _legs() -> tuple[tuple[str, float, float], ...]:
    """Return id and change of the left and of the right thigh of ten invented people; two legs of one are alike."""
    draw = random.Random(SEED + 1)
    rows = []
    for i in range(10):
        own = draw.gauss(1.0, 1.3)
        rows.append((f"B{i + 1:02d}", round(own + draw.gauss(0.0, 0.3), 1), round(own + draw.gauss(0.0, 0.3), 1)))
    return tuple(rows)


def _limbs() -> Exercise:
    lines = [(who, fmt.number(a, 1), fmt.number(b, 1)) for who, a, b in _legs()]
    table = Table.build("Change of thigh girth of invented people, cm", ("Person", "Left", "Right"), lines)
    task = (
        "Work out the 95% interval of the mean change twice: once with all twenty thighs as if they were twenty "
        "people, once with the mean of both thighs of each person.",
        "How many times as wide is the second interval as the first, to two decimals?",
    )
    lesson = "Two legs of one person go together: counting them as two people makes the study look surer than it is."
    return Exercise("limbs", "Two legs are not two people", task, table, _solve_limbs, 0.005, lesson)


def _solve_limbs() -> float:
    from outcomes.intervals import t_interval

    every = t_interval([value for _, left, right in _legs() for value in (left, right)])
    people = t_interval([(left + right) / 2 for _, left, right in _legs()])
    return (people.high - people.low) / (every.high - every.low)


# --------------------------------------------------------------------------------------------- dose hides behind time


@cache
def _weeks() -> tuple[tuple[str, int, int, float], ...]:
    """Return id, week, minutes so far and girth: all train alike, so minutes and weeks can hardly be told apart."""
    draw = random.Random(SEED + 2)
    rows = []
    for i in range(6):
        base, pace, minutes = draw.gauss(46.0, 3.0), draw.gauss(0.11, 0.02), 0
        for week in (0, 4, 8, 12, 16):
            minutes += draw.randint(180, 480) if week else 0
            rows.append((f"C{i + 1:02d}", week, minutes, round(base + pace * week + draw.gauss(0.0, 0.2), 1)))
    return tuple(rows)


def _time() -> Exercise:
    lines = [(who, str(week), fmt.number(minutes), fmt.number(girth, 1)) for who, week, minutes, girth in _weeks()]
    columns = ("Person", "Week", "Active minutes so far", "Thigh girth, cm")
    table = Table.build("Invented people over the weeks", columns, lines)
    task = (
        "Girth rises with the minutes so far. It also rises with the weeks, and the minutes rise with the weeks.",
        "Take each person's own mean off weeks and minutes. What is the correlation of the two, to three decimals?",
    )
    lesson = (
        "Where everybody trains at the same pace, minutes and weeks are one and the same. No analysis of these rows "
        "can tell whether girth goes with training or with time."
    )
    return Exercise("time", "Dose hides behind time", task, table, _solve_time, 0.0005, lesson)


def _solve_time() -> float:
    from outcomes.dose_response import dose_time_collinearity

    who, weeks, minutes, _ = zip(*_weeks(), strict=True)
    found = dose_time_collinearity(who, [float(w) for w in weeks], [float(m) for m in minutes])
    return float(found.within_person_r.value or 0.0)
