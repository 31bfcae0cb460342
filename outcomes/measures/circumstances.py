"""Whether a person was measured like before: the same walking aid, pace, chair, hand, posture, form."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import TYPE_CHECKING

from outcomes.measures.review import visit_days

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.measures.catalogue import Catalogue

COLUMNS = ("participant_id", "measure", "place", "side", "item", "visit_before", "before", "visit", "after", "rows")


def circumstances_changed(tables: Mapping[str, pd.DataFrame], *, catalogue: Catalogue | None = None) -> pd.DataFrame:
    """List where a context item, such as the walking aid, differs from that of the person's visit before.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        As `outcomes.study.Study.tables` gives them; ``assessments`` is needed, ``visits`` orders them where it exists.
    catalogue : Catalogue, optional
        The packaged one by default.

    Returns
    -------
    DataFrame
        participant_id, measure, place, side, item, visit_before, before, visit, after, rows (row_ids). A change of the
        measure under other circumstances is no change of the person alone; nothing is left out because of it.

    Notes
    -----
    Variants (pace, start, hands) are never joined by `score_table`; here they are listed like other context, because a
    series that goes on under another variant has no change at all. An item that is not recorded differs from nothing.
    """
    import pandas as pd

    from outcomes.measures.catalogue import Catalogue as Packaged

    catalogue, frame = catalogue or Packaged.packaged(), tables.get("assessments")
    found: list[dict[str, str]] = []
    if frame is not None and len(frame):
        days = visit_days(tables, frame)
        for measure in sorted({str(key) for key in frame["measure"].dropna()}):
            if measure in catalogue:
                found += _of_measure(measure, frame[frame["measure"] == measure], days, catalogue)
    return pd.DataFrame({name: pd.Series([row[name] for row in found], dtype="str") for name in COLUMNS})


def _of_measure(
    measure: str, rows: pd.DataFrame, days: Mapping[tuple[str, str], float], catalogue: Catalogue
) -> list[dict[str, str]]:
    rows = rows[rows["item"].isin(catalogue.get(measure).circumstances) & rows["response"].notna()]
    if rows.empty:
        return []
    rows = rows.assign(**{name: rows[name].fillna("") if name in rows.columns else "" for name in ("place", "side")})
    keys = zip(rows["participant_id"].astype(str), rows["visit"].astype(str), strict=True)
    rows = rows.assign(_day=[days[key] for key in keys]).sort_values("_day", kind="stable")
    found = []
    for (person, place, side, item), series in rows.groupby(["participant_id", "place", "side", "item"], sort=True):
        told = [(str(r["visit"]), str(r["response"]), str(r.get("row_id", ""))) for r in series.to_dict("records")]
        for (earlier, before, row), (visit, after, other) in pairwise(told):
            if visit != earlier and before != after:
                where = {"participant_id": str(person), "measure": measure, "place": str(place), "side": str(side)}
                what = {"item": str(item), "visit_before": earlier, "before": before, "visit": visit, "after": after}
                found.append({**where, **what, "rows": f"{row} {other}".strip()})
    return found
