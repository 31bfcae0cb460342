"""Figures of change: before and after, change against measurement error, grades before and after."""

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


def paired_change(
    before: ArrayLike,
    after: ArrayLike,
    *,
    mean: tuple[float, float, float] | None = None,
    error: float | None = None,
    unpaired: ArrayLike = (),
    labels: tuple[str, str] = ("before", "after"),
    ylabel: str = "",
    persons: bool = True,
    means: tuple[float, float] | None = None,
    spreads: tuple[float, float] | None = None,
    limits: tuple[tuple[float, float], float] | None = None,
    ax: Axes | None = None,
    **words: Any,
) -> Axes:
    """Draw one thin line per person from before to after, and the mean change with its interval at the side.

    Parameters
    ----------
    before, after : array of shape (n_participants,)
        In the measure's unit; no missing values.
    mean : (float, float, float), optional
        Mean change and the ends of its interval, from the record.
    error : float, optional
        Minimal detectable change: the grey band at the side, and darker lines of people whose change is at least that
        large. None for a measure without one, and for ordinal grades.
    unpaired : array
        First values of people without a second one: a short dash.
    labels : (str, str)
        Names of the two visits.
    ylabel : str
        Measure and unit.
    persons : bool
        False draws the two means and no line of a person.
    means : (float, float), optional
        Mean before and after, from the record; the strong line.
    spreads : (float, float), optional
        Standard deviation before and after; bars about the means.
    limits : ((float, float), float), optional
        Ends of the scale of values, and the largest change at the side: the same for panels that are compared.
    ax : Axes, optional
        A new figure by default, readable at 8 cm.
    **words
        Title, note, source and synthetic; see `style.finish`.

    Returns
    -------
    Axes
        The panel of the two visits; the panel of the change stands at its right.

    Raises
    ------
    DesignError
        The two columns differ in length, or nobody has both values.
    """
    import numpy as np

    first, second = _pair(before, after)
    with style.look():
        ax, side = _two_panels(ax, mean is not None)
        if persons:
            beyond = np.abs(second - first) >= (np.inf if error is None else error)
            for mask, colour, width in ((~beyond, style.PERSON, 0.5), (beyond, style.INK, 0.7)):
                ax.plot([0, 1], np.vstack([first, second])[:, mask], color=colour, lw=width, zorder=2)
            alone = np.asarray(unpaired, dtype=float)
            dash: dict[str, Any] = {"marker": "_", "s": 22, "color": style.INK, "lw": 0.8, "zorder": 2}
            ax.scatter(np.full(len(alone), -0.07), alone, **dash)
        if means is not None:
            ax.plot([0, 1], means, color=style.BLACK, lw=2.2, marker="D", ms=5, zorder=4)
        if means is not None and spreads is not None:
            ax.errorbar([0, 1], means, yerr=spreads, color=style.INK, lw=0, elinewidth=0.9, capsize=3, zorder=3)
        ax.set_xlim(-0.16, 1.1)
        ax.set_xticks([0, 1], ["\n".join(textwrap.wrap(fmt.clean(label, 24), 12)) for label in labels])
        if limits is not None:
            ax.set_ylim(*limits[0])
        ax.set_ylabel(ylabel)
        style.plain_ticks(ax.yaxis)
        if mean is not None and side is not None:
            _side_panel(side, mean, error, 0.0 if limits is None else limits[1])
        style.finish(ax, **{"wrap": 54, **words})
    return ax


def _pair(before: ArrayLike, after: ArrayLike) -> tuple[Any, Any]:
    import numpy as np

    first, second = (np.asarray(values, dtype=float) for values in (before, after))
    if first.shape != second.shape or first.ndim != 1:
        raise DesignError("before and after differ in length")
    if not len(first):
        raise DesignError("nobody has both values")
    return first, second


