"""What all figures of the sheet share: size, type, inks, and SVG that is the same on every day.

Matplotlib draws, its letters as outlines, so that a figure looks alike in every browser, in the PDF and on paper.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from pulsewright_analysis.results import Floats
from pulsewright_app.evidence.numbers import readable
from pulsewright_app.figures_axes import Axis
from pulsewright_app.theme import LIGHT

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_BARS = 400
"""More error bars than this run together into a band that hides the points."""
MOST_VECTORS = 5000
"""More points than this become an image inside the figure: as vectors they would be megabytes, and look the same."""
IMAGE_DPI = 300
WIDTH_MM = 174.0
MM = 1 / 25.4
INK, MUTED, RULE = LIGHT.ink, LIGHT.muted, LIGHT.rule
ACCENT, MISSED, MARKER = LIGHT.accent, LIGHT.missed, LIGHT.marker
SHAPES = ("o", "s", "D", "^", "v", "P", "X", "p")
"""A shape for each module in turn, so that its colour is never the only sign."""

_STYLE: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 7.0,
    "axes.titlesize": 7.5,
    "axes.labelsize": 7.0,
    "xtick.labelsize": 6.5,
    "ytick.labelsize": 6.5,
    "legend.fontsize": 6.5,
    "legend.frameon": False,
    "axes.edgecolor": MUTED,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.5,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.formatter.useoffset": False,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.major.width": 0.5,
    "ytick.major.width": 0.5,
    "lines.linewidth": 0.8,
    "lines.markersize": 3.0,
    "text.color": INK,
    "text.parse_math": False,  # a channel called "$1" is no formula
    "svg.fonttype": "path",
    "svg.hashsalt": "pulsewright",
    "path.simplify": True,
}


def drawn(number: int, height_mm: float, draw: Callable[[Figure], None]) -> str:
    """Return a figure as one SVG element that is the same for the same data.

    Parameters
    ----------
    number : int
        Of the figure; it goes into every name inside, so that figures of one page do not share any.
    height_mm : float
        Millimetres; the width is that of the sheet's text.
    draw : callable
        Draws into the empty figure.
    """
    return _alone(_written("svg", (WIDTH_MM, height_mm), IMAGE_DPI, draw).decode("utf-8"), f"figure{number}-")


def picture_file(
    form: Literal["svg", "png"], size_mm: tuple[float, float], dpi: float, draw: Callable[[Figure], None]
) -> bytes:
    """Return a figure as a file by itself, the same bytes for the same data.

    Parameters
    ----------
    form : str
        ``svg`` or ``png``.
    size_mm : (float, float)
        Width and height, millimetres.
    dpi : float
        Pixels to 25.4 mm: of a PNG, and of images inside an SVG.
    draw : callable
        Draws into the empty figure.
    """
    return _written(form, size_mm, dpi, draw)


def _written(
    form: Literal["svg", "png"], size_mm: tuple[float, float], dpi: float, draw: Callable[[Figure], None]
) -> bytes:
    import logging
    import warnings

    # that its list of fonts cannot be kept, on a full disk, is nothing that anybody must know
    logging.getLogger("matplotlib.font_manager").setLevel(logging.ERROR)
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    written = io.BytesIO()
    with mpl.rc_context(_STYLE), warnings.catch_warnings():
        # letters that the font lacks are drawn as boxes; a name in another script is no reason to complain
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        layout = ConstrainedLayoutEngine(w_pad=0.02, h_pad=0.03)
        figure = Figure((size_mm[0] * MM, size_mm[1] * MM), dpi=dpi, layout=layout)
        draw(figure)
        figure.align_ylabels()
        if form == "png":
            png: Any = FigureCanvasAgg(figure)  # these methods carry no types
            png.print_png(written, metadata={"Software": None})
        else:
            svg: Any = FigureCanvasSVG(figure)
            svg.print_svg(written, metadata={"Date": None, "Creator": None, "Format": None})
    return written.getvalue()


def _alone(svg: str, prefix: str) -> str:
    """Return the SVG element without what stands around it, every name in it with a prefix."""
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<!--.*?-->\s*", "", svg, flags=re.DOTALL)
    svg = re.sub(r"<metadata>.*?</metadata>\s*", "", svg, flags=re.DOTALL)
    # a style element would hold for the whole page that the figure stands in
    svg = re.sub(r"<defs>\s*<style.*?</style>\s*</defs>\s*", "", svg, flags=re.DOTALL)
    svg = svg.replace("<svg ", '<svg stroke-linejoin="round" stroke-linecap="butt" ', 1)
    svg = re.sub(r'(\bid="|href="#|url\(#)', rf"\g<1>{prefix}", svg)
    return svg.strip()


def short(name: str, longest: int = 18) -> str:
    """Return a name in one line, cut where it is too long for a label, its hidden letters shown."""
    name = " ".join(readable(name).split())
    return name if len(name) <= longest else f"{name[: longest - 1]}…"


def axis_text(axis: Axis) -> str:
    """Return the label of an axis with its unit, cut where a channel's name makes it too long."""
    label = short(axis.label, 34)
    return f"{label} / {axis.unit}" if axis.unit else label


