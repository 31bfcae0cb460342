"""The notes of methods and caveats that the record prints."""

from __future__ import annotations

from collections import Counter

from outcomes import change, dose, dose_response, models, reliability
from outcomes.analysis import methods

ROOMS = (change, dose, dose_response, models, reliability, methods)


def test_no_two_rooms_give_one_id_to_two_sentences() -> None:
    for notes in ("METHODS", "CAVEATS"):
        ids = Counter(key for room in ROOMS for key in getattr(room, notes))
        assert [key for key, count in ids.items() if count > 1] == []
