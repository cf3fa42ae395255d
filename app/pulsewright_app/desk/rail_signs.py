"""What the rail says about records, and how each sign is drawn, with the brush of the painter."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QPainter, QPolygonF

from pulsewright.session import Session
from pulsewright_analysis.results import Findings
from pulsewright_app.desk.named_records import marks, names_by_record
from pulsewright_app.desk.places import out_of_step, slip_text
from pulsewright_app.desk.work import Extents


@dataclass(frozen=True)
class Signs:
    """What the rail says about records."""

    clipped: dict[int, str]
    """The channels that clip, by record."""
    slipped: dict[int, str]
    """What slips there, in words, by the record where it begins."""
    aside: dict[int, str]
    """The modules out of step, by record."""
    odd: dict[int, str]
    """What is odd about a record's samples or its pulse, in words: repeated, out of place."""


def signs_of(session: Session | None, extents: Extents | None, findings: Findings | None) -> Signs:
    """Return what there is to say about every record."""
    if session is None:
        return Signs({}, {}, {}, {})
    clipped = {} if extents is None else _clipped(session, extents)
    if findings is None or findings.session.records != session.records:
        return Signs(clipped, {}, {}, {})
    sequence = findings.sequence
    slipped: dict[int, list[str]] = {}
    for slip in sequence.slips:
        slipped.setdefault(slip.from_record, []).append(slip_text(slip))
    late = out_of_step(session, findings)
    aside = names_by_record(marks(session.records, list(late.values())), list(late))
    odd: dict[int, list[str]] = {}
    for first, again in sequence.repeated:
        odd.setdefault(again, []).append(f"same samples as record {first}")
    for away in sequence.out_of_place:
        odd.setdefault(away, []).append("its pulse is out of place")
    return Signs(clipped, _joined(slipped), aside, _joined(odd))


def _clipped(session: Session, extents: Extents) -> dict[int, str]:
    """Return the names of the channels that clip, by record."""
    return names_by_record(extents.clipped(session), [channel.name for channel in session.channels])


def _joined(parts: dict[int, list[str]]) -> dict[int, str]:
    return {record: ", ".join(words) for record, words in parts.items()}


def draw_clipped(painter: QPainter, x: float, top: float) -> None:
    """Draw a T, as a trace that runs into a ceiling, on the bar's upper edge."""
    painter.drawRect(QRectF(x - 4, top - 9, 8, 2))
    painter.drawRect(QRectF(x - 1, top - 9, 2, 9))


def draw_slip(painter: QPainter, x: float, top: float, height: float) -> None:
    """Draw two bars out of line, across the bar."""
    painter.drawRect(QRectF(x - 2, top - 9, 2, 14))
    painter.drawRect(QRectF(x + 1, top + 5, 2, height - 2))


def draw_odd(painter: QPainter, x: float, top: float) -> None:
    """Draw a diamond above the bar: look at this one."""
    y = top - 6
    painter.drawPolygon(QPolygonF([QPointF(x, y - 4), QPointF(x + 4, y), QPointF(x, y + 4), QPointF(x - 4, y)]))


def draw_against(painter: QPainter, x: float, low: float) -> None:
    """Draw a triangle, the sign of a claim that fails, standing on `low`."""
    painter.drawPolygon(QPolygonF([QPointF(x, low - 7), QPointF(x + 4, low), QPointF(x - 4, low)]))


def draw_flag(painter: QPainter, x: float, top: float) -> None:
    """Draw a flag with its staff."""
    painter.drawPolygon(QPolygonF([QPointF(x, top), QPointF(x + 9, top + 4), QPointF(x, top + 8)]))
    painter.drawRect(QRectF(x - 1, top, 1.6, 12))
