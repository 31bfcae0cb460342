"""The house look of figures: colours, marks, sizes, and files that are the same bytes for the same numbers.

Nothing here touches matplotlib's global settings: drawing and saving happen inside `look`.
"""

from __future__ import annotations

import io
import itertools
import warnings
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK = "#3A4A52"
BLUE = "#0072B2"
VERMILLION = "#D55E00"
BLACK = "#000000"
BAND = "#E6EAED"
BAND_EDGE = "#7C8A93"
PERSON = "#76838B"
QUIET = "#5B6770"
"""Blue and vermillion are those of Okabe and Ito (2008); marks have at least 3:1, text at least 4.5:1 on white."""

FONT = "DejaVu Sans"
"""Ships with matplotlib under an open licence; its figures are tabular."""

ERROR_LABEL = "usual error of the test"
ONE_COLUMN = (8.0, 8.4)
TWO_COLUMNS = (16.0, 8.6)
"""Width and height in cm."""

LOOK: dict[str, Any] = {
    "font.family": [FONT],
    "font.size": 8.0,
    "axes.titlesize": 8.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.titlepad": 8.0,
    "axes.labelsize": 8.0,
    "axes.labelcolor": INK,
    "axes.edgecolor": INK,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": True,
    "axes.formatter.use_mathtext": False,
    "axes.formatter.useoffset": False,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 8.0,
    "ytick.labelsize": 8.0,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "xtick.major.size": 3.0,
    "ytick.major.size": 3.0,
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
    "figure.dpi": 100.0,
    "savefig.dpi": 200.0,
    "text.color": INK,
    "text.parse_math": False,
    "text.usetex": False,
    "svg.fonttype": "path",
    "svg.hashsalt": "outcomes",
    "path.simplify": True,
    "legend.frameon": False,
}
"""Our style; never written into the global settings."""


@contextmanager
def look() -> Iterator[None]:
    """Draw in the house look and leave the global settings as they were."""
    import matplotlib as mpl

    with mpl.rc_context():
        mpl.rcdefaults()
        settings: Any = mpl.rcParams
        settings.update(LOOK)
        yield


def new_axes(size: Sequence[float] = TWO_COLUMNS) -> Axes:
    """Return the axes of a new figure that pyplot does not know of.

    Parameters
    ----------
    size : (float, float)
        Width and height in cm.
    """
    axes: Axes = new_figure(size).subplots()
    return axes


def new_figure(size: Sequence[float]) -> Figure:
    """Return a new empty figure that pyplot does not know of; see `new_axes`."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(size[0] / 2.54, size[1] / 2.54), layout="constrained")
    engine: Any = figure.get_layout_engine()
    engine.set(w_pad=0.06, h_pad=0.05)
    return figure


def save(figure: Figure, kind: str, *, title: str = "", description: str = "") -> bytes:
    """Return a figure as a file: the same bytes for the same numbers.

    Parameters
    ----------
    figure : Figure
    kind : {"svg", "png"}
    title, description : str
        Written into the svg.
    """
    out = io.BytesIO()
    _settle(figure)
    metadata = {"Date": None, "Creator": "outcomes", "Title": title, "Description": description}
    with look(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font", category=UserWarning)
        figure.savefig(out, format=kind, metadata=metadata if kind == "svg" else {"Software": "outcomes"})
    return out.getvalue()


def _settle(figure: Figure) -> None:
    """Lay the figure out once and for all: a second layout would move it by a hair."""
    engine = figure.get_layout_engine()
    if engine is None:
        return
    with look(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font", category=UserWarning)
        engine.execute(figure)
    figure.set_layout_engine("none")


def missing_glyphs(texts: Iterable[str]) -> str:
    """Return the characters of `texts` that the font of the figures lacks, each once, in order."""
    from matplotlib.font_manager import FontProperties, findfont
    from matplotlib.ft2font import FT2Font

    known = FT2Font(findfont(FontProperties(family=[FONT]))).get_charmap()
    characters = dict.fromkeys(c for text in texts for c in text)
    return "".join(c for c in characters if c.isprintable() and not c.isspace() and ord(c) not in known)


def finish(
    ax: Axes, *, title: str = "", note: str = "", source: str = "", synthetic: bool = False, wrap: int = 112
) -> None:
    """Write title, the line that names n, unit and direction, the source line and the grey line of synthetic data.

    Parameters
    ----------
    ax : Axes
    title : str
        A finding or a question.
    note, source : str
        Below the axes, small.
    synthetic : bool
    wrap : int
        Characters in a line below the axes; the title, in larger letters, takes seven tenths of them.
    """
    import textwrap

    if title:
        ax.set_title("\n".join(textwrap.wrap(title, int(wrap * 0.7))))
    lines = [line for text in (note, source) if text for line in textwrap.wrap(text, wrap)]
    figure: Any = ax.figure
    if lines:
        figure.supxlabel("\n".join(lines), x=0.02, ha="left", fontsize=6.5, color=QUIET, linespacing=1.35)
    if synthetic:
        figure.suptitle("Synthetic data", x=0.98, ha="right", fontsize=6.5, color=QUIET)


def error_band(ax: Axes, size: float, *, across: bool = True) -> None:
    """Draw the band of measurement error about zero: light grey with hairline edges."""
    span, line = (ax.axhspan, ax.axhline) if across else (ax.axvspan, ax.axvline)
    span(-size, size, color=BAND, zorder=0, lw=0)
    for edge in (-size, size):
        line(edge, color=BAND_EDGE, lw=0.5, zorder=0.5)


Marks = dict[str, dict[str, Any]]


def class_marks(*, up: bool) -> Marks:
    """Return the mark of every class of change.

    Parameters
    ----------
    up : bool
        Whether the good direction is upwards.
    """
    return {
        "good": {"marker": "^" if up else "v", "facecolor": BLUE, "edgecolor": BLUE},
        "within": {"marker": "o", "facecolor": "white", "edgecolor": INK},
        "other": {"marker": "s", "facecolor": VERMILLION, "edgecolor": VERMILLION},
    }


def plain_ticks(axis: Any) -> None:
    """Write the numbers of an axis with our minus sign, and with as many decimals as tell its ticks apart.

    Parameters
    ----------
    axis : matplotlib.axis.Axis
    """
    from matplotlib.ticker import Formatter

    from outcomes.reports.format import number

    class Plain(Formatter):
        at: tuple[float, ...] = ()

        def set_locs(self, locs: Any) -> None:
            self.at = tuple(sorted(float(place) for place in locs))

        def __call__(self, value: float, pos: int | None = None) -> str:
            step = min((b - a for a, b in itertools.pairwise(self.at)), default=1.0)
            decimals = next((d for d in range(4) if abs(round(step, d) - step) < 1e-6 * step), 4)
            return number(float(value), decimals)

    axis.set_major_formatter(Plain())
