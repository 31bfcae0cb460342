"""Faults planted on purpose, each written into the truth with the grade that it must get."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

from synthetic_cohort.draws import COHORT, FAULTS, stream
from synthetic_cohort.parameters import number
from synthetic_cohort.sheets import Fault, Planter, Sheet
from synthetic_cohort.tables import Row, decimal

Fits = Callable[[Row], bool]
Change = Callable[[Row], str]

CM_PER_INCH = 2.54
THIGH_IN_INCHES_CM = (38.0, 50.0)
"""Thighs whose girth in inches lies below every usual girth in cm, so that the slip can be seen."""


def plant(sheets: dict[str, Sheet], damage: str, seed: int) -> list[Fault]:
    """Plant faults into the tables.

    Parameters
    ----------
    sheets : dict of str to Sheet
        Changed in place.
    damage : {"cells", "all"}
    seed : int

    Returns
    -------
    list of Fault
        Every one of them; a cohort too small for one has fewer.
    """
    planter = Planter(sheets, stream(seed, COHORT, FAULTS))
    _inches(planter)
    _swapped_sides(planter)
    _sessions(planter)
    for kind, grade, table, column, many, fits, change in CELLS:
        for row in planter.pick(table, many, fits):
            planter.set(kind, grade, table, row, column, change(row))
    _foreign_measure(planter)
    if damage == "all":
        _rows_that_stop(planter)
        _columns_that_stop(planter)
    return planter.faults()


# ---- What a row must be like -----------------------------------------------------------------------------------------


def _answer(measure: str, item: str = "", place: str = "") -> Fits:
    """Return a test for rows that answer an item."""

    def fits(row: Row) -> bool:
        return bool(
            row["measure"] == measure and row["response"] and item in ("", row["item"]) and place in ("", row["place"])
        )

    return fits


def _delivered(row: Row) -> bool:
    """Return whether a session took place and its power was kept."""
    return row["status"] == "done" and bool(row["work_kj"])


def _works(row: Row) -> bool:
    """Return whether a session's work is large enough for its unit to show."""
    return _delivered(row) and float(row["work_kj"]) > 6


def _any(row: Row) -> bool:
    return bool(row)


def _during(row: Row) -> bool:
    return row["status"] == "held" and row["visit"] not in ("week0",)


def _fixed(text: str) -> Change:
    return lambda row: text


def _other_day(column: str, days: int) -> Change:
    """Return a change that moves a moment by days."""

    def change(row: Row) -> str:
        day, _, clock = row[column].partition(" ")
        return f"{date.fromisoformat(day) + timedelta(days=days)} {clock}"

    return change


def _no_such_day(row: Row) -> str:
    return row["started_at"][:5] + "02-30" + row["started_at"][10:]


def _wrong_year(row: Row) -> str:
    return str(int(row["started_at"][:4]) - 10) + row["started_at"][4:]


def _times(column: str, factor: float, digits: int = 1) -> Change:
    return lambda row: decimal(float(row[column]) * factor, digits)


