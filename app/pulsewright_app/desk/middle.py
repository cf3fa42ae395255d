"""The middle of the desk: the switch, the four views, what lies under the pointer, and the rail."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QFrame, QHBoxLayout, QStackedWidget, QToolButton, QVBoxLayout, QWidget

from pulsewright_app.desk.plots.elided_label import NarrowLabel
from pulsewright_app.desk.rail_row import RailRow
from pulsewright_app.desk.viewing import VIEWS, View
from pulsewright_app.desk.views.afterglow import AfterglowView
from pulsewright_app.desk.views.map import MapView
from pulsewright_app.desk.views.single import SingleView
from pulsewright_app.desk.views.stacked import StackedView
from pulsewright_app.desk.views.view import Desk
from pulsewright_app.desk.views.view import View as ViewWidget
from pulsewright_app.desk.yielding_row import YieldingRow

_NOTHING_POINTED = "Point at the plot or the rail to read time and value."


class Middle(QWidget):
    """Everything between the panels."""

    def __init__(self, desk: Desk, actions: dict[str, QAction], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk, self._viewing = desk, desk.viewing
        # all at once: built when it is first shown, a view would keep the window for as long as a person notices
        self.views: dict[View, ViewWidget] = {
            "single": SingleView(desk),
            "stacked": StackedView(desk),
            "afterglow": AfterglowView(desk),
            "map": MapView(desk),
        }
        self.pages = QStackedWidget()
        self.pointer = NarrowLabel(_NOTHING_POINTED)
        self.pointer.setAccessibleName("Under the pointer")
        self.pointer.setTextFormat(Qt.TextFormat.PlainText)
        self.told = NarrowLabel()
        self.told.setAccessibleName("Answer to the last click")
        self.told.setTextFormat(Qt.TextFormat.PlainText)
        self.told.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.rail_row = RailRow(desk.document, desk.viewing, desk.results, desk.data, actions, desk.measured)
        self.rail_row.pointed.connect(self._point)
        self.rail_row.given_up.connect(lambda: self.view.canvas.setFocus())
        for name in VIEWS:
            view = self.views[name]
            self.pages.addWidget(view)
            view.pointed.connect(lambda text, view=view: self._view_pointed(view, text))
            view.told.connect(self.told.setText)
        self._lay_out(actions)
        desk.viewing.view_changed.connect(self._show_view)
        desk.document.session_changed.connect(lambda: self.told.setText(""))
        # not before: what it loads would keep the first picture of a session waiting
        desk.data.extents_arrived.connect(self._look_over_long_records)
        desk.viewing.channel_changed.connect(lambda: self.told.setText(""))
        self._show_view()

    def _lay_out(self, actions: dict[str, QAction]) -> None:
        switch, zooms = QHBoxLayout(), []
        switch.setContentsMargins(8, 6, 8, 0)
        switch.setSpacing(4)
        for name in VIEWS:
            button = QToolButton()
            button.setDefaultAction(actions[name])
            button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
            button.setAccessibleName(f"{actions[name].text()}: {actions[name].toolTip()}")
            switch.addWidget(button)
        switch.addStretch(1)
        for zoom in ("closer", "farther", "fit", "zoom_back", "zoom_forward", "zoom_pulse"):
            button = QToolButton()
            button.setDefaultAction(actions[zoom])
            button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
            button.setAccessibleName(actions[zoom].toolTip())
            switch.addWidget(button)
            zooms.append(button)
        strip = QHBoxLayout()
        strip.setContentsMargins(10, 2, 10, 2)
        strip.addWidget(self.pointer, 1)
        strip.addWidget(self.told)
        line = QFrame()
        line.setFrameShape(QFrame.Shape.HLine)
        line.setFrameShadow(QFrame.Shadow.Plain)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(YieldingRow(switch, zooms))
        column.addWidget(self.pages, 1)
        column.addLayout(strip)
        column.addWidget(line)
        column.addWidget(self.rail_row)

    @property
    def view(self) -> ViewWidget:
        """The view that is shown."""
        return self.views[self._viewing.view]

    def _look_over_long_records(self) -> None:
        session = self._desk.document.session
        if session is not None:
            self._desk.overviews.get_ready(session, self._viewing.channel)

    def _show_view(self) -> None:
        before = self.pages.currentWidget()
        pointer = before.canvas.pointer if isinstance(before, ViewWidget) else None
        self.pages.setCurrentWidget(self.view)
        if before is not self.view:
            self.view.canvas.take_pointer(pointer)
            self._point("")  # until the view is drawn: what the other one told is not said of this
        self.told.setText("")

    def _view_pointed(self, view: ViewWidget, text: str) -> None:
        """Listen to the view that is shown: a view just hidden may still say that the pointer left it."""
        if view is self.view:
            self._point(text)

    def _point(self, text: str) -> None:
        self.pointer.setText(text or _NOTHING_POINTED)
