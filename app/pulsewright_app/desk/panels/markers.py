"""The panel of the markers: each pair with its difference, rate and interval, every number with U."""

from __future__ import annotations

from PySide6.QtCore import (
    QAbstractItemModel,
    QEvent,
    QItemSelectionModel,
    QModelIndex,
    QObject,
    QPersistentModelIndex,
    Qt,
)
from PySide6.QtGui import QKeyEvent, QKeySequence
from PySide6.QtWidgets import (
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QSpinBox,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
    QWidget,
)

from pulsewright_analysis.markers import u_on_sample
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.panels.marker_table import FIRST, INTERVALS, NAME, SECOND, MarkerTable
from pulsewright_app.desk.panels.panel import Panel
from pulsewright_app.desk.panels.span_rows import SpanRows
from pulsewright_app.desk.panels.tables import CopyingTable
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing

_AnyIndex = QModelIndex | QPersistentModelIndex
_MOST_INTERVALS = 1_000_000


class _IntervalsDelegate(QStyledItemDelegate):
    """Edits the number of intervals in a spin box that writes each step at once."""

    def createEditor(self, parent: QWidget, option: QStyleOptionViewItem, index: _AnyIndex) -> QWidget:
        """Return the spin box of one pair."""
        spin = QSpinBox(parent)
        spin.setRange(1, _MOST_INTERVALS)
        spin.setAlignment(Qt.AlignmentFlag.AlignRight)
        spin.setKeyboardTracking(False)
        spin.setAccessibleName(f"Intervals of {index.model().index(NAME, index.column()).data()}")
        spin.valueChanged.connect(lambda: self.commitData.emit(spin))
        return spin

    def setEditorData(self, editor: QWidget, index: _AnyIndex) -> None:
        """Show the number that counts; not as a person's own step."""
        if isinstance(editor, QSpinBox):
            editor.blockSignals(True)
            editor.setValue(int(index.data(int(Qt.ItemDataRole.EditRole))))
            editor.blockSignals(False)

    def setModelData(self, editor: QWidget, model: QAbstractItemModel, index: _AnyIndex) -> None:
        """Write the number of the spin box."""
        if isinstance(editor, QSpinBox):
            model.setData(index, editor.value())

    def eventFilter(self, editor: QObject, event: QEvent) -> bool:
        """Let Tab go on to what follows: the box always stays open, and nobody should be caught in it."""
        tabs = (Qt.Key.Key_Tab, Qt.Key.Key_Backtab)
        if event.type() == QEvent.Type.KeyPress and isinstance(event, QKeyEvent) and event.key() in tabs:
            return False
        return super().eventFilter(editor, event)


class _PairsView(CopyingTable):
    """A column for each pair; copying gives a line for each pair."""

    def __init__(self, model: MarkerTable, parent: QWidget) -> None:
        super().__init__("Marker pairs", parent)
        self._markers = model
        self.setModel(model)
        self.setSelectionBehavior(QTableView.SelectionBehavior.SelectColumns)
        self.horizontalHeader().hide()
        self.horizontalHeader().setStretchLastSection(False)
        self.verticalHeader().show()
        self.verticalHeader().setHighlightSections(False)
        self.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        triggers = QTableView.EditTrigger
        self.setEditTriggers(triggers.DoubleClicked | triggers.EditKeyPressed)
        self.setItemDelegateForRow(INTERVALS, _IntervalsDelegate(self))

    def copied(self) -> str:
        """Return the chosen pairs, or all, at full precision."""
        return self._markers.copied(sorted(index.column() for index in self.selectionModel().selectedColumns()))