def _two_panels(ax: Axes | None, wanted: bool) -> tuple[Axes, Axes | None]:
    if not wanted:
        return (style.new_axes(style.ONE_COLUMN) if ax is None else ax), None
    if ax is not None:
        return ax, ax.inset_axes((1.12, 0.0, 0.34, 1.0))
    pair = style.new_figure(style.ONE_COLUMN).subplots(1, 2, width_ratios=[2.5, 1.0])
    return pair[0], pair[1]


def _side_panel(side: Axes, mean: tuple[float, float, float], error: float | None, largest: float) -> None:
    """Draw the mean change with its interval against the band of measurement error, on a scale of its own."""
    value, low, high = mean
    reach = 1.5 * max(abs(low), abs(high), error or 0.0, largest) or 1.0
    side.set_ylim(-reach, reach)
    if error is not None:
        style.error_band(side, error)
        name = style.ERROR_LABEL.replace(" of ", "\nof ")
        side.text(0.5, -error - 0.04 * reach, name, ha="center", va="top", fontsize=6.5, color=style.QUIET)
    side.axhline(0, color=style.INK, lw=0.6, zorder=1)
    side.plot([0.5, 0.5], [low, high], color=style.BLACK, lw=2.6, solid_capstyle="butt", zorder=3)
    side.plot([0.5], [value], color=style.BLACK, marker="D", ms=6, zorder=4)
    side.set_xlim(0, 1)
    side.set_xticks([0.5], ["mean change"])
    side.spines["left"].set_visible(False)
    side.spines["right"].set_visible(True)
    side.yaxis.tick_right()
    style.plain_ticks(side.yaxis)


def change_against_error(
    change: ArrayLike,
    *,
    error: float,
    up: bool = True,
    words: tuple[str, str] = ("better", "worse"),
    counts: tuple[str, str, str] | None = None,
    ylabel: str = "",
    ax: Axes | None = None,
    **texts: Any,
) -> Axes:
    """Draw one mark per person, sorted by change, against the band of measurement error; not for ordinal grades.

    Parameters
    ----------
    change : array of shape (n_participants,)
        Later minus earlier, in the measure's unit; no missing values.
    error : float
        Minimal detectable change; above zero.
    up : bool
        Whether the good or hoped-for direction is upwards.
    words : (str, str)
        What a change beyond error in the good and in the other direction is called.
    counts : (str, str, str), optional
        People in the good direction, within error, in the other direction, from the record; written beside the marks.
        An empty text where a count is withheld.
    ylabel : str
    ax : Axes, optional
    **texts
        Title, note, source and synthetic; see `style.finish`.

    Raises
    ------
    DesignError
        Nobody has a change, or `error` is not above zero.
    """
    import numpy as np

    values = np.sort(np.asarray(change, dtype=float))
    if not len(values):
        raise DesignError("nobody has both values")
    if not error > 0:
        raise DesignError("the measurement error is not above zero")
    good = values >= error if up else values <= -error
    other = values <= -error if up else values >= error
    rank = np.arange(1, len(values) + 1)
    with style.look():
        ax = style.new_axes() if ax is None else ax
        style.error_band(ax, error)
        ax.axhline(0, color=style.INK, lw=0.6, zorder=1)
        ax.vlines(rank, 0, values, color=style.PERSON, lw=0.5, zorder=1.5)
        marks = style.class_marks(up=up)
        for name, mask in (("good", good), ("within", ~good & ~other), ("other", other)):
            ax.scatter(rank[mask], values[mask], s=26, lw=0.9, zorder=3, label=name, **marks[name])
        ax.set_ylabel(ylabel)
        ax.set_xlabel(f"people, sorted by change (n = {len(values)})")
        ax.set_xticks([])
        _beside(ax, error, up, words, counts, len(values))
        style.finish(ax, **texts)
    return ax


