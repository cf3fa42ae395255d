"""The controls of Single's reference: which one, and how the difference is drawn."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QLabel, QPushButton, QSpinBox, QWidget

from pulsewright_app.desk.document import Document
from pulsewright_app.desk.reference_options import MAGNIFICATIONS, Difference
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.views.flow import FlowRow


class ReferenceControls(QWidget):
    """A row that is there while there is a reference; the choice of one, `of`, stands in the view's own row.

    It turns each choice into one call on the state, and shows what the state says.
    """

    def __init__(self, document: Document, viewing: Viewing, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._viewing = viewing
        self._reference = reference = viewing.reference
        self.of = _choice(
            "Reference beneath the current record",
            (("No reference", "none"), ("A record beneath", "record"), ("The mean beneath", "mean")),
            self._choose,
        )
        self.row = FlowRow(self)
        self.row.setContentsMargins(8, 0, 8, 4)
        self.label = QLabel("Record")
        self.number = QSpinBox()
        self.number.setAccessibleName("Number of the reference record")
        self.number.setToolTip("Number of the reference record")
        self.number.setKeyboardTracking(False)  # a number half written is no record
        self.number.valueChanged.connect(reference.take_record)
        self.label.setBuddy(self.number)
        self.this = QPushButton("Take this one")
        self.this.setAccessibleName("Take the current record as the reference")
        self.this.setToolTip("Take the current record as the reference (R)")
        self.this.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.this.clicked.connect(reference.take_current)
        self.difference = _choice(
            "Difference between the current record and the reference",
            (("No difference", "off"), ("Difference below", "apart"), ("Difference in place", "instead")),
            reference.set_difference,
        )
        self.magnification = _choice(
            "How many times larger than the trace the difference is drawn",
            tuple((f"× {times}", times) for times in MAGNIFICATIONS),
            reference.set_magnification,
        )
        self.told = QLabel()
        self.told.setAccessibleName("What lies beneath")
        self.told.setTextFormat(Qt.TextFormat.PlainText)
        for control in (self.label, self.number, self.this, self.difference, self.magnification, self.told):
            self.row.addWidget(control)
        document.session_changed.connect(self._show)
        reference.changed.connect(self._show)
        viewing.shown_changed.connect(self._show)
        self._show()

    def tell(self, beneath: str, drawn: Difference) -> None:
        """Say what lies beneath, and where the difference is drawn."""
        where = "in place of the traces" if drawn == "instead" or not self._viewing.lanes else "below each trace"
        self.told.setText(beneath if drawn == "off" else f"{beneath}; difference {where}")

    def _choose(self, of: str) -> None:
        reference = self._reference
        {"none": reference.leave, "record": reference.take_current, "mean": reference.take_mean}[of]()

    def _show(self) -> None:
        reference, of = self._reference, self._reference.of
        for box, value in (
            (self.of, of),
            (self.difference, reference.difference),
            (self.magnification, reference.magnification),
        ):
            box.setCurrentIndex(box.findData(value))
        self.number.blockSignals(True)
        self.number.setRange(0, max(self._viewing.records - 1, 0))
        self.number.setValue(reference.record)
        self.number.blockSignals(False)
        for control in (self.label, self.number, self.this):
            control.setVisible(of == "record")
        self.magnification.setVisible(self._viewing.lanes and reference.difference != "off")
        self.setVisible(of != "none")


def _choice(name: str, entries: tuple[tuple[str, object], ...], chosen: Callable[[Any], None]) -> QComboBox:
    box = QComboBox()
    for text, value in entries:
        box.addItem(text, value)
    box.setAccessibleName(name)
    box.setToolTip(name)
    box.setFocusPolicy(Qt.FocusPolicy.TabFocus)
    box.activated.connect(lambda: chosen(box.currentData()))
    return box
