"""A study folder read with the csv module: outcomes and dose of each person, by rules written out here."""

from __future__ import annotations

import csv
import datetime as dt
import math
import statistics
import tomllib
from collections import defaultdict
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import Any

BEFORE, AFTER = "week0", "week16"
GIRTHS = ("mid_thigh", "calf_max")
GRADES = ("0", "1", "1+", "2", "3", "4")

Values = dict[tuple[str, str], float]


class Recomputed:
    """The study folder read with the csv module, and what follows from it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.protocol = tomllib.loads((folder / "protocol.toml").read_text(encoding="utf-8"))
        self.people = {row["participant_id"]: row for row in self.rows("participants")}
        self.enrolled = {n: dt.date.fromisoformat(row["enrolled_on"]) for n, row in self.people.items()}

    def rows(self, table: str) -> list[dict[str, str]]:
        with (self.folder / f"{table}.csv").open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    def answers(self, table: str, measure: str, place: str = "") -> dict[tuple[str, str], list[dict[str, str]]]:
        """Rows of one measure and place, by person and visit or occasion."""
        found: dict[tuple[str, str], list[dict[str, str]]] = defaultdict(list)
        for row in self.rows(table):
            if row["measure"] == measure and row["place"] == place:
                found[row["participant_id"], row.get("visit") or row["occasion"]].append(row)
        return found

    # ------------------------------------------------------------------------------------------------ outcomes

    def girth(self, place: str, table: str = "assessments") -> dict[tuple[str, str], Fraction]:
        """Mean of both limbs; of three readings more than 1 cm apart the median, else their mean (common practice)."""
        found = {}
        for key, rows in self.answers(table, "limb_girth", place).items():
            read: dict[str, list[Fraction]] = defaultdict(list)
            for row in rows:
                if row["response"]:
                    read[row["side"]].append(Fraction(row["response"]))
            limbs = [
                sorted(r)[1] if len(r) == 3 and max(r) - min(r) > 1 else sum(r, Fraction(0)) / len(r)
                for r in read.values()
            ]
            if len(limbs) == 2:
                found[key] = sum(limbs, Fraction(0)) / 2
        return found

    def speed(self, table: str = "assessments") -> Values:
        """Mean of the walks' speeds, 10 m where no distance stands; 0 where the person cannot walk (from memory)."""
        found = {}
        for key, rows in self.answers(table, "tenmwt").items():
            metres = next((float(r["response"]) for r in rows if r["item"] == "distance_timed"), 10.0)
            walks = [r for r in rows if r["item"] == "time"]
            speeds = [metres / float(r["response"]) for r in walks if r["response"]]
            if any(r["absent_because"] == "unable" for r in walks):
                speeds = speeds or [0.0]
            if speeds:
                found[key] = statistics.fmean(speeds)
        return found

    def tone(self, place: str) -> Values:
        """Rank of the grade on the worse side; both sides are needed."""
        found = {}
        for key, rows in self.answers("assessments", "mas", place).items():
            ranks = [float(GRADES.index(r["response"])) for r in rows if r["response"]]
            if len(ranks) == 2:
                found[key] = max(ranks)
        return found

    def total(self, measure: str, items: int) -> Values:
        """Sum of all items; none where one is missing (no rule is published: common practice)."""
        found = {}
        for key, rows in self.answers("assessments", measure).items():
            values = [float(r["response"]) for r in rows if r["response"]]
            if len(values) == items:
                found[key] = sum(values)
        return found

    def average(self, measure: str, items: int, table: str = "assessments") -> Values:
        """Mean of all of the first items; none where one is missing."""
        found = {}
        for key, rows in self.answers(table, measure).items():
            values = [float(r["response"]) for r in rows[:items] if r["response"]]
            if len(values) == items:
                found[key] = math.fsum(values) / items
        return found

    def one(self, measure: str, item: str) -> Values:
        """Answer to one item."""
        return {
            key: float(row["response"])
            for key, rows in self.answers("assessments", measure).items()
            for row in rows
            if row["item"] == item and row["response"]
        }

    @cached_property
    def battery(self) -> dict[str, Values]:
        """Pain, fatigue, bladder, bowel, daily life and quality of life."""
        return {
            "pain_nrs.pain_average_7d/-": self.one("pain_nrs", "pain_average_7d"),
            "fss.mean/-": self.average("fss", 9),
            "bladder.leaks_per_day/-": self.one("bladder", "leaks_per_day"),
            "nbd.satisfaction/-": self.one("nbd", "satisfaction"),
            "barthel.total_100/-": self.total("barthel", 10),
            "qol_bds.total3/-": self.average("qol_bds", 3),
        }

    @cached_property
    def outcomes(self) -> dict[str, dict[tuple[str, str], Any]]:
        """Values by person and visit of every outcome of the protocol, by its part of the key."""
        found: dict[str, Any] = {f"limb_girth.girth/{place}.mean": self.girth(place) for place in GIRTHS}
        found |= {f"mas.rank/{p}.worse": self.tone(p) for p in ("knee_extensors", "knee_flexors")}
        found |= {"tenmwt.speed/-": self.speed(), "psfs.frequency/-": self.one("psfs", "frequency")}
        found |= {"scim3.total/-": self.total("scim3", 19), "swls.total/-": self.total("swls", 5)}
        return found | self.battery

    def pairs(self, name: str) -> dict[str, tuple[Any, Any]]:
        values = self.outcomes[name]
        both = sorted(n for n in self.people if (n, BEFORE) in values and (n, AFTER) in values)
        return {n: (values[n, BEFORE], values[n, AFTER]) for n in both}

    # ------------------------------------------------------------------------------------------------ dose

    def moment(self, person: str, text: str) -> tuple[int, float]:
        """Days since enrolment, and minutes after midnight."""
        at = dt.datetime.fromisoformat(text)
        return (at.date() - self.enrolled[person]).days, at.hour * 60.0 + at.minute

    @cached_property
    def visits(self) -> dict[tuple[str, str], tuple[int, float]]:
        held = [r for r in self.rows("visits") if r["status"] == "held"]
        return {(r["participant_id"], r["visit"]): self.moment(r["participant_id"], r["visited_at"]) for r in held}

    def left(self, person: str) -> float:
        text = self.people[person]["left_on"]
        return (dt.date.fromisoformat(text) - self.enrolled[person]).days if text else math.inf

    def timetable(self, person: str) -> list[tuple[int, float, float]]:
        """Day, minutes and work of each planned session: floor(sum of sessions a week / 7 + 1/2) grows on it."""
        training = self.protocol["training"]
        prescribed = [r for r in self.prescriptions if r["participant_id"] == person]
        planned, done, sum_of_days = [], 0, Fraction(0)
        for day in range(int(min(7 * training["weeks"], self.left(person)))):
            date = (self.enrolled[person] + dt.timedelta(days=day)).isoformat()
            rule = next((r for r in prescribed if r["from_on"] <= date <= r["to_on"]), {})
            sum_of_days += Fraction(rule.get("sessions_per_week") or str(training["sessions_per_week"])) / 7
            minutes = training["active_minutes"][min(day // 7, len(training["active_minutes"]) - 1)]
            minutes = float(rule.get("active_minutes") or minutes)
            for _ in range(math.floor(sum_of_days + Fraction(1, 2)) - done):
                planned.append((day, minutes, float(rule.get("work_kj") or math.nan)))
            done = math.floor(sum_of_days + Fraction(1, 2))
        return planned

    @cached_property
    def prescriptions(self) -> list[dict[str, str]]:
        return self.rows("prescriptions")

    @cached_property
    def sessions(self) -> dict[str, list[tuple[tuple[int, float], dict[str, str]]]]:
        found: dict[str, Any] = {person: [] for person in self.people}
        for row in self.rows("sessions"):
            found[row["participant_id"]].append((self.moment(row["participant_id"], row["started_at"]), row))
        return {person: sorted(rows, key=lambda r: r[0]) for person, rows in found.items()}

    @cached_property
    def planned(self) -> dict[str, list[tuple[tuple[int, float], float, float]]]:
        """When each planned session falls (that of the row that stands for it in its week), with minutes and work."""
        found = {}
        for person in self.people:
            by_week: dict[int, list[Any]] = defaultdict(list)
            for at, row in self.sessions[person]:
                by_week[at[0] // 7].append((at, row))
            items: list[Any] = []
            rank: dict[int, int] = defaultdict(int)
            for day, minutes, work in self.timetable(person):
                rows, place = by_week[day // 7], rank[day // 7]
                rank[day // 7] += 1
                at, row = rows[place] if place < len(rows) else ((day, math.inf), {})
                items.append((at, float(row.get("planned_minutes") or minutes), work))
            found[person] = items
        return found

    def dose(self, visit: str) -> dict[str, dict[str, float]]:
        """Planned and delivered up to a visit, of everybody seen at it: an earlier day, or earlier the same day."""
        found = {}
        for person in sorted(self.people):
            if (person, visit) not in self.visits:
                continue
            seen = self.visits[person, visit]
            done = [(at, r) for at, r in self.sessions[person] if r["status"] in ("done", "shortened") and at < seen]
            plan = [item for item in self.planned[person] if item[0] < seen]
            weeks = (seen[0] - self.visits.get((person, BEFORE), (math.nan, math.nan))[0]) / 7
            one: dict[str, float] = {"planned_sessions": len(plan), "delivered_sessions": len(done)}
            for column, i in (("active_minutes", 1), ("work_kj", 2)):
                known = [float(r[column]) for _, r in done if r[column]]
                one[f"delivered_{column}"] = math.fsum(known) if known or not done else math.nan
                one[f"planned_{column}"] = math.fsum((minutes, kj)[i - 1] for _, minutes, kj in plan)
                one[f"{column}_per_week"] = one[f"delivered_{column}"] / weeks if weeks > 0 else math.nan
                one[f"without_{column}"] = len(done) - len(known)
            last = done[-1][0] if done else (math.nan, math.nan)
            one["hours"] = 24 * (seen[0] - last[0]) + (seen[1] - last[1]) / 60
            found[person] = one
        return found
