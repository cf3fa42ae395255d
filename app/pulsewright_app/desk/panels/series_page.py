"""A following pair over all records, beside the desk: a row for each record, mean and scatter at the foot."""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QAbstractTableModel, QModelIndex, Qt, Signal
from PySide6.QtGui import QFont, QGuiApplication
from PySide6.QtWidgets import QComboBox, QTableView, QWidget

from pulsewright.quantity import Quantity, engineering, with_uncertainty
from pulsewright_analysis.marker_series import PairSeries, pair_over_records
from pulsewright_analysis.marker_tables import one_series_table
from pulsewright_app.desk.additions import MarkerPair
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.form_page import FormPage
from pulsewright_app.desk.panels import rows_text
from pulsewright_app.desk.panels.rows_text import text_of
from pulsewright_app.desk.panels.series_text import FOOT, SeriesText, foot_cells, polarity_text
from pulsewright_app.desk.panels.tables import EXACT_ROLE, LEFT, RIGHT, AnyIndex, CopyingTable
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.saving.files import SERIES
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.work import Background
from pulsewright_app.wording import count, follows

RECORD, FIRST, SECOND, DELTA, INTERVALS, EACH, POLARITY, REASON = range(8)
HEADINGS = ("Record", "t₁ ± U", "t₂ ± U", "Δ ± U", "N", "Δ/N ± U", "Polarity", "Why not")
_COPIED = ("Record", "t1 / s", "t2 / s", "Δ / s", "N", "Δ/N / s", "Polarity", "Why not")
_NO_PAIR = "No pair follows its pulses: drop both markers of a pair on pulses, and let it follow them (T)."
_KEY = "Marker pair over all records"
_COPYING = "Copying the pair over all records"
_Role = Qt.ItemDataRole


