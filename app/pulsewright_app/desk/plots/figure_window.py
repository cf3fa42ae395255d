"""A figure of the findings in a window of its own, with the way to take its numbers along."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication, QKeySequence, QShortcut
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from pulsewright_app.desk.form_page import BesideTheDesk
from pulsewright_app.desk.plots.figure_pages import TITLES, FigurePage
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.figures_table import in_words, tab_separated
from pulsewright_app.wording import FigureName

_SIZE = (900, 620)


class FigureWindow(BesideTheDesk):
    """Beside the desk, not in its way; follows the findings as they are measured anew."""

    def __init__(self, name: FigureName, viewing: Viewing, results: Results, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(f"{TITLES[name]} — Pulsewright")
        self.setAccessibleName(f"{TITLES[name]}, large")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setModal(False)
        self.resize(*_SIZE)
        self.page = FigurePage(name, viewing, results, large=True)
        self.note = QLabel()
        self.note.setWordWrap(True)
        self.note.setAccessibleName("How the figure was made")
        self.fit_button = QPushButton("Show everything")
        self.fit_button.setToolTip("Drag to push, wheel to zoom; W shows everything again")
        self.fit_button.setAccessibleName("Show the whole figure")
        self.fit_button.clicked.connect(self.page.plot.fit)
        self.copy_button = QPushButton("Copy the numbers")
        self.copy_button.setAccessibleName("Copy the figure's numbers as tab-separated text")
        self.copy_button.clicked.connect(self._copy)
        self.close_button = QPushButton("Close")
        self.close_button.setAccessibleName("Close this window")
        self.close_button.clicked.connect(self.close)
        QShortcut(QKeySequence("W"), self, self.page.plot.fit)
        QShortcut(QKeySequence(QKeySequence.StandardKey.Copy), self, self._copy)
        self._lay_out()
        results.changed.connect(self._update)
        viewing.dark_changed.connect(self._update)

    def _lay_out(self) -> None:
        row = QHBoxLayout()
        row.addWidget(self.note, 1)
        for button in (self.fit_button, self.copy_button, self.close_button):
            button.setAutoDefault(False)
            row.addWidget(button)
        column = QVBoxLayout(self)
        column.addWidget(self.page, 1)
        column.addLayout(row)

    def showEvent(self, event: object) -> None:
        """Take the figure's note."""
        super().showEvent(event)  # type: ignore[arg-type]
        self._update()

    def _update(self) -> None:
        self.page.refresh()
        figure = self.page.figure
        self.note.setText("" if figure is None else in_words(figure).removeprefix(f"{figure.title}. "))
        for button in (self.fit_button, self.copy_button):
            button.setEnabled(figure is not None)

    def _copy(self) -> None:
        if self.page.figure is not None:
            QGuiApplication.clipboard().setText(tab_separated(self.page.figure))
