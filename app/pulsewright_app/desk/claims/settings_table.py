"""The settings of a claims file as a table: every setting by its name, its value as it is written."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHeaderView, QTableWidget, QTableWidgetItem, QWidget

from pulsewright.claims_text import WrittenClaims
from pulsewright.errors import SettingError
from pulsewright.settings import parse_setting, setting_names
from pulsewright_app.setting_words import name_in_words

NAME, VALUE, WRONG = 0, 1, 2
OF_ONE_SESSION = ("left_out", "rejected_pulses", "records")


class SettingsTable(QTableWidget):
    """Shows what the claims file sets, and says what a person writes."""

    written = Signal(str, object)
    """A setting, and its value as it was written; None where it was emptied."""

    def __init__(self, parent: QWidget | None = None) -> None:
        names = [name for name in setting_names() if name not in OF_ONE_SESSION]
        super().__init__(len(names), 3, parent)
        self._names = names
        self._filling = False
        self.setAccessibleName("Settings of the claims file")
        self.setHorizontalHeaderLabels(["Setting", "Value", "What is wrong"])
        self.verticalHeader().hide()
        self.horizontalHeader().setSectionResizeMode(WRONG, QHeaderView.ResizeMode.Stretch)
        self.itemChanged.connect(self._item_written)

    def show_settings(self, claims: WrittenClaims) -> None:
        """Show the settings of the text, with what is wrong with each."""
        self._filling = True
        try:
            for row, name in enumerate(self._names):
                self._put(row, NAME, name_in_words(name), name)
                self._put(row, VALUE, as_typed(claims.settings, name))
                error = claims.setting_errors.get(name)
                self._put(row, WRONG, "" if error is None else error.sentence)
            self.resizeColumnToContents(NAME)
            self.setColumnWidth(VALUE, 18 * self.fontMetrics().averageCharWidth())
        finally:
            self._filling = False

    def _put(self, row: int, column: int, text: str, tip: str = "") -> None:
        item = self.item(row, column)
        if item is None:
            item = QTableWidgetItem()
            flags = Qt.ItemFlag.ItemIsSelectable | Qt.ItemFlag.ItemIsEnabled
            item.setFlags(flags | Qt.ItemFlag.ItemIsEditable if column == VALUE else flags)
            item.setToolTip(tip)
            self.setItem(row, column, item)
        if item.text() != text:
            item.setText(text)

    def _item_written(self, item: QTableWidgetItem) -> None:
        if not self._filling and item.column() == VALUE:
            self.written.emit(self._names[item.row()], as_written(self._names[item.row()], item.text()))


def as_typed(settings: Mapping[str, Any], name: str) -> str:
    """Return a setting as a person would type it; empty where the file does not set it."""
    value = settings.get(name, "")
    if isinstance(value, Mapping):
        return ", ".join(f"{channel}={part}" for channel, part in value.items())
    return ", ".join(str(part) for part in value) if isinstance(value, list) else str(value)


def as_written(name: str, text: str) -> Any:
    """Return what is written into the file for what was typed: a number, text where that is needed; None for nothing.

    A channel may be called by a number, and a name is text.
    """
    bare = text.strip()
    number = _number(bare)
    if number is None:
        return bare or None
    return bare if not _taken(name, number) and _taken(name, bare) else number


def _number(bare: str) -> int | float | None:
    for read in (int, float):
        try:
            return read(bare) if bare.isascii() and "_" not in bare else None
        except ValueError:
            continue
    return None


def _taken(name: str, value: Any) -> bool:
    try:
        parse_setting(name, value)
    except SettingError:
        return False
    return True
