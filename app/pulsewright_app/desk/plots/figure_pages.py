"""The figures of the findings, one page each: drawn when they are looked at, marked when they are out of date."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import QLabel, QStackedLayout, QVBoxLayout, QWidget

from pulsewright_analysis.results import Findings
from pulsewright_app.desk.plots.elided_label import ElidedLabel
from pulsewright_app.desk.plots.figure_plot import FigurePlot
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.figures_data import (
    NotDrawn,
    jitter_figure,
    positions_figure,
    skew_figure,
    trigger_gaps_figure,
)
from pulsewright_app.figures_table import Figure
from pulsewright_app.theme import theme
from pulsewright_app.wording import FigureName

MAKERS: dict[FigureName, Callable[[Findings], Figure | NotDrawn]] = {
    "positions": positions_figure,
    "skew": skew_figure,
    "jitter": jitter_figure,
    "trigger_gaps": trigger_gaps_figure,
}
TITLES: dict[FigureName, str] = {
    "positions": "Positions",
    "skew": "Skew",
    "jitter": "Jitter",
    "trigger_gaps": "Triggers",
}
"""What a page is called where there is little room."""


class FigurePage(QWidget):
    """One figure with its title, or the reason why there is none."""

    large_wanted = Signal()

    def __init__(
        self, name: FigureName, viewing: Viewing, results: Results, large: bool = False, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.name = name
        self.figure: Figure | None = None
        self._viewing, self._results = viewing, results
        self._drawn_for: object = None
        self.title = ElidedLabel()
        self.title.setAccessibleName(f"What the figure {TITLES[name]} shows")
        self.plot = FigurePlot(zooms=large)
        self.reason = QLabel()
        self.reason.setWordWrap(True)
        self.reason.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.reason.setAccessibleName(f"Why the figure {TITLES[name]} is not drawn")
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 4, 0, 0)
        column.setSpacing(2)
        column.addWidget(self.title)
        self._stack = QStackedLayout()
        self._stack.addWidget(self.plot)
        self._stack.addWidget(self.reason)
        column.addLayout(self._stack, 1)
        self.plot.large_wanted.connect(self.large_wanted)
        self.plot.record_chosen.connect(viewing.go_to)
        self.plot.channel_chosen.connect(viewing.set_channel)
        results.changed.connect(self.refresh)
        viewing.dark_changed.connect(self.refresh)

    def showEvent(self, event: QShowEvent) -> None:
        """Draw what changed while it was hidden."""
        super().showEvent(event)
        self.refresh()

    def refresh(self) -> None:
        """Draw the figure, if it is looked at and not drawn yet."""
        if not self.isVisible():
            return
        findings, dark = self._results.findings, self._viewing.dark
        state = "Out of date" if self._results.out_of_date else "Partial" if self._results.partial else ""
        wanted = (self._results.findings_generation if findings is not None else None, dark)
        if wanted == self._drawn_for:
            self._show_state(state)
            return
        self._drawn_for = wanted
        made = NotDrawn("Nothing is measured yet.") if findings is None else MAKERS[self.name](findings)
        self.figure = None if isinstance(made, NotDrawn) else made
        if isinstance(made, NotDrawn):
            self.reason.setText(made.reason)
            self.title.setText("")
            self._stack.setCurrentWidget(self.reason)
            return
        self.plot.show_figure(made, theme(dark), state)
        self._stack.setCurrentWidget(self.plot)
        self._show_state(state)

    def _show_state(self, state: str) -> None:
        made = self.figure
        if made is not None:
            self.plot.show_state(made, state)
            self.title.setText(f"{state}. {made.title}" if state else made.title)
            self.title.setToolTip(f"{self.title.text()}\n{made.note}")
