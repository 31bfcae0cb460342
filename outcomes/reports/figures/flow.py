"""The flow of participants: from enrolment to analysis, in boxes whose numbers come from the record."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from outcomes.errors import DesignError
from outcomes.reports import format as fmt
from outcomes.reports.figures import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def participant_flow(
    stages: Sequence[tuple[str, int | None]],
    *,
    beside: Sequence[tuple[int, str]] = (),
    ax: Axes | None = None,
    **texts: Any,
) -> Axes:
    """Draw the flow of participants from top to bottom.

    Parameters
    ----------
    stages : sequence of (str, int or None)
        Name of a stage and people at it, in order; None where the name itself counts them, group by group.
    beside : sequence of (int, str)
        Index of the stage after which people went, and how many went and why: the boxes at the right.
    ax : Axes, optional
    **texts
        Title, note, source and synthetic; see `style.finish`.

    Raises
    ------
    DesignError
        There is no stage.
    """
    if not stages:
        raise DesignError("there is no stage")
    with style.look():
        ax = style.new_axes((16.0, 1.7 * len(stages) + 1.6)) if ax is None else ax
        ax.set_axis_off()
        ax.set_xlim(0, 10)
        ax.set_ylim(-len(stages) + 0.45, 0.55)
        for i, (name, n) in enumerate(stages):
            label = "\n".join(textwrap.wrap(fmt.clean(name, 240), 46))
            text = label if n is None else f"{label}\nn = {fmt.number(n)}"
            _box(ax, 2.9, -i, 5.4, text, style.INK)
            if i:
                _arrow(ax, (2.9, -i + 1), (2.9, -i + _height(text) / 2))
        for index, text in beside:
            y = -index - 0.5
            _arrow(ax, (2.9, y), (6.15, y))
            _box(ax, 8.05, y, 3.7, "\n".join(textwrap.wrap(text, 34)), style.QUIET, dashed=True)
        style.finish(ax, **texts)
    return ax


def _height(text: str) -> float:
    """Return the height of a box, by its lines."""
    return 0.2 + 0.2 * (text.count("\n") + 1)


def _box(ax: Axes, x: float, y: float, width: float, text: str, colour: str, *, dashed: bool = False) -> None:
    from matplotlib.patches import Rectangle

    height = _height(text)
    corner = (x - width / 2, y - height / 2)
    ax.add_patch(Rectangle(corner, width, height, fill=True, facecolor="white", edgecolor=colour, lw=0.8, zorder=3,
                           ls="--" if dashed else "-"))  # fmt: skip
    ax.text(
        x,
        y,
        text,
        ha="center",
        va="center",
        fontsize=7.5 if not dashed else 7,
        color=style.INK,
        zorder=4,
        linespacing=1.3,
    )


def _arrow(ax: Axes, start: tuple[float, float], end: tuple[float, float]) -> None:
    arrow = {"arrowstyle": "-|>", "color": style.INK, "lw": 0.8, "shrinkA": 0, "shrinkB": 0, "mutation_scale": 7}
    ax.annotate("", end, xytext=start, arrowprops=arrow, zorder=2)
