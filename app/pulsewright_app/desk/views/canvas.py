"""The sheet that a view draws on: axes, mouse gestures, and layers below and above the traces."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt, QTimer, Signal
from PySide6.QtGui import QColor, QFont, QKeyEvent, QMouseEvent, QPainter, QResizeEvent, QWheelEvent

from pulsewright_app.desk.views.axes import TimeAxis, ValueAxis, dress
from pulsewright_app.theme import LIGHT, Theme

Layer = Callable[[QPainter, "Canvas"], None]
Window = tuple[float, float]

_DRAG_STARTS = 4.0
_TALL_BAND = 24.0
_A_NOTCH = 120.0
_ZOOM_A_NOTCH = 0.8
_PAUSE_MS = 700
"""Milliseconds after which the wheel turned again is another gesture, to be gone back from by itself."""


@dataclass
class _Drag:
    """What the mouse is doing: a band to zoom to, a push of the window, or a grabbed thing."""

    kind: str
    button: Qt.MouseButton
    start: QPointF
    now: QPointF
    window: tuple[Window, Window]
    moved: bool = False


class Canvas(pg.PlotWidget):  # type: ignore[misc]
    """A plot that turns gestures into signals and draws nothing by itself.

    Times are seconds, heights are in the plot's vertical coordinate. A thing that can be dragged is announced by
    `grabber`: called with a point in pixels, it returns whether the drag is its own.
    """

    hovered = Signal(float, float)
    left = Signal()
    clicked = Signal(float, float)
    double_clicked = Signal(float, float, bool)
    """Where, and whether Shift was held."""
    grabbed_moved = Signal(float, float)
    grabbed_dropped = Signal(float, float)
    zoom_wanted = Signal(object, object, bool)
    """A time window, a height window or None to keep it, and whether a gesture begins."""
    resized = Signal()

    def __init__(self) -> None:
        self.time_axis, self.value_axis = TimeAxis(), ValueAxis()
        super().__init__(axisItems={"bottom": self.time_axis, "left": self.value_axis}, enableMenu=False)
        self._theme = LIGHT
        self._drag: _Drag | None = None
        self._pointer: QPointF | None = None
        """Where on the screen the pointer was seen last."""
        self._last_turn = 0
        self._rect: QRectF | None = None
        self._windows: tuple[Window, Window] | None = None
        self.below: list[Layer] = []
        self.above: list[Layer] = []
        self.grabber: Callable[[QPointF], bool] = lambda _: False
        self.hover_shape: Callable[[QPointF], Qt.CursorShape | None] = lambda _: None
        self.full_of_ink = False
        """Whether what is drawn may fill the plot, so that a line over it needs an edge of its own to be seen."""
        self.heights_zoom = True
        """Whether the heights can be zoomed at all."""
        self.band_heights = True
        """Whether a band drawn over some heights zooms to them; where rows lie over each other it means time only."""
        box = self.getViewBox()
        box.setMouseEnabled(x=False, y=False)
        box.setDefaultPadding(0.0)
        for signal in (box.sigResized, box.sigRangeChanged, box.sigTransformChanged):
            signal.connect(lambda *_: self._forget_places())
        self._on = QTimer(self)
        self._on.setSingleShot(True)
        self._on.setInterval(0)
        self._on.timeout.connect(self.viewport().update)
        self.hideButtons()
        self.setCacheMode(self.CacheModeFlag.CacheNone)
        self.setViewportUpdateMode(self.ViewportUpdateMode.FullViewportUpdate)
        self.setMouseTracking(True)
        self.setAcceptDrops(False)  # files go to the window
        self.setMinimumSize(240, 160)

    # -- looks ----------------------------------------------------------------------------------------------

    def set_theme(self, theme: Theme, font: QFont) -> None:
        """Take on the colours of a theme."""
        self._theme = theme
        self.setBackground(theme.surface)
        for axis in (self.time_axis, self.value_axis):
            dress(axis, theme, font)
        self.value_axis.make_room(font)
        self.viewport().update()

    @property
    def theme(self) -> Theme:
        """The theme that it is drawn in."""
        return self._theme

    # -- where things are -----------------------------------------------------------------------------------

    def plot_rect(self) -> QRectF:
        """Return the plot without its axes, in pixels of the widget."""
        if self._rect is None:
            self._rect = QRectF(self.getViewBox().sceneBoundingRect())
        return self._rect

    def windows(self) -> tuple[Window, Window]:
        """Return the stretch of time and of heights that is shown."""
        if self._windows is None:
            (x0, x1), (y0, y1) = self.getViewBox().viewRange()
            self._windows = (x0, x1), (y0, y1)
        return self._windows

    def _forget_places(self) -> None:
        """Ask the plot anew where it lies and what it shows: asking for each sign of a view takes too long."""
        self._rect = self._windows = None

    def show_windows(self, time: Window, heights: Window) -> None:
        """Show this stretch of time and of heights, to the pixel."""
        if (time, heights) != self.windows():
            self.getViewBox().setRange(xRange=time, yRange=heights, padding=0, disableAutoRange=True)

    def x_of(self, time: Any) -> Any:
        """Return the pixel column of a time, or those of an array."""
        rect, (window, _) = self.plot_rect(), self.windows()
        return rect.left() + (time - window[0]) / (window[1] - window[0]) * rect.width()

    def y_of(self, height: Any) -> Any:
        """Return the pixel row of a height, or those of an array."""
        rect, (_, window) = self.plot_rect(), self.windows()
        return rect.bottom() - (height - window[0]) / (window[1] - window[0]) * rect.height()

    def time_at(self, x: float) -> float:
        """Return the time of a pixel column, seconds."""
        rect, (window, _) = self.plot_rect(), self.windows()
        return window[0] + (x - rect.left()) / max(rect.width(), 1.0) * (window[1] - window[0])

    def height_at(self, y: float) -> float:
        """Return the height of a pixel row."""
        rect, (_, window) = self.plot_rect(), self.windows()
        return window[0] + (rect.bottom() - y) / max(rect.height(), 1.0) * (window[1] - window[0])

    @property
    def pixel_time(self) -> float:
        """Seconds that one pixel spans."""
        (low, high), _ = self.windows()
        return (high - low) / max(self.plot_rect().width(), 1.0)

    @property
    def pixel_height(self) -> float:
        """How much of the heights one pixel spans."""
        _, (low, high) = self.windows()
        return (high - low) / max(self.plot_rect().height(), 1.0)

    @property
    def pointer_time(self) -> float | None:
        """The time under the pointer, or None if it is not over the plot."""
        point = self._pointed()
        return None if point is None else self.time_at(point.x())

    @property
    def pointer_height(self) -> float | None:
        """The height under the pointer, or None if it is not over the plot."""
        point = self._pointed()
        return None if point is None else self.height_at(point.y())

    @property
    def pointer(self) -> QPointF | None:
        """Where on the screen the pointer is, or None if it is not over the canvas."""
        return self._pointer

    def take_pointer(self, spot: QPointF | None) -> None:
        """Know where on the screen the pointer rests: a canvas that comes up under it is not told."""
        self._pointer = spot

    def _pointed(self) -> QPointF | None:
        """Return the pixel of the plot that the pointer is over: the plot may have moved below it."""
        point = None if self._pointer is None else self.viewport().mapFromGlobal(self._pointer)
        return point if point is not None and self.plot_rect().contains(point) else None

    def tell_pointer(self) -> None:
        """Announce once more where the pointer rests: what lies below it has changed."""
        if self._pointer is not None:
            self._tell_pointer()

    # -- drawing --------------------------------------------------------------------------------------------

    def paint_on(self) -> None:
        """Paint once more when the desk is next idle: something is not all drawn yet."""
        self._on.start()

    def drawBackground(self, painter: QPainter, rect: QRectF) -> None:
        """Draw what lies below the traces."""
        super().drawBackground(painter, rect)
        plot = self.plot_rect()
        painter.fillRect(plot, QColor(self._theme.plot))
        self._layers(painter, self.below)

    def drawForeground(self, painter: QPainter, rect: QRectF) -> None:
        """Draw what lies above the traces."""
        self._layers(painter, self.above)
        if self._drag is not None and self._drag.kind == "band" and self._drag.moved:
            self._draw_band(painter, self._drag)

    def _layers(self, painter: QPainter, layers: list[Layer]) -> None:
        for layer in layers:
            painter.save()
            try:
                painter.setClipRect(self.plot_rect())
                layer(painter, self)
            finally:  # a painter left saved ends the process when the paint event ends
                painter.restore()

    def _draw_band(self, painter: QPainter, drag: _Drag) -> None:
        fill = QColor(self._theme.accent)
        painter.setPen(fill)
        fill.setAlpha(40)
        painter.setBrush(fill)
        painter.drawRect(self._band(drag))

    def _band(self, drag: _Drag) -> QRectF:
        """Return the rectangle that is zoomed to: all heights unless it is clearly drawn over some of them."""
        plot = self.plot_rect()
        left, right = sorted(min(max(x, plot.left()), plot.right()) for x in (drag.start.x(), drag.now.x()))
        top, bottom = sorted(min(max(y, plot.top()), plot.bottom()) for y in (drag.start.y(), drag.now.y()))
        if not (self.heights_zoom and self.band_heights) or bottom - top < _TALL_BAND:
            top, bottom = plot.top(), plot.bottom()
        return QRectF(QPointF(left, top), QPointF(right, bottom))

    # -- gestures -------------------------------------------------------------------------------------------

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Begin a drag, a band or a click."""
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        point = event.position()
        also_held = event.buttons() & ~event.button()
        if not self.plot_rect().contains(point) or (self._drag is not None and also_held):
            return  # what one button drags, another does not take from it
        kind = "push"
        if event.button() == Qt.MouseButton.LeftButton:
            kind = "grab" if self.grabber(point) else "band"
        self._drag = _Drag(kind, event.button(), point, point, self.windows())

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Follow a drag, or the pointer."""
        point = event.position()
        self._pointer = event.globalPosition()
        self._tell_pointer()
        drag = self._drag
        if drag is None:
            shape = self.hover_shape(point) if self.plot_rect().contains(point) else None
            self.viewport().setCursor(Qt.CursorShape.CrossCursor if shape is None else shape)
            return
        begins = not drag.moved and (point - drag.start).manhattanLength() >= _DRAG_STARTS
        drag.moved, drag.now = drag.moved or begins, point
        if not drag.moved:
            return
        if drag.kind == "grab":
            self.grabbed_moved.emit(self.time_at(point.x()), self.height_at(point.y()))
        elif drag.kind == "push":
            self._push(drag, begins)
        self.viewport().update()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """End a drag: drop, zoom, or count it as a click."""
        drag = self._drag
        if drag is None or event.button() != drag.button:
            return
        self._drag = None
        time, height = self.time_at(event.position().x()), self.height_at(event.position().y())
        if drag.kind == "grab":
            if drag.moved:
                self.grabbed_dropped.emit(time, height)
        elif drag.kind == "band" and drag.moved:
            drag.now = event.position()
            self._zoom_to(self._band(drag))
        elif drag.kind == "band":
            self.clicked.emit(time, height)
        self.viewport().update()

    def let_go(self) -> None:
        """End a drag, as if nothing had been dragged."""
        self._drag = None

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Announce a double-click on the plot."""
        point = event.position()
        self._drag = None
        if event.button() == Qt.MouseButton.LeftButton and self.plot_rect().contains(point):
            shift = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
            self.double_clicked.emit(self.time_at(point.x()), self.height_at(point.y()), shift)

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Zoom about the pointer: time, or with Shift the values."""
        point = event.position()
        delta = event.angleDelta()
        turned = delta.y() or delta.x()  # with Shift some platforms turn the wheel sideways
        event.accept()
        if not turned or not self.plot_rect().contains(point):
            return
        factor = _ZOOM_A_NOTCH ** (turned / _A_NOTCH)
        time, heights = self.windows()
        begins = self._begins_turn(event)
        if event.modifiers() & Qt.KeyboardModifier.ShiftModifier:
            if self.heights_zoom:
                self.zoom_wanted.emit(time, _about(heights, self.height_at(point.y()), factor), begins)
        else:
            self.zoom_wanted.emit(_about(time, self.time_at(point.x()), factor), None, begins)

    def _begins_turn(self, event: QWheelEvent) -> bool:
        """Return whether the wheel was at rest before: many notches in one go are one gesture."""
        last, self._last_turn = self._last_turn, event.timestamp()
        return not last or event.timestamp() - last > _PAUSE_MS

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Leave every key to the window: nothing here scrolls."""
        event.ignore()

    def leaveEvent(self, event: Any) -> None:
        """Forget the pointer."""
        self._pointer = None
        self.left.emit()
        super().leaveEvent(event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Announce another size."""
        super().resizeEvent(event)
        if hasattr(self, "below"):  # the base class resizes once before it is complete
            self.resized.emit()

    def _tell_pointer(self) -> None:
        point = self._pointed()
        if point is None:
            self.left.emit()
        else:
            self.hovered.emit(self.time_at(point.x()), self.height_at(point.y()))

    def _push(self, drag: _Drag, begins: bool) -> None:
        rect = self.plot_rect()
        (t0, t1), (h0, h1) = drag.window
        by_time = (drag.start.x() - drag.now.x()) / max(rect.width(), 1.0) * (t1 - t0)
        by_height = (drag.now.y() - drag.start.y()) / max(rect.height(), 1.0) * (h1 - h0)
        heights = (h0 + by_height, h1 + by_height) if self.heights_zoom else None
        self.zoom_wanted.emit((t0 + by_time, t1 + by_time), heights, begins)

    def _zoom_to(self, band: QRectF) -> None:
        plot = self.plot_rect()
        if band.width() < _DRAG_STARTS:
            return
        time = (self.time_at(band.left()), self.time_at(band.right()))
        whole = band.height() >= plot.height() - 0.5
        heights = None if whole else (self.height_at(band.bottom()), self.height_at(band.top()))
        self.zoom_wanted.emit(time, heights, True)


def _about(window: Window, centre: float, factor: float) -> Window:
    return (centre + (window[0] - centre) * factor, centre + (window[1] - centre) * factor)
