"""The person-level tables of one analysis, for internal figures; no value of a person leaves them by another way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class People:
    """Person-level tables of one analysis; read when first asked for.

    Parameters
    ----------
    folder : Path
        ``results/<id>/people``.
    """

    folder: Path

    def _read(self, name: str) -> pd.DataFrame | None:
        import pandas as pd

        path = self.folder / f"{name}.csv"
        if not path.is_file():
            return None
        texts = ("participant_id", "group", "key", "measure", "scale", "place", "side_rule", "visit", "class", "reason")
        return pd.read_csv(path, dtype=dict.fromkeys(texts, "str"), keep_default_na=False, na_values=[""])

    @cached_property
    def change(self) -> pd.DataFrame | None:
        """Before, after and change of everybody and every outcome."""
        return self._read("change")

    @cached_property
    def dose(self) -> pd.DataFrame | None:
        """Dose of everybody up to every visit."""
        return self._read("dose")

    @cached_property
    def dose_by_week(self) -> pd.DataFrame | None:
        """Dose of everybody in every week of the programme."""
        return self._read("dose_by_week")

    @cached_property
    def repeats(self) -> pd.DataFrame | None:
        """Value of everybody at every occasion of the repeat tests."""
        return self._read("repeats")

    def repeat_pairs(self, row: Mapping[str, Any]) -> pd.DataFrame | None:
        """Return the values of one series of the measures table on two occasions, a row for each person with both."""
        found = self.repeats
        if found is None:
            return None
        mine = found[found["series"] == f"{row['measure']}.{row['scale']}/{row['place']}"]
        wide: pd.DataFrame = mine.pivot(index="participant_id", columns="occasion", values="value").dropna()
        return wide.sort_index() if wide.shape[1] == 2 else None

    @cached_property
    def values(self) -> pd.DataFrame | None:
        """Value of everybody at every visit."""
        return self._read("values")

    def of_person(self, who: str) -> pd.DataFrame | None:
        """Return every value of one person; None where the analysis kept none."""
        values = self.values
        return None if values is None else values[values["participant_id"] == who]

    def of_series(self, frame: pd.DataFrame, row: Mapping[str, Any]) -> pd.DataFrame:
        """Return the rows of `frame` that belong to one outcome: its measure, scale, place and side rule."""
        place, _, side = str(row["place"]).rpartition(".")
        stem, _, scale = str(row["measure"]).rpartition(".")
        mine = frame[(frame["measure"] == stem.partition("@")[0]) & (frame["scale"] == scale)]
        if "." in str(row["place"]):
            return mine[(mine["place"].fillna("-") == place) & (mine["side_rule"] == side)]
        return mine[mine["place"].fillna("-") == str(row["place"])]

    def pairs(self, row: Mapping[str, Any]) -> pd.DataFrame | None:
        """Return before, after and change of one outcome, sorted by change."""
        found = self.change
        if found is None:
            return None
        mine = self.of_series(found, row)
        before, after = str(row["contrast"]).split("_minus_")[::-1]
        mine = mine[(mine["before_visit"] == before) & (mine["after_visit"] == after)]
        mine = mine[mine["group"].fillna("all") == row["group"]]
        pairs: pd.DataFrame = mine.sort_values(["change", "before"], kind="stable", ignore_index=True)
        return pairs
