"""The figure of agreement: differences of two measurements against their mean, with bias and limits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from outcomes.errors import DesignError
from outcomes.reports.figures import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import ArrayLike

Line = tuple[float, float, float]
"""A value and the ends of its interval."""


def agreement_plot(
    first: ArrayLike,
    second: ArrayLike,
    *,
    bias: Line,
    lower: Line,
    upper: Line,
    ratio: bool = False,
    persons: bool = True,
    xlabel: str = "",
    ylabel: str = "",
    ax: Axes | None = None,
    **texts: Any,
) -> Axes:
    """Draw second minus first against the mean of both, a ring a person, with bias and limits and their intervals.

    Parameters
    ----------
    first, second : array of shape (n_participants,)
        In one unit; no missing values.
    bias, lower, upper : (float, float, float)
        From the record: each a value with the ends of its interval.
    ratio : bool
        Whether they are ratios second over first; the axis then has ratios.
    persons : bool
        False draws no ring of a person.
    xlabel, ylabel : str
    ax : Axes, optional
    **texts
        Title, note, source and synthetic; see `style.finish`.

    Raises
    ------
    DesignError
        Lengths differ, or nobody has both.
    """
    import numpy as np

    a, b = (np.asarray(values, dtype=float) for values in (first, second))
    if not len(a) or a.shape != b.shape:
        raise DesignError("two measurements of each person are needed")
    with style.look():
        ax = style.new_axes() if ax is None else ax
        if persons:
            ax.scatter(
                (a + b) / 2, b / a if ratio else b - a, s=18, facecolor="none", edgecolor=style.PERSON, lw=0.8, zorder=3
            )
        for (value, low, high), name, dashes in (
            (upper, "upper limit", "--"), (bias, "bias", "-"), (lower, "lower limit", "--")
        ):  # fmt: skip
            ax.axhspan(low, high, color=style.BAND, lw=0, zorder=0)
            ax.axhline(value, color=style.BLACK if name == "bias" else style.INK, lw=1.1, ls=dashes, zorder=2)
            ax.annotate(
                name, (1.0, value), xycoords=("axes fraction", "data"), xytext=(4, 0), textcoords="offset points",
                va="center", fontsize=7.0, color=style.INK, annotation_clip=False,
            )  # fmt: skip
        ax.axhline(1.0 if ratio else 0.0, color=style.BAND_EDGE, lw=0.5, ls=":", zorder=1)
        middle = (a + b) / 2
        room = 0.05 * (float(middle.max() - middle.min()) or 1.0)
        ax.set_xlim(float(middle.min()) - room, float(middle.max()) + room)
        ends = [lower[1], upper[2], *((b / a if ratio else b - a).tolist() if persons else [])]
        room = 0.06 * (max(ends) - min(ends) or 1.0)
        ax.set_ylim(min(ends) - room, max(ends) + room)
        ax.set_xlabel(xlabel)
        ax.set_ylabel(ylabel)
        style.finish(ax, **texts)
    return ax
