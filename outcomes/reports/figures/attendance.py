"""Attendance of every person, week by week."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from outcomes.errors import DesignError
from outcomes.reports.figures import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import ArrayLike

STEPS = (0.0, 0.5, 0.8, 1.0)
"""Ends of the steps of shade: none, less than half, less than four fifths, less than all, all of the plan."""

NAMES = ("none", "under 1/2", "under 4/5", "under all", "all or more")


def attendance_map(
    delivered: ArrayLike,
    planned: ArrayLike,
    *,
    weeks: ArrayLike | None = None,
    ax: Axes | None = None,
    **texts: Any,
) -> Axes:
    """Draw who came in which week: one row a person, one column a week, shade by the share of the planned dose.

    Parameters
    ----------
    delivered, planned : array of shape (n_participants, n_weeks)
        Of the same dose; nan or 0 planned where nothing was due: that cell holds a hairline. A week with nothing
        delivered of a plan holds a cross, so that shade is not the only sign.
    weeks : array of shape (n_weeks,), optional
        1 onward by default.
    ax : Axes, optional
    **texts
        Title, note, source and synthetic; see `style.finish`.

    Raises
    ------
    DesignError
        The tables differ in shape, or there is nobody.

    Notes
    -----
    Rows come in the order given: a copy for others shuffles them before.
    """
    import numpy as np
    import seaborn as sns

    done, plan = np.asarray(delivered, dtype=float), np.asarray(planned, dtype=float)
    if done.ndim != 2 or done.shape != plan.shape or not done.size:
        raise DesignError("delivered and planned must be tables of people by weeks, of one shape")
    due = np.nan_to_num(plan) > 0
    share = np.full(done.shape, np.nan)
    share[due] = np.nan_to_num(done[due]) / plan[due]
    step = np.where(due, np.digitize(share, (1e-12, *STEPS[1:])), np.nan)
    number = np.arange(1, done.shape[1] + 1) if weeks is None else np.asarray(weeks, dtype=float)
    with style.look():
        ax = style.new_axes((16.0, 4.2 + _height(len(done)))) if ax is None else ax
        sns.heatmap(step, ax=ax, cmap=_shades(), vmin=-0.5, vmax=4.5, cbar=False, linewidths=0.4, linecolor="white",
                    xticklabels=False, yticklabels=False)  # fmt: skip
        _signs(ax, np.argwhere(due & (share == 0)), "x", style.INK)
        _signs(ax, np.argwhere(~due), "_", style.BAND_EDGE)
        every = max(1, len(number) // 16)
        ax.set_xticks(np.arange(len(number))[::every] + 0.5, [f"{w:g}" for w in number[::every]])
        ax.set_xlabel("week from enrolment")
        ax.set_ylabel(f"people (n = {len(done)})")
        _key(ax, len(done))
        style.finish(ax, **texts)
    return ax


def _height(n: int) -> float:
    """Return the height of the map of `n` people, in cm."""
    return max(2.0, 0.22 * n)


def _shades() -> Any:
    """Return five steps of one hue, from almost white to our blue."""
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list("share", ["#F4F7F9", "#C9DDEC", "#8FBBDA", "#4795C6", style.BLUE], N=5)


def _signs(ax: Axes, cells: Any, marker: str, colour: str) -> None:
    if len(cells):
        ax.scatter(cells[:, 1] + 0.5, cells[:, 0] + 0.5, marker=marker, s=11, lw=0.7, color=colour)


def _key(ax: Axes, n: int) -> None:
    """Write the steps of shade below the map, in place of a colour bar."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    shades = _shades()
    handles: list[Any] = [Patch(facecolor=shades(i), edgecolor=style.BAND_EDGE, lw=0.4, label=name)
                          for i, name in enumerate(NAMES)]  # fmt: skip
    for marker, name, colour in (("x", "missed", style.INK), ("_", "not due", style.BAND_EDGE)):
        handles.append(Line2D([], [], ls="", marker=marker, ms=4, color=colour, label=name))
    below = -1.4 / _height(n)
    ax.legend(handles=handles, loc="upper left", bbox_to_anchor=(-0.01, below), ncols=7, fontsize=6.5,
              handlelength=1.2, columnspacing=1.0)  # fmt: skip
