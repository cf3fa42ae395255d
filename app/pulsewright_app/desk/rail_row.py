"""The row below the view: the rail, the buttons beside it, the number, the pace and the loop."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt, QTimer, Signal
from PySide6.QtGui import QAction, QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from pulsewright_app.desk.document import Document
from pulsewright_app.desk.filter_row import FilterRow
from pulsewright_app.desk.filtering import Filtering
from pulsewright_app.desk.going import HOW, record_meant
from pulsewright_app.desk.keyboard import on_escape
from pulsewright_app.desk.measured_table import MeasuredTable
from pulsewright_app.desk.rail import Rail
from pulsewright_app.desk.rail_signs import draw_against, draw_flag
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import PACES, Viewing
from pulsewright_app.desk.work import SessionData
from pulsewright_app.desk.yielding_row import YieldingRow
from pulsewright_app.theme import theme

STEPS = ("first", "back", "play", "forward", "last")
MARKED = {"flagged": ("flag_before", "next_flag"), "against": ("against_before", "next_against")}
"""What a person or a claim marked, with the actions that go to the one before and to the next."""


def _button(action: QAction, arrow: Qt.ArrowType | None = None) -> QToolButton:
    button = QToolButton()
    button.setDefaultAction(action)
    if arrow is None:
        button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextOnly)
    else:
        button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonIconOnly)
        button.setArrowType(arrow)
    button.setProperty("room", "narrow" if arrow is None else "least")
    button.setAccessibleName(action.toolTip())
    # a click must not take the keyboard: Space plays, it does not press the button clicked last
    button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
    return button


class _NumberLine(QLineEdit):
    """A line as wide as the longest number of a record, in letters of any size."""

    def sizeHint(self) -> QSize:
        """Return the room that six digits need."""
        edges = 2 * self.fontMetrics().averageCharWidth()
        return QSize(self.fontMetrics().horizontalAdvance(6 * "0") + edges, super().sizeHint().height())

    def minimumSizeHint(self) -> QSize:
        """Return the same: a number that is cut would be another one."""
        return self.sizeHint()


class _Sign(QWidget):
    """The rail's own sign for what the buttons beside it go to."""

    def __init__(self, kind: str, viewing: Viewing) -> None:
        super().__init__()
        self._kind, self._viewing = kind, viewing
        self.setFixedSize(10, 16)
        viewing.dark_changed.connect(self.update)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw it as the rail does."""
        painter, colours = QPainter(self), theme(self._viewing.dark)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(Qt.PenStyle.NoPen)
        if self._kind == "flagged":
            painter.setBrush(QColor(colours.flagged))
            draw_flag(painter, 1.0, 2.0)
        else:
            painter.setBrush(QColor(colours.fails))
            draw_against(painter, 5.0, 12.0)


def _marked(actions: dict[str, QAction], viewing: Viewing) -> list[QWidget]:
    """Return a button back, the sign and a button on for each kind of marked record; each group stays together."""
    groups: list[QWidget] = []
    for kind, (before, after) in MARKED.items():
        group = QWidget()
        row = QHBoxLayout(group)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(2)
        row.addWidget(_button(actions[before], Qt.ArrowType.LeftArrow))
        row.addWidget(_Sign(kind, viewing))
        row.addWidget(_button(actions[after], Qt.ArrowType.RightArrow))
        groups.append(group)
    return groups


class RailRow(QWidget):
    """The main control: goes from record to record, by hand or by itself."""

    pointed = Signal(str)
    given_up = Signal()
    """A field was left by Escape: the keyboard belongs to the view again."""

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
        self.number = _NumberLine()
        self.total = QLabel()
        self.pace = QComboBox()
        self.loop = QCheckBox("Loop")
        self._timer = QTimer(self)
        self._timer.timeout.connect(viewing.tick)
        self._lay_out([actions[name] for name in STEPS], _marked(actions, viewing))
        self._connect(document)
        self._show_record()
        self._show_playing()

    def _lay_out(self, steps: list[QAction], marked: list[QWidget]) -> None:
        row = QHBoxLayout()
        row.setSpacing(4)
        buttons = [_button(action) for action in steps]
        for button in buttons:
            row.addWidget(button)
        row.addSpacing(4)
        self.number.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.number.setAccessibleName("Record to go to")
        self.number.setToolTip(f"Go to {HOW}; Return goes there (Ctrl+G)")
        label = QLabel("Record")
        label.setBuddy(self.number)
        pace_label = QLabel("Pace")
        pace_label.setBuddy(self.pace)
        for widget in (label, self.number, self.total):
            row.addWidget(widget)
        row.addSpacing(4)
        for group in marked:
            row.addWidget(group)
        row.addStretch(1)
        for pace in PACES:
            self.pace.addItem(f"{pace:g} / s", pace)
        self.pace.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.pace.setAccessibleName("Pace of playing, records a second")
        self.pace.setToolTip("Records a second while playing")
        self.loop.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.loop.setAccessibleName("Start again after the last record")
        for control in (pace_label, self.pace, self.loop):
            row.addWidget(control)
        column = QVBoxLayout(self)
        column.setContentsMargins(8, 0, 8, 6)
        column.setSpacing(0)
        column.addWidget(self.rail)
        row.setContentsMargins(0, 0, 0, 0)
        ends = [buttons[0], buttons[-1]]  # the rail's own ends can be clicked, and Home and End go there
        column.addWidget(YieldingRow(row, [self.pace, self.loop, *marked, self.total, pace_label], ends))
        column.addWidget(self.filter_row)

    def _connect(self, document: Document) -> None:
        viewing = self._viewing
        viewing.record_changed.connect(self._show_record)
        viewing.playing_changed.connect(self._show_playing)
        document.session_changed.connect(self._show_record)
        self.number.returnPressed.connect(self._go)
        on_escape(self.number, self._give_up)
        self.filter_row.given_up.connect(self.given_up)
        self.number.editingFinished.connect(self._leave_number)
        self.pace.activated.connect(lambda: viewing.set_pace(float(self.pace.currentData())))
        self.loop.toggled.connect(viewing.set_loop)

    def _go(self) -> None:
        session = self._document.session
        if session is not None:
            meant = record_meant(self.number.text(), session)
            if isinstance(meant, int):
                self.number.setModified(False)
                self._viewing.go_to(meant)
                self._viewing.tell("")
                self._show_record()
            else:
                self._viewing.tell(meant)  # what was typed stays, to be mended
        self.number.selectAll()

    def _give_up(self) -> None:
        """Show the current record again, whatever was typed."""
        self.number.setModified(False)
        self._show_record()
        self._viewing.tell("")
        self.given_up.emit()

    def _leave_number(self) -> None:
        """Show the current record again where the field was left; Return, which ends editing too, stays in it."""
        if not self.number.hasFocus():
            self.number.setModified(False)
            self._show_record()

    def _show_record(self) -> None:
        records = self._viewing.records
        text = str(self._viewing.record) if records else ""
        typing = self.number.hasFocus() and self.number.isModified()
        if self.number.text() != text and not typing:  # what is chosen in the field stays chosen
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
