"""An invented record with every key and table that a report reads, and study folders that hold it."""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest

from outcomes.analysis.association import COLUMNS as ASSOCIATION_COLUMNS
from outcomes.analysis.change import COLUMNS as CHANGE_COLUMNS
from outcomes.result import Estimate, HypothesisTest, Interval, Record, record_key

CONTRAST = "week16_minus_week0"
GIRTH = {"measure": "limb_girth.girth", "place": "mid_thigh.mean"}
GRADE = {"measure": "mas.rank", "place": "knee_extensors.worse"}
OUTCOME_COLUMNS = tuple(CHANGE_COLUMNS)
DOSE_COLUMNS = tuple(ASSOCIATION_COLUMNS)
DEFAULT_META = {
    "title": "Sixteen weeks of stimulation-assisted leg cycling",
    "question": "Did thigh girth change over sixteen weeks?",
    "design": "single arm",
    "allocation": None,
    "setting": "An invented community gym",
    "synthetic": True,
    "data_until": "2026-03-01",
    "visits": [
        {"key": "week0", "label": "Week 0", "week": 0, "when": "baseline"},
        {"key": "week16", "label": "Week 16", "week": 16, "when": "end"},
    ],
    "compare": ["week0", "week16"],
    "groups": [],
    "level": 0.95,
    "multiplicity": "holm",
    "protocol_sha256": "0" * 64,
    "frozen": {"on": None, "changed": None},
    "definitions": {"limb_girth": {"version": "1", "sha256": "1" * 64}},
    "changed_choices": [],
    "statements": {},
    "harms_collection": "table",
    "report": {
        "conference": {
            "words": 250,
            "characters": None,
            "headings": ["Introduction", "Methods", "Results", "Conclusion"],
            "blind_words": [],
        }
    },
    "privacy": {"internal_minimum": 5, "public_minimum": 11},
    "training": {
        "mode": "legs",
        "weeks": 16,
        "sessions_per_week": 3.0,
        "active_minutes": [20, 22.5, 25, 30, 45],
        "cadence_rpm": 45.0,
        "current_ma": [40.0, 140.0],
        "pulse_width_us": 300.0,
        "frequency_hz": 35.0,
        "channels": [],
    },
    "dose_plan": {"metrics": ["active_minutes", "work_kj"]},
    "caution": "For research, evaluation and teaching. No medical device; gives no individual advice.",
    "software_version": "0.1.0",
}


def invented_people(n: int = 40) -> list[dict[str, float]]:
    """Return before, after, change and dose of `n` invented people; the same ones each time."""
    draw = random.Random(7)
    people = []
    for _ in range(n):
        before, change, minutes = draw.gauss(45.0, 4.0), draw.gauss(1.2, 1.6), draw.gauss(1500.0, 260.0)
        people.append({"before": before, "after": before + change, "change": change, "minutes": minutes})
    return people


def summary(values: list[float]) -> tuple[float, float]:
    mean = math.fsum(values) / len(values)
    return mean, math.sqrt(math.fsum((v - mean) ** 2 for v in values) / (len(values) - 1))


def estimate(value, unit="1", n=40, interval=None, p=None, method="invented", caveats=()):
    return Estimate(
        value=value,
        unit=unit,
        method=method,
        n_people=n,
        n_values=n,
        interval=Interval(*interval, 0.95, "Student t") if interval else None,
        test=HypothesisTest(name="sign-flip", p=p) if p is not None else None,
        caveats=caveats,
    )


