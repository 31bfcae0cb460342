"""Reading, checking, all of the ledger: a hundred thousand answers, twenty thousand sessions. Off unless asked for."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from outcomes.intake import read_folder, write_check
from outcomes.measures import Catalogue
from protocols import packaged_path, read_protocol

PEOPLE = 500
VISITS = ("week0", "week4", "week8", "week12", "week16")
SESSIONS_EACH = 40
ITEMS = {
    "swls": ["swls_1", "swls_2", "swls_3", "swls_4", "swls_5"],
    "scim3": [item.key for item in Catalogue.packaged().get("scim3").items],
}
ANSWERS = [
    *(
        f"limb_girth,{place},{side},reading,{trial},{girth}.{trial}"
        for place, girth in (("mid_thigh", 48), ("calf_max", 34))
        for side in ("left", "right")
        for trial in (1, 2, 3)
    ),
    *(f"mas,{place},{side},grade,,1+" for place in ("knee_extensors", "knee_flexors") for side in ("left", "right")),
    *(f"{measure},,,{item},,1" for measure, items in ITEMS.items() for item in items),
]
"""What one person answers at one visit: 12 readings, 4 grades, 5 and 19 items."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A study of 100,000 answers and 20,000 sessions: plausible, but for 10,000 answers that are no codes."""
    folder = tmp_path_factory.mktemp("large")
    people = [f"P{i:04d}" for i in range(PEOPLE)]
    lines = ["participant_id,enrolled_on", *(f"{name},2026-01-05" for name in people)]
    (folder / "participants.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    lines = ["participant_id,session_id,started_at,status,total_minutes,passive_minutes,active_minutes,work_kj"]
    for name in people:
        for i in range(SESSIONS_EACH):
            month, day = 2 + i // 14, 1 + 2 * (i % 14)
            lines.append(
                f"{name},s{i},2026-{month:02d}-{day:02d} 09:00,done,{40 + i % 5},5,{20 + i % 10},{15 + i % 7}.5"
            )
    (folder / "sessions.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    lines = ["participant_id,visit,measure,place,side,item,trial,response,assessed_at,rater"]
    for name in people:
        for week, visit in zip((0, 4, 8, 12, 16), VISITS, strict=True):
            when = f"2026-{1 + week // 4:02d}-{5 + week // 4:02d} 10:00"
            lines += [f"{name},{visit},{answer},{when},R1" for answer in ANSWERS]
    (folder / "assessments.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def test_reading_a_large_study(benchmark, folder):
    protocol, catalogue = read_protocol(packaged_path("leg_cycling_16_weeks")), Catalogue.packaged()
    assert len(ANSWERS) == 40

    spent = []

    def read_check_and_ledger():
        start = time.process_time()
        intake = read_folder(folder, protocol, catalogue)
        write_check(intake, folder)
        spent.append(time.process_time() - start)
        return intake

    intake = benchmark.pedantic(read_check_and_ledger, rounds=3, warmup_rounds=1)
    balance = intake.ledger.balance().set_index("table")
    assert balance.loc["assessments", "rows_read"] == 100_000
    assert balance.loc["sessions", "rows_read"] == 20_000
    assert sum(finding.grade == "set_aside" for finding in intake.findings) == 10_000
    cells = pq.read_metadata(folder / "results" / "check" / "cells.parquet").num_rows
    assert cells == balance["cells_read"].sum()
    assert min(spent) < 8  # seconds of a processor: what other programs on the machine take does not count


def test_memory_of_reading_a_large_study(folder):
    """In a process of its own: the largest memory that it ever held, the interpreter and all libraries included."""
    script = (
        "import resource, sys\n"
        "from outcomes.intake import read_folder, write_check\n"
        "from outcomes.measures import Catalogue\n"
        "from protocols import packaged_path, read_protocol\n"
        "protocol = read_protocol(packaged_path('leg_cycling_16_weeks'))\n"
        "write_check(read_folder(sys.argv[1], protocol, Catalogue.packaged()), sys.argv[1])\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024)\n"
    )
    done = subprocess.run([sys.executable, "-c", script, str(folder)], capture_output=True, text=True, check=True)
    assert int(done.stdout) < 1_000_000_000
