"""The bar at the top of the desk: one message at a time, with what to do; never a stack of dialogs."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QPushButton, QWidget

from pulsewright_app.theme import Theme


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
        row.addWidget(self.label, 1)
        row.addWidget(self.dismiss)
        self.hide()

    def tell(self, sentence: str) -> None:
        """Show a sentence in place of the one before; an empty one clears the bar."""
        self.label.setText(sentence)
        self.setVisible(bool(sentence))

    def set_theme(self, theme: Theme) -> None:
        """Take on the colours of a theme."""
        self.setStyleSheet(
            f"MessageBar {{ background: {theme.notice}; border-bottom: 1px solid {theme.rule}; }}"
            f"MessageBar QLabel {{ color: {theme.on_notice}; }}"
        )