class MarkersPanel(Panel):
    """The marker pairs; choosing a number selects the marker that it belongs to."""

    def __init__(self, document: Document, viewing: Viewing, results: Results, parent: QWidget | None = None) -> None:
        super().__init__(document, viewing, results, parent)
        self._model = MarkerTable(document, viewing, results)
        self.table = _PairsView(self._model, self)
        self.hint = QLabel("No marker pair yet. Add one here, or put markers down in the view.")
        self.hint.setWordWrap(True)
        self.column.addWidget(self.hint)
        self.column.addWidget(self.table, 1)
        self.column.addLayout(self._buttons())
        self.spans = SpanRows(document, viewing, self)
        self.column.addWidget(self.spans)
        self._model.modelReset.connect(self._pairs_reset)
        self.table.selectionModel().currentChanged.connect(self._chosen)
        for signal in (
            document.pairs_changed, document.settings_changed, document.session_changed, results.changed,
            viewing.record_changed,
        ):  # fmt: skip
            signal.connect(self._rebuild)
        viewing.channel_changed.connect(self._model.refresh)
        viewing.selection_changed.connect(self._follow)
        self.restyle()
        self._rebuild()
        self._pairs_reset()

    def _buttons(self) -> QHBoxLayout:
        row = QHBoxLayout()
        self.add_button = QPushButton("Add a pair")
        self.add_button.setAccessibleName("Add a marker pair")
        self.add_button.clicked.connect(self.add_pair)
        self.remove_button = QPushButton("Remove")
        self.remove_button.setAccessibleName("Remove the chosen marker pair")
        self.remove_button.clicked.connect(self.remove_pair)
        self.copy_button = QPushButton("Copy")
        self.copy_button.setAccessibleName("Copy the marker pairs as tab-separated text")
        self.copy_button.setToolTip(QKeySequence(QKeySequence.StandardKey.Copy).toString())
        self.copy_button.clicked.connect(self.table.copy)
        row.addWidget(self.add_button)
        row.addWidget(self.remove_button)
        row.addStretch(1)
        row.addWidget(self.copy_button)
        return row

    # -- showing --------------------------------------------------------------------------------------------

    def _rebuild(self) -> None:
        self._model.rebuild()
        self._fit()
        self._update()
        self._follow()

    def _pairs_reset(self) -> None:
        """Give every pair its spin box."""
        for column in range(self._model.columnCount()):
            self.table.openPersistentEditor(self._model.index(INTERVALS, column))
        self._fit()

    def _fit(self) -> None:
        """Make every column wide enough for its numbers, and never narrower while a marker is dragged."""
        for column in range(self._model.columnCount()):
            wanted = self.table.sizeHintForColumn(column) + self.fontMetrics().averageCharWidth()
            if self.table.columnWidth(column) < wanted:
                self.table.setColumnWidth(column, wanted)

    def _update(self) -> None:
        any_pair = self._model.columnCount() > 0
        self.hint.setVisible(not any_pair)
        self.table.setVisible(any_pair)
        self.add_button.setEnabled(self.document.session is not None)
        self.copy_button.setEnabled(any_pair)
        self.remove_button.setEnabled(self.viewing.selected_marker is not None)

    def _chosen(self, current: QModelIndex) -> None:
        pair = self._model.pair_at(current.column()) if current.isValid() else None
        if pair is not None:
            self.viewing.select_marker(pair.id, 2 if current.row() == SECOND else 1)

    def _follow(self) -> None:
        self._update()
        selected = self.viewing.selected_marker
        column = None if selected is None else self._model.column_of(selected[0])
        if selected is None or column is None:
            self.table.clearSelection()
            return
        row = self.table.currentIndex().row()
        if (row == SECOND) != (selected[1] == 2) or row < 0:
            row = SECOND if selected[1] == 2 else FIRST
        selection, flags = self.table.selectionModel(), QItemSelectionModel.SelectionFlag
        selection.select(self._model.index(row, column), flags.ClearAndSelect | flags.Columns)
        selection.setCurrentIndex(self._model.index(row, column), flags.NoUpdate)

    def restyle(self) -> None:
        """Take the theme's colours."""
        super().restyle()
        self._model.refresh()

    # -- adding and removing --------------------------------------------------------------------------------

    def add_pair(self) -> None:
        """Put a pair down on the samples nearest to a third and two thirds of the stretch that is shown."""
        session = self.document.session
        if session is None:
            return
        record, channel = self.viewing.record, self.viewing.channel
        start = float(session.first_sample_time(channel)[record])
        last = session.record_length - 1
        low, high = self.viewing.time_window or (start, start + last * session.sample_interval)
        times = []
        for share in (1 / 3, 2 / 3):
            sample = round((low + share * (high - low) - start) * session.sample_rate)
            times.append(start + min(max(sample, 0), last) * session.sample_interval)
        u = u_on_sample(session.sample_interval)
        pair = self.document.add_pair(times[0], times[1], u, u, record, channel)
        self.viewing.select_marker(pair.id, 1)

    def remove_pair(self) -> None:
        """Take the chosen pair away."""
        if self.viewing.selected_marker is not None:
            self.document.remove_pair(self.viewing.selected_marker[0])

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Remove the chosen pair by Delete."""
        if event.key() == Qt.Key.Key_Delete:
            self.remove_pair()
            return
        super().keyPressEvent(event)

    def changeEvent(self, event: QEvent) -> None:
        """Widen the columns with the font."""
        super().changeEvent(event)
        if event.type() is QEvent.Type.FontChange and hasattr(self, "table"):
            self._fit()