def _beside(ax: Axes, error: float, up: bool, words: tuple[str, str], counts: Any, n: int) -> None:
    """Write the counts at the right, each at its height, and the name of the band."""
    low, high = ax.get_ylim()
    ax.set_ylim(min(low, -1.9 * error), max(high, 1.9 * error))
    ax.set_xlim(0.2, n + 0.8)
    ends = ax.get_ylim()
    heights = ((error + ends[1]) / 2, 0.0, (-error + ends[0]) / 2)
    names = (words[0], "within", words[1]) if up else (words[1], "within", words[0])
    colours = (style.BLUE, style.INK, style.VERMILLION) if up else (style.VERMILLION, style.INK, style.BLUE)
    shown = counts if counts is None or up else counts[::-1]
    for i, (height, name) in enumerate(zip(heights, names, strict=True)):
        text = name if shown is None else f"{shown[i]} {name}".lstrip()
        if i == 1:
            text += "\n" + style.ERROR_LABEL.replace(" of ", "\nof ")
        ink = style.INK if colours[i] == style.VERMILLION else colours[i]
        ax.annotate(
            text, (1.0, height), xycoords=("axes fraction", "data"), xytext=(5, 0), textcoords="offset points",
            ha="left", va="center", fontsize=7.5, color=ink,
        )  # fmt: skip


def ordinal_shares(
    levels: Sequence[str],
    before: Sequence[int],
    after: Sequence[int],
    *,
    labels: tuple[str, str] = ("before", "after"),
    smallest: int = 1,
    ax: Axes | None = None,
    **texts: Any,
) -> Axes:
    """Draw the share of people at each grade before and after, as two stacked bars with the counts in them.

    Parameters
    ----------
    levels : sequence of str
        Grades in their order, unused ones included.
    before, after : sequence of int
        People at each grade; same total.
    labels : (str, str)
        Names of the two visits.
    smallest : int
        Counts below it are not written.
    ax : Axes, optional
    **texts
        Title, note, source and synthetic; see `style.finish`.

    Raises
    ------
    DesignError
        Lengths differ, or there is nobody.
    """
    import matplotlib as mpl

    if not len(levels) == len(before) == len(after):
        raise DesignError("one count per grade is needed before and after")
    if not sum(before) or not sum(after):
        raise DesignError("nobody has both values")
    shades = mpl.colormaps["cividis"].resampled(max(len(levels), 2))
    with style.look():
        ax = style.new_axes((16.0, 5.4)) if ax is None else ax
        for y, counts in ((1, before), (0, after)):
            _stack(ax, y, levels, counts, shades, smallest)
        ax.set_yticks(
            [1, 0], [f"{fmt.clean(label, 24)}\nn = {sum(c)}" for label, c in zip(labels, (before, after), strict=True)]
        )
        ax.set_xlim(0, 1)
        ax.set_ylim(-0.55, 1.75)
        ax.set_xticks([0, 0.25, 0.5, 0.75, 1], ["0", "1/4", "1/2", "3/4", "all"])
        ax.set_xlabel("share of people")
        ax.spines["left"].set_visible(False)
        ax.tick_params(axis="y", length=0)
        style.finish(ax, **texts)
    return ax


def _stack(ax: Axes, y: float, levels: Sequence[str], counts: Sequence[int], shades: Any, smallest: int) -> None:
    """Draw one stacked bar; grade above it, count inside where there is room."""
    left, total = 0.0, sum(counts)
    for i, (level, n) in enumerate(zip(levels, counts, strict=True)):
        width = n / total
        if not n:
            continue
        red, green, blue, _ = shades(i)
        ax.barh(y, width, left=left, height=0.5, color=shades(i), edgecolor=style.INK, lw=0.6)
        dark = 0.299 * red + 0.587 * green + 0.114 * blue < 0.5
        middle = left + width / 2
        if width > 0.025 and n >= smallest:
            ax.text(
                middle, y, fmt.number(n), ha="center", va="center", fontsize=7.5, color="white" if dark else "black"
            )
        ax.text(middle, y + 0.29, fmt.clean(level, 12), ha="center", va="bottom", fontsize=7, color=style.QUIET)
        left += width