CELLS: tuple[tuple[str, str, str, str, int, Fits, Change], ...] = (
    ("impossible_current", "set_aside", "prescriptions", "current_ma", 2, _any, _fixed("1250")),
    ("current_in_microampere", "set_aside", "prescriptions", "current_ma", 1, _any, _times("current_ma", 1000)),
    ("pulse_width_in_ms", "ask", "prescriptions", "pulse_width_us", 1, _any, _times("pulse_width_us", 0.001, 3)),
    ("mas_typo", "set_aside", "assessments", "response", 2, _answer("mas"), _fixed("1++")),
    ("mas_typo", "set_aside", "assessments", "response", 1, _answer("mas"), _fixed("2+")),
    ("date_for_grade", "set_aside", "assessments", "response", 1, _answer("mas"), _fixed("01-Feb")),
    ("date_for_grade", "set_aside", "assessments", "response", 1, _answer("psfs", "frequency"), _fixed("2-Jan")),
    ("decimal_comma", "set_aside", "assessments", "response", 1, _answer("limb_girth"), _fixed("41,5")),
    ("point_lost", "set_aside", "assessments", "response", 1, _answer("limb_girth"), _times("response", 10)),
    ("missing_as_999", "set_aside", "assessments", "response", 1, _answer("limb_girth"), _fixed("999")),
    ("unit_in_cell", "set_aside", "assessments", "response", 1, _answer("limb_girth"), _fixed("40 cm")),
    ("unusual_girth", "ask", "assessments", "response", 1, _answer("limb_girth", place="mid_thigh"), _fixed("88")),
    ("illegal_code", "set_aside", "assessments", "response", 1, _answer("scim3", "bladder"), _fixed("12")),
    ("illegal_code", "set_aside", "assessments", "response", 1, _answer("swls"), _fixed("8")),
    ("error_cell", "set_aside", "assessments", "response", 1, _answer("swls"), _fixed("#REF!")),
    ("unable_as_0", "set_aside", "assessments", "response", 1, _answer("tenmwt", "time"), _fixed("0")),
    ("unknown_side", "set_aside", "assessments", "side", 1, _answer("limb_girth"), _fixed("L")),
    ("unknown_visit", "set_aside", "assessments", "visit", 1, _answer("mas"), _fixed("wk 4")),
    ("metres_for_cm", "set_aside", "participants", "height_cm", 1, _any, _times("height_cm", 0.01, 2)),
    ("visit_far_away", "ask", "visits", "visited_at", 1, _during, _other_day("visited_at", 35)),
    ("date_typo", "set_aside", "sessions", "started_at", 2, _delivered, _no_such_day),
    ("date_typo", "ask", "sessions", "started_at", 2, _delivered, _wrong_year),
    ("seconds_for_minutes", "set_aside", "sessions", "active_minutes", 1, _delivered, _times("active_minutes", 60)),
    ("active_over_total", "set_aside", "sessions", "active_minutes", 1, _delivered, _times("total_minutes", 1.2)),
    ("impossible_heart_rate", "set_aside", "sessions", "mean_heart_rate_bpm", 1, _delivered, _fixed("0")),
    ("impossible_effort", "set_aside", "sessions", "rpe", 1, _delivered, _fixed("11")),
    ("unknown_status", "set_aside", "sessions", "status", 1, _delivered, _fixed("compl")),
    ("unusual_cadence", "ask", "sessions", "mean_cadence_rpm", 1, _delivered, _fixed("78")),
    ("power_without_cadence", "ask", "sessions", "mean_cadence_rpm", 1, _delivered, _fixed("0")),
    ("work_in_kcal", "ask", "sessions", "work_kj", 1, _works, _times("work_kj", 1 / 4.184)),
)
"""Faults of single cells: kind, grade, table, column, how many, which rows, and what is written."""


WRONG_IDS: tuple[tuple[str, str, Callable[[str], str]], ...] = (
    ("unknown_participant", "sessions", lambda name: "Q" + name[1:]),
    ("id_in_other_case", "visits", str.lower),
    ("invisible_sign_in_id", "prescriptions", lambda name: f"{name[:2]}\u200b{name[2:]}"),
)
"""Faults of identifiers: kind, table, and what becomes of the id."""


# ---- Faults of more than one cell ------------------------------------------------------------------------------------


def _limb(row: Row) -> tuple[str, ...]:
    return tuple(row[column] for column in ("participant_id", "visit", "measure", "place", "side"))


def _thighs(planter: Planter) -> dict[tuple[str, ...], list[Row]]:
    """Return the readings of each thigh at each visit."""
    fits = _answer("limb_girth", place="mid_thigh")
    limbs: dict[tuple[str, ...], list[Row]] = {}
    for row in planter.sheets["assessments"].rows:
        if fits(row):
            limbs.setdefault(_limb(row), []).append(row)
    return limbs


def _first_reading(limbs: dict[tuple[str, ...], list[Row]], fits: Fits) -> Fits:
    """Return a test for the first reading of a thigh whose readings all fit."""
    first = {id(rows[0]) for rows in limbs.values() if all(fits(row) for row in rows)}
    return lambda row: id(row) in first


def _inches(planter: Planter) -> None:
    """Give all readings of some thighs in inches."""
    low, high = THIGH_IN_INCHES_CM
    limbs = _thighs(planter)
    fits = _first_reading(limbs, lambda row: low <= float(row["response"]) <= high)
    for first in planter.pick("assessments", int(number("faults.unit_swap")), fits):
        for row in limbs[_limb(first)]:
            inches = decimal(float(row["response"]) / CM_PER_INCH)
            planter.set("unit_swap", "ask", "assessments", row, "response", inches)
        planter.reserve(limbs[_limb(first)])


