"""The channels as rows under their modules' names."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, Qt
from PySide6.QtGui import QColor, QFont, QFontMetrics, QGuiApplication

from pulsewright.errors import PulsewrightError
from pulsewright.quantity import engineering
from pulsewright.session import Channel
from pulsewright_app.desk.cable_delays import delay_origin, delay_text, set_delay
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.panels.panel import swatch
from pulsewright_app.desk.panels.tables import EXACT_ROLE, LEFT, RIGHT, AnyIndex
from pulsewright_app.desk.trims import read_place, read_scale
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.theme import theme
from pulsewright_app.wording import ORIGINS

NAME, MODULE, RANGE, DELAY, SCALE, PLACE = range(6)
HEADINGS = ("Channel", "Module", "Range", "Cable delay", "Drawn", "Higher by")
_EXACT_HEADINGS = ("Channel", "Module", "Range", "Cable delay / s", "Drawn", "Higher by")
_TRIMS = (SCALE, PLACE)
_WRITTEN = (DELAY, *_TRIMS)
_ABOUT = {
    SCALE: "Times as large as recorded in Single; double-click or F2 to change. No number changes.",
    PLACE: "How much higher than recorded it is drawn in Single; double-click or F2 to change. No number changes.",
}

_Role = Qt.ItemDataRole
_TICKS = (Qt.CheckState.Unchecked, Qt.CheckState.PartiallyChecked, Qt.CheckState.Checked)
"""Of a module none of whose channels is shown, some, and all."""


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
    """A row for each module, whose tick shows or hides all of it, and below it a row for each of its channels."""

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
            self.dataChanged.emit(self.index(0, 0), self.index(len(self._rows) - 1, PLACE))

    def channel_at(self, row: int) -> int | None:
        """Return the channel of a row, None for a module's."""
        entry = self._rows[row] if 0 <= row < len(self._rows) else None
        return entry if isinstance(entry, int) else None

    def channels_at(self, row: int) -> tuple[int, ...]:
        """Return the channels that a row stands for: one, or all of a module."""
        entry, session = self._rows[row] if 0 <= row < len(self._rows) else None, self._document.session
        if session is None or entry is None:
            return ()
        if isinstance(entry, int):
            return (entry,)
        return tuple(c for c, channel in enumerate(session.channels) if channel.module == entry)

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
            return RIGHT if section > MODULE else LEFT
        return {int(_Role.DisplayRole): HEADINGS, EXACT_ROLE: _EXACT_HEADINGS}.get(role, (None,) * len(HEADINGS))[
            section
        ]

    def flags(self, index: AnyIndex) -> Qt.ItemFlag:
        """Channels can be chosen and ticked, and how they are drawn can be written; modules can be ticked."""
        ticked = Qt.ItemFlag.ItemIsUserCheckable if index.column() == NAME else Qt.ItemFlag.NoItemFlags
        if self.channel_at(index.row()) is None:
            return Qt.ItemFlag.ItemIsEnabled | ticked
        written = Qt.ItemFlag.ItemIsEditable if index.column() in _WRITTEN else Qt.ItemFlag.NoItemFlags
        return Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable | ticked | written

    def data(self, index: AnyIndex, role: int = 0) -> Any:
        """Return what a cell shows."""
        channel = self.channel_at(index.row())
        if channel is None:
            return self._module_data(index.row(), index.column(), role)
        if index.column() == DELAY:
            return self._delay_data(channel, role)
        if role in (_Role.DisplayRole, _Role.EditRole, EXACT_ROLE):
            return self._text(channel, index.column())
        if role == _Role.TextAlignmentRole:
            return RIGHT if index.column() > MODULE else LEFT
        if index.column() != NAME:
            return _ABOUT.get(index.column()) if role == _Role.ToolTipRole else None
        if role == _Role.CheckStateRole:
            shown = channel in self._viewing.visible_channels
            return Qt.CheckState.Checked if shown else Qt.CheckState.Unchecked
        if role == _Role.DecorationRole:
            side = round(QFontMetrics(QGuiApplication.font()).height() * 0.7)
            return swatch(theme(self._viewing.dark).channel(channel), side)
        if role == _Role.ToolTipRole:
            return "Ticked: shown in the view"
        return None

    def _module_data(self, row: int, column: int, role: int) -> Any:
        if column != NAME:
            return None
        if role == _Role.DisplayRole:
            return f"Module {self._rows[row]}"
        if role == _Role.CheckStateRole:
            channels = set(self.channels_at(row))
            shown = len(channels.intersection(self._viewing.visible_channels))
            return _TICKS[(shown > 0) + (shown == len(channels))]
        if role == _Role.ToolTipRole:
            return "Ticked: all its channels are shown in the view"
        if role == _Role.FontRole:
            font = QFont()
            font.setBold(True)
            return font
        if role == _Role.ForegroundRole:
            return QColor(theme(self._viewing.dark).muted)
        return None

    def _delay_data(self, channel: int, role: int) -> Any:
        """Return the delay that counts; where it is not the file's, with where it came from."""
        session, recorded = self._document.session, self._document.recorded
        if session is None or recorded is None:
            return None
        seconds, origin = session.channels[channel].delay, delay_origin(self._document, channel)
        if role == _Role.DisplayRole:
            return delay_text(seconds) + (f" ({ORIGINS[origin]})" if origin != "default" else "")
        if role == _Role.EditRole:
            return delay_text(seconds)
        if role == EXACT_ROLE:
            return repr(seconds)
        if role == _Role.ToolTipRole:
            own = delay_text(recorded.channels[channel].delay)
            where = "from the session's file" if origin == "default" else f"the session's file says {own}"
            return f"Taken off this channel's times; {where}. Double-click or F2 to change, empty to give it back."
        return RIGHT if role == _Role.TextAlignmentRole else None

    def _text(self, number: int, column: int) -> str:
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
        trim = self._viewing.trims.of(number)
        return trim.scale_text if column == SCALE else trim.place_text(channel.unit)

    def setData(self, index: AnyIndex, value: Any, role: int = int(_Role.EditRole)) -> bool:
        """Show or hide channels by a tick; take a delay as it was written, or draw one so."""
        if role == _Role.CheckStateRole:
            shown = Qt.CheckState(value) is Qt.CheckState.Checked
            self._viewing.show_these(self.channels_at(index.row()), shown)
            return True
        channel, session = self.channel_at(index.row()), self._document.session
        if channel is None or session is None or role != _Role.EditRole or index.column() not in _WRITTEN:
            return False
        if index.column() == DELAY:
            return self._write_delay(channel, str(value))
        try:
            if index.column() == SCALE:
                self._viewing.trims.scale(channel, read_scale(str(value)))
            else:
                self._viewing.trims.place(channel, read_place(str(value), session.channels[channel].unit))
        except PulsewrightError as error:
            self._viewing.tell(error.sentence)
            return False
        self._viewing.tell("")
        return True

    def _write_delay(self, channel: int, text: str) -> bool:
        session = self._document.session
        if session is None or text.strip() == delay_text(session.channels[channel].delay):
            return False  # an editor that was only looked into changes nothing
        refused = set_delay(self._document, channel, text)
        self._viewing.tell(refused)  # nothing, once what was wrong is mended
        return not refused
