"""One person's own values over the visits, with the usual error of the test."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from outcomes.errors import DesignError
from outcomes.reports import format as fmt
from outcomes.reports.figures import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import ArrayLike


def one_person(
    labels: Sequence[str],
    values: ArrayLike,
    *,
    error: float | None = None,
    decimals: int = 1,
    ylabel: str = "",
    ax: Axes | None = None,
    **texts: Any,
) -> Axes:
    """Draw one person's values over the visits, each with its number, on the band of measurement error about the first.

    Parameters
    ----------
    labels : sequence of str
        Names of the visits, in order.
    values : array of shape (n_visits,)
        nan where there is none: a short dash stands on the axis.
    error : float, optional
        Minimal detectable change; None for a measure without one: no band is drawn.
    decimals : int
        Of the written numbers.
    ylabel : str
        Measure and unit.
    ax : Axes, optional
    **texts
        Title, note, source and synthetic; see `style.finish`.

    Raises
    ------
    DesignError
        No value is known, or lengths differ.
    """
    import numpy as np
    from matplotlib.patheffects import withStroke

    y = np.asarray(values, dtype=float)
    if len(labels) != len(y) or np.isnan(y).all():
        raise DesignError("one value per visit is needed, and one of them known")
    x = np.arange(len(y), dtype=float)
    known = ~np.isnan(y)
    first = float(y[known][0])
    with style.look():
        ax = style.new_axes((16.0, 4.8)) if ax is None else ax
        if error is not None:
            ax.axhspan(first - error, first + error, color=style.BAND, lw=0, zorder=0)
            for edge in (first - error, first + error):
                ax.axhline(edge, color=style.BAND_EDGE, lw=0.5, zorder=0.5)
            ax.text(1.01, first, style.ERROR_LABEL.replace(" of ", "\nof "), transform=ax.get_yaxis_transform(),
                    fontsize=7.5, color=style.QUIET, va="center")  # fmt: skip
        ax.plot(x[known], y[known], color=style.BLUE, lw=1.6, marker="o", ms=6, zorder=3)
        for place, value in zip(x[known], y[known], strict=True):
            ax.annotate(fmt.number(float(value), decimals), (float(place), float(value)), xytext=(0, 8),
                        textcoords="offset points", ha="center", fontsize=8.5, weight="bold", zorder=4,
                        path_effects=[withStroke(linewidth=2.5, foreground="white")])  # fmt: skip
        _room(ax, y[known], error, first)
        low = ax.get_ylim()[0]
        missing = [float(p) for p in x[~known]]
        ax.scatter(missing, [low] * len(missing), marker="_", s=60, color=style.INK, clip_on=False)
        ax.set_xlim(-0.4, len(y) - 0.6)
        ax.set_xticks(x, ["\n".join(textwrap.wrap(fmt.clean(label, 30), 14)) for label in labels])
        ax.set_ylabel("\n".join(textwrap.wrap(ylabel, 26)))
        style.plain_ticks(ax.yaxis)
        style.finish(ax, **texts)
    return ax


def _room(ax: Axes, known: Any, error: float | None, first: float) -> None:
    """Set an axis that holds every value, the band and the written numbers."""
    band = error or 0.0
    low, high = min(float(known.min()), first - band), max(float(known.max()), first + band)
    room = 0.22 * (high - low) or 1.0
    ax.set_ylim(low - 0.6 * room, high + 1.3 * room)
