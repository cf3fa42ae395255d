"""The panel of the findings: verdicts, then sentences, and small figures; choosing one shows its evidence."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, Qt, Signal
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import (
    QHBoxLayout,
    QLabel,
    QProgressBar,
    QPushButton,
    QSplitter,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from pulsewright_analysis.results import Findings
from pulsewright_analysis.verdicts import Verdict
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.panels.alignment_table import EXPANDED, AlignmentTable
from pulsewright_app.desk.panels.panel import Panel
from pulsewright_app.desk.panels.roomy_tabs import RoomyTabs
from pulsewright_app.desk.panels.sentence_list import SentenceList, SentenceModel
from pulsewright_app.desk.panels.sentence_rows import Item, as_text
from pulsewright_app.desk.panels.tables import CopyingTable
from pulsewright_app.desk.plots.elided_label import WholeLabel
from pulsewright_app.desk.plots.figure_pages import TITLES, FigurePage
from pulsewright_app.desk.plots.figure_window import FigureWindow
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.finding_details import (
    FIGURE_NAMES,
    Evidence,
    evidence_of,
    evidence_of_sentence,
)
from pulsewright_app.sentences import ALIGNMENT_ROWS, Sentence, sentences
from pulsewright_app.wording import FigureName

_STEPS = 1000
_LEAST_OF_LIST = 40
"""Pixels that are left of the sentences where what is below them takes the room."""


class FindingsPanel(Panel):
    """The findings, how fresh they are, and how the measuring of the next ones goes.

    `cancel_requested` says that a person wants the measuring stopped.
    """

    cancel_requested = Signal()

    def __init__(self, document: Document, viewing: Viewing, results: Results, parent: QWidget | None = None) -> None:
        super().__init__(document, viewing, results, parent)
        self._told: Findings | None = None
        self._verdicts: tuple[Verdict, ...] = ()
        self._large: dict[FigureName, FigureWindow] = {}
        self._sentences: list[Sentence] = []
        self._model = SentenceModel(viewing)
        self._alignment = AlignmentTable(viewing)
        self.state = QLabel()
        self.state.setWordWrap(True)
        self.state.setAccessibleName("State of the findings")
        self.state.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.column.addWidget(self.state)
        self.column.addWidget(self._progress_row())
        self.column.addWidget(self._lists(), 1)
        self.column.addLayout(self._buttons())
        document.session_changed.connect(self._update)
        results.changed.connect(self._update)
        results.verdicts_changed.connect(self._update)
        results.progress_changed.connect(self._update_progress)
        self.restyle()
        self._update()

    def _progress_row(self) -> QWidget:
        self._working = QWidget()
        row = QHBoxLayout(self._working)
        row.setContentsMargins(0, 0, 0, 0)
        self.progress = QProgressBar()
        self.progress.setRange(0, _STEPS)
        self.progress.setTextVisible(False)
        self.progress.setAccessibleName("Progress of the measuring")
        self.cancel_button = QPushButton("Cancel")
        self.cancel_button.setAccessibleName("Cancel the measuring")
        self.cancel_button.clicked.connect(self.cancel_requested)
        row.addWidget(self.progress, 1)
        row.addWidget(self.cancel_button)
        return self._working

    def _lists(self) -> QWidget:
        self.list = SentenceList(self._model)
        self.list.chosen.connect(self._item_chosen)
        self.list.setMinimumHeight(_LEAST_OF_LIST)
        self.table = CopyingTable("Alignment, channel by channel")
        self.table.setSelectionMode(QTableView.SelectionMode.ExtendedSelection)
        self.table.setModel(self._alignment)
        self.table.setColumnHidden(EXPANDED, True)
        self.table.clicked.connect(self._channel_chosen)
        self.table.activated.connect(self._channel_chosen)
        self._aligned = QWidget()
        below = QVBoxLayout(self._aligned)
        below.setContentsMargins(0, 0, 0, 0)
        self.table_heading = WholeLabel(ALIGNMENT_ROWS)
        font = self.table_heading.font()
        font.setBold(True)
        self.table_heading.setFont(font)
        below.addWidget(self.table_heading)
        below.addWidget(self.table)
        splitter = QSplitter(Qt.Orientation.Vertical)
        splitter.addWidget(self.list)
        splitter.addWidget(self._pages())
        splitter.setSizes([3000, 2000])
        splitter.setChildrenCollapsible(False)
        return splitter

    def _pages(self) -> RoomyTabs:
        self.pages = RoomyTabs()
        self.pages.setAccessibleName("Table and figures of the findings")
        self.pages.addTab(self._aligned, "By channel")
        self.figures: dict[FigureName, FigurePage] = {}
        for name in FIGURE_NAMES:
            page = FigurePage(name, self.viewing, self.results)
            page.large_wanted.connect(self.open_large)
            self.figures[name] = page
            self.pages.addTab(page, TITLES[name])
        return self.pages

    def _buttons(self) -> QHBoxLayout:
        row = QHBoxLayout()
        self.large_button = QPushButton("Open large")
        self.large_button.setAccessibleName("Open the figure in a window of its own")
        self.large_button.setToolTip("Open the figure in a window of its own")
        self.large_button.clicked.connect(self.open_large)
        row.addWidget(self.large_button)
        self.copy_button = QPushButton("Copy all")
        self.copy_button.setAccessibleName("Copy all findings as text")
        self.copy_button.clicked.connect(lambda: QGuiApplication.clipboard().setText(self.as_text()))
        row.addStretch(1)
        row.addWidget(self.copy_button)
        return row

    # -- showing --------------------------------------------------------------------------------------------

    def as_text(self) -> str:
        """Return all findings as plain text, the alignment of every channel included; marked where out of date."""
        return f"{self._notice()}\n\n{as_text([*self._verdicts, *self._sentences])}".lstrip()

    def _notice(self) -> str:
        """Return what has to stand above findings that are copied; empty where they are final."""
        if self.results.out_of_date:
            return "Out of date: measured by older settings"
        old = self.results.verdicts_out_of_date and bool(self._verdicts)
        verdicts = "Out of date: the verdicts, judged by older numbers, claims or markers." if old else ""
        return f"{self._partial_text()} {verdicts}".strip()

    def _update(self) -> None:
        findings, verdicts = self.results.findings, self.results.verdicts
        if findings is not self._told or verdicts is not self._verdicts:
            if findings is not self._told:
                self._sentences = sentences(findings) if findings is not None else []
                self._alignment.tell(findings)
            self._told, self._verdicts = findings, verdicts
            self._model.tell(verdicts, self._sentences, findings)
            self.table_heading.setText(f"{ALIGNMENT_ROWS}, against {self._alignment.reference_name()}")
            self.table.fit_columns()
        not_final = self.results.out_of_date or self.results.partial
        self._model.set_out_of_date(not_final, self.results.verdicts_out_of_date, self._notice())
        self._alignment.set_out_of_date(not_final)
        aligned = self._alignment.rowCount() > 0
        if aligned and not self.pages.isTabVisible(0):
            self.pages.setTabVisible(0, True)
            self.pages.setCurrentIndex(0)
        self.pages.setTabVisible(0, aligned)
        self.pages.setVisible(findings is not None)
        self.large_button.setEnabled(findings is not None)
        self._working.setVisible(self.results.busy)
        self.copy_button.setEnabled(findings is not None)
        self._update_progress()

    def _update_progress(self) -> None:
        self.progress.setValue(round(self.results.progress * _STEPS))
        text = self._state_text()
        self.state.setText(text)
        self.state.setVisible(bool(text))
        colours, palette = self.colours, self.palette()
        palette.setColor(palette.ColorRole.WindowText, colours.fails if self.results.error else colours.muted)
        self.state.setPalette(palette)

    def _state_text(self) -> str:
        results = self.results
        stale = "Out of date: the numbers below were measured by older settings." if results.out_of_date else ""
        if results.error:
            return f"Could not measure: {results.error} {stale}".strip()
        stale = stale or self._partial_text()
        if results.busy:
            doing = results.progress_text or "measuring"
            return f"{stale} {doing[0].upper()}{doing[1:]}, {100 * results.progress:.0f} %".strip()
        if stale or results.findings is not None:
            return stale
        if self.document.session is None:
            return "No session is open."
        return "Nothing is measured: F5 measures the session."

    def _partial_text(self) -> str:
        findings = self.results.findings
        if findings is None or not self.results.partial:
            return ""
        part, whole = len(findings.records), findings.session.records
        return f"Partial: the numbers below are of {self.results.part} ({part} of {whole:,})."

    def restyle(self) -> None:
        """Take the theme's colours."""
        super().restyle()
        self._model.refresh()
        self._alignment.refresh()
        self._update_progress()

    # -- choosing -------------------------------------------------------------------------------------------

    def _item_chosen(self, item: Item) -> None:
        findings = self.results.findings
        if findings is None:
            return
        self._show(evidence_of_sentence(item, findings) if isinstance(item, Sentence) else evidence_of(item, findings))

    def _channel_chosen(self, index: QModelIndex) -> None:
        channel = self._alignment.channel_at(index.row())
        if channel is not None:
            self._show(Evidence(channel=channel, view="single"))

    def _show(self, evidence: Evidence) -> None:
        """Show evidence: its channel, its view, its record, its figure."""
        if evidence.channel is not None:
            self.viewing.set_channel(evidence.channel)
        if evidence.view is not None:
            self.viewing.set_view(evidence.view)
        if evidence.record is not None:
            self.viewing.go_to(evidence.record)
        if evidence.figure is not None:
            self.show_figure(evidence.figure)

    def show_figure(self, name: FigureName) -> None:
        """Bring a figure before the others."""
        self.pages.setCurrentWidget(self.figures[name])

    def open_large(self) -> None:
        """Open the figure that is looked at in a window of its own; beside the table, that of the skews."""
        page = self.pages.currentWidget()
        name = page.name if isinstance(page, FigurePage) else "skew"
        window = self._large.get(name)
        if window is None:
            window = FigureWindow(name, self.viewing, self.results, self.window())
            window.destroyed.connect(lambda: self._large.pop(name, None))
            self._large[name] = window
        window.show()
        window.raise_()
        window.activateWindow()
