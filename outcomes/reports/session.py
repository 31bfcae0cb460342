"""The picture of one session: the figure, what it shows in words, and the table behind it."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from outcomes.files import write_whole
from outcomes.reports.figures import style

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.dose import Batch, TraceRules
    from outcomes.study import Study


UNIT = re.compile(r"(\d) (min|s|kJ|W|rpm)\b")
"""A number and its unit, which no line breaks apart."""


@dataclass(frozen=True)
class SessionPicture:
    """One session drawn.

    Parameters
    ----------
    svg, png : bytes
    words : str
        What the picture shows, for those who cannot see it.
    table : DataFrame
        Every sample with its phase and the number of its bout (0 outside bouts).
    row : DataFrame
        The session's row of `outcomes.dose.summarise`.
    """

    svg: bytes
    png: bytes
    words: str
    table: pd.DataFrame
    row: pd.DataFrame

    def write(self, folder: Path, stem: str) -> list[Path]:
        """Write svg, png, words and table."""
        files: dict[str, bytes | str] = {"svg": self.svg, "png": self.png, "txt": self.words + "\n"}
        files["csv"] = self.table.to_csv(index=False, lineterminator="\n")
        return [write_whole(folder / f"{stem}.{kind}", content) for kind, content in files.items()]


def draw_session(trace: Batch, rules: TraceRules | None = None, *, synthetic: bool = False) -> SessionPicture:
    """Draw the trace of one session with its phases and bouts.

    Parameters
    ----------
    trace : Batch
        Of one session.
    rules : TraceRules, optional
    synthetic : bool
        Whether the data are invented; the figure then says so.

    Returns
    -------
    SessionPicture

    Raises
    ------
    DesignError
        The trace has no channel to draw.
    """
    from outcomes.dose import PHASES, TraceRules, phases_of, summarise
    from outcomes.reports.figures.trace import session_trace

    rules = rules or TraceRules()
    row = summarise(trace, rules)
    words = [PHASES[code] if code >= 0 else "" for code in phases_of(trace, rules).tolist()]
    table = _table(trace, words, rules)
    bouts = [(float(part["t_s"].iloc[0]), float(part["until_s"].max())) for _, part in _bouts(table)]
    said = sentence(row, bouts)
    title = f"Session {trace.sessions[0]} of {trace.participants[0]}: power, phases and active bouts"
    drawn = ("power_w", "cadence_rpm", "current_ma")
    channels = {name: values for name, values in trace.channels.items() if name in drawn}
    note = f"A sample holds at most {rules.gap_s:g} s; a longer step is a gap. Below 0 W the motor drives."
    kept_together = UNIT.sub("\\1\N{NO-BREAK SPACE}\\2", said)
    axes = session_trace(
        trace.t_s, words, bouts, gap_s=rules.gap_s, title=title, note=note, source=kept_together, synthetic=synthetic,
        **channels,
    )  # fmt: skip
    figure = axes[0].figure
    svg = style.save(figure, "svg", title=title, description=said)  # type: ignore[arg-type]
    png = style.save(figure, "png")  # type: ignore[arg-type]
    return SessionPicture(svg, png, said, table.drop(columns="until_s"), row)


def _table(trace: Batch, words: list[str], rules: TraceRules) -> pd.DataFrame:
    import pandas as pd

    from outcomes.dose import bouts_of

    bout, until = bouts_of(trace, rules)
    return pd.DataFrame({"t_s": trace.t_s, **trace.channels, "phase": words, "bout": bout, "until_s": until})


def _bouts(table: pd.DataFrame) -> list[tuple[object, pd.DataFrame]]:
    return [(number, part) for number, part in table[table["bout"] > 0].groupby("bout")]


def sentence(row: pd.DataFrame, bouts: list[tuple[float, float]]) -> str:
    """Return what a session's picture shows, in words."""
    from outcomes.dose import PHASES

    one = {name: row[name].iloc[0] for name in row}

    def said(name: str, factor: float, unit: str, digits: int = 1) -> str:
        value = float(one[name]) * factor
        return "not known" if value != value else f"{value:.{digits}f} {unit}"

    parts = [
        f"Recording of {said('total_s', 1 / 60, 'min')}, {said('unrecorded_s', 1, 's', 0)} of it unrecorded",
        f"active {said('active_s', 1 / 60, 'min')} in {len(bouts)} bout{'' if len(bouts) == 1 else 's'}",
        "phases " + ", ".join(f"{word} {said(f'{word}_s', 1 / 60, 'min')}" for word in PHASES if one[f"{word}_s"] > 0),
        f"work {said('recorded_work_j', 1e-3, 'kJ', 2)} (recorded)",
        f"{said('trapezoid_work_j', 1e-3, 'kJ', 2)} (trapezoid)",
        f"motor {said('motor_work_j', 1e-3, 'kJ', 2)}",
        f"mean power {said('mean_power_w', 1, 'W')}, peak {said('peak_power_w', 1, 'W')}",
        f"mean cadence {said('mean_cadence_rpm', 1, 'rpm', 0)}",
    ]
    return "; ".join(parts) + ("; no power was recorded" if one["reason"] else "") + "."


def write_session(
    study: Study, participant_id: str, session_id: str, folder: Path
) -> tuple[SessionPicture, list[Path]]:
    """Draw a session of a study and write its files; their names hold no id of a person.

    Parameters
    ----------
    study : Study
    participant_id, session_id : str
    folder : Path

    Raises
    ------
    UsageError
        The session has no trace.
    DesignError
        The trace has no channel to draw.
    """
    trace = study.traces.session(participant_id, session_id)
    picture = draw_session(trace, study.traces.rules, synthetic=bool(study.protocol.study.synthetic))
    digest = hashlib.sha256(f"{participant_id}/{session_id}".encode()).hexdigest()[:10]
    return picture, picture.write(folder, f"session_{digest}")