class RecordBuilder:
    """Builds an invented record piece by piece, so that a test can leave one out."""

    def __init__(self, **meta):
        self.record = Record(meta={**DEFAULT_META, **meta})
        self.record.methods["invented"] = "An invented number."
        self.outcomes: list[dict] = []
        self.associations: list[dict] = []
        self.transitions: list[tuple] = []
        self.changes: list[dict] = []
        self.people = invented_people()

    def put(self, analysis, statistic, value, unit="1", **parts):
        options = {k: parts.pop(k) for k in ("n", "interval", "p", "caveats") if k in parts}
        self.record.add(record_key(analysis, statistic, **parts), estimate(value, unit, **options), label=statistic)

    def table(self, name, columns, rows):
        self.record.add_table(name, dict.fromkeys(columns, ""), rows)

    def flow(self, enrolled=48, left=6, analysed=40, group="all"):
        if "flow/-/-/all/-/-/enrolled" not in self.record.entries:
            self.put("flow", "enrolled", enrolled)
            self.put("flow", "left", left)
            self.put("flow", "stayed", enrolled - left)
            rows = [
                ("enrolled", enrolled, ""),
                ("left before the end", left, ""),
                ("Week 0", enrolled, "visit held"),
                ("Week 16", analysed, "visit held"),
                ("analysed, Limb girth (mid thigh, mean of both sides)", analysed, ""),
            ]
            self.table("flow", ("stage", "n", "note"), rows)
            self.table("left", ("reason", "n"), [("moved away", 5), ("not recorded", 1)])
        parts = {**GIRTH, "contrast": CONTRAST, "group": group}
        self.put("flow", "analysed", analysed, **parts)
        self.put("flow", "missing_before", 0, **parts)
        self.put("flow", "missing_after", enrolled - analysed, **parts)
        return self

    def characteristics(self):
        columns = ("characteristic", "level", "n", "n_known", "mean", "sd", "median", "low", "high", "unit")
        rows = [
            ("age_years", "", 48, 48, 41.3, 11.9, 40.5, 31.0, 52.0, "a"),
            ("months_since_onset", "", 48, 47, 61.2, 44.0, 52.0, 24.0, 88.0, "mo"),
            ("sex", "female", 14, 48, None, None, None, None, None, "1"),
            ("sex", "male", 34, 48, None, None, None, None, None, "1"),
            ("condition", "spinal_cord_injury", 45, 48, None, None, None, None, None, "1"),
            ("condition", "stroke", 3, 48, None, None, None, None, None, "1"),
        ]
        self.table("participants", columns, rows)
        return self

    def girth(self, group="all", mdc=1.1, better=None, people=None, **more):
        """Write the change of the primary outcome of a group."""
        people = self.people if people is None else people
        change, sd = summary([p["change"] for p in people])
        (before, before_sd), (after, after_sd) = (summary([p[k] for p in people]) for k in ("before", "after"))
        half = 2.0227 * sd / math.sqrt(len(people))  # t(39), 0.975; from memory: the record is invented
        parts = {**GIRTH, "contrast": CONTRAST, "group": group}
        n = len(people)
        row = {
            **dict.fromkeys(OUTCOME_COLUMNS),
            "key": record_key("change", "mean", **parts),
            "label": "Limb girth (mid thigh, mean of both sides)",
            "role": "primary",
            **parts,
            "unit": "cm",
            "level": "ratio",
            "better": "neither",
            "n": n,
            "before_mean": before,
            "before_sd": before_sd,
            "after_mean": after,
            "after_sd": after_sd,
            "change": change,
            "change_low": change - half,
            "change_high": change + half,
            "p": 0.0012,
            "words_better": "larger",
            "words_other": "smaller",
            **more,
        }
        if mdc is not None and "mdc" not in more:
            row |= {"mdc": mdc, "mdc_source": "own repeat tests, 16 people, mid thigh, mean of both sides, same rater"}
            row["n_better"] = sum(p["change"] >= mdc for p in people)
            row["n_other"] = sum(p["change"] <= -mdc for p in people)
            row["n_within"] = n - row["n_better"] - row["n_other"]
            self.put("change", "expected_by_error", 0.025, n=n, **parts)
            self.put("change", "mdc95_used", mdc, "cm", n=n, **parts)
        interval = None if row["change_low"] is None else (row["change_low"], row["change_high"])
        if row["change"] is not None:
            self.put("change", "mean", row["change"], "cm", n=n, interval=interval, p=row["p"], **parts)
            self.put("change", "sd", sd, "cm", n=n, **parts)
        self.outcomes.append(row)
        good, other = row["words_better"], row["words_other"]
        for i, p in enumerate(people):
            limit = mdc if mdc is not None else math.inf
            kind = good if p["change"] >= limit else other if p["change"] <= -limit else "within"
            self.changes.append(
                {
                    "participant_id": f"P{i + 1:02d}", "group": group, "key": row["key"], "measure": "limb_girth",
                    "scale": "girth", "place": "mid_thigh", "side_rule": "mean", "before_visit": "week0",
                    "after_visit": "week16", "before": p["before"], "after": p["after"], "change": p["change"],
                    "improvement": "", "class": kind if mdc is not None else "", "cells": "assessments/1",
                }
            )  # fmt: skip
        return self

    def grades(self):
        """Write the change of an ordinal secondary outcome."""
        parts = {**GRADE, "contrast": CONTRAST}
        key = record_key("change", "hodges_lehmann", **parts)
        cells = [("0", "0", 9), ("1", "0", 6), ("1", "1", 8), ("1+", "1", 6), ("1+", "1+", 5), ("1+", "2", 3)]
        for before, after, n in cells:
            self.transitions.append((key, GRADE["measure"], GRADE["place"], "all", CONTRAST, before, after, n))
        for statistic, n in (("lower", 12), ("same", 22), ("higher", 3)):
            self.put("change", statistic, n, n=37, **parts)
        self.put("change", "hodges_lehmann", -0.5, "{score}", n=37, interval=(-1.0, 0.0), p=0.035, **parts)
        self.outcomes.append(
            {
                **dict.fromkeys(OUTCOME_COLUMNS), "key": key,
                "label": "Modified Ashworth Scale (knee extensors, worse side)",
                "role": "secondary", **parts, "group": "all", "unit": "{score}", "level": "ordinal", "better": "lower",
                "n": 37, "change": -0.5, "change_low": -1.0, "change_high": 0.0, "p": 0.035, "n_better": 12,
                "n_within": 22, "n_other": 3, "words_better": "better", "words_other": "worse",
            }
        )  # fmt: skip
        return self

    def dose(self):
        for exposure, unit, delivered, planned in (
            ("sessions", "1", 1650.0, 1920.0),
            ("active_minutes", "min", 60_000.0, 74_400.0),
            ("work_kj", "kJ", 14_200.0, None),
        ):
            parts = {"contrast": "week16", "exposure": exposure}
            self.put("dose", "delivered_sum", delivered, unit, **parts)
            self.put("dose", "delivered_mean", delivered / 40, unit, **parts)
            self.put("dose", "delivered_sd", delivered / 240, unit, **parts)
            if planned is not None:
                self.put("dose", "planned_sum", planned, unit, **parts)
                self.put("dose", "planned_mean", planned / 40, unit, **parts)
                self.put("dose", "ratio_of_sums", delivered / planned, **parts)
                self.put("dose", "mean_of_ratios", delivered / planned - 0.01, **parts)
            self.put("dose", "sessions_without", 0, **parts)
        columns = "week people planned_sessions delivered_sessions planned_active_minutes delivered_active_minutes"
        weeks = [(w, 48 - w // 3, 3.0 * (48 - w // 3), 2.6 * (48 - w // 3), 90.0 * (48 - w // 3), 74.0 * (48 - w // 3))
                 for w in range(1, 17)]  # fmt: skip
        self.table("dose_by_week", (*columns.split(), "planned_work_kj", "delivered_work_kj"),
                   [(*w, None, 18.0 * w[1]) for w in weeks])  # fmt: skip
        self.table(
            "dose_by_visit",
            ("visit", "label", "people", *columns.split()[2:], "planned_work_kj", "delivered_work_kj",
             "median_hours_since_last_session"),
            [("week16", "Week 16", 40, 1920.0, 1650.0, 74_400.0, 60_000.0, None, 14_200.0, 49.5)],
        )  # fmt: skip
        self.table("session_status", ("status", "reason", "n"), [("done", "", 1600), ("missed", "ill", 270)])
        return self

    def delivery(self, people=48):
        """Write what the programme delivered, month by month and in all, and what it cost."""
        columns = "month first_week last_week people planned_sessions delivered_sessions planned_active_minutes"
        columns += " delivered_active_minutes planned_work_kj delivered_work_kj planned_hours delivered_hours"
        rows = [
            (
                m,
                4 * m - 3,
                4 * m,
                people - m,
                540.0 - 10 * m,
                430.0 - 12 * m,
                15000.0,
                12000.0,
                None,
                3000.0,
                250.0,
                200.0,
            )
            for m in range(1, 5)
        ]
        self.table("delivery", columns.split(), rows)
        for exposure, unit, planned, delivered in (("sessions", "1", 2060.0, 1600.0), ("hours", "h", 1000.0, 800.0)):
            self.put("delivery", "planned_sum", planned, unit, exposure=exposure, n=people)
            self.put("delivery", "delivered_sum", delivered, unit, exposure=exposure, n=people)
            self.put("delivery", "share", delivered / planned, exposure=exposure, n=people)
            if self.record.meta["report"].get("funder", {}).get("costs"):
                total = sum(c["amount"] for c in self.record.meta["report"]["funder"]["costs"])
                if exposure == "sessions":
                    self.put("cost", "total", total)
                self.put("cost", "per_unit", total / delivered, exposure=exposure)
        return self

    def association(self, slope=0.31, low=-0.12, high=0.74, p=0.16, **more):
        parts = {**GIRTH, "contrast": CONTRAST}
        for exposure, per in (("active_minutes", "10 h"), ("work_kj", "100 kJ")):
            key = record_key("dose_response", "slope", exposure=exposure, **parts)
            row = {
                **dict.fromkeys(DOSE_COLUMNS), "key": key, **parts, "exposure": exposure, "per": per, "n": 40,
                "label": "Limb girth (mid thigh, mean of both sides)", "slope": slope, "low": low, "high": high,
                "p": p, "raw_slope": 0.28, "loo_low": 0.19, "loo_high": 0.41, "rank": 0.21, "rank_p": 0.2, **more,
            }  # fmt: skip
            self.associations.append(row)
            if row["slope"] is not None:
                self.put(
                    "dose_response", "slope", row["slope"], "cm", interval=(low, high), p=p, exposure=exposure, **parts
                )
        return self

    def harms(self, events=9, people=7):
        self.put("harms", "events", events)
        self.put("harms", "people_with_events", people)
        rows = [("skin_irritation", "mild", "probable", 6, 5), ("fall", "moderate", "none", 3, 2)] if events else []
        self.table("harms", ("kind", "severity", "relatedness", "events", "people"), rows)
        return self

    def rest(self):
        counts = "rows_read used duplicates set_aside cells_read as_typed normalised emptied in_duplicates in_set_aside"
        row = ("assessments", 812, 806, 2, 4, 7308, 7200, 60, 48, 0, 0, 3)
        self.table("data_quality", ("table", *counts.split(), "queries"), [row])
        keys = (
            "rows_read rows_used rows_duplicate rows_set_aside cells_read cells_as_typed cells_normalised cells_emptied"
        )
        for key, n in zip(
            [*keys.split(), "cells_in_duplicates", "cells_in_set_aside", "queries"], row[1:], strict=True
        ):
            self.put("data", key, n)
        self.table("changes_between", ("kind", "people"), [("medicine", 6)])
        self.table(
            "measures",
            ("measure", "version", "title", "scale", "place", "role", "unit", "level", "better", "source", "status",
             "from_memory"),
            [
                ("limb_girth", "1", "Limb girth", "girth", "mid_thigh.mean", "primary", "cm", "ratio", "neither",
                 "An invented source (2020)", "VERIFIED", ""),
                ("mas", "bohannon1987", "Modified Ashworth Scale", "rank", "knee_extensors.worse", "secondary",
                 "{score}", "ordinal", "lower", "Another invented source (1999)", "MEMORY", "the grades"),
            ],
        )  # fmt: skip
        self.table(
            "marked_scores",
            ("measure", "scale", "place", "side_rule", "mark", "scores", "people", "people_scored"),
            [("mas", "rank", "knee_extensors", "worse", "total typed", 44, 22, 24)],
        )
        return self

    def retest(self):
        place = {"measure": "limb_girth.girth", "place": "mid_thigh.mean"}
        self.put("reliability", "icc_a_1", 0.94, n=24, interval=(0.87, 0.97), **place)
        self.put("reliability", "standard_error_agreement", 0.4, "cm", n=24, **place)
        self.put("reliability", "mdc95", 1.109, "cm", n=24, interval=(0.86, 1.55), **place)
        return self

    def build(self) -> Record:
        tables = self.record.tables
        if self.outcomes and "outcomes" not in tables:
            self.table("outcomes", OUTCOME_COLUMNS, [[r[c] for c in OUTCOME_COLUMNS] for r in self.outcomes])
        if self.associations and "dose_response" not in tables:
            self.table("dose_response", DOSE_COLUMNS, [[r[c] for c in DOSE_COLUMNS] for r in self.associations])
        if self.transitions and "transitions" not in tables:
            columns = ("key", "measure", "place", "group", "contrast", "before", "after", "n")
            self.table("transitions", columns, self.transitions)
        return self.record

    def full(self) -> RecordBuilder:
        return self.flow().characteristics().girth().grades().dose().delivery().association().harms().rest()

    def write(self, folder: Path, name: str = "0123456789ab") -> Path:
        """Write a study folder that holds the record and the person-level tables."""
        import pandas as pd

        record = self.build()
        results = folder / "results" / name
        (results / "people").mkdir(parents=True)
        (results / "record.json").write_text(record.to_json(), encoding="utf-8")
        (results / "run.json").write_text('{"id": "0123456789ab", "seed": 7, "packages": {}}\n', encoding="utf-8")
        pd.DataFrame(self.changes).to_csv(results / "people" / "change.csv", index=False)
        ids = [f"P{i + 1:02d}" for i in range(48)]
        values = [
            {"participant_id": i, "group": "all", "measure": "limb_girth", "scale": "girth", "place": "mid_thigh",
             "side_rule": "mean", "visit": "week0", "value": 44.0, "reason": "", "cells": ""}
            for i in ids
        ]  # fmt: skip
        pd.DataFrame(values).to_csv(results / "people" / "values.csv", index=False)
        dose = [
            {"participant_id": ids[i], "visit": "week16", "visit_day": 112.0, "planned_sessions": 48.0,
             "delivered_sessions": 40.0, "delivered_active_minutes": p["minutes"],
             "delivered_work_kj": p["minutes"] / 4, "active_minutes_per_week": p["minutes"] / 16,
             "work_kj_per_week": p["minutes"] / 64}
            for i, p in enumerate(self.people)
        ]  # fmt: skip
        pd.DataFrame(dose).to_csv(results / "people" / "dose.csv", index=False)
        (folder / "results" / "latest").write_text(f"{name}\n", encoding="utf-8")
        return folder


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    """Return folder, results and record of a cohort of 30 invented people that went the whole way; never written to."""
    from outcomes.analysis import analyse, write_results
    from outcomes.study import Study
    from synthetic_cohort import write_cohort

    folder = tmp_path_factory.mktemp("demo") / "study"
    write_cohort(folder, people=30, seed=11)
    study = Study.open(folder)
    results = write_results(study, analyse(study))
    return folder, results, Record.read(results / "record.json")


@pytest.fixture
def builder():
    return RecordBuilder


@pytest.fixture
def record():
    return RecordBuilder().full().build()


@pytest.fixture
def study_folder(tmp_path):
    folder = tmp_path / "study"
    return RecordBuilder().full().write(folder)