def _swapped_sides(planter: Planter) -> None:
    """Swap the readings of left and right: no cell of it is wrong in itself, so none can be found."""
    limbs = _thighs(planter)
    pairs = {
        id(rows[0]): (rows, limbs[*limb[:-1], "right"])
        for limb, rows in limbs.items()
        if limb[-1] == "left" and not any(map(planter.is_damaged, [*rows, *limbs.get((*limb[:-1], "right"), rows)]))
        if (*limb[:-1], "right") in limbs
    }
    for first in planter.pick("assessments", int(number("faults.left_right_swap")), lambda row: id(row) in pairs):
        for left, right in zip(*pairs[id(first)], strict=False):
            texts = left["response"], right["response"]
            for row, text in ((left, texts[1]), (right, texts[0])):
                planter.set("left_right_swap", None, "assessments", row, "response", text)
        planter.reserve([row for rows in pairs[id(first)] for row in rows])


def _sessions(planter: Planter) -> None:
    """Write some sessions twice, one at the moment of another, and one after leaving."""
    for row in planter.pick("sessions", int(number("faults.duplicate_session")), _delivered):
        again = dict(row)
        planter.insert("sessions", again, after=row)
        planter.note("duplicate_session", "duplicate", "sessions", "session_id", again, also=row)
    first: dict[str, Row] = {}
    for row in filter(_delivered, planter.sheets["sessions"].rows):
        first.setdefault(row["participant_id"], row)
    for row in planter.pick("sessions", 1, lambda row: _delivered(row) and row is not first[row["participant_id"]]):
        other = first[row["participant_id"]]
        planter.reserve([other])
        planter.set("two_at_once", "ask", "sessions", row, "started_at", other["started_at"], also=other)
    left = {row["participant_id"]: row["left_on"] for row in planter.sheets["participants"].rows if row["left_on"]}
    for row in planter.pick("sessions", 1, lambda row: _delivered(row) and row["participant_id"] in left):
        day = date.fromisoformat(left[row["participant_id"]]) + timedelta(days=9)
        planter.set("session_after_leaving", "ask", "sessions", row, "started_at", f"{day} {row['started_at'][11:]}")


def _foreign_measure(planter: Planter) -> None:
    """Add an answer to a measure that the protocol does not name."""
    for row in planter.pick("assessments", 1, _answer("psfs", "frequency")):
        extra = row | {"measure": "sixmwt", "item": "distance", "response": "210"}
        planter.insert("assessments", extra, after=row)
        planter.note("measure_not_planned", "set_aside", "assessments", "measure", extra, found="sixmwt")


# ---- Faults that stop the run ----------------------------------------------------------------------------------------


def _rows_that_stop(planter: Planter) -> None:
    """Two values for one key, and people who are not there."""
    for row in planter.pick("assessments", 1, _answer("mas")):
        _second_value(planter, "assessments", row, "response", "2" if row["response"] != "2" else "3")
    for row in planter.pick("participants", 1, _any):
        _second_value(planter, "participants", row, "age_years", str(int(row["age_years"]) + 1))
    totals = {"participant_id": "Mean", "age_years": "46.2"}
    planter.insert("participants", totals, after=None)
    planter.note("totals_row", "block", "participants", "participant_id", totals, found="Mean")
    for kind, table, change in WRONG_IDS:
        for row in planter.pick(table, 1, _any):
            planter.set(kind, "block", table, row, "participant_id", change(row["participant_id"]))


def _second_value(planter: Planter, table: str, row: Row, column: str, text: str) -> None:
    """Write a row once more with another value under the same key."""
    again = row | {column: text}
    planter.insert(table, again, after=row)
    planter.note("two_values", "block", table, column, again, also=row, found=text, was=row[column])


def _columns_that_stop(planter: Planter) -> None:
    """Headings that are not known or stand twice, and columns that can be read in two ways."""
    events, repeats = planter.sheets["events"], planter.sheets["repeats"]
    events.headings[events.columns.index("kind")] = "kinds"
    planter.note("near_heading", "block", "events", "kinds", header=True, found="kinds", was="kind")
    repeats.columns += ("rater",)
    repeats.headings.append("rater")
    planter.note("heading_twice", "block", "repeats", "rater", header=True, found="rater")
    people = planter.sheets["participants"].rows
    for row in people:
        row["body_mass_kg"] = row.get("body_mass_kg", "").replace(".", ",")
    planter.note("decimal_comma_throughout", "block", "participants", "body_mass_kg")
    changes = planter.sheets["changes"].rows
    for row in changes:
        day = date.fromisoformat(row["changed_on"])
        row["changed_on"] = f"{(day.day - 1) % 12 + 1:02d}/{day.month:02d}/{day.year}"
    if changes:
        planter.note("day_and_month_in_doubt", "block", "changes", "changed_on", found=changes[0]["changed_on"])
