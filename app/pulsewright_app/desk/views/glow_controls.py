"""The controls of the Afterglow view: which records, what they are aligned by, ink, fade, mean."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QCheckBox, QComboBox, QPushButton, QWidget

from pulsewright_app.desk.glow_options import HALF_LIVES
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.views.flow import FlowRow


class GlowControls(QWidget):
    """Turns each choice into one call on the state, and shows what the state says."""

    def __init__(self, viewing: Viewing, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._viewing = viewing
        glow = viewing.glow
        self.row = FlowRow(self)
        self.row.setContentsMargins(8, 0, 8, 4)
        self.of = self._choice(
            "Records of the Afterglow view",
            (("All records", "all"), ("Matching the filter", "matching"), ("Stepped through", "stepped")),
            lambda value: glow.set_of(value),
        )
        self.over = QPushButton("Start over")
        self.over.setToolTip("Forget the records stepped through so far")
        self.over.setAccessibleName("Forget the records stepped through so far")
        self.over.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.over.clicked.connect(glow.start_over)
        self.row.addWidget(self.over)
        self.inks = self._choice(
            "Ink of the Afterglow view",
            (("Ink by count", "count"), ("Inks by polarity", "polarity")),
            lambda value: viewing.set_inks(value),
        )
        self.logarithmic = self._tick("Logarithmic", "Ink follows the logarithm of the count", viewing.set_logarithmic)
        self.aligned = self._choice(
            "What the records are aligned by",
            (("By trigger", "trigger"), ("By reference pulse", "reference"), ("By found pulse", "pulse")),
            lambda value: glow.set_aligned_by(value),
        )
        self.fade = self._choice(
            "How soon older records fade",
            tuple(("No fade" if h is None else f"Half ink after {h}", h) for h in HALF_LIVES),
            lambda value: glow.set_half_life(value),
        )
        self.mean = self._tick("Mean ± s", "Draw the mean and one standard deviation to each side", glow.set_mean)
        self.current = self._tick("Current record", "Draw the current record over the others", glow.set_current)
        glow.changed.connect(self._show)
        viewing.options_changed.connect(self._show)
        self._show()

    def _choice(self, name: str, entries: tuple[tuple[str, object], ...], chosen: Callable[[Any], None]) -> QComboBox:
        box = QComboBox()
        for text, value in entries:
            box.addItem(text, value)
        box.setAccessibleName(name)
        box.setToolTip(name)
        box.setFocusPolicy(Qt.FocusPolicy.TabFocus)  # a click must not take the keyboard: Space plays
        box.activated.connect(lambda: chosen(box.currentData()))
        self.row.addWidget(box)
        return box

    def _tick(self, text: str, name: str, chosen: Callable[[bool], None]) -> QCheckBox:
        box = QCheckBox(text)
        box.setAccessibleName(name)
        box.setToolTip(name)
        box.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        box.toggled.connect(chosen)
        self.row.addWidget(box)
        return box

    def _show(self) -> None:
        viewing, glow = self._viewing, self._viewing.glow
        for box, value in (
            (self.of, glow.of),
            (self.inks, viewing.inks),
            (self.aligned, glow.aligned_by),
            (self.fade, glow.half_life),
        ):
            box.setCurrentIndex(box.findData(value))
        self.logarithmic.setChecked(viewing.logarithmic)
        self.mean.setChecked(glow.mean)
        self.current.setChecked(glow.current)
        self.over.setVisible(glow.of == "stepped")
