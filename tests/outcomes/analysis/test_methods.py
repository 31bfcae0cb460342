"""The notes of methods and caveats that the record prints."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Callable

from outcomes import change, dose, dose_response, models, reliability, single_case
from outcomes.analysis import analyse, methods
from outcomes.study import Study

ICC = "reliability/limb_girth.girth/mid_thigh.mean/all/-/-/icc_a_1"
ROOMS = (change, dose, dose_response, models, reliability, single_case, methods)


def test_no_two_rooms_give_one_id_to_two_sentences() -> None:
    for notes in ("METHODS", "CAVEATS"):
        ids = Counter(key for room in ROOMS for key in getattr(room, notes))
        assert [key for key, count in ids.items() if count > 1] == []


def test_every_interval_of_a_record_was_simulated_and_quotes_the_table_where_it_is_off(
    build: Callable[..., Study],
) -> None:
    from outcomes.coverage import TABLE

    with TABLE.open(encoding="utf-8", newline="") as stream:
        simulated = {method for row in csv.DictReader(stream) for method in row["methods"].split()}
    record = analyse(build()).record
    with_interval = [entry for entry in record.entries.values() if entry.interval is not None]
    assert len(with_interval) > 20
    for entry in with_interval:
        assert entry.method in simulated, entry.key
        found = entry.shortfall
        quoted = [caveat for caveat in entry.caveats if caveat.startswith("coverage_")]
        assert quoted == ([] if found is None else [found.caveat])
        assert found is None or found.words in record.caveats[found.caveat]
    # four people were retested: the fewest that were simulated are eight
    assert "coverage_1x8" in record[ICC].caveats
    assert "F, ICC(A,1) 9" in record.caveats["coverage_1x8"]
