"""The panel of the markers: each pair of times or levels with its difference, every number with U."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from PySide6.QtCore import (
    QAbstractItemModel,
    QEvent,
    QItemSelectionModel,
    QModelIndex,
    QObject,
    QPersistentModelIndex,
    QSize,
    Qt,
)
from PySide6.QtGui import QAction, QKeyEvent, QKeySequence, QResizeEvent, QWheelEvent
from PySide6.QtWidgets import (
    QHeaderView,
    QLabel,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QSpinBox,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from pulsewright_analysis.markers import u_on_sample
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.panels.marker_table import FIRST, INTERVALS, NAME, NOTE, PLACE, SECOND, MarkerTable
from pulsewright_app.desk.panels.pair_buttons import PairButtons
from pulsewright_app.desk.panels.panel import Panel
from pulsewright_app.desk.panels.snap_choice import SnapChoice
from pulsewright_app.desk.panels.span_rows import SpanRows
from pulsewright_app.desk.panels.tables import CopyingTable
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.views.flow import FlowRow

_AnyIndex = QModelIndex | QPersistentModelIndex
_MOST_INTERVALS = 1_000_000
_MOST_OF_WINDOW = 0.28
_TEXTS = (NAME, PLACE, NOTE)


class _IntervalsDelegate(QStyledItemDelegate):
    """Edits the number of intervals in a spin box that writes each step at once."""

    def createEditor(self, parent: QWidget, option: QStyleOptionViewItem, index: _AnyIndex) -> QWidget:
        """Return the spin box of one pair."""
        spin = QSpinBox(parent)
        spin.setRange(1, _MOST_INTERVALS)
        spin.setAlignment(Qt.AlignmentFlag.AlignRight)
        spin.setKeyboardTracking(False)
        spin.setAccessibleName(f"Intervals of {index.model().index(NAME, index.column()).data()}")
        spin.valueChanged.connect(lambda: self._commit(spin))
        return spin

    def _commit(self, spin: QSpinBox) -> None:
        """Write a step, but not one of a box that the table has let go of: it may still be held by its arrow."""
        if not spin.isHidden():
            self.commitData.emit(spin)

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
        self._needed: list[int] = []
        """How wide the numbers of each pair are."""
        self.setModel(model)
        self.setSelectionBehavior(QTableView.SelectionBehavior.SelectColumns)
        self.setWordWrap(True)
        self.setHorizontalScrollMode(QTableView.ScrollMode.ScrollPerItem)
        self.horizontalHeader().hide()
        self.horizontalHeader().setStretchLastSection(False)
        self.verticalHeader().show()
        self.verticalHeader().setHighlightSections(False)
        self.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        triggers = QTableView.EditTrigger
        self.setEditTriggers(triggers.DoubleClicked | triggers.EditKeyPressed)
        self.setItemDelegateForRow(INTERVALS, _IntervalsDelegate(self))
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)  # the panel scrolls as a whole
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.verticalHeader().sectionResized.connect(lambda *_: self.updateGeometry())

    def sizeHint(self) -> QSize:
        """Return room for every number of a pair, and for the bar that goes through the pairs where it is needed."""
        needed = self.horizontalHeader().length() > self.viewport().width()
        bar = self.horizontalScrollBar().sizeHint().height() if needed else 0
        return QSize(super().sizeHint().width(), self.verticalHeader().length() + bar + 2 * self.frameWidth())

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Show whole pairs, and ask for another height where the bar comes or goes."""
        super().resizeEvent(event)
        self._share_room()

    def _keep_in_sight(self) -> None:
        """Scroll the chosen pair into sight, whole if there is room."""
        chosen = self.selectionModel().selectedColumns()
        if chosen:
            self.scrollTo(self._markers.index(NAME, chosen[0].column()))

    def minimumSizeHint(self) -> QSize:
        """Return the same height, and the width of one whole pair: its numbers stand at its right."""
        wide = self.verticalHeader().sizeHint().width() + max(self._needed, default=0) + 2 * self.frameWidth()
        return QSize(wide, self.sizeHint().height())

    def fit_columns(self, telling: Iterable[int] = ()) -> None:
        """Make every column wide enough for its numbers."""
        self.fit_pairs(anew=True)

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Leave the wheel to the panel, but for what goes sideways."""
        if event.angleDelta().x() or event.modifiers():
            super().wheelEvent(event)
        else:
            event.ignore()

    def fit_pairs(self, anew: bool = False) -> None:
        """Make every column wide enough for its numbers, and never narrower than before unless `anew`.

        A marker that is dragged must not make the table tremble. Texts go on in a second line.
        """
        model, air, before = self._markers, self.fontMetrics().averageCharWidth(), [] if anew else self._needed
        numbers = [row for row in range(model.rowCount()) if row not in _TEXTS]
        self._needed = [
            max(self.sizeHintForIndex(model.index(row, column)).width() for row in numbers) + air
            for column in range(model.columnCount())
        ]
        for column, width in enumerate(before[: len(self._needed)]):
            self._needed[column] = max(width, self._needed[column])
        self._share_room()

    def _share_room(self) -> None:
        """Where there is no room for all pairs, give it to as many as are whole: a number that is cut is another."""
        room, most = self.viewport().width(), max(self._needed, default=0)
        some = sum(self._needed) > room
        for column, needed in enumerate(self._needed):
            width = max(most, room // max(1, room // most)) if some else needed
            if self.columnWidth(column) != width:
                self.setColumnWidth(column, width)
        self.updateGeometry()
        self._keep_in_sight()

    def copied(self) -> str:
        """Return the chosen pairs, or all, at full precision."""
        return self._markers.copied(sorted(index.column() for index in self.selectionModel().selectedColumns()))


class _UpAndDown(QScrollArea):
    """Scrolls up and down alone: it is as wide as what is inside, up to a part of the window."""

    def __init__(self) -> None:
        super().__init__()
        self.setWidgetResizable(True)
        self.setFrameShape(QScrollArea.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)

    def minimumSizeHint(self) -> QSize:
        """Return the width of what is inside beside the bar."""
        inside = self.widget()
        wide = 0 if inside is None else inside.minimumSizeHint().width()
        wide += self.verticalScrollBar().sizeHint().width()
        return QSize(min(wide, round(self.window().width() * _MOST_OF_WINDOW)), super().minimumSizeHint().height())


class MarkersPanel(Panel):
    """The marker pairs; choosing a number selects the marker that it belongs to."""

    def __init__(
        self,
        document: Document,
        viewing: Viewing,
        results: Results,
        parent: QWidget | None = None,
        *,
        actions: Mapping[str, QAction] | None = None,
    ) -> None:
        super().__init__(document, viewing, results, parent)
        self._model = MarkerTable(document, viewing, results)
        self.table = _PairsView(self._model, self)
        self.hint = QLabel(
            "No marker pair yet. Add one here, or double-click in the view; with Shift held, for a pair of levels."
        )
        self.hint.setWordWrap(True)
        inside = self._scrolling()
        inside.addWidget(self.hint)
        inside.addWidget(self.table)
        buttons = self._buttons(actions or {})
        inside.addLayout(buttons)
        if actions is not None:
            inside.addWidget(PairButtons(document, viewing, results, actions, buttons, self))
        inside.addWidget(SnapChoice(viewing, self))
        self.spans = SpanRows(document, viewing, self)
        inside.addWidget(self.spans)
        inside.addStretch(1)
        self._model.modelReset.connect(self._pairs_reset)
        self.table.selectionModel().currentChanged.connect(self._chosen)
        for signal in (
            document.pairs_changed, document.levels_changed, document.settings_changed, document.session_changed,
            results.changed,
        ):  # fmt: skip
            signal.connect(self._rebuild)
        viewing.record_changed.connect(self._stepped)
        viewing.channel_changed.connect(self._model.refresh)
        viewing.selection_changed.connect(self._follow)
        self.restyle()
        self._rebuild()
        self._pairs_reset()

    def _scrolling(self) -> QVBoxLayout:
        """Return the column that scrolls where the panel is low: in large letters it is taller than most screens."""
        self.area = _UpAndDown()
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.setContentsMargins(0, 0, 0, 0)
        self.area.setWidget(inside)
        self.column.addWidget(self.area, 1)
        return column

    def _buttons(self, actions: Mapping[str, QAction]) -> FlowRow:
        row = FlowRow(gap=4, even=True)
        self.add_button = QPushButton("Add a pair")
        self.add_button.setAccessibleName("Add a marker pair")
        self.add_button.clicked.connect(self.add_pair)
        self.levels_button = QPushButton("Add levels")
        self.levels_button.setAccessibleName("Add a level pair")
        self.levels_button.clicked.connect(lambda: actions["add_levels"].trigger())
        self.levels_button.setVisible("add_levels" in actions)
        self.remove_button = QPushButton("Remove")
        self.remove_button.setAccessibleName("Remove the chosen pair")
        self.remove_button.clicked.connect(self.remove_pair)
        self.copy_button = QPushButton("Copy")
        self.copy_button.setAccessibleName("Copy the pairs as tab-separated text")
        self.copy_button.setToolTip(QKeySequence(QKeySequence.StandardKey.Copy).toString())
        self.copy_button.clicked.connect(self.table.copy)
        for button in (self.add_button, self.levels_button, self.remove_button, self.copy_button):
            row.addWidget(button)
        return row

    # -- showing --------------------------------------------------------------------------------------------

    def _rebuild(self) -> None:
        self._model.rebuild()
        self.table.fit_pairs()
        self._update()
        self._follow()

    def _stepped(self) -> None:
        """Show the numbers of this record; only a pair that follows its pulses can need more room than before."""
        self._model.rebuild()
        if any(pair.pulses is not None for pair in self.document.pairs):
            self.table.fit_pairs()

    def _pairs_reset(self) -> None:
        """Give every pair its spin box."""
        for column in range(self._model.columnCount()):
            if self._model.has_intervals(column):
                self.table.openPersistentEditor(self._model.index(INTERVALS, column))
        self.table.fit_pairs(anew=True)

    def _update(self) -> None:
        any_pair = self._model.columnCount() > 0
        self.area.updateGeometry()
        self.hint.setVisible(not any_pair)
        self.table.setVisible(any_pair)
        for button in (self.add_button, self.levels_button):
            button.setEnabled(self.document.session is not None)
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
        start = float(session.first_sample_times(record)[channel])
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

    def write_note(self) -> None:
        """Let the note of the chosen pair be written in its cell."""
        selected = self.viewing.selected_marker
        column = None if selected is None else self._model.column_of(selected[0])
        if column is not None:
            cell = self._model.index(NOTE, column)
            self.table.setFocus()
            self.table.selectionModel().setCurrentIndex(cell, QItemSelectionModel.SelectionFlag.NoUpdate)
            self.table.scrollTo(cell)
            self.table.write_in(cell)
            self.area.ensureWidgetVisible(self.table.indexWidget(cell) or self.table)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Remove the chosen pair by Delete."""
        if event.key() == Qt.Key.Key_Delete:
            self.remove_pair()
            return
        super().keyPressEvent(event)
