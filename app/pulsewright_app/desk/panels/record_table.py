"""The records as a table: what was measured of each, and what a person added."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import replace
from heapq import nlargest
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QAbstractTableModel, QModelIndex, Qt
from PySide6.QtGui import QColor, QFont

from pulsewright.quantity import engineering, with_uncertainty
from pulsewright.session import Session
from pulsewright_analysis.record_table import RecordTable
from pulsewright_analysis.results import Findings
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.measured_table import MeasuredTable
from pulsewright_app.desk.named_records import marks, names_by_record
from pulsewright_app.desk.panels.record_text import SIGNS, RecordText
from pulsewright_app.desk.panels.rows_text import exact
from pulsewright_app.desk.panels.tables import EXACT_ROLE, LEFT, NOT_FINAL, RIGHT, AnyIndex, heading
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.theme import theme

NUMBER, FLAG, TRIGGER, GAP, POLARITY, FIRST, RESIDUAL, CLIPPED, LEFT_OUT, NOTE = range(10)
HEADINGS = (
    "Record", "Flag", "Trigger", "Gap", "Polarity", "First pulse", "Residual", "Clipped", "Left out", "Note",
)  # fmt: skip
_EXACT_HEADINGS = (
    "Record", "Flag", "Trigger / s", "Gap / s", "Polarity", "First pulse / s", "Residual / s", "Clipped", "Left out",
    "Note",
)  # fmt: skip
_MEASURED = (POLARITY, FIRST, RESIDUAL, CLIPPED)
_TO_THE_RIGHT = (NUMBER, TRIGGER, GAP, FIRST, RESIDUAL)

_Role = Qt.ItemDataRole


class RecordTableModel(QAbstractTableModel):
    """A row for each record, seen from the current channel."""

    def __init__(self, document: Document, viewing: Viewing, results: Results, measured: MeasuredTable) -> None:
        super().__init__()
        self._document, self._viewing, self._results = document, viewing, results
        self._measured_table = measured
        self._clipped: dict[int, str] = {}
        """The channels that are clipped, by record."""
        self._longest_clipped: list[int] = []
        self._clipped_of: Findings | None = None
        self._rows: RecordTable | None = None
        self._of: Session | None = None
        """The session whose records these are."""
        self._sorting = (NUMBER, Qt.SortOrder.AscendingOrder)
        self._shown: NDArray[np.int64] | None = None
        """The records that match the filter, where only they are shown."""
        self._records: NDArray[np.intp] = np.arange(0)
        self._places: NDArray[np.intp] = np.arange(0)
        self._asked_at: tuple[NDArray[np.intp], NDArray[np.intp], list[int]] | None = None
        """The rows that were asked for last, of which records, and these: one gesture asks several times."""
        self.rebuild()

    def rebuild(self) -> None:
        """Take the rows from the session, the findings and the current channel as they are now."""
        rows = _of_channel(self._measured_table.now(), self._results.findings)
        self._take_clipped(rows)
        shown = self._viewing.matches if self._viewing.only_matching else None
        same = shown is self._shown or (
            shown is not None and self._shown is not None and np.array_equal(shown, self._shown)
        )
        before, self._of = self._of, self._document.recorded
        self._shown = shown
        if same and before is self._of and len(rows or ()) == len(self._places):
            self._rows = rows
            self.sort(*self._sorting)
            self.refresh()
            return
        self.beginResetModel()
        self._rows = rows
        self._arrange()
        self.endResetModel()

    def _take_clipped(self, rows: RecordTable | None) -> None:
        about = self._results.findings if rows is not None and rows.measured.any() else None
        if about is not self._clipped_of:  # a filter or another channel changes nothing of it
            self._clipped_of, self._clipped = about, _clipped(about)
            by_text = dict(zip(self._clipped.values(), self._clipped, strict=True))  # few texts, of very many records
            self._longest_clipped = [by_text[text] for text in nlargest(3, by_text, key=len)]

    def record_at(self, row: int) -> int:
        """Return the record that a row shows."""
        return int(self._records[row])

    def records_at(self, rows: NDArray[np.intp]) -> list[int]:
        """Return the records that some rows show, in the order of their numbers: a list to be read only."""
        before = self._asked_at
        if before is None or before[0] is not self._records or not np.array_equal(before[1], rows):
            before = self._asked_at = self._records, rows, np.sort(self._records[rows]).tolist()
        return before[2]

    def copied(self, rows: NDArray[np.intp]) -> RecordText | None:
        """Return rows as they are now, to be made a text of; all of them where none is named."""
        if self._rows is None:
            return None
        headings = tuple(heading(self, column) for column in range(len(HEADINGS)))
        records: list[int] = (self._records[rows] if len(rows) else self._records).tolist()
        return RecordText(headings, self._rows, self._document.additions, self._clipped, records)

    def arranged(self, wanted: NDArray[np.int64] | None = None) -> list[int]:
        """Return records in the order of the table, those that it does not show included; all if none are named."""
        records = self._in_order()
        chosen: list[int] = (records if wanted is None else records[np.isin(records, wanted)]).tolist()
        return chosen

    def row_of(self, record: int) -> int | None:
        """Return the row that shows a record."""
        row = int(self._places[record]) if 0 <= record < len(self._places) else -1
        return row if row >= 0 else None

    def listed(self, records: Collection[int]) -> int:
        """Return how many of some records have a row."""
        if len(self._records) == len(self._places):
            return len(records)
        wanted = np.fromiter(records, dtype=np.intp, count=len(records))
        return int(np.count_nonzero(self._places[wanted[wanted < len(self._places)]] >= 0))

    def telling_rows(self) -> list[int]:
        """Return a few rows that hold longer texts than most: after a gap, clipped, left out, or with a note."""
        if self._rows is None:
            return []
        rows = self._rows
        after_gap = np.flatnonzero(rows.missed_before)[:3].tolist()
        added = [*list(self._document.left_out)[:3], *list(self._document.notes)[:3]]
        seen = {
            row for record in (*after_gap, *self._longest_clipped, *added) if (row := self.row_of(record)) is not None
        }
        return sorted(seen)

    def sort(self, column: int, order: Qt.SortOrder = Qt.SortOrder.AscendingOrder) -> None:
        """Arrange the records by a column; what is chosen stays chosen.

        A sorting proxy would ask for two cells at each comparison, and hold a long session up for seconds.
        """
        self._sorting = (column, order)
        self.layoutAboutToBeChanged.emit()
        before = self.persistentIndexList()
        records = [self.record_at(index.row()) for index in before]
        self._arrange()
        after = [
            self.index(int(self._places[record]), index.column()) for record, index in zip(records, before, strict=True)
        ]
        self.changePersistentIndexList(before, after)
        self.layoutChanged.emit()

    def _arrange(self) -> None:
        """Order the records, and leave aside those that are not shown."""
        records = self._in_order()
        if self._shown is not None and len(records):
            records = records[np.isin(records, self._shown)]
        self._records = records
        self._places = np.full(0 if self._rows is None else len(self._rows), -1, dtype=np.intp)
        self._places[records] = np.arange(len(records))

    def _in_order(self) -> NDArray[np.intp]:
        """Return every record by the sorted column, empty cells last; records that are equal there stay in order."""
        column, order = self._sorting
        count = 0 if self._rows is None else len(self._rows)
        records = np.arange(count)
        if self._rows is not None:
            keys = self._keys(self._rows, column)
            known = np.isfinite(keys) if keys.dtype.kind == "f" else keys != ""
            filled = records[known][np.argsort(keys[known], kind="stable")]
            if order is Qt.SortOrder.DescendingOrder:
                filled = records[known][::-1][np.argsort(keys[known][::-1], kind="stable")][::-1]
            records = np.concatenate([filled, records[~known]])
        return records

    def _keys(self, rows: RecordTable, column: int) -> NDArray[Any]:
        """Return what a column is sorted by: numbers, or texts."""
        numbers = _numbers(rows, column)
        if numbers is not None:
            return numbers
        count = len(rows)
        if column == NUMBER:
            return np.arange(count, dtype=np.float64)
        if column == FLAG:
            return 1.0 - np.isin(np.arange(count), list(self._document.flags))
        if column == POLARITY:
            return np.where(rows.polarity != 0, -rows.polarity, np.nan)
        if column == CLIPPED:
            return np.array([self._clipped.get(record, "") for record in range(count)], dtype=np.str_)
        added = self._document.notes if column == NOTE else self._document.left_out
        return np.array([added.get(record, "").casefold() for record in range(count)], dtype=np.str_)

    def refresh(self) -> None:
        """Say that the cells may be others now."""
        if self.rowCount():
            self.dataChanged.emit(self.index(0, 0), self.index(self.rowCount() - 1, len(HEADINGS) - 1))

    def rowCount(self, parent: AnyIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own signature
        """Return how many records there are."""
        return 0 if parent.isValid() or self._rows is None else len(self._records)

    def columnCount(self, parent: AnyIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own signature
        """Return how many columns there are."""
        return 0 if parent.isValid() else len(HEADINGS)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = 0) -> Any:
        """Return a heading."""
        if orientation is not Qt.Orientation.Horizontal:
            return None
        if role == _Role.TextAlignmentRole:
            return RIGHT if section in _TO_THE_RIGHT else LEFT
        if role == _Role.ToolTipRole:
            return self._tool_tip(section)
        if role == EXACT_ROLE:
            return _EXACT_HEADINGS[section] + (NOT_FINAL if section in _MEASURED and self._not_final else "")
        return HEADINGS[section] if role == _Role.DisplayRole else None

    def _tool_tip(self, column: int) -> str | None:
        session, findings = self._document.session, self._results.findings
        if session is None:
            return None
        name = session.channels[self._viewing.channel].name
        if column in (POLARITY, FIRST):
            position = f", {findings.pulses.position}" if findings and column == FIRST else ""
            return f"On the current channel, {name}{position}"
        if column == RESIDUAL and findings and findings.sequence.channel is not None:
            return f"Known on {findings.channel_name(findings.sequence.channel)}, which tells the sequence"
        return None

    def flags(self, index: AnyIndex) -> Qt.ItemFlag:
        """Let flags be ticked and notes be written."""
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        if index.column() == FLAG:
            flags |= Qt.ItemFlag.ItemIsUserCheckable
        if index.column() == NOTE:
            flags |= Qt.ItemFlag.ItemIsEditable
        return flags

    def data(self, index: AnyIndex, role: int = 0) -> Any:
        """Return what a cell shows."""
        if self._rows is None or not 0 <= index.row() < len(self._records):
            return None
        record, column = self.record_at(index.row()), index.column()
        if role == _Role.DisplayRole or (role == _Role.EditRole and column == NOTE):
            return self._text(self._rows, record, column)
        if role == EXACT_ROLE:
            return self._exact(self._rows, record, column)
        if role == _Role.TextAlignmentRole:
            return RIGHT if column in _TO_THE_RIGHT else LEFT
        if role == _Role.CheckStateRole and column == FLAG:
            flagged = record in self._document.flags
            return Qt.CheckState.Checked if flagged else Qt.CheckState.Unchecked
        if role == _Role.ForegroundRole:
            return self._ink(self._rows, record, column)
        if role == _Role.FontRole:
            return self._font(self._rows, record, column)
        return None

    def _text(self, rows: RecordTable, record: int, column: int) -> str | None:
        texts: dict[int, Any] = {
            NUMBER: lambda: str(record),
            FLAG: lambda: None,
            TRIGGER: lambda: engineering(rows.trigger_time[record], "s", 7),
            GAP: lambda: self._gap(rows, record),
            POLARITY: lambda: SIGNS[int(rows.polarity[record])] if rows.measured[record] else "",
            FIRST: lambda: _pair(rows.first_pulse[record], rows.first_pulse_expanded[record]),
            RESIDUAL: lambda: _pair(rows.residual[record], rows.residual_expanded[record]),
            CLIPPED: lambda: self._clipped.get(record, ""),
            LEFT_OUT: lambda: self._document.left_out.get(record, ""),
            NOTE: lambda: self._document.notes.get(record, ""),
        }
        result: str | None = texts[column]()
        return result

    @staticmethod
    def _gap(rows: RecordTable, record: int) -> str:
        if record == 0:
            return ""
        text = engineering(rows.gap[record], "s", 6)
        return f"{text}, {rows.missed_before[record]} missed" if rows.missed_before[record] else text

    def _exact(self, rows: RecordTable, record: int, column: int) -> str | None:
        numbers = _numbers(rows, column)
        return None if numbers is None else exact(numbers[record])

    @property
    def _not_final(self) -> bool:
        """Whether what is measured is of older settings, or of some records only."""
        return self._results.out_of_date or self._results.partial

    def _ink(self, rows: RecordTable, record: int, column: int) -> QColor | None:
        colours = theme(self._viewing.dark)
        if column in _MEASURED and self._not_final:
            return QColor(colours.muted)
        if record in self._document.left_out and column != LEFT_OUT:
            return QColor(colours.muted)
        if column == CLIPPED or (column == GAP and rows.missed_before[record]):
            return QColor(colours.missed)
        if column == POLARITY and rows.polarity[record]:
            return QColor(colours.positive if rows.polarity[record] > 0 else colours.negative)
        return None

    def _font(self, rows: RecordTable, record: int, column: int) -> QFont | None:
        font = QFont()
        if column in _MEASURED and self._not_final:
            font.setItalic(True)
            return font
        if column == NUMBER and record in self._document.left_out:
            font.setStrikeOut(True)
            return font
        return None

    def setData(self, index: AnyIndex, value: Any, role: int = int(_Role.EditRole)) -> bool:
        """Flag a record by its tick, or write its note."""
        if index.column() == FLAG and role == _Role.CheckStateRole:
            self._document.flag(self.record_at(index.row()), Qt.CheckState(value) is Qt.CheckState.Checked)
            return True
        if index.column() == NOTE and role == _Role.EditRole:
            self._document.note(self.record_at(index.row()), str(value))
            return True
        return False


def _numbers(rows: RecordTable, column: int) -> NDArray[np.float64] | None:
    """Return the numbers behind a column, NaN where one is not known; None where it holds no numbers."""
    return {
        TRIGGER: rows.trigger_time,
        GAP: rows.gap,
        FIRST: rows.first_pulse,
        RESIDUAL: rows.residual,
    }.get(column)


def _of_channel(rows: RecordTable | None, findings: Findings | None) -> RecordTable | None:
    """Return the rows without the residuals where those are another channel's."""
    if rows is None or findings is None or findings.sequence.channel == rows.channel:
        return rows
    unknown = np.full(len(rows), np.nan)
    return replace(rows, residual=unknown, residual_expanded=unknown)


def _clipped(findings: Findings | None) -> dict[int, str]:
    """Return the names of the channels that are clipped, by record."""
    if findings is None:
        return {}
    names = [findings.channel_name(health.channel) for health in findings.health]
    return names_by_record(marks(findings.session.records, [one.clipped_records for one in findings.health]), names)


def _pair(value: float, expanded: float) -> str:
    if not math.isfinite(value):
        return ""
    if not math.isfinite(expanded):
        return engineering(value, "s", 6)
    return with_uncertainty(value, expanded, "s")
