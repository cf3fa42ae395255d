"""Writes one view as a picture by itself, PNG or SVG, with what it shows written below it."""

from __future__ import annotations

import re
import textwrap
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from pulsewright.atomic import replacing
from pulsewright.errors import EvidenceError
from pulsewright.review import Review, SheetView
from pulsewright.session import Session
from pulsewright_analysis.findings import Watch
from pulsewright_analysis.results import Findings
from pulsewright_app.evidence.accumulating import UNWATCHED
from pulsewright_app.evidence.drawing import MUTED, picture_file
from pulsewright_app.evidence.numbers import readable
from pulsewright_app.evidence.view_pictures import ViewDrawing, drawing_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SUFFIXES = (".png", ".svg")
MM_AN_INCH = 25.4
DPI = 150.0
"""Of a picture that is as wide on paper as on a screen."""
SMALLEST, LARGEST = 240, 8000
"""Pixels of a side."""
_MM_A_LETTER = 1.22
_MM_A_LINE = 3.3
_CAPTION_POINTS = 6.5


@dataclass(frozen=True)
class PictureSize:
    """How large a picture is.

    Attributes
    ----------
    width, height : int
        Pixels of a PNG; an SVG is shown as large as these.
    density : int
        Times as many pixels each way, for screens and printers that have them.
    """

    width: int
    height: int
    density: int = 1

    def __post_init__(self) -> None:
        if not all(SMALLEST <= side <= LARGEST for side in (self.width, self.height)):
            raise EvidenceError(
                f"a picture of {self.width} × {self.height} pixels cannot be made",
                f"choose from {SMALLEST} to {LARGEST} for each side",
            )

    @property
    def mm(self) -> tuple[float, float]:
        """Width and height on paper, millimetres."""
        return self.width / DPI * MM_AN_INCH, self.height / DPI * MM_AN_INCH


def write_view(
    view: SheetView,
    session: Session,
    findings: Findings,
    review: Review,
    path: Path,
    size: PictureSize,
    watch: Watch = UNWATCHED,
) -> None:
    """Write a view as PNG or SVG, by the ending of the file's name; the old file is replaced whole or stays.

    Raises
    ------
    EvidenceError
        If the name ends otherwise, or the file cannot be written.
    PulsewrightError
        If the view cannot be drawn.
    Cancelled
        If it was called off.
    """
    form = _form(path)
    made = drawing_of(view, session, findings, review, watch)
    data = picture_file(form, size.mm, DPI * size.density, lambda figure: _with_caption(figure, made, session, size))
    write_picture(path, _in_pixels(data, size) if form == "svg" else data, watch)


def _in_pixels(data: bytes, size: PictureSize) -> bytes:
    """Return an SVG that is shown at the size that was chosen: its own would be that on paper."""
    for side, pixels in (("width", size.width), ("height", size.height)):
        own = re.compile(rf'(<svg\b[^>]*?\b{side}=")[^"]*'.encode())
        data = own.sub(rb"\g<1>" + str(pixels).encode(), data, count=1)
    return data


def write_picture(path: Path, data: bytes, watch: Watch = UNWATCHED) -> None:
    """Write a picture that is made; the old file is replaced whole or stays.

    Raises
    ------
    EvidenceError
        If the file cannot be written.
    Cancelled
        If it was called off.
    """
    try:
        with replacing(path) as temporary:
            temporary.write_bytes(data)
            watch.check()  # for the last time: the old file is still there
    except (OSError, ValueError) as error:  # a NUL in the path is a ValueError
        raise EvidenceError(
            f"{path}: cannot be written ({getattr(error, 'strerror', None) or error}); "
            "what was there before is untouched",
            "make room, or choose a folder that you may write to",
        ) from error


def _form(path: Path) -> Literal["svg", "png"]:
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        raise EvidenceError(f"{path.name}: a picture is written as .png or .svg", "end the name of the file so")
    return "svg" if suffix == ".svg" else "png"


def _with_caption(figure: Figure, made: ViewDrawing, session: Session, size: PictureSize) -> None:
    """Draw the view, and below it the session's name and what is shown."""
    name = session.file.name if session.file is not None else session.title or "A session in memory"
    width, height = size.mm
    lines = textwrap.wrap(readable(f"{name}. {made.caption}"), max(int(width / _MM_A_LETTER), 20))
    below = min(_MM_A_LINE * len(lines) + 1.5, 0.6 * height)
    parts: Any = figure.subfigures(2, 1, height_ratios=(height - below, below))
    made.draw(parts[0])
    parts[1].text(
        1.5 / width,
        0.95,
        "\n".join(lines),
        ha="left",
        va="top",
        fontsize=_CAPTION_POINTS,
        color=MUTED,
        linespacing=1.25,
    )
