"""The findings as a list of sentences under their headings, wrapped to the panel's width."""

from __future__ import annotations

import re
from itertools import groupby
from typing import Any

from PySide6.QtCore import QAbstractListModel, QEvent, QModelIndex, QPersistentModelIndex, QRect, QSize, Qt
from PySide6.QtGui import QColor, QFont, QFontMetrics, QGuiApplication, QKeyEvent, QKeySequence, QResizeEvent
from PySide6.QtWidgets import QListView, QStyle, QStyledItemDelegate, QStyleOptionViewItem, QWidget

from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.sentences import Sentence
from pulsewright_app.theme import theme

_AnyIndex = QModelIndex | QPersistentModelIndex
_Role = Qt.ItemDataRole
_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:[fpnµmkMGT]?(?:s|V|Hz)|dB|%)(?!\w))|(?<=record) (?=\d)| (?=±)|(?<=±) ")
"""Spaces at which a line must not break: a number keeps its unit and its U."""

SERIOUS = "◆"
"""The shape before a sentence that needs attention, so that colour is never its only sign."""


def as_text(told: list[Sentence]) -> str:
    """Return sentences as plain text, a heading before each group."""
    parts = []
    for group, members in groupby(told, key=lambda sentence: sentence.group):
        lines = "\n".join(f"  {_shown(sentence)}" for sentence in members)
        parts.append(f"{group}\n{lines}\n")
    return "\n".join(parts)


def _shown(sentence: Sentence) -> str:
    return f"{SERIOUS} {sentence.text}" if sentence.serious else sentence.text


class SentenceModel(QAbstractListModel):
    """Headings, which cannot be chosen, and the sentences under them."""

    def __init__(self, viewing: Viewing) -> None:
        super().__init__()
        self._viewing = viewing
        self._rows: list[str | Sentence] = []
        self._out_of_date = False

    def tell(self, told: list[Sentence]) -> None:
        """Show other sentences."""
        self.beginResetModel()
        self._rows = []
        for group, members in groupby(told, key=lambda sentence: sentence.group):
            self._rows += [group, *members]
        self.endResetModel()

    def set_out_of_date(self, out_of_date: bool) -> None:
        """Show the sentences as those of older settings, or as the ones that count."""
        self._out_of_date = out_of_date
        self.refresh()

    def refresh(self) -> None:
        """Say that colours may be others now."""
        if self._rows:
            self.dataChanged.emit(self.index(0), self.index(len(self._rows) - 1))

    def sentence_at(self, row: int) -> Sentence | None:
        """Return the sentence of a row, None for a heading."""
        entry = self._rows[row] if 0 <= row < len(self._rows) else None
        return entry if isinstance(entry, Sentence) else None

    def rowCount(self, parent: _AnyIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own signature
        """Return how many headings and sentences there are."""
        return 0 if parent.isValid() else len(self._rows)

    def flags(self, index: _AnyIndex) -> Qt.ItemFlag:
        """Let sentences be chosen."""
        chosen = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        return chosen if self.sentence_at(index.row()) is not None else Qt.ItemFlag.NoItemFlags

    def data(self, index: _AnyIndex, role: int = 0) -> Any:
        """Return what a row shows."""
        entry = self._rows[index.row()]
        if isinstance(entry, str):
            return self._heading(entry, role)
        if role == _Role.DisplayRole:
            return _NUMBER_AND_UNIT.sub("\u00a0", _shown(entry))
        if role == _Role.AccessibleTextRole:
            return f"Needs attention: {entry.text}" if entry.serious else entry.text
        if role == _Role.FontRole and self._out_of_date:
            font = QFont(QGuiApplication.font())
            font.setItalic(True)
            return font
        if role == _Role.ForegroundRole:
            colours = theme(self._viewing.dark)
            if self._out_of_date:
                return QColor(colours.muted)
            return QColor(colours.fails if entry.serious else colours.ink)
        return None

    def _heading(self, heading: str, role: int) -> Any:
        if role == _Role.DisplayRole:
            return heading
        if role == _Role.FontRole:
            font = QFont(QGuiApplication.font())
            font.setBold(True)
            return font
        if role == _Role.ForegroundRole:
            return QColor(theme(self._viewing.dark).muted)
        return None


class _WrappedDelegate(QStyledItemDelegate):
    """Gives every sentence the height that its text needs at the list's width."""

    def sizeHint(self, option: QStyleOptionViewItem, index: _AnyIndex) -> QSize:
        """Return the room of one row."""
        view = self.parent()
        if not isinstance(view, SentenceList):
            return super().sizeHint(option, index)
        font = index.data(int(_Role.FontRole)) or view.font()
        metrics = QFontMetrics(font)
        gap = metrics.height() // 3
        width = view.viewport().width()
        # the style leaves this margin on each side of the text
        margin = view.style().pixelMetric(QStyle.PixelMetric.PM_FocusFrameHMargin, None, view) + 1
        room = QRect(0, 0, max(width - 2 * margin, 1), 1_000_000)
        text = str(index.data(int(_Role.DisplayRole)))
        needed = metrics.boundingRect(room, Qt.TextFlag.TextWordWrap, text)
        is_heading = not index.flags() & Qt.ItemFlag.ItemIsSelectable
        return QSize(width, needed.height() + gap + (gap if is_heading else 0))


class SentenceList(QListView):
    """The list; its chosen sentence, or all of them where none is chosen, copies as text."""

    def __init__(self, model: SentenceModel, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._sentences = model
        self.setModel(model)
        self.setAccessibleName("Findings in sentences")
        self.setWordWrap(True)
        self.setFrameShape(QListView.Shape.NoFrame)
        self.setResizeMode(QListView.ResizeMode.Adjust)
        self.setVerticalScrollMode(QListView.ScrollMode.ScrollPerPixel)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setSelectionMode(QListView.SelectionMode.ExtendedSelection)
        self.setItemDelegate(_WrappedDelegate(self))

    def copied(self) -> str:
        """Return what a copy puts on the clipboard."""
        chosen = sorted(index.row() for index in self.selectionModel().selectedIndexes())
        told = [self._sentences.sentence_at(row) for row in chosen or range(self._sentences.rowCount())]
        return as_text([sentence for sentence in told if sentence is not None])

    def event(self, event: QEvent) -> bool:
        """Keep the copy keys."""
        asked = event.type() is QEvent.Type.ShortcutOverride
        if asked and isinstance(event, QKeyEvent) and event.matches(QKeySequence.StandardKey.Copy):
            event.accept()
            return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Copy on the copy keys, choose by Return; leave the keys that step to the desk."""
        stepping = (Qt.Key.Key_PageUp, Qt.Key.Key_PageDown, Qt.Key.Key_Home, Qt.Key.Key_End)
        if event.matches(QKeySequence.StandardKey.Copy):
            QGuiApplication.clipboard().setText(self.copied())
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.currentIndex().isValid():
            self.clicked.emit(self.currentIndex())
        elif event.key() in stepping:
            event.ignore()
        else:
            super().keyPressEvent(event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Wrap the sentences to the new width."""
        super().resizeEvent(event)
        self.scheduleDelayedItemsLayout()
