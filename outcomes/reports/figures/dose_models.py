"""Figures of dose: a line for each person, and the shortlist of curves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from outcomes.errors import DesignError
from outcomes.reports.figures import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import ArrayLike

STROKES = {"linear": "-", "log": "--", "saturating": ":"}
"""Stroke of each curve; the colour is the same, so that nothing rests on it."""


def within_person_lines(
    person: ArrayLike,
    dose: ArrayLike,
    value: ArrayLike,
    *,
    slope: tuple[float, float, float] | None = None,
    per: float = 1.0,
    xlabel: str = "",
    ylabel: str = "",
    ax: Axes | None = None,
    **texts: Any,
) -> Axes:
    """Draw each person's values against that person's own dose, visit after visit, with the common slope within people.

    Parameters
    ----------
    person : array of shape (n_values,)
        Participant of each row; rows of one person in the order of time.
    dose, value : array of shape (n_values,)
        No missing values.
    slope : (float, float, float), optional
        Value per `per` of dose within persons and the ends of its interval, from the record.
    per : float
        Amount of dose that the slope is given for.
    xlabel, ylabel : str
    ax : Axes, optional
    **texts
        Title, note, source and synthetic; see `style.finish`.

    Raises
    ------
    DesignError
        Lengths differ or there is nobody.
    """
    import numpy as np

    people, x, y = np.asarray(person), np.asarray(dose, dtype=float), np.asarray(value, dtype=float)
    if not len(x) or not people.shape == x.shape == y.shape:
        raise DesignError("one person, dose and value per row are needed")
    with style.look():
        ax = style.new_axes((16.0, 8.6)) if ax is None else ax
        for one in dict.fromkeys(people.tolist()):
            mine = people == one
            ax.plot(x[mine], y[mine], color=style.PERSON, lw=0.7, marker="o", ms=2.6, mfc="white", mew=0.6, zorder=2)
        if slope is not None:
            middle, half = float(x.mean()), float(x.max() - x.min()) / 4
            ends = np.array([max(middle - half, float(x.min())), middle + half])
            mean, low, high = (y.mean() + (ends - middle) * s / per for s in slope)
            ax.fill_between(ends, low, high, color=style.BAND, lw=0, zorder=0.5)
            for edge in (low, high):
                ax.plot(ends, edge, color=style.BAND_EDGE, lw=0.5, zorder=0.6)
            ax.plot(ends, mean, color=style.BLACK, lw=2.2, zorder=3)
        ax.set_xlabel(xlabel)
        ax.set_ylabel(ylabel)
        style.plain_ticks(ax.xaxis)
        style.finish(ax, **texts)
    return ax


def dose_curves(
    dose: ArrayLike,
    change: ArrayLike,
    curves: Sequence[tuple[str, float, float, float | None, float]],
    *,
    offset: float = 0.0,
    xlabel: str = "",
    ylabel: str = "",
    ax: Axes | None = None,
    **texts: Any,
) -> Axes:
    """Draw dose against change with the curves of the shortlist, each with its weight beside it.

    Parameters
    ----------
    dose, change : array of shape (n_participants,)
        No missing values.
    curves : sequence of (name, start, size, half_dose, weight)
        Of the record; name is linear, log or saturating, half_dose None unless it saturates.
    offset : float
        Added to dose before the logarithm.
    xlabel, ylabel : str
    ax : Axes, optional
    **texts
        Title, note, source and synthetic; see `style.finish`.

    Raises
    ------
    DesignError
        Lengths differ, there is nobody or no curve.
    """
    import numpy as np

    x, y = np.asarray(dose, dtype=float), np.asarray(change, dtype=float)
    if not len(x) or x.shape != y.shape or not curves:
        raise DesignError("one dose and one change per person, and a curve, are needed")
    heaviest = max(weight for *_, weight in curves)
    with style.look():
        ax = style.new_axes((16.0, 8.6)) if ax is None else ax
        ax.axhline(0, color=style.INK, lw=0.6, zorder=1)
        ax.scatter(x, y, s=24, facecolor="white", edgecolor=style.INK, lw=0.8, zorder=3)
        grid = np.linspace(x.min(), x.max(), 201)
        for name, start, size, half, weight in curves:
            shape = (
                grid if name == "linear" else np.log(grid + offset) if name == "log" else grid / ((half or 0) + grid)
            )
            wide = 2.2 if weight == heaviest else 1.1
            label = f"{name}, weight {weight:.2f}"
            ax.plot(grid, start + size * shape, color=style.BLACK, lw=wide, ls=STROKES[name], zorder=2, label=label)
        ax.legend(loc="best", fontsize=7.5, handlelength=2.6)
        ax.set_xlabel(xlabel)
        ax.set_ylabel(ylabel)
        style.plain_ticks(ax.xaxis)
        style.finish(ax, **texts)
    return ax
