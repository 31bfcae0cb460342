"""Figures of training: dose against plan over the weeks, dose against change."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from outcomes.errors import DesignError
from outcomes.reports.figures import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import ArrayLike


def dose_over_weeks(
    weeks: ArrayLike,
    delivered: ArrayLike,
    planned: ArrayLike | None = None,
    *,
    ylabel: str = "",
    ax: Axes | None = None,
    **texts: Any,
) -> Axes:
    """Draw what was delivered week by week (solid bars) against what was planned (dashed steps, hollow).

    Parameters
    ----------
    weeks : array of shape (n_weeks,)
        1 is the first week.
    delivered : array of shape (n_weeks,)
        Sum over people, in the unit that `ylabel` names; nan where not known.
    planned : array of shape (n_weeks,), optional
        The same for the plan; None or all nan where nothing was planned.
    ylabel : str
    ax : Axes, optional
    **texts
        Title, note, source and synthetic; see `style.finish`.

    Raises
    ------
    DesignError
        There is no week, or lengths differ.
    """
    import numpy as np

    week, done = (np.asarray(values, dtype=float) for values in (weeks, delivered))
    if not len(week) or week.shape != done.shape:
        raise DesignError("one delivered dose per week is needed")
    plan = np.full(len(week), np.nan) if planned is None else np.asarray(planned, dtype=float)
    with style.look():
        ax = style.new_axes((16.0, 7.4)) if ax is None else ax
        ax.bar(week, np.nan_to_num(done), width=0.62, color=style.BLUE, lw=0, zorder=2)
        top = float(np.nanmax(np.concatenate([done, plan, [0.0]])))
        if not np.isnan(plan).all():
            ax.bar(
                week, np.nan_to_num(plan), width=0.86, facecolor="none", edgecolor=style.INK, lw=0.9, ls="--", zorder=3
            )
        ax.set_xlim(week.min() - 0.7, week.max() + 0.7)
        ax.set_ylim(0, top * 1.16 or 1.0)
        ax.set_xticks(week[:: max(1, len(week) // 16)])
        style.plain_ticks(ax.xaxis)
        style.plain_ticks(ax.yaxis)
        ax.set_xlabel("week from enrolment")
        ax.set_ylabel(ylabel)
        _name_both(ax, not np.isnan(plan).all())
        style.finish(ax, **texts)
    return ax


def _name_both(ax: Axes, planned: bool) -> None:
    """Write the two names with their marks at the top right, in place of a legend box."""
    from matplotlib.patches import Patch

    handles = [Patch(facecolor=style.BLUE, lw=0, label="delivered")]
    if planned:
        handles.append(Patch(facecolor="none", edgecolor=style.INK, ls="--", lw=0.9, label="planned"))
    ax.legend(handles=handles, loc="upper right", ncols=2, fontsize=7.5, borderaxespad=0.0, handlelength=1.4)


def dose_against_change(
    dose: ArrayLike,
    change: ArrayLike,
    *,
    slope: tuple[float, float, float] | None = None,
    per: float = 1.0,
    leave_one_out: tuple[float, float] | None = None,
    xlabel: str = "",
    ylabel: str = "",
    persons: bool = True,
    ax: Axes | None = None,
    **texts: Any,
) -> Axes:
    """Draw delivered dose against change, one ring per person, with the record's slope and the range of its interval.

    Parameters
    ----------
    dose, change : array of shape (n_participants,)
        No missing values.
    slope : (float, float, float), optional
        Change per `per` of dose and the ends of its interval, from the record; the line goes through the two means and
        is drawn within the data only.
    per : float
        Amount of dose that the slope is given for, in the unit of `dose`.
    leave_one_out : (float, float), optional
        Lowest and highest slope with one person left out; the dotted lines.
    xlabel, ylabel : str
    persons : bool
        False draws no ring of a person.
    ax : Axes, optional
    **texts
        Title, note, source and synthetic; see `style.finish`.

    Raises
    ------
    DesignError
        Lengths differ or there is nobody.
    """
    import numpy as np

    x, y = (np.asarray(values, dtype=float) for values in (dose, change))
    if not len(x) or x.shape != y.shape:
        raise DesignError("one dose and one change per person are needed")
    with style.look():
        ax = style.new_axes((16.0, 8.6)) if ax is None else ax
        ax.axhline(0, color=style.INK, lw=0.6, zorder=1)
        if persons:
            ax.scatter(x, y, s=24, facecolor="white", edgecolor=style.INK, lw=0.8, zorder=3)
        if slope is not None:
            _line(ax, x, y, slope, per, leave_one_out)
        if not persons:
            ax.set_xticks([])
            ax.set_yticks([0])
        ax.set_xlabel(xlabel)
        ax.set_ylabel(ylabel)
        style.plain_ticks(ax.xaxis)
        style.finish(ax, **texts)
    return ax


def _line(ax: Axes, x: Any, y: Any, slope: tuple[float, float, float], per: float, others: Any) -> None:
    import numpy as np

    ends = np.array([x.min(), x.max()])
    value, low, high = ((ends - x.mean()) * s / per + y.mean() for s in slope)
    ax.fill_between(ends, low, high, color=style.BAND, lw=0, zorder=0.5)
    for edge in (low, high):
        ax.plot(ends, edge, color=style.BAND_EDGE, lw=0.5, zorder=0.6)
    ax.plot(ends, value, color=style.BLACK, lw=2.0, zorder=2)
    for one in others or ():
        ax.plot(ends, (ends - x.mean()) * one / per + y.mean(), color=style.BLACK, lw=0.8, ls=":", zorder=2)
