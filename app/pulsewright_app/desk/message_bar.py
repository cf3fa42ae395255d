"""The bar at the top of the desk: one message at a time, with what to do; never a stack of dialogs."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QPushButton, QScrollArea, QSizePolicy, QWidget

from pulsewright_app.theme import Theme

_MOST_LINES = 5
"""Lines of a message that are shown at once: the view below it must stay."""


class _FewLines(QScrollArea):
    """As high as a text is at its width, up to a few lines; a longer one scrolls."""

    def __init__(self, label: QLabel) -> None:
        super().__init__()
        self._label = label
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setWidget(label)
        for clear in (self.viewport(), label):
            clear.setAutoFillBackground(False)
        policy = QSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)

    def heightForWidth(self, width: int) -> int:
        """Return the height of the text, or of so many lines."""
        return min(self._label.heightForWidth(width), _MOST_LINES * self.fontMetrics().lineSpacing())

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Give the text its whole height; what there is no room for is scrolled to."""
        super().resizeEvent(event)
        self.fit()

    def fit(self) -> None:
        """Make the text as high as it is at this width: an area makes no text higher than itself."""
        self._label.setMinimumHeight(0)  # a text reckons itself no lower than it had to be before
        self._label.setMinimumHeight(max(self._label.heightForWidth(self.viewport().width()), 0))  # -1 without text
        self.updateGeometry()

    def sizeHint(self) -> QSize:
        """Return the room that the text takes at the width that there is."""
        return QSize(super().sizeHint().width(), self.heightForWidth(max(self.width(), 1)))

    def minimumSizeHint(self) -> QSize:
        """Return a line's room."""
        return QSize(1, self.fontMetrics().lineSpacing())


class MessageBar(QFrame):
    """Shows what went wrong until somebody dismisses it, or something else is to be said."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Message")
        self.label = QLabel()
        self.label.setWordWrap(True)
        self.label.setTextFormat(Qt.TextFormat.PlainText)
        self.label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.label.setAccessibleName("What is wrong, and what to do")
        self.dismiss = QPushButton("Dismiss")
        self.dismiss.setAccessibleName("Dismiss the message")
        self.dismiss.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.dismiss.clicked.connect(self.hide)
        row = QHBoxLayout(self)
        row.setContentsMargins(12, 6, 8, 6)
        self._lines = _FewLines(self.label)
        row.addWidget(self._lines, 1)
        row.addWidget(self.dismiss)
        self.hide()

    def tell(self, sentence: str) -> None:
        """Show a sentence in place of the one before; an empty one clears the bar."""
        self.label.setText(sentence)
        self._lines.verticalScrollBar().setValue(0)
        self._lines.fit()
        self.setVisible(bool(sentence))

    def set_theme(self, theme: Theme) -> None:
        """Take on the colours of a theme."""
        self.setStyleSheet(
            f"MessageBar {{ background: {theme.notice}; border-bottom: 1px solid {theme.rule}; }}"
            f"MessageBar QLabel {{ color: {theme.on_notice}; }}"
        )
