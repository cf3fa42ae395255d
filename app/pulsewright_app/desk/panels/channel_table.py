"""The channels as rows under their modules' names."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, Qt
from PySide6.QtGui import QColor, QFont, QFontMetrics, QGuiApplication

from pulsewright.quantity import engineering
from pulsewright.session import Channel
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.panels.panel import swatch
from pulsewright_app.desk.panels.tables import EXACT_ROLE, LEFT, RIGHT, AnyIndex
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.theme import theme

NAME, MODULE, RANGE, DELAY = range(4)
HEADINGS = ("Channel", "Module", "Range", "Cable delay")
_EXACT_HEADINGS = ("Channel", "Module", "Range", "Cable delay / s")

_Role = Qt.ItemDataRole


def range_text(channel: Channel, integer: bool) -> str:
    """Return the values between a channel's end codes; samples that are no codes have no such range."""
    if not integer:
        return "not limited"
    ends = (channel.offset + code * channel.scale for code in (channel.lowest_code, channel.highest_code))
    low, high = sorted(ends)
    if abs(low + high) <= 1.5 * abs(channel.scale):  # two's complement has one code more below 0 than above
        return f"±{engineering(max(-low, high), channel.unit)}"
    return f"{engineering(low, channel.unit)} to {engineering(high, channel.unit)}"


class ChannelTable(QAbstractTableModel):
    """A row for each module, which cannot be chosen, and below it a row for each of its channels."""

    def __init__(self, document: Document, viewing: Viewing) -> None:
        super().__init__()
        self._document, self._viewing = document, viewing
        self._rows: list[int | str] = []
        self.rebuild()

    def rebuild(self) -> None:
        """Take the rows from the session on the desk."""
        self.beginResetModel()
        self._rows = []
        session = self._document.session
        if session is not None:
            for module in session.modules:
                self._rows.append(module)
                self._rows += [c for c, channel in enumerate(session.channels) if channel.module == module]
        self.endResetModel()

    def refresh(self) -> None:
        """Say that ticks or colours may be others now."""
        if self._rows:
            self.dataChanged.emit(self.index(0, 0), self.index(len(self._rows) - 1, NAME))

    def channel_at(self, row: int) -> int | None:
        """Return the channel of a row, None for a module's."""
        entry = self._rows[row] if 0 <= row < len(self._rows) else None
        return entry if isinstance(entry, int) else None

    def row_of(self, channel: int) -> int | None:
        """Return the row of a channel."""
        return self._rows.index(channel) if channel in self._rows else None

    def module_rows(self) -> list[int]:
        """Return the rows that carry a module's name."""
        return [row for row, entry in enumerate(self._rows) if isinstance(entry, str)]

    def rowCount(self, parent: AnyIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own signature
        """Return how many rows there are."""
        return 0 if parent.isValid() else len(self._rows)

    def columnCount(self, parent: AnyIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own signature
        """Return how many columns there are."""
        return 0 if parent.isValid() else len(HEADINGS)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = 0) -> Any:
        """Return a heading."""
        if orientation is not Qt.Orientation.Horizontal:
            return None
        if role == _Role.TextAlignmentRole:
            return RIGHT if section in (RANGE, DELAY) else LEFT
        return {int(_Role.DisplayRole): HEADINGS, EXACT_ROLE: _EXACT_HEADINGS}.get(role, (None,) * 4)[section]

    def flags(self, index: AnyIndex) -> Qt.ItemFlag:
        """Channels can be chosen and ticked; module rows neither."""
        if self.channel_at(index.row()) is None:
            return Qt.ItemFlag.NoItemFlags
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        return flags | Qt.ItemFlag.ItemIsUserCheckable if index.column() == NAME else flags

    def data(self, index: AnyIndex, role: int = 0) -> Any:
        """Return what a cell shows."""
        channel = self.channel_at(index.row())
        if channel is None:
            return self._module_data(str(self._rows[index.row()]), index.column(), role)
        if role in (_Role.DisplayRole, EXACT_ROLE):
            return self._text(channel, index.column(), exact=role == EXACT_ROLE)
        if role == _Role.TextAlignmentRole:
            return RIGHT if index.column() in (RANGE, DELAY) else LEFT
        if index.column() != NAME:
            return None
        if role == _Role.CheckStateRole:
            shown = channel in self._viewing.visible_channels
            return Qt.CheckState.Checked if shown else Qt.CheckState.Unchecked
        if role == _Role.DecorationRole:
            side = round(QFontMetrics(QGuiApplication.font()).height() * 0.7)
            return swatch(theme(self._viewing.dark).channel(channel), side)
        if role == _Role.ToolTipRole:
            return "Ticked: shown in the view"
        return None

    def _module_data(self, module: str, column: int, role: int) -> Any:
        if column != NAME:
            return None
        if role == _Role.DisplayRole:
            return f"Module {module}"
        if role == _Role.FontRole:
            font = QFont()
            font.setBold(True)
            return font
        if role == _Role.ForegroundRole:
            return QColor(theme(self._viewing.dark).muted)
        return None

    def _text(self, number: int, column: int, exact: bool) -> str:
        session = self._document.session
        if session is None:
            return ""
        channel = session.channels[number]
        if column == NAME:
            return channel.name
        if column == MODULE:
            return channel.module
        if column == RANGE:
            return range_text(channel, session.dtype.kind in "iu")
        return repr(channel.delay) if exact else engineering(channel.delay, "s")

    def setData(self, index: AnyIndex, value: Any, role: int = int(_Role.EditRole)) -> bool:
        """Show or hide a channel by its tick."""
        channel = self.channel_at(index.row())
        if channel is None or role != _Role.CheckStateRole:
            return False
        self._viewing.show_channel(channel, Qt.CheckState(value) is Qt.CheckState.Checked)
        return True
