"""Figure of groups: everybody's change by group, and how the groups differ, on a scale of its own."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from outcomes.errors import DesignError
from outcomes.reports import format as fmt
from outcomes.reports.figures import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import ArrayLike, NDArray

SPREAD = 0.3
"""Largest distance of a mark from the middle of its group, in groups."""


def changes_by_group(
    changes: Sequence[ArrayLike],
    *,
    labels: Sequence[str],
    means: Sequence[float] = (),
    differences: Sequence[tuple[float, float, float]] = (),
    names: Sequence[str] = (),
    ylabel: str = "",
    side_label: str = "difference",
    persons: bool = True,
    ax: Axes | None = None,
    **words: Any,
) -> Axes:
    """Draw one ring per person by group, the mean of each group, and at the side the differences with their intervals.

    A mean has no interval here: whether one interval leaves out zero and another does not is no evidence of a
    difference between groups. The interval at the side is.

    Parameters
    ----------
    changes : sequence of array of shape (n_people_of_group,)
        Later minus earlier, in the measure's unit, group by group; no missing values.
    labels : sequence of str
        What readers call each group.
    means : sequence of float
        Mean change of each group, from the record: a strong line.
    differences : sequence of (float, float, float)
        Difference from the reference group and the ends of its interval, from the record, one for each other group.
    names : sequence of str
        What each difference is called.
    ylabel, side_label : str
        Of the changes, and of the differences.
    persons : bool
        False draws the means and no mark of a person.
    ax : Axes, optional
    **words
        Title, note, source and synthetic; see `style.finish`.

    Returns
    -------
    Axes
        The panel of the changes; the panel of the differences stands at its right.

    Raises
    ------
    DesignError
        Fewer than two groups, one without people, or lengths that differ.
    """
    import numpy as np

    found = [np.sort(np.asarray(one, dtype=float)) for one in changes]
    if len(found) < 2 or len(labels) != len(found) or (len(means) and len(means) != len(found)):
        raise DesignError("at least two groups are needed, each with a label and a mean")
    if not all(len(one) for one in found):
        raise DesignError("a group has nobody with both values")
    if len(names) != len(differences):
        raise DesignError("each difference needs a name")
    with style.look():
        ax, side = _two_panels(ax, bool(len(differences)))
        ax.axhline(0, color=style.INK, lw=0.6, zorder=1)
        low, high = min(one[0] for one in found), max(one[-1] for one in found)
        for i, one in enumerate(found):
            if persons:
                at = i + _beside(one, high - low)
                ax.scatter(at, one, s=20, marker="o", facecolor="white", edgecolor=style.PERSON, lw=0.8, zorder=2)
            if len(means):
                ax.plot([i - SPREAD, i + SPREAD], [means[i]] * 2, color=style.BLACK, lw=2.2, zorder=3)
        ax.set_xlim(-0.6, len(found) - 0.4)
        wrapped = ["\n".join(textwrap.wrap(fmt.clean(label, 48), 16)) for label in labels]
        ticks = [f"{label}\nn = {len(one)}" for label, one in zip(wrapped, found, strict=True)]
        ax.set_xticks(range(len(found)), ticks)
        ax.tick_params(axis="x", length=0)
        ax.set_ylabel(ylabel)
        if side is not None:
            _side_panel(side, differences, names, side_label)
        style.finish(ax, **words)
    return ax


def _two_panels(ax: Axes | None, wanted: bool) -> tuple[Axes, Axes | None]:
    if not wanted:
        return (style.new_axes() if ax is None else ax), None
    if ax is not None:
        return ax, ax.inset_axes((1.16, 0.0, 0.36, 1.0))
    pair = style.new_figure(style.TWO_COLUMNS).subplots(1, 2, width_ratios=[2.4, 1.0])
    return pair[0], pair[1]


def _beside(values: NDArray[Any], room: float) -> NDArray[Any]:
    """Return how far each of the sorted values stands from the middle, so that marks of near values do not hide each
    other: in turns to the right and to the left."""
    import numpy as np

    out = np.zeros(len(values))
    step, start = 0.03 * room, 0
    for i in range(1, len(values) + 1):
        if i == len(values) or values[i] - values[start] > step:
            n = i - start
            turns = np.array([(k + 1) // 2 * (1 if k % 2 else -1) for k in range(n)], dtype=float)
            out[start:i] = turns * min(0.09, SPREAD / max(1, n // 2))
            start = i
    return out


def _side_panel(
    side: Axes, differences: Sequence[tuple[float, float, float]], names: Sequence[str], label: str
) -> None:
    """Draw the differences with their intervals against none."""
    side.axhline(0, color=style.INK, lw=0.6, zorder=1)
    for i, (value, low, high) in enumerate(differences):
        side.plot([i, i], [low, high], color=style.BLACK, lw=2.6, solid_capstyle="butt", zorder=3)
        side.plot([i], [value], color=style.BLACK, marker="D", ms=6, zorder=4)
    reach = 1.3 * max(max(abs(low), abs(high)) for _, low, high in differences) or 1.0
    side.set_ylim(-reach, reach)
    side.set_xlim(-0.6, len(differences) - 0.4)
    side.set_xticks(range(len(names)), ["\n".join(textwrap.wrap(fmt.clean(name, 60), 16)) for name in names])
    side.tick_params(axis="x", length=0)
    side.set_ylabel(label)
    side.yaxis.set_label_position("right")
    side.yaxis.tick_right()
    side.spines["left"].set_visible(False)
    side.spines["right"].set_visible(True)
    style.plain_ticks(side.yaxis)