def record_axis(axes: Axes, label: str = "Record") -> None:
    """Let an axis count in whole numbers."""
    from matplotlib.ticker import MaxNLocator

    axes.xaxis.set_major_locator(MaxNLocator(nbins=12, integer=True))
    axes.set_xlabel(label)


@dataclass(frozen=True)
class Limits:
    """The limits of one claim, in SI units; None where it is open."""

    claim: int
    low: float | None
    high: float | None


def in_reach(limits: Sequence[Limits], values: Floats) -> list[tuple[str, float]]:
    """Return the limits near enough to some values to be drawn with them, each once, with what it is called."""
    known = values[np.isfinite(values)]
    if not known.size:
        return []
    low, high = float(known.min()), float(known.max())
    room = max(high - low, 0.8 * max(abs(low), abs(high)))
    claims: dict[float, list[int]] = {}
    for limit in limits:
        for end in (limit.low, limit.high):
            if end is not None and low - room <= end <= high + room:
                claims.setdefault(end, []).append(limit.claim)
    return [(f"claim{'s' if len(of) > 1 else ''} {', '.join(map(str, of))}", end) for end, of in claims.items()]


def draw_limits(axes: Axes, axis: Axis, limits: Sequence[tuple[str, float]]) -> None:
    """Draw limits as dashed lines, each with its name to the right of the plot, where it covers nothing."""
    for name, end in limits:
        y = end * axis.factor
        axes.axhline(y, color=ACCENT, linewidth=0.8, linestyle=(0, (6, 2.5)))
        axes.annotate(
            name, (1, y), xycoords=axes.get_yaxis_transform(), xytext=(3, 0), textcoords="offset points", va="center",
            fontsize=6, color=ACCENT, annotation_clip=False,
        )  # fmt: skip


def error_bars(
    axes: Axes, x: np.ndarray, y: np.ndarray, low: np.ndarray, high: np.ndarray, colour: str, width: float = 0.6
) -> None:
    """Draw bars from `low` to `high`; ends that are not known leave their bar out."""
    known = np.isfinite(y) & np.isfinite(low) & np.isfinite(high)
    axes.vlines(x[known], low[known], high[known], color=colour, linewidth=width)


def points(
    axes: Axes, x: np.ndarray, y: np.ndarray, colour: str, *, shape: str = "o", filled: bool = True, size: float = 3.0
) -> None:
    """Draw points, filled or open."""
    axes.plot(
        x, y, linestyle="none", marker=shape, markersize=size, markeredgecolor=colour, markeredgewidth=0.7,
        markerfacecolor=colour if filled else "white", rasterized=len(x) > MOST_VECTORS,
    )  # fmt: skip
