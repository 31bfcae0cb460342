"""Forest of effects: every outcome on one scale, better to the right."""

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


def forest_of_effects(
    labels: Sequence[str],
    values: ArrayLike,
    lows: ArrayLike,
    highs: ArrayLike,
    *,
    texts: Sequence[str] = (),
    primary: Sequence[bool] = (),
    xlabel: str = "",
    ends: tuple[str, str] = ("worse", "better"),
    ax: Axes | None = None,
    **words: Any,
) -> Axes:
    """Draw one estimate with its interval per outcome, all on one scale, in the order given, better to the right.

    Parameters
    ----------
    labels : sequence of str
        Outcomes, in the protocol's order.
    values, lows, highs : array of shape (n_outcomes,)
        On one scale, the sign turned so that right is better; nan where there is no estimate.
    texts : sequence of str
        What stands at the right of each, such as value and interval.
    primary : sequence of bool
        Outcomes whose mark is larger.
    xlabel : str
    ends : (str, str)
        What left and right of zero is called.
    ax : Axes, optional
    **words
        Title, note, source and synthetic; see `style.finish`.

    Raises
    ------
    DesignError
        There is no outcome, or lengths differ.
    """
    import numpy as np

    middle, low, high = (np.asarray(v, dtype=float) for v in (values, lows, highs))
    if not len(labels) or not len(labels) == len(middle) == len(low) == len(high):
        raise DesignError("one value with two ends per outcome is needed")
    first = list(primary) or [False] * len(labels)
    with style.look():
        ax = style.new_axes((16.0, 2.6 + 0.8 * len(labels))) if ax is None else ax
        ax.plot([0, 0], [0.4 - len(labels), 0.5], color=style.INK, lw=0.7, zorder=1)
        for i, main in enumerate(first):
            if np.isnan(middle[i]):
                ax.plot([0], [-i], marker="_", ms=7, color=style.INK, zorder=2)
                continue
            ax.plot([low[i], high[i]], [-i, -i], color=style.BLACK, lw=2.2 if main else 1.2, solid_capstyle="butt")
            ax.plot([middle[i]], [-i], marker="D", color=style.BLACK, ms=7 if main else 4.5, zorder=3)
        ax.set_ylim(-len(labels) + 0.4, 1.2)
        ax.set_yticks(
            [-i for i in range(len(labels))], ["\n".join(textwrap.wrap(fmt.clean(x, 90), 38)) for x in labels]
        )
        ax.tick_params(axis="y", length=0)
        ax.spines["left"].set_visible(False)
        _ends(ax, ends)
        _at_the_right(ax, texts)
        ax.set_xlabel(xlabel)
        style.finish(ax, **{"wrap": 76, **words})
    return ax


def _ends(ax: Axes, ends: tuple[str, str]) -> None:
    """Make the scale symmetric about zero and name its two sides."""
    reach = max(abs(x) for x in ax.get_xlim())
    ax.set_xlim(-reach, reach)
    for x, word, side in ((0.0, f"← {ends[0]}", "left"), (1.0, f"{ends[1]} →", "right")):
        ax.text(
            x, 0.62, word, ha=side, va="bottom", fontsize=7.5, color=style.QUIET, transform=ax.get_yaxis_transform()
        )


def _at_the_right(ax: Axes, texts: Sequence[str]) -> None:
    """Write one text per outcome at the right, where the layout keeps room for it."""
    if not texts:
        return
    other = ax.twinx()
    other.set_ylim(ax.get_ylim())
    other.set_yticks([-i for i in range(len(texts))], list(texts))
    other.tick_params(axis="y", length=0)
    for name in ("left", "right"):
        other.spines[name].set_visible(False)
