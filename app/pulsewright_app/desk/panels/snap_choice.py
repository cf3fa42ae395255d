"""Where a marker goes when it is dropped: a choice that the menu has too, where whoever drops one can see it."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QLabel, QWidget

from pulsewright_app.desk.viewing import Snap, Viewing
from pulsewright_app.desk.views.flow import FlowRow

_CHOICES: tuple[tuple[Snap, str, str], ...] = (
    ("pulses", "pulses and levels", "A marker goes to a found pulse, a level to the base, 50 % or top of one (Ctrl+1)"),
    ("crossings", "crossings and levels", "A marker goes to where an edge crosses half its pulse (Ctrl+4)"),
    ("samples", "samples", "A marker goes to the nearest sample, a level to its value (Ctrl+2)"),
    ("nothing", "nothing", "It stays where the hand leaves it (Ctrl+3)"),
)


class SnapChoice(QWidget):
    """The choice in one row, or below its words where there is little room."""

    def __init__(self, viewing: Viewing, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._viewing = viewing
        self.box = QComboBox()
        for snap, text, about in _CHOICES:
            self.box.addItem(text, snap)
            self.box.setItemData(self.box.count() - 1, about, Qt.ItemDataRole.ToolTipRole)
        self.box.setAccessibleName("Where a dropped marker goes")
        self.box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToContents)
        self.box.activated.connect(lambda _: viewing.set_snap(self.box.currentData()))
        label = QLabel("Dropped, go to")
        label.setBuddy(self.box)
        row = FlowRow(self, gap=6)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(label)
        row.addWidget(self.box)
        viewing.options_changed.connect(self._show)
        self._show()

    def _show(self) -> None:
        place = self.box.findData(self._viewing.snap)
        self.box.setCurrentIndex(place)
        self.box.setToolTip(_CHOICES[place][2])
