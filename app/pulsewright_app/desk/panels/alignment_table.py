"""How the channels line up, as a table: channel, module, skew ± U, and whether that excludes 0."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, Qt
from PySide6.QtGui import QColor, QFont

from pulsewright.quantity import Quantity
from pulsewright_analysis.results import ChannelSkew, Findings
from pulsewright_app.desk.panels.sentence_list import SERIOUS
from pulsewright_app.desk.panels.tables import EXACT_ROLE, LEFT, NOT_FINAL, RIGHT, AnyIndex
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.sentences import excludes_zero, shown
from pulsewright_app.theme import theme

CHANNEL, MODULE, SKEW, INTERVAL, EXPANDED = range(5)
_Role = Qt.ItemDataRole


class AlignmentTable(QAbstractTableModel):
    """A row for each measured channel; the last column is for copying only."""

    def __init__(self, viewing: Viewing) -> None:
        super().__init__()
        self._viewing = viewing
        self._findings: Findings | None = None
        self._rows: tuple[ChannelSkew, ...] = ()
        self._out_of_date = False

    def tell(self, findings: Findings | None) -> None:
        """Show another alignment."""
        self.beginResetModel()
        self._findings = findings
        self._rows = findings.alignment.channels if findings is not None else ()
        self.endResetModel()

    def set_out_of_date(self, out_of_date: bool) -> None:
        """Show the skews as those of older settings, or as the ones that count."""
        self._out_of_date = out_of_date
        self.refresh()

    def refresh(self) -> None:
        """Say that colours may be others now."""
        if self._rows:
            self.dataChanged.emit(self.index(0, 0), self.index(len(self._rows) - 1, EXPANDED))

    def channel_at(self, row: int) -> int | None:
        """Return the channel of a row."""
        return self._rows[row].channel if 0 <= row < len(self._rows) else None

    def rowCount(self, parent: AnyIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own signature
        """Return how many channels there are."""
        return 0 if parent.isValid() else len(self._rows)

    def columnCount(self, parent: AnyIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own signature
        """Return how many columns there are."""
        return 0 if parent.isValid() else 5

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = 0) -> Any:
        """Return a heading."""
        if orientation is not Qt.Orientation.Horizontal:
            return None
        if role == _Role.TextAlignmentRole:
            return RIGHT if section in (SKEW, EXPANDED) else LEFT
        if role == _Role.DisplayRole:
            return ("Channel", "Module", "Skew", "95 % interval", "U / s")[section]
        if role == EXACT_ROLE and section == SKEW:
            return f"Skew against {self.reference_name()} / s{NOT_FINAL if self._out_of_date else ''}"
        return None

    def reference_name(self) -> str:
        """Return the name of the channel that skews are against."""
        if self._findings is None or self._findings.alignment.reference is None:
            return "the reference"
        return self._findings.channel_name(self._findings.alignment.reference)

    def data(self, index: AnyIndex, role: int = 0) -> Any:
        """Return what a cell shows."""
        if self._findings is None or index.row() >= len(self._rows):
            return None
        item, column = self._rows[index.row()], index.column()
        is_reference = item.channel == self._findings.alignment.reference
        if role == _Role.DisplayRole:
            name, module = self._findings.session.channels[item.channel]
            skew = "reference" if is_reference else shown(item.skew)
            return (name, module, skew, _verdict(item.skew, is_reference), _exact(item.skew, expanded=True))[column]
        if role == EXACT_ROLE and column == SKEW:
            return _exact(item.skew, expanded=False)
        if role == _Role.TextAlignmentRole:
            return RIGHT if column in (SKEW, EXPANDED) else LEFT
        if role == _Role.ForegroundRole:
            return self._ink(item)
        if role == _Role.FontRole and self._out_of_date:
            font = QFont()
            font.setItalic(True)
            return font
        return None

    def _ink(self, item: ChannelSkew) -> QColor:
        colours = theme(self._viewing.dark)
        if self._out_of_date:
            return QColor(colours.muted)
        return QColor(colours.fails if excludes_zero(item.skew) else colours.ink)


def _verdict(skew: Quantity | None, is_reference: bool) -> str:
    if skew is None or is_reference:
        return ""
    return f"{SERIOUS} excludes 0" if excludes_zero(skew) else "includes 0"


def _exact(skew: Quantity | None, expanded: bool) -> str:
    if skew is None:
        return ""
    return repr(skew.expanded if expanded else skew.value)
