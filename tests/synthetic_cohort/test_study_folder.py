"""The folder is an ordinary study: its protocol, its tables, its keys."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest

from outcomes.vocabulary import TABLES
from protocols import read_protocol
from synthetic_cohort.parameters import BASIS, parameters
from synthetic_cohort.plan import make_plan, scenario

OWN_COLUMNS = {"participants": {"antispastic_medicine"}}


def test_the_protocol_says_that_the_data_are_invented_and_goes_on_past_wrong_cells(cohort: Any) -> None:
    protocol = read_protocol(cohort.folder / "protocol.toml")
    assert protocol.study.synthetic is True
    assert protocol.intake.on_error == "set_aside"
    assert protocol.study.title == scenario()["study"]["title"]
    assert protocol.report.conference.blind_words == tuple(scenario()["blind_words"])
    assert protocol.harms.collection == "table"
    assert len(protocol.statements) == len(scenario()["statements"])


@pytest.mark.parametrize("weeks", [4, 6, 8, 12, 16, 24, 52])
def test_a_programme_of_any_length_has_a_protocol_that_is_accepted(written: Callable[..., Any], weeks: int) -> None:
    small = written(people=2, weeks=weeks)
    protocol = read_protocol(small.folder / "protocol.toml")
    assert protocol.training is not None
    assert protocol.training.weeks == weeks
    assert [v.week for v in protocol.visits] == [0, *range(4, weeks, 4), weeks, weeks + 4]
    assert protocol.analysis.compare == ("week0", f"week{weeks}")
    assert {row["visit"] for row in small.tables["visits"]} <= {v.key for v in protocol.visits}
    sixteen = ": sixteen weeks" in protocol.study.title
    assert sixteen is (weeks == 16)


@pytest.mark.parametrize("table", sorted(TABLES))
def test_headings_are_those_of_the_vocabulary_and_keys_are_unique(cohort: Any, table: str) -> None:
    if table not in cohort.tables:
        assert table in ("centres", "traces")
        return
    known = TABLES[table]
    assert set(cohort.headings[table]) <= set(known.by_heading) | OWN_COLUMNS.get(table, set())
    assert set(known.required_columns) <= set(cohort.headings[table])
    keys = Counter(tuple(row.get(column, "") for column in known.key) for row in cohort.tables[table])
    assert [key for key, many in keys.items() if many > 1] == []


def test_everybody_in_any_table_is_among_the_participants(cohort: Any) -> None:
    people = [row["participant_id"] for row in cohort.tables["participants"]]
    assert people == [f"P{n:03d}" for n in range(1, 49)]
    for rows in cohort.tables.values():
        assert {row["participant_id"] for row in rows} <= set(people)


def test_truth_is_no_table(cohort: Any) -> None:
    names = {path.name for path in cohort.folder.iterdir()}
    assert names == {f"{table}.csv" for table in cohort.tables} | {"protocol.toml", "truth.json", "traces"}
    assert cohort.truth["faults"] == []


def test_only_what_the_protocol_names_is_measured_and_only_then(cohort: Any) -> None:
    planned = make_plan(16).measured
    taken = {(row["measure"], row["visit"]) for row in cohort.tables["assessments"]}
    assert taken <= {(measure, visit) for measure, visits in planned.items() for visit in visits}
    assert {measure for measure, _ in taken} == set(planned)


def test_every_table_of_numbers_says_where_they_come_from() -> None:
    def without_basis(table: dict[str, Any], path: str) -> list[str]:
        inner = {key: value for key, value in table.items() if isinstance(value, dict)}
        own = [path] if set(table) - set(inner) and not str(table.get(BASIS, "")).strip() else []
        return own + [lost for key, value in inner.items() for lost in without_basis(value, f"{path}.{key}")]

    tables = {key: value for key, value in parameters().items() if isinstance(value, dict)}
    assert [lost for key, table in tables.items() for lost in without_basis(table, key)] == []


def test_the_cohort_knows_nothing_of_the_rooms_that_it_judges() -> None:
    code = """
import sys, tempfile
from synthetic_cohort import write_cohort
write_cohort(tempfile.mkdtemp(), people=1)
print(sorted(name for name in sys.modules if name.startswith("outcomes.")))
"""
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    floor_0 = {"outcomes.errors", "outcomes.files", "outcomes.toml_source", "outcomes.units", "outcomes.vocabulary"}
    assert set(eval(run.stdout)) <= floor_0


def test_an_import_loads_no_numpy() -> None:
    code = "import sys, synthetic_cohort; print('numpy' in sys.modules, 'pydantic' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.split() == ["False", "False"]
