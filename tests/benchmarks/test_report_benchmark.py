"""Time of reports on the demo's cohort: record to pages, all four reports, size of the pages.

Run with ``pytest tests/benchmarks/test_report_benchmark.py --benchmark-only``.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

import pytest

from outcomes.analysis import analyse, write_results
from outcomes.reports import write_report
from outcomes.reports.pdf import pdf
from outcomes.study import Study
from synthetic_cohort import write_cohort

sys.path.insert(0, str(Path(__file__).parents[1] / "outcomes" / "reports"))
from showing import shown

READERS = {"conference": None, "funder": None, "class": None, "participant": "P002"}


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of the demo's cohort of 48 invented people, analysed."""
    folder = tmp_path_factory.mktemp("demo") / "study"
    write_cohort(folder, people=48, seed=7)
    opened = Study.open(folder)
    write_results(opened, analyse(opened))
    return folder


@pytest.mark.benchmark(timer=time.process_time)
@pytest.mark.parametrize("reader", ["funder", "participant"])
def test_what_the_record_says_becomes_a_pdf_in_half_a_second(benchmark: Any, study: Path, reader: str) -> None:
    """From the blocks that the notebook's cells showed, in time of the processor; drawing is timed with the report."""
    notebook = shown(reader, study, **({"who": READERS[reader]} if READERS[reader] else {}))
    made = benchmark.pedantic(pdf, args=(notebook, reader), rounds=3, warmup_rounds=1)
    assert made.startswith(b"%PDF")
    assert benchmark.stats.stats.min < 0.5


def test_four_reports_take_less_than_a_minute_and_each_page_less_than_two_megabytes(
    benchmark: Any, study: Path
) -> None:
    def all_four() -> list[Path]:
        return [path for reader, who in READERS.items() for path in write_report(study, reader, who=who)]

    files = benchmark.pedantic(all_four, rounds=1)
    pages = [path for path in files if path.name == "report.html"]
    assert len(pages) == 4
    assert all(path.stat().st_size < 2_000_000 for path in pages)
    assert benchmark.stats.stats.min < 60.0
