"""Figures of counts: how many people, and how much was delivered month by month."""

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

IN_A_ROW = 20
"""Marks in a row of `people_counts`; a gap after the tenth makes them easy to count."""


def people_counts(
    words: Sequence[str],
    counts: Sequence[int],
    *,
    kinds: Sequence[str] = ("good", "within", "other"),
    up: bool = True,
    marks: bool = True,
    ax: Axes | None = None,
    **more: Any,
) -> Axes:
    """Draw how many people are better, about the same and worse: one mark counts one person, and no mark is anybody's.

    Parameters
    ----------
    words : sequence of str
        What the classes are called, the good direction first.
    counts : sequence of int
        People in each.
    kinds : sequence of {"good", "within", "other"}
        The mark of each class.
    up : bool
        Whether the good direction is upwards.
    marks : bool
        False draws a bar of that length in place of marks.
    ax : Axes, optional
    **more
        Title, note, source and synthetic; see `style.finish`.

    Raises
    ------
    DesignError
        There is no class, or lengths differ.
    """
    if not words or not len(words) == len(counts) == len(kinds):
        raise DesignError("one name, one count and one kind of mark per class are needed")
    rows = [max(1, -(-n // IN_A_ROW)) if marks else 1 for n in counts]
    look = style.class_marks(up=up)
    with style.look():
        ax = style.new_axes((16.0, 1.7 + 0.62 * (sum(rows) + len(rows)))) if ax is None else ax
        top = 0.0
        for name, n, height, kind in zip(words, counts, rows, kinds, strict=True):
            middle = top - (height - 1) / 2
            ax.text(-0.8, middle, "\n".join(textwrap.wrap(name, 24)), ha="right", va="center", fontsize=8.5)
            ax.text(0.2, middle, fmt.number(n), ha="left", va="center", fontsize=13, weight="bold")
            if marks:
                _marks(ax, n, top, look[kind])
            else:
                ax.barh(middle, 20.0 * n / max(counts), left=4.5, height=0.7, facecolor=look[kind]["facecolor"],
                        edgecolor=look[kind]["edgecolor"], lw=0.9)  # fmt: skip
            top -= height + 0.9
        ax.set_xlim(-7.5, 26.0)
        ax.set_ylim(top + 0.2, 0.9)
        ax.set_axis_off()
        style.finish(ax, **{"wrap": 112, **more})
    return ax


def _marks(ax: Axes, n: int, top: float, mark: dict[str, Any]) -> None:
    columns = [i % IN_A_ROW for i in range(n)]
    x = [4.5 + column + (0.5 if column >= IN_A_ROW // 2 else 0.0) for column in columns]
    y = [top - i // IN_A_ROW for i in range(n)]
    ax.scatter(x, y, s=52, lw=1.0, **mark)


def delivered_by_month(
    labels: Sequence[str],
    delivered: ArrayLike,
    planned: ArrayLike | None = None,
    *,
    ylabel: str = "",
    ax: Axes | None = None,
    **texts: Any,
) -> Axes:
    """Draw what was delivered (solid bars, with its number) inside what was planned (hollow, dashed), month by month.

    Parameters
    ----------
    labels : sequence of str
        Names of the months.
    delivered : array of shape (n_months,)
        In the unit that `ylabel` names; nan where not known.
    planned : array of shape (n_months,), optional
        None where nothing was planned.
    ylabel : str
    ax : Axes, optional
    **texts
        Title, note, source and synthetic; see `style.finish`.

    Raises
    ------
    DesignError
        There is no month, or lengths differ.
    """
    import numpy as np

    done = np.asarray(delivered, dtype=float)
    plan = np.full(len(done), np.nan) if planned is None else np.asarray(planned, dtype=float)
    if not len(done) or not len(labels) == len(done) == len(plan):
        raise DesignError("one name and one delivered amount per month are needed")
    place = [float(i) for i in range(len(done))]
    with style.look():
        ax = style.new_axes((16.0, 5.6)) if ax is None else ax
        ax.bar(place, np.nan_to_num(done), width=0.52, color=style.BLUE, lw=0, zorder=2)
        hollow: dict[str, Any] = {"facecolor": "none", "edgecolor": style.INK, "lw": 0.9, "ls": "--", "zorder": 3}
        ax.bar(place, np.nan_to_num(plan), width=0.76, **hollow)
        top = float(np.nanmax(np.concatenate([done, plan, [0.0]]))) or 1.0
        for x, amount, aim in zip(place, done, plan, strict=True):
            if not np.isnan(aim):
                ax.text(x, aim + 0.02 * top, f"planned {fmt.number(float(aim))}", ha="center", va="bottom", fontsize=7)
            if not np.isnan(amount):
                _inside(ax, float(x), float(amount), top)
        ax.set_xticks(place, ["\n".join(textwrap.wrap(fmt.clean(label, 40), 16)) for label in labels])
        ax.set_ylim(0, top * 1.14)
        ax.set_ylabel(ylabel)
        style.plain_ticks(ax.yaxis)
        style.finish(ax, **texts)
    return ax


def _inside(ax: Axes, x: float, amount: float, top: float) -> None:
    """Write a delivered amount in its bar, or above it where the bar is too low."""
    high = amount > 0.16 * top
    y = amount - 0.03 * top if high else amount + 0.02 * top
    ax.text(x, y, f"{fmt.number(amount)}\ndelivered", ha="center", va="top" if high else "bottom", fontsize=7.5,
            color="white" if high else style.INK, weight="bold")  # fmt: skip
