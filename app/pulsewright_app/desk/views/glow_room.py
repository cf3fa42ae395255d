"""Where Afterglow has ink or a line, so that words can be put where it has none."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from PySide6.QtCore import QRectF

from pulsewright_app.desk.views.glow_lines import Columns
from pulsewright_app.glow import GlowPicture


def share_of_ink(picture: GlowPicture, place: QRectF, box: QRectF) -> float:
    """Return in how much of a box's width a record passes, 0 … 1.

    Parameters
    ----------
    picture : GlowPicture
    place, box : QRectF
        Where the picture lies, and what is looked at; in pixels of the widget.
    """
    across, down = picture.raster.width / place.width(), picture.raster.height / place.height()
    left, right = (max(round((x - place.left()) * across), 0) for x in (box.left(), box.right()))
    top, bottom = (max(round((y - place.top()) * down), 0) for y in (box.top(), box.bottom()))
    inside = np.array([counts[top:bottom, left:right].any(axis=0) for counts in picture.counts])
    return float(inside.any(axis=0).mean()) if inside.size else 0.0


def share_of_lines(lines: Sequence[Columns], box: QRectF) -> float:
    """Return in how much of a box's width one of some lines passes, 0 … 1; the most of any."""
    shares = [0.0]
    for x, top, bottom in lines:
        over = (x >= box.left()) & (x <= box.right())
        if over.any():
            shares.append(float(((bottom >= box.top()) & (top <= box.bottom()))[over].mean()))
    return max(shares)
