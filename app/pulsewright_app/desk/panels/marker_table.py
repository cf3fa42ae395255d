"""The marker pairs and the level pairs side by side: a column for each pair, a row for each of its numbers."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, Qt
from PySide6.QtGui import QColor, QFont

from pulsewright.quantity import Quantity, coverage_factor, with_uncertainty
from pulsewright_analysis.level_markers import level_difference, level_value
from pulsewright_app.desk.additions import AnyPair, LevelPair, MarkerPair, Which
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.following import Following, Shown
from pulsewright_app.desk.panels.tables import EXACT_ROLE, LEFT, RIGHT, AnyIndex
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.theme import theme
from pulsewright_app.wording import follows, held_for, level_words, stays

NAME, FIRST, SECOND, DELTA, RATE, INTERVALS, EACH, PLACE, NOTE = range(9)
HEADINGS = ("Name", "t₁", "t₂", "Δ", "1/Δ", "N", "Δ/N", "Place", "Note")
_OF_LEVELS = {FIRST: "v₁", SECOND: "v₂"}
_TIPS = (
    "",
    "First marker, from the trigger; first level",
    "Second marker, from the trigger; second level",
    "Second less first, with U",
    "The rate that one Δ stands for",
    "Equal intervals between the two markers",
    "One interval",
    "Where it was put down: the record and channel for which U holds",
    "What the sheet says about the pair",
)
_EDITED = (NAME, INTERVALS, NOTE)
_COPIED = (
    "Name\tt1 / s\tU(t1) / s\tt2 / s\tU(t2) / s\tΔ / s\tU(Δ) / s\t1/Δ / Hz\tU(1/Δ) / Hz\tN\tΔ/N / s\tU(Δ/N) / s"
    "\tRecord\tChannel\tRecord of t2\tChannel of t2\tNote"
)
_COPIED_LEVELS = "Name\tUnit\tv1\tU(v1)\tv2\tU(v2)\tΔ\tU(Δ)\tv1 put on\tv2 put on\tRecord\tRecord of v2\tChannel\tNote"

_Role = Qt.ItemDataRole
_Look = tuple[tuple[str, str | None], ...]


class MarkerTable(QAbstractTableModel):
    """Each pair's numbers, computed afresh from how the pair was put down; the level pairs after the others."""

    def __init__(self, document: Document, viewing: Viewing, results: Results) -> None:
        super().__init__()
        self._document, self._viewing = document, viewing
        self._following = Following(document, results)
        self._pairs: tuple[AnyPair, ...] = ()
        self._shown: dict[int, Shown] = {}
        self._looks: list[_Look] = []

    def rebuild(self) -> None:
        """Take the pairs from the document; a table with the same pairs keeps its editors."""
        pairs: tuple[AnyPair, ...] = (*self._document.pairs, *self._document.levels)
        record, ppm = self._viewing.record, self._document.clock_ppm
        shown = {pair.id: self._following.shown(pair, record, ppm) for pair in self._document.pairs}
        same = [(type(pair), pair.id) for pair in pairs] == [(type(pair), pair.id) for pair in self._pairs]
        if not same:
            self.beginResetModel()
        self._pairs, self._shown = pairs, shown
        if not same:
            self.endResetModel()
        self.refresh()

    def refresh(self) -> None:
        """Say which cells are others now: each one is laid out anew, and most stay as they are in a step."""
        before, self._looks = self._looks, [self._look(pair) for pair in self._pairs]
        if len(before) != len(self._looks):
            before = [()] * len(self._looks)
        changed = [
            (row, column)
            for column, (old, new) in enumerate(zip(before, self._looks, strict=True))
            for row in range(len(HEADINGS))
            if old[row : row + 1] != new[row : row + 1]
        ]
        if changed:
            rows, columns = zip(*changed, strict=True)
            self.dataChanged.emit(self.index(min(rows), min(columns)), self.index(max(rows), max(columns)))

    def _look(self, pair: AnyPair) -> _Look:
        """Return what the cells of a pair show, row by row."""
        return tuple((self._text(pair, row), self._ink(pair, row)) for row in range(len(HEADINGS)))

    def pair_at(self, column: int) -> AnyPair | None:
        """Return the pair of a column."""
        return self._pairs[column] if 0 <= column < len(self._pairs) else None

    def has_intervals(self, column: int) -> bool:
        """Return whether the pair of a column has a number of intervals: levels have none."""
        return isinstance(self.pair_at(column), MarkerPair)

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
        if role == _Role.DisplayRole and section in _OF_LEVELS:
            kinds = [HEADINGS[section]] if self._document.pairs or not self._document.levels else []
            return ", ".join(kinds + [_OF_LEVELS[section]] * bool(self._document.levels))
        return {int(_Role.DisplayRole): HEADINGS, int(_Role.ToolTipRole): _TIPS}.get(role, (None,) * 9)[section]

    def flags(self, index: AnyIndex) -> Qt.ItemFlag:
        """Let names, numbers of intervals and notes be edited."""
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        editable = index.row() in _EDITED and (index.row() != INTERVALS or self.has_intervals(index.column()))
        return flags | Qt.ItemFlag.ItemIsEditable if editable else flags

    def data(self, index: AnyIndex, role: int = 0) -> Any:
        """Return what a cell shows."""
        pair = self.pair_at(index.column())
        if pair is None:
            return None
        if role in (_Role.DisplayRole, EXACT_ROLE):
            return self._text(pair, index.row())
        if role == _Role.EditRole:
            intervals = pair.intervals if isinstance(pair, MarkerPair) else None
            return {NAME: pair.name, INTERVALS: intervals, NOTE: pair.note}.get(index.row())
        if role == _Role.ToolTipRole and index.row() == NOTE:
            return pair.note
        if role == _Role.TextAlignmentRole:
            return RIGHT
        if role == _Role.FontRole and index.row() in (NAME, DELTA):
            font = QFont()
            font.setBold(True)
            return font
        if role == _Role.ForegroundRole:
            ink = self._ink(pair, index.row())
            return None if ink is None else QColor(ink)
        return None

    def _ink(self, pair: AnyPair, row: int) -> str | None:
        colours = theme(self._viewing.dark)
        here = (self._viewing.record, self._viewing.channel)
        if isinstance(pair, MarkerPair):
            elsewhere = any(place != here for place in self._shown[pair.id].pair.places)
        else:
            elsewhere = any((record, pair.channel) != here for record in pair.records)
        if row == PLACE and elsewhere:
            return colours.muted
        return colours.marker if row == NAME else None

    def _text(self, pair: AnyPair, row: int) -> str:
        if row in (NAME, NOTE):
            return pair.name if row == NAME else pair.note
        if isinstance(pair, LevelPair):
            return self._level_text(pair, row)
        return self._marker_text(self._shown[pair.id], row)

    def _marker_text(self, shown: Shown, row: int) -> str:
        pair, told = shown.pair, shown.told
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

    def _level_text(self, pair: LevelPair, row: int) -> str:
        if row == PLACE:
            on = [level_words(level.level, level.pulse) for level in (pair.first, pair.second)]
            told = on[0] if on[0] == on[1] else " and ".join(on)
            records = " and ".join(held_for(pair.records, None))
            return f"{records}, {self._channel_name(pair.channel)}: {told}"
        quantity = self._level_quantities(pair).get(row)
        return "" if quantity is None else with_uncertainty(quantity.value, quantity.expanded, quantity.unit)

    def _level_quantities(self, pair: LevelPair) -> dict[int, Quantity]:
        session, percent = self._document.session, self._document.scale_percent
        unit = session.channels[pair.channel].unit if session is not None else ""
        return {
            FIRST: level_value(pair.first, unit, percent),
            SECOND: level_value(pair.second, unit, percent),
            DELTA: level_difference(pair.first, pair.second, unit, percent),
        }

    def _place(self, shown: Shown) -> str:
        pair = shown.pair
        places = [f"record {record}, {self._channel_name(channel)}" for record, channel in pair.places]
        if pair.pulses is None:
            return places[0] if places[0] == places[1] else f"t₁: {places[0]}; t₂: {places[1]}"
        one, other = (self._channel_name(channel) for _, channel in pair.places)
        told = [follows(*pair.pulses, (one, other)), *([one] if pair.one_channel else [])]
        if shown.reason:
            return f"{', '.join(told)}: {shown.reason}"
        records = [record for record, _ in pair.places]
        moving = records[1] if pair.pulses[0] is None else records[0]
        return ", ".join([*told, f"record {moving}", *stays(*pair.pulses, records, (one, other))])

    def _channel_name(self, channel: int) -> str:
        session = self._document.session
        return session.channels[channel].name if session is not None else ""

    def setData(self, index: AnyIndex, value: Any, role: int = int(_Role.EditRole)) -> bool:
        """Rename a pair, set its number of intervals, or write its note."""
        pair = self.pair_at(index.column())
        if pair is None or role != _Role.EditRole:
            return False
        if index.row() == NAME:
            self._document.rename_pair(pair.id, str(value))
        elif index.row() == NOTE:
            self._document.note_pair(pair.id, str(value))
        elif index.row() == INTERVALS:
            self._document.set_intervals(pair.id, int(value))
        else:
            return False
        return True

    def copied(self, columns: list[int]) -> str:
        """Return pairs as tab-separated text at full precision, a line for each pair; all if none is named.

        Level pairs stand below the others, under headings of their own.
        """
        pairs = [self._pairs[column] for column in columns or range(len(self._pairs))]
        of_times = [self._copied_markers(pair) for pair in pairs if isinstance(pair, MarkerPair)]
        of_levels = [self._copied_levels(pair) for pair in pairs if isinstance(pair, LevelPair)]
        lines = [_COPIED, *of_times] if of_times else []
        lines += [_COPIED_LEVELS, *of_levels] if of_levels else []
        return "\n".join(lines) + "\n"

    def _copied_markers(self, pair: MarkerPair) -> str:
        pair, told = self._shown[pair.id].pair, self._shown[pair.id].told
        quantities = (None,) * 4 if told is None else (_placed(pair, 1), _placed(pair, 2), told.delta, told.rate)
        cells = [pair.name, *(cell for quantity in quantities for cell in _exact(quantity))]
        cells += [str(pair.intervals), *_exact(None if told is None else told.per_interval)]
        for record, channel in pair.places:
            cells += [str(self._viewing.record if told is None else record), self._channel_name(channel)]
        return _line([*cells, pair.note])

    def _copied_levels(self, pair: LevelPair) -> str:
        quantities = self._level_quantities(pair)
        cells = [pair.name, quantities[DELTA].unit]
        cells += [cell for row in (FIRST, SECOND, DELTA) for cell in _exact(quantities[row])]
        cells += [level_words(level.level, level.pulse) for level in (pair.first, pair.second)]
        return _line([*cells, *map(str, pair.records), self._channel_name(pair.channel), pair.note])


def _line(cells: list[str]) -> str:
    return "\t".join(" ".join(cell.split()) for cell in cells)


def _placed(pair: MarkerPair, which: Which) -> Quantity:
    """Return one marker's time with its u."""
    return Quantity(pair.time(which), pair.u(which), "s")


def _exact(quantity: Quantity | None) -> tuple[str, str]:
    if quantity is None:
        return ("", "")
    return repr(quantity.value), repr(coverage_factor(quantity.dof) * quantity.u)
