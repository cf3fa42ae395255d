"""The first screen: what can be done when no session is open."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtGui import QHideEvent, QShowEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QPushButton, QScrollArea, QVBoxLayout, QWidget

from pulsewright_app.desk.getting_ready import get_ready_soon
from pulsewright_app.desk.habits.habits import RecentFile
from pulsewright_app.desk.plain_letters import without_keys

_LOOKING_MS = 700
_HEADING = "font-size: x-large"
"""Of the size that the other letters have at that moment: a person may change it."""
MOST_SHOWN = 5
"""Recent sessions on the first screen; the menu has them all."""


class FirstScreen(QWidget):
    """Says what the desk is for, and offers the ways to begin."""

    open_wanted = Signal()
    import_wanted = Signal()
    sample_wanted = Signal()
    guide_wanted = Signal()
    recent_wanted = Signal(object)
    """The path of a session that was opened before."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("First screen")
        self._looking = QTimer(self)
        self._looking.setSingleShot(True)
        self._looking.setInterval(_LOOKING_MS)
        self._looking.timeout.connect(get_ready_soon)
        column = QVBoxLayout()
        column.setSpacing(10)
        column.addWidget(_text(f"<span style='{_HEADING}'>Which recorded session shall we look at?</span>"))
        column.addWidget(_text("Walk through its records, see them all at once, put markers down, read the numbers."))
        column.addSpacing(14)
        self.open_button = self._choice(
            column, "Open a session …", "A Pulsewright session file (.h5). It is only read, never changed."
        )
        self.open_button.clicked.connect(self.open_wanted)
        self.import_button = self._choice(
            column, "Import recordings …", "Files of other programs (CSV, NumPy, WAV and more) become a session file."
        )
        self.import_button.clicked.connect(self.import_wanted)
        self.sample_button = self._choice(
            column,
            "Try the sample with faults",
            "An inspection tank: twelve hydrophones on three modules, two missed pings, one late channel, "
            "one wired the other way round, one noisy, one clipped record.",
        )
        self.sample_button.clicked.connect(self.sample_wanted)
        self.guide_button = self._choice(
            column, "Five-minute guide", "Ten short steps on that sample, each of which the desk can do for you."
        )
        self.guide_button.clicked.connect(self.guide_wanted)
        self.recent = QVBoxLayout()
        self._shown: tuple[Path, ...] = ()
        column.addLayout(self.recent)
        column.addSpacing(8)
        column.addWidget(_text("Or drop a session or recordings anywhere on this window."))
        frame = QFrame()
        frame.setMinimumWidth(420)
        frame.setMaximumWidth(620)
        frame.setLayout(column)
        self._put_in_the_middle(frame)

    def _put_in_the_middle(self, frame: QFrame) -> None:
        """Let the frame scroll where the window is low: in large letters it is taller than small screens."""
        inside = QWidget()
        around = QVBoxLayout(inside)
        around.addStretch(2)
        middle = QHBoxLayout()
        middle.addStretch(1)
        middle.addWidget(frame, 8)
        middle.addStretch(1)
        around.addLayout(middle)
        around.addStretch(3)
        area = QScrollArea()
        area.setWidgetResizable(True)
        area.setFrameShape(QFrame.Shape.NoFrame)
        area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        for clear in (area, area.viewport(), inside):
            clear.setAutoFillBackground(False)
        area.setWidget(inside)
        inside.setAutoFillBackground(False)  # an area fills what is put into it
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.addWidget(area)

    def showEvent(self, event: QShowEvent) -> None:
        """Load what will be needed while the person looks for a session."""
        super().showEvent(event)
        self._looking.start()

    def hideEvent(self, event: QHideEvent) -> None:
        """Load nothing where a session came at once: its first picture must not wait for this."""
        super().hideEvent(event)
        self._looking.stop()

    def show_recent(self, recent: Sequence[RecentFile]) -> None:
        """List the sessions that were opened last, those of them that are there."""
        shown = tuple(one.path for one in recent[:MOST_SHOWN])
        if shown == self._shown:  # a button may have the keyboard
            return
        self._shown = shown
        while (item := self.recent.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.deleteLater()
        if shown:
            self.recent.addWidget(_text("Opened last:"))
        for path in shown:
            button = QPushButton(without_keys(f"{path.name}  ·  {path.parent.name or path.parent}"))
            button.setAccessibleName(f"Open {path.name} again")
            button.setToolTip(str(path))
            button.setFlat(True)
            button.setStyleSheet("text-align: left; padding: 3px 6px;")
            button.clicked.connect(lambda _=False, path=path: self.recent_wanted.emit(path))
            self.recent.addWidget(button)

    def _choice(self, column: QVBoxLayout, title: str, about: str) -> QPushButton:
        button = QPushButton(title)
        button.setMinimumHeight(38)
        button.setAccessibleDescription(about)
        column.addWidget(button)
        column.addWidget(_text(about))
        column.addSpacing(8)
        return button


def _text(text: str) -> QLabel:
    label = QLabel(text)
    label.setWordWrap(True)
    return label
