"""What the pages beside the desk have in common: fields beside their names, a line that tells how it goes, buttons."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QHideEvent
from PySide6.QtWidgets import (
    QDialog,
    QFormLayout,
    QHBoxLayout,
    QLabel,
    QLayout,
    QProgressBar,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

_BAR_STEPS = 1000


class BesideTheDesk(QDialog):
    """A window beside the desk, which has the keys only as long as it is there."""

    def hideEvent(self, event: QHideEvent) -> None:
        """Give the keys back to the desk, whatever the system does with them."""
        super().hideEvent(event)
        desk = self.parentWidget()
        if desk is not None and desk.isVisible() and not event.spontaneous():
            desk.window().activateWindow()


class FormPage(BesideTheDesk):
    """Beside the desk, not in its way."""

    def __init__(self, title: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(f"{title} — Pulsewright")
        self.setAccessibleName(title)
        self.setModal(False)
        self.fields = QFormLayout()
        self.fields.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        self.fields.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        self.told = QLabel()
        self.told.setAccessibleName(f"How it goes: {title}")
        self.told.setTextFormat(Qt.TextFormat.PlainText)
        self.told.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.told.setWordWrap(True)
        self.buttons = QHBoxLayout()
        self.buttons.addStretch(1)
        self.column = QVBoxLayout(self)
        self.column.addLayout(self.fields)
        self.column.addWidget(self.told)
        self.column.addStretch(1)
        self.column.addLayout(self.buttons)

    def add_field(self, name: str, field: QWidget | QLayout, accessible: str = "") -> None:
        """Put a field below the others, its name beside it."""
        if isinstance(field, QWidget):
            field.setAccessibleName(accessible or name)
            self.fields.addRow(name, field)
        else:
            self.fields.addRow(name, field)

    def add_button(self, text: str, accessible: str) -> QPushButton:
        """Put a button to the right of the others."""
        button = page_button(text, accessible)
        self.buttons.addWidget(button)
        return button

    def add_bar(self, accessible: str) -> QProgressBar:
        """Put a bar below the line that tells how it goes."""
        bar = QProgressBar()
        bar.setRange(0, _BAR_STEPS)
        bar.setTextVisible(False)
        bar.setAccessibleName(accessible)
        self.column.insertWidget(self.column.indexOf(self.told) + 1, bar)
        return bar

    def show_progress(self, bar: QProgressBar, share: float, doing: str) -> None:
        """Show how much is done, 0 to 1, and say what is being done."""
        bar.setValue(round(_BAR_STEPS * share))
        self.told.setText(f"{doing[:1].upper()}{doing[1:]} …")

    def come_up(self) -> None:
        """Show the page, over the desk, as large as what it says."""
        layout = self.layout()
        self.show()  # first: only then does it know the size of its letters, where that changed while it was hidden
        if layout is not None and self.testAttribute(Qt.WidgetAttribute.WA_Resized):  # else Qt finds the size
            wide = max(self.width(), layout.sizeHint().width())
            needed = layout.totalHeightForWidth(wide) if layout.hasHeightForWidth() else layout.sizeHint().height()
            self.resize(QSize(wide, max(self.height(), needed)).boundedTo(self.screen().availableSize()))
        self.raise_()
        self.activateWindow()


def page_button(text: str, accessible: str) -> QPushButton:
    """Return a button for a page; Return in a field does not press it."""
    button = QPushButton(text)
    button.setAccessibleName(accessible)
    button.setToolTip(accessible)
    button.setAutoDefault(False)
    return button