class SeriesTable(QAbstractTableModel):
    """The rows of one series, and two below them."""

    def __init__(self) -> None:
        super().__init__()
        self._series: PairSeries | None = None

    def show(self, series: PairSeries | None) -> None:
        """Show another series, or none."""
        self.beginResetModel()
        self._series = series
        self.endResetModel()

    def record_at(self, row: int) -> int | None:
        """Return the record of a row; None for the foot."""
        return row if self._series is not None and 0 <= row < len(self._series.delta) else None

    def rowCount(self, parent: AnyIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own signature
        """Return the number of records, and of rows below them."""
        return 0 if parent.isValid() or self._series is None else len(self._series.delta) + len(FOOT)

    def columnCount(self, parent: AnyIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own signature
        """Return the number of columns."""
        return 0 if parent.isValid() else len(HEADINGS)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = 0) -> Any:
        """Return what a column holds."""
        if orientation is Qt.Orientation.Vertical:
            return None
        return {int(_Role.DisplayRole): HEADINGS, EXACT_ROLE: _COPIED}.get(role, (None,) * len(HEADINGS))[section]

    def data(self, index: AnyIndex, role: int = 0) -> Any:
        """Return what a cell shows."""
        if self._series is None:
            return None
        foot = index.row() - len(self._series.delta)
        if role == _Role.DisplayRole:
            shown = self._cell if foot < 0 else self._foot
            return shown(self._series, index.row() if foot < 0 else foot, index.column())
        if role == _Role.TextAlignmentRole:
            return LEFT if index.column() == REASON or (foot >= 0 and index.column() == RECORD) else RIGHT
        if role == _Role.FontRole and foot >= 0:
            font = QFont()
            font.setBold(True)
            return font
        return None

    def copied(self, rows: NDArray[np.intp]) -> SeriesText | None:
        """Return rows as they are now, to be made a text of; all of them where none is named."""
        if self._series is None:
            return None
        return SeriesText(_COPIED, self._series, rows.tolist() if len(rows) else range(self.rowCount()))

    def _cell(self, series: PairSeries, record: int, column: int) -> str:
        if column == RECORD:
            return str(record)
        if column == INTERVALS:
            return str(series.intervals)
        if column == REASON:
            return series.reasons[record]
        if column == POLARITY:
            return polarity_text(series, record)
        values, us, share = {
            FIRST: (series.t1, series.t1_u, 1),
            SECOND: (series.t2, series.t2_u, 1),
            DELTA: (series.delta, series.delta_u, 1),
            EACH: (series.delta, series.delta_u, series.intervals),
        }[column]
        if series.reasons[record]:
            return ""
        return _text(Quantity(float(values[record] / share), float(us[record] / share), "s"))

    def _foot(self, series: PairSeries, row: int, column: int) -> str:
        share = {DELTA: 1, EACH: series.intervals}.get(column)
        if share is None:
            return foot_cells(series, row)[column]
        if row == 0:
            return "" if series.mean is None else _text(series.mean.scaled(1 / share))
        return "" if series.deviation is None else engineering(series.deviation / share, "s")


def _foot_text(series: PairSeries) -> str:
    """Say the foot of the table in a sentence: many records hide it below."""
    if series.mean is None:
        return "It could be measured in no record."
    scatter = "" if series.deviation is None else f", standard deviation {engineering(series.deviation, 's')}"
    return f"Mean Δ {series.mean}{scatter}, in {len(series.measured)} of {len(series.delta)} records."


def _told(pair: MarkerPair, channels: tuple[str, str], position: str) -> str:
    """Say which pulses a pair follows, and what it does with the other marker."""
    followed = [(end.pulse, name) for end, name in zip(pair.ends, channels, strict=True) if end.pulse is not None]
    if len(followed) == 2:
        of_channel = f" of {channels[0]}" if pair.one_channel else ""
        told = follows(pair.ends[0].pulse, pair.ends[1].pulse, channels)
        return f"{pair.name} {told}{of_channel}, each by its {position}."
    ((pulse, channel),) = followed
    on = "" if pair.one_channel else f", put down on {channels[0 if pair.ends[0].pulse is None else 1]}"
    fixed = 1 if pair.ends[0].pulse is None else 2
    where = engineering(pair.time(1 if fixed == 1 else 2), "s", 6)
    return (
        f"{pair.name}: marker {3 - fixed} follows pulse {pulse} of {channel} by its {position}; "
        f"marker {fixed} is fixed at {where}{on}."
    )


def _text(quantity: Quantity) -> str:
    return with_uncertainty(quantity.value, quantity.expanded, quantity.unit)


class _SeriesView(CopyingTable):
    """The table; copying it is the page's, as there may be very many rows."""

    def __init__(self, page: SeriesPage) -> None:
        super().__init__("Marker pair over all records", page)
        self._page = page

    def copy(self) -> None:
        """Put the chosen rows on the clipboard, or all of them where none is chosen."""
        self._page.copy()


class SeriesPage(FormPage):
    """Lists a following pair in every record; a row that is chosen brings the desk to its record."""

    save_wanted = Signal(object)
    """What makes a table of the pair over all records, to be written into a file."""

    def __init__(
        self, document: Document, viewing: Viewing, results: Results, background: Background, parent: QWidget
    ) -> None:
        super().__init__("Marker pair over all records", parent)
        self._document, self._viewing, self._results = document, viewing, results
        self._background = background
        self._series: tuple[PairSeries, MarkerPair] | None = None
        self.pairs = QComboBox()
        self.add_field("Pair", self.pairs, "Pair that is tabulated")
        self._model = SeriesTable()
        self.table = _SeriesView(self)
        self.table.setModel(self._model)
        self.table.setSelectionBehavior(QTableView.SelectionBehavior.SelectRows)
        self.column.insertWidget(1, self.table, 100)
        self.copy_button = self.add_button("Copy", "Copy the table as tab-separated text")
        self.csv_button = self.add_button("CSV …", "Save the table with every u as a CSV file")
        self.csv_button.clicked.connect(self._save)
        self.close_button = self.add_button("Close", "Close this page")
        self.copy_button.clicked.connect(self.copy)
        self.close_button.clicked.connect(self.close)
        self.table.selectionModel().currentChanged.connect(self._go)
        self.pairs.activated.connect(lambda _: self._measure())
        for signal in (document.pairs_changed, document.session_changed, results.changed):
            signal.connect(self._rebuild)
        self.resize(980, 520)

    def come_up(self) -> None:
        """Show the page, at the pair that is chosen on the desk."""
        super().come_up()
        selected = self._viewing.selected_marker
        self._rebuild(None if selected is None else selected[0])

    def _following(self) -> list[MarkerPair]:
        return [pair for pair in self._document.pairs if pair.pulses is not None]

    def _rebuild(self, wanted: int | None = None) -> None:
        if not self.isVisible():
            return
        wanted = self.pairs.currentData() if wanted is None else wanted
        self.pairs.clear()
        for pair in self._following():
            self.pairs.addItem(pair.name, pair.id)
        self.pairs.setCurrentIndex(max(self.pairs.findData(wanted), 0) if self.pairs.count() else -1)
        self._measure()

    def _measure(self) -> None:
        """Have the series made in the background: it takes as long as there are records."""
        findings, chosen = self._results.findings, self.pairs.currentData()
        pair = None if chosen is None else self._document.pair(chosen)
        if pair is None or pair.pulses is None or findings is None:
            self._background.cancel(_KEY)
            self._show(None, "The session is not measured yet." if findings is None else _NO_PAIR)
            return
        ends, intervals = pair.ends, pair.intervals
        first, second = (findings.channel_name(end.channel) for end in ends)
        told = _told(pair, (first, second), findings.pulses.position)
        if self._results.partial or self._results.out_of_date:
            told += " The numbers are not final: the session is being measured."
        self._background.start(
            _KEY,
            lambda _: pair_over_records(findings, ends, intervals),
            lambda series: self._show(series, told, pair),
            lambda sentence: self._show(None, sentence),
        )

    def _show(self, series: PairSeries | None, told: str, pair: MarkerPair | None = None) -> None:
        self._series = None if series is None or pair is None else (series, pair)
        self._model.show(series)
        self.table.fit_columns()
        self.told.setText(f"{told}\n{_foot_text(series)}" if series is not None else told)
        self.copy_button.setEnabled(series is not None)
        final = not (self._results.partial or self._results.out_of_date)
        self.csv_button.setEnabled(series is not None and final)  # no file from numbers that are not final

    def copy(self) -> None:
        """Put the chosen rows of the table on the clipboard, in the background where they are very many."""
        copied = self._model.copied(self.table.chosen_rows())
        if copied is None:
            return
        if len(copied.rows) <= rows_text.MOST_AT_ONCE:
            QGuiApplication.clipboard().setText(text_of(copied))
            return
        told = f"{count(len(copied.rows), 'row')} in the clipboard."

        def done(text: str) -> None:
            QGuiApplication.clipboard().setText(text)
            self.told.setText(told)

        self._background.start(_COPYING, lambda job: text_of(copied, job.cancelled), done, self.told.setText)

    def _save(self) -> None:
        findings = self._results.findings
        if self._series is not None and findings is not None:
            series, pair = self._series
            self.save_wanted.emit(partial(one_series_table, series, pair.id, pair.name, findings))

    def tell_saved(self, key: str, path: object, sentence: str) -> None:
        """Say that the table was written."""
        if key == SERIES:
            self.told.setText(f"{sentence} in {path}")

    def tell_failed(self, key: str, sentence: str) -> None:
        """Say why the table was not written."""
        if key == SERIES:
            self.told.setText(sentence)

    def _go(self, current: QModelIndex) -> None:
        record = self._model.record_at(current.row())
        if record is not None:
            self._viewing.go_to(record)
