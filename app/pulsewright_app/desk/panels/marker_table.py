"""The marker pairs side by side: a column for each pair, a row for each of its numbers."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, Qt
from PySide6.QtGui import QColor, QFont

from pulsewright.quantity import Quantity, coverage_factor, with_uncertainty
from pulsewright_app.desk.additions import MarkerPair, Which
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.following import Following, Shown
from pulsewright_app.desk.panels.tables import EXACT_ROLE, LEFT, RIGHT, AnyIndex
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.theme import theme
from pulsewright_app.wording import follows

NAME, FIRST, SECOND, DELTA, RATE, INTERVALS, EACH, PLACE = range(8)
HEADINGS = ("Name", "t₁", "t₂", "Δ", "1/Δ", "N", "Δ/N", "Put down on")
_TIPS = (
    "",
    "First marker, from the trigger",
    "Second marker, from the trigger",
    "t₂ − t₁, with U",
    "The rate that one Δ stands for",
    "Equal intervals between the two markers",
    "One interval",
    "The record and channel for which U holds",
)
_COPIED = (
    "Name\tt1 / s\tU(t1) / s\tt2 / s\tU(t2) / s\tΔ / s\tU(Δ) / s\t1/Δ / Hz\tU(1/Δ) / Hz\tN\tΔ/N / s\tU(Δ/N) / s"
    "\tRecord\tChannel"
)

_Role = Qt.ItemDataRole


class MarkerTable(QAbstractTableModel):
    """Each pair's numbers, computed afresh from how the pair was put down."""

    def __init__(self, document: Document, viewing: Viewing, results: Results) -> None:
        super().__init__()
        self._document, self._viewing = document, viewing
        self._following = Following(document, results)
        self._pairs: tuple[MarkerPair, ...] = ()
        self._shown: tuple[Shown, ...] = ()

    def rebuild(self) -> None:
        """Take the pairs from the document; a table with the same pairs keeps its editors."""
        pairs = self._document.pairs
        record, ppm = self._viewing.record, self._document.clock_ppm
        shown = tuple(self._following.shown(pair, record, ppm) for pair in pairs)
        same = [pair.id for pair in pairs] == [pair.id for pair in self._pairs]
        if not same:
            self.beginResetModel()
        self._pairs, self._shown = pairs, shown
        if not same:
            self.endResetModel()
        elif pairs:
            self.refresh()

    def refresh(self) -> None:
        """Say that the cells may be others now."""
        if self._pairs:
            self.dataChanged.emit(self.index(0, 0), self.index(len(HEADINGS) - 1, len(self._pairs) - 1))

    def pair_at(self, column: int) -> MarkerPair | None:
        """Return the pair of a column."""
        return self._pairs[column] if 0 <= column < len(self._pairs) else None

    def column_of(self, pair_id: int) -> int | None:
        """Return the column of a pair."""
        return next((c for c, pair in enumerate(self._pairs) if pair.id == pair_id), None)

    def rowCount(self, parent: AnyIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own signature
        """Return how many numbers a pair has."""
        return 0 if parent.isValid() else len(HEADINGS)

    def columnCount(self, parent: AnyIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own signature
        """Return how many pairs there are."""
        return 0 if parent.isValid() else len(self._pairs)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = 0) -> Any:
        """Return what a row holds."""
        if orientation is Qt.Orientation.Horizontal:
            return None
        if role == _Role.TextAlignmentRole:
            return LEFT
        return {int(_Role.DisplayRole): HEADINGS, int(_Role.ToolTipRole): _TIPS}.get(role, (None,) * 8)[section]

    def flags(self, index: AnyIndex) -> Qt.ItemFlag:
        """Let names and numbers of intervals be edited."""
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        return flags | Qt.ItemFlag.ItemIsEditable if index.row() in (NAME, INTERVALS) else flags

    def data(self, index: AnyIndex, role: int = 0) -> Any:
        """Return what a cell shows."""
        pair = self.pair_at(index.column())
        if pair is None:
            return None
        if role == _Role.DisplayRole:
            return self._text(self._shown[index.column()], index.row())
        if role == EXACT_ROLE:
            return self._text(self._shown[index.column()], index.row())
        if role == _Role.EditRole:
            return {NAME: pair.name, INTERVALS: pair.intervals}.get(index.row())
        if role == _Role.TextAlignmentRole:
            return RIGHT
        if role == _Role.FontRole and index.row() in (NAME, DELTA):
            font = QFont()
            font.setBold(True)
            return font
        if role == _Role.ForegroundRole:
            return self._ink(pair, index.row())
        return None

    def _ink(self, pair: MarkerPair, row: int) -> QColor | None:
        colours = theme(self._viewing.dark)
        here = self._viewing.record if pair.pulses is not None else pair.record
        elsewhere = (here, pair.channel) != (self._viewing.record, self._viewing.channel)
        if row == PLACE and elsewhere:
            return QColor(colours.muted)
        return QColor(colours.marker) if row == NAME else None

    def _text(self, shown: Shown, row: int) -> str:
        pair, told = shown.pair, shown.told
        if row == NAME:
            return pair.name
        if row == INTERVALS:
            return str(pair.intervals)
        if row == PLACE:
            return self._place(shown)
        if told is None:
            return "not here"
        quantity = {
            FIRST: _placed(pair, 1),
            SECOND: _placed(pair, 2),
            DELTA: told.delta,
            RATE: told.rate,
            EACH: told.per_interval,
        }[row]
        if quantity is None:
            return "not defined"
        return with_uncertainty(quantity.value, quantity.expanded, quantity.unit)

    def _place(self, shown: Shown) -> str:
        pair = shown.pair
        if pair.pulses is None:
            return f"record {pair.record}, {self._channel_name(pair.channel)}"
        told = f"{follows(*pair.pulses)}, {self._channel_name(pair.channel)}"
        return f"{told}: {shown.reason}" if shown.reason else f"{told}, record {pair.record}"

    def _channel_name(self, channel: int) -> str:
        session = self._document.session
        return session.channels[channel].name if session is not None else ""

    def setData(self, index: AnyIndex, value: Any, role: int = int(_Role.EditRole)) -> bool:
        """Rename a pair, or set its number of intervals."""
        pair = self.pair_at(index.column())
        if pair is None or role != _Role.EditRole:
            return False
        if index.row() == NAME:
            self._document.rename_pair(pair.id, str(value))
        elif index.row() == INTERVALS:
            self._document.set_intervals(pair.id, int(value))
        else:
            return False
        return True

    def copied(self, columns: list[int]) -> str:
        """Return pairs as tab-separated text at full precision, a line for each pair; all if none is named."""
        lines = [_COPIED]
        for column in columns or range(len(self._pairs)):
            pair, told = self._shown[column].pair, self._shown[column].told
            quantities = (None,) * 4 if told is None else (_placed(pair, 1), _placed(pair, 2), told.delta, told.rate)
            cells = [pair.name, *(cell for quantity in quantities for cell in _exact(quantity))]
            cells += [str(pair.intervals), *_exact(None if told is None else told.per_interval)]
            cells += [str(self._viewing.record if told is None else pair.record), self._channel_name(pair.channel)]
            lines.append("\t".join(" ".join(cell.split()) for cell in cells))
        return "\n".join(lines) + "\n"


def _placed(pair: MarkerPair, which: Which) -> Quantity:
    """Return one marker's time with its u."""
    return Quantity(pair.time(which), pair.u(which), "s")


def _exact(quantity: Quantity | None) -> tuple[str, str]:
    if quantity is None:
        return ("", "")
    return repr(quantity.value), repr(coverage_factor(quantity.dof) * quantity.u)
