"""One session drawn: power, cadence and current over time, phases as a strip, active bouts as bars."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from outcomes.errors import DesignError
from outcomes.reports.figures import style

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from numpy.typing import ArrayLike

PANELS = (("power_w", "power (W)"), ("cadence_rpm", "cadence (rpm)"), ("current_ma", "current (mA)"))
SHADES = {
    "passive": "#FFFFFF",
    "ramp": "#E6EAED",
    "active": style.BLUE,
    "fatigue": style.VERMILLION,
    "cooldown": "#FFFFFF",
    "voluntary": "#9CC3DD",
}
"""Fill of a phase in its strip; every stretch that is wide enough carries its word too."""

LOOKS = {
    "passive": "white", "ramp": "light grey", "active": "blue", "fatigue": "hatched", "cooldown": "white",
    "voluntary": "light blue",
}  # fmt: skip
"""Fill of a phase in words, for those of which no stretch is wide enough for its word."""

SIZE = (16.0, 11.0)
LONGEST_STEP_S = 5.0


def session_trace(
    t_s: ArrayLike,
    phases: Sequence[str],
    bouts: Sequence[tuple[float, float]] = (),
    *,
    gap_s: float = LONGEST_STEP_S,
    title: str = "",
    note: str = "",
    source: str = "",
    synthetic: bool = False,
    **channels: ArrayLike,
) -> list[Axes]:
    """Draw the trace of one session.

    Parameters
    ----------
    t_s : array of shape (n_samples,)
        Seconds, in order.
    phases : sequence of str, shape (n_samples,)
        Phase of every sample; empty where none is known.
    bouts : sequence of (from, to)
        Active bouts, in s.
    gap_s : float
        A step longer than this is drawn as a gap: nothing was recorded there.
    title, note, source, synthetic
        See `style.finish`.
    **channels : array of shape (n_samples,)
        ``power_w``, ``cadence_rpm``, ``current_ma``; those that have no value get no panel.

    Returns
    -------
    list of Axes
        A panel per channel, then the strip of phases.

    Raises
    ------
    DesignError
        There is no sample, no channel with a value, or lengths differ.
    """
    import numpy as np

    t = np.asarray(t_s, dtype=float)
    values = {name: np.asarray(channels[name], dtype=float) for name, _ in PANELS if name in channels}
    if len(t) == 0 or len(phases) != len(t) or any(column.shape != t.shape for column in values.values()):
        raise DesignError("a trace needs samples, each with its time and phase")
    shown = [(name, label) for name, label in PANELS if name in values and not np.isnan(values[name]).all()]
    if not shown:
        raise DesignError("the trace has no power, cadence or current to draw")
    minutes = t / 60
    with style.look():
        figure = style.new_figure(SIZE)
        axes: list[Any] = list(figure.subplots(len(shown) + 1, 1, sharex=True, height_ratios=[*[3] * len(shown), 1]))
        for ax, (name, label) in zip(axes, shown, strict=False):
            _line(ax, minutes, values[name], t, gap_s, label)
        unnamed = _strip(axes[-1], minutes, phases, bouts)
        if unnamed:
            note = f"{note} In the strip: {', '.join(f'{word} {LOOKS[word]}' for word in unnamed)}.".strip()
        axes[-1].set_xlabel("minutes from the start of the recording")
        if title:
            axes[0].set_title(title)
        style.finish(axes[0], note=note, source=source, synthetic=synthetic)
    return axes


def _line(ax: Axes, minutes: Any, values: Any, t: Any, gap_s: float, label: str) -> None:
    """Draw one channel as steps, broken where nothing was recorded."""
    import numpy as np

    after = np.flatnonzero(np.diff(t) > gap_s) + 1
    x, y = np.insert(minutes, after, np.nan), np.insert(values, after, np.nan)
    ax.step(x, y, where="post", color=style.BLACK, lw=0.7)
    if (values < 0).any():
        ax.axhline(0, color=style.INK, lw=0.5)
    ax.set_ylabel(label)


def _strip(ax: Axes, minutes: Any, phases: Sequence[str], bouts: Sequence[tuple[float, float]]) -> list[str]:
    """Draw phases as a strip with their words, and bouts as numbered bars above it; return phases without a word."""
    named, drawn = set(), []
    span = float(minutes[-1] - minutes[0]) or 1.0
    for start, end, word in stretches_of(minutes.tolist(), phases):
        if not word:
            continue
        hatch = "////" if word == "fatigue" else ""
        ax.axvspan(start, end, 0.0, 0.5, facecolor=SHADES.get(word, "white"), edgecolor=style.INK, lw=0.4, hatch=hatch)
        drawn.append(word)
        if (end - start) / span > 0.0095 * len(word):
            named.add(word)
            dark = word in ("active", "fatigue")
            colour = "white" if dark else style.INK
            ax.text((start + end) / 2, 0.25, word, ha="center", va="center", color=colour, fontsize=6.5)
    for number, (start, end) in enumerate(bouts, start=1):
        ax.plot([start / 60, end / 60], [0.72, 0.72], color=style.BLACK, lw=2.2, solid_capstyle="butt")
        if (end - start) / 60 / span > 0.02 or number == 1:
            ax.text((start + end) / 120, 0.95, f"bout {number}", ha="center", va="center", fontsize=6.5)
    ax.set_ylim(0, 1.1)
    ax.set_yticks([])
    ax.spines["left"].set_visible(False)
    ax.set_xlim(float(minutes[0]), float(minutes[0]) + span)
    return [word for word in dict.fromkeys(drawn) if word not in named]


def stretches_of(times: Sequence[float], words: Sequence[str]) -> list[tuple[float, float, str]]:
    """Return from when to when each word holds, in order.

    Examples
    --------
    >>> stretches_of([0, 1, 2, 3], ["a", "a", "b", "b"])
    [(0, 2, 'a'), (2, 3, 'b')]
    """
    found: list[tuple[float, float, str]] = []
    start = 0
    for i in range(1, len(words) + 1):
        if i == len(words) or words[i] != words[start]:
            found.append((times[start], times[min(i, len(words) - 1)], words[start]))
            start = i
    return found
