"""The row below the view: the rail, the buttons beside it, the number, the pace and the loop."""

from __future__ import annotations

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QCheckBox, QComboBox, QHBoxLayout, QLabel, QLineEdit, QToolButton, QVBoxLayout, QWidget

from pulsewright_app.desk.document import Document
from pulsewright_app.desk.filter_row import FilterRow
from pulsewright_app.desk.filtering import Filtering
from pulsewright_app.desk.going import HOW, record_meant
from pulsewright_app.desk.measured_table import MeasuredTable
from pulsewright_app.desk.rail import Rail
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import PACES, Viewing
from pulsewright_app.desk.work import SessionData
from pulsewright_app.desk.yielding_row import YieldingRow

STEPS = ("first", "back", "play", "forward", "last")
MARKED = ("next_flag", "next_against")


def _button(action: QAction) -> QToolButton:
    button = QToolButton()
    button.setDefaultAction(action)
    button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextOnly)
    button.setAccessibleName(action.toolTip())
    # a click must not take the keyboard: Space plays, it does not press the button clicked last
    button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
    return button


class RailRow(QWidget):
    """The main control: goes from record to record, by hand or by itself."""

    pointed = Signal(str)

    def __init__(
        self,
        document: Document,
        viewing: Viewing,
        results: Results,
        data: SessionData,
        actions: dict[str, QAction],
        measured: MeasuredTable,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._document, self._viewing = document, viewing
        self.filter_row = FilterRow(Filtering(document, viewing, results, measured, self), viewing)
        self.rail = Rail(document, viewing, results, data)
        self.rail.pointed.connect(self.pointed)
        self.number = QLineEdit()
        self.total = QLabel()
        self.pace = QComboBox()
        self.loop = QCheckBox("Loop")
        self._timer = QTimer(self)
        self._timer.timeout.connect(viewing.tick)
        self._lay_out([actions[name] for name in STEPS], [actions[name] for name in MARKED])
        self._connect(document)
        self._show_record()
        self._show_playing()

    def _lay_out(self, steps: list[QAction], marked: list[QAction]) -> None:
        row = QHBoxLayout()
        row.setSpacing(4)
        for action in steps:
            row.addWidget(_button(action))
        row.addSpacing(14)
        self.number.setFixedWidth(72)
        self.number.setAccessibleName("Record to go to")
        self.number.setToolTip(f"Go to {HOW}; Return goes there (Ctrl+G)")
        label = QLabel("Record")
        label.setBuddy(self.number)
        pace_label = QLabel("Pace")
        pace_label.setBuddy(self.pace)
        for widget in (label, self.number, self.total):
            row.addWidget(widget)
        row.addSpacing(8)
        to_marked = [_button(action) for action in marked]
        for button in to_marked:
            row.addWidget(button)
        row.addStretch(1)
        for pace in PACES:
            self.pace.addItem(f"{pace:g} a second", pace)
        self.pace.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.pace.setAccessibleName("Pace of playing")
        self.loop.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.loop.setAccessibleName("Start again after the last record")
        for control in (pace_label, self.pace, self.loop):
            row.addWidget(control)
        column = QVBoxLayout(self)
        column.setContentsMargins(8, 0, 8, 6)
        column.setSpacing(0)
        column.addWidget(self.rail)
        row.setContentsMargins(0, 0, 0, 0)
        column.addWidget(YieldingRow(row, [self.pace, self.loop, self.total, pace_label, *to_marked]))
        column.addWidget(self.filter_row)

    def _connect(self, document: Document) -> None:
        viewing = self._viewing
        viewing.record_changed.connect(self._show_record)
        viewing.playing_changed.connect(self._show_playing)
        document.session_changed.connect(self._show_record)
        self.number.returnPressed.connect(self._go)
        self.number.editingFinished.connect(self._show_record)
        self.pace.activated.connect(lambda: viewing.set_pace(float(self.pace.currentData())))
        self.loop.toggled.connect(viewing.set_loop)

    def _go(self) -> None:
        session = self._document.session
        if session is not None:
            meant = record_meant(self.number.text(), session)
            if isinstance(meant, int):
                self._viewing.go_to(meant)
                self._viewing.tell("")
            else:
                self._viewing.tell(meant)
        self._show_record()
        self.number.selectAll()

    def _show_record(self) -> None:
        records = self._viewing.records
        text = str(self._viewing.record) if records else ""
        if self.number.text() != text:  # what is chosen in the field stays chosen
            self.number.setText(text)
        self.total.setText(f"of 0 … {records - 1}" if records else "no records")

    def _show_playing(self) -> None:
        viewing = self._viewing
        self.pace.setCurrentIndex(self.pace.findData(viewing.pace))
        self.loop.setChecked(viewing.loop)
        self._timer.setInterval(round(1000 / viewing.pace))
        if viewing.playing and not self._timer.isActive():
            self._timer.start()
        elif not viewing.playing:
            self._timer.stop()
