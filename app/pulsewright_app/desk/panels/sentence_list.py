"""The findings as a list under their headings, wrapped to the panel's width; each opens into its numbers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from PySide6.QtCore import (
    QAbstractListModel,
    QEvent,
    QModelIndex,
    QPersistentModelIndex,
    QPointF,
    QRect,
    QSize,
    Qt,
    Signal,
)
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetrics,
    QGuiApplication,
    QKeyEvent,
    QKeySequence,
    QMouseEvent,
    QPainter,
    QPalette,
    QResizeEvent,
    QTextCharFormat,
    QTextLayout,
    QTextOption,
)
from PySide6.QtWidgets import QListView, QStyle, QStyledItemDelegate, QStyleOptionViewItem, QWidget

from pulsewright_analysis.results import Findings
from pulsewright_analysis.verdicts import Verdict
from pulsewright_app.desk.panels.sentence_rows import SERIOUS as SERIOUS
from pulsewright_app.desk.panels.sentence_rows import (
    Detail,
    Heading,
    Item,
    Row,
    as_text,
    opens,
    rows_of,
    sign_of,
    text_of,
)
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.sentences import Sentence
from pulsewright_app.theme import theme
from pulsewright_app.wording import unbroken

_AnyIndex = QModelIndex | QPersistentModelIndex
_Role = Qt.ItemDataRole
OPENED_ROLE = int(_Role.UserRole) + 1
"""Whether a row is opened; None where there is nothing to open."""
SIGN_ROLE = int(_Role.UserRole) + 2
"""The part at the start of a row that has the verdict's colour, and that colour; None elsewhere."""


class SentenceModel(QAbstractListModel):
    """Headings, which cannot be chosen, and the verdicts and sentences under them."""

    def __init__(self, viewing: Viewing) -> None:
        super().__init__()
        self._viewing = viewing
        self._verdicts: tuple[Verdict, ...] = ()
        self._told: list[Sentence] = []
        self._findings: Findings | None = None
        self._rows: list[Row] = []
        self._opened: set[Item] = set()
        self._out_of_date = False
        self._verdicts_out_of_date = False
        self._notice = ""

    def tell(self, verdicts: Sequence[Verdict], told: list[Sentence], findings: Findings | None) -> None:
        """Show other verdicts and sentences; what was opened under the same name stays open."""
        names = {_name(item) for item in self._opened}
        self._verdicts, self._told, self._findings = tuple(verdicts), told, findings
        items: list[Item] = [*verdicts, *told]
        self._opened = {item for item in items if opens(item) and _name(item) in names}
        self._rebuild()

    def _rebuild(self) -> None:
        self.beginResetModel()
        self._rows = rows_of(self._verdicts, self._told, self._opened, self._findings)
        self.endResetModel()

    def toggle(self, row: int) -> int:
        """Open or close the row's verdict or sentence, and return its row; from a detail, that which it belongs to."""
        row = self.owner(row)
        item = self.item_at(row)
        if item is not None and opens(item):
            self._opened ^= {item}
            self._rebuild()
        return row

    def owner(self, row: int) -> int:
        """Return the row of the verdict or sentence that a detail belongs to; other rows belong to themselves."""
        while row > 0 and isinstance(self._rows[row], Detail):
            row -= 1
        return row

    def name_at(self, row: int) -> tuple[str, str] | None:
        """Return what a row's verdict or sentence is known by from one measuring to the next."""
        item = self.item_at(self.owner(row)) if 0 <= row < len(self._rows) else None
        return None if item is None else _name(item)

    def row_named(self, name: tuple[str, str]) -> int | None:
        """Return the row of the verdict or sentence of that name; None where there is none any more."""
        named = (row for row in range(len(self._rows)) if not isinstance(self._rows[row], Detail))
        return next((row for row in named if self.name_at(row) == name), None)

    def copied(self, rows: Sequence[int]) -> str:
        """Return rows as text, all of them where none is given; what is not final is said to be so."""
        told = [self.item_at(row) for row in rows or range(len(self._rows))]
        items = [item for item in told if item is not None]
        notice = self._notice if any(map(self._is_old, items)) else ""
        return f"{notice}\n\n{as_text(items)}".lstrip()

    def set_out_of_date(self, out_of_date: bool, verdicts_too: bool | None = None, notice: str = "") -> None:
        """Show the sentences as those of older settings, or as the ones that count; the verdicts likewise.

        `notice` says so in words, above what is copied.
        """
        self._out_of_date, self._notice = out_of_date, notice
        self._verdicts_out_of_date = out_of_date if verdicts_too is None else verdicts_too
        self.refresh()

    def refresh(self) -> None:
        """Say that colours may be others now."""
        if self._rows:
            self.dataChanged.emit(self.index(0), self.index(len(self._rows) - 1))

    def item_at(self, row: int) -> Item | None:
        """Return the verdict or sentence of a row, None for a heading or a detail."""
        entry = self._rows[row] if 0 <= row < len(self._rows) else None
        return entry if isinstance(entry, Verdict | Sentence) else None

    def rowCount(self, parent: _AnyIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own signature
        """Return how many rows there are."""
        return 0 if parent.isValid() else len(self._rows)

    def flags(self, index: _AnyIndex) -> Qt.ItemFlag:
        """Let everything but headings be chosen."""
        heading = isinstance(self._rows[index.row()], Heading)
        return Qt.ItemFlag.NoItemFlags if heading else Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable

    def data(self, index: _AnyIndex, role: int = 0) -> Any:
        """Return what a row shows."""
        entry = self._rows[index.row()]
        if role == _Role.DisplayRole:
            return unbroken(text_of(entry))
        if role == _Role.AccessibleTextRole:
            return self._spoken(entry)
        if role == _Role.FontRole:
            return self._font(entry)
        if role == _Role.ForegroundRole:
            return QColor(self._colour(entry))
        if role == OPENED_ROLE:
            return entry in self._opened if isinstance(entry, Verdict | Sentence) and opens(entry) else None
        if role == SIGN_ROLE and isinstance(entry, Verdict) and not self._verdicts_out_of_date:
            return len(sign_of(entry)), theme(self._viewing.dark).verdict(entry.verdict)
        return None

    def _spoken(self, entry: Row) -> str:
        if isinstance(entry, Verdict):
            return f"{entry.verdict}: {entry.name}. {entry.sentence}"
        if isinstance(entry, Sentence):
            return f"Needs attention: {entry.text}" if entry.serious else entry.text
        return entry.text

    def _font(self, entry: Row) -> QFont | None:
        font = QFont(QGuiApplication.font())
        if isinstance(entry, Heading):
            font.setBold(True)
            return font
        if self._is_old(entry):
            font.setItalic(True)
            return font
        return None

    def _is_old(self, entry: Row) -> bool:
        return self._verdicts_out_of_date if isinstance(entry, Verdict) else self._out_of_date

    def _colour(self, entry: Row) -> str:
        colours = theme(self._viewing.dark)
        if isinstance(entry, Heading | Detail) or self._is_old(entry):
            return colours.muted
        return colours.fails if isinstance(entry, Sentence) and entry.serious else colours.ink


def _name(item: Item) -> tuple[str, str]:
    """Return what a verdict or sentence is known by from one measuring to the next: its words up to its numbers."""
    if isinstance(item, Verdict):
        return "claim", item.name
    return item.group, item.text.partition(":")[0].rstrip("0123456789.± ")


class _WrappedDelegate(QStyledItemDelegate):
    """Draws every row wrapped to the list's width, with a sign before what can be opened."""

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: _AnyIndex) -> None:
        """Draw one row."""
        view = self.parent()
        assert isinstance(view, SentenceList)
        painter.save()
        if option.state & QStyle.StateFlag.State_Selected:
            painter.fillRect(option.rect, option.palette.highlight())
        rect: QRect = option.rect
        indent, gap = view.indent(index), view.gap()
        painter.setPen(index.data(int(_Role.ForegroundRole)))
        opened = index.data(OPENED_ROLE)
        if opened is not None:
            room = QRect(rect.left(), rect.top() + gap // 2, indent, QFontMetrics(view.font()).height())
            painter.setFont(view.font())
            painter.drawText(room, Qt.AlignmentFlag.AlignCenter, "▾" if opened else "▸")
        top = rect.bottom() + 1 - gap // 2 - self.text_height(view, index, rect.width())
        layout, _ = self.laid_out(view, index, rect.width())
        layout.draw(painter, QPointF(rect.left() + indent, top))
        focused = option.state & QStyle.StateFlag.State_HasFocus
        if focused:
            painter.setPen(option.palette.color(QPalette.ColorRole.Accent))
            painter.drawRect(rect.adjusted(0, 0, -1, -1))
        painter.restore()

    def sizeHint(self, option: QStyleOptionViewItem, index: _AnyIndex) -> QSize:
        """Return the room of one row."""
        view = self.parent()
        assert isinstance(view, SentenceList)
        width = view.viewport().width()
        is_heading = not index.flags() & Qt.ItemFlag.ItemIsSelectable
        extra = view.gap() * (2 if is_heading else 1)
        return QSize(width, self.text_height(view, index, width) + extra)

    def text_height(self, view: SentenceList, index: _AnyIndex, width: int) -> int:
        """Return the height of a row's text."""
        return self.laid_out(view, index, width)[1]

    def laid_out(self, view: SentenceList, index: _AnyIndex, width: int) -> tuple[QTextLayout, int]:
        """Return a row's text, wrapped, and its height."""
        font = index.data(int(_Role.FontRole)) or view.font()
        # a text layout knows a line's end as this sign
        layout = QTextLayout(str(index.data(int(_Role.DisplayRole))).replace("\n", "\u2028"), font)
        wrapped = QTextOption()
        wrapped.setWrapMode(QTextOption.WrapMode.WrapAtWordBoundaryOrAnywhere)
        layout.setTextOption(wrapped)
        sign = index.data(SIGN_ROLE)
        if sign is not None:
            layout.setFormats([_in_colour(*sign)])
        room = max(width - view.indent(index) - view.gap() // 2, 1)
        height = 0.0
        layout.beginLayout()
        while (line := layout.createLine()).isValid():
            line.setLineWidth(room)
            line.setPosition(QPointF(0.0, height))
            height += line.height()
        layout.endLayout()
        return layout, round(height + 0.5)


def _in_colour(length: int, colour: str) -> QTextLayout.FormatRange:
    coloured = QTextLayout.FormatRange()
    coloured.start, coloured.length = 0, length
    form = QTextCharFormat()
    form.setForeground(QColor(colour))
    form.setFontWeight(QFont.Weight.Bold)
    coloured.format = form
    return coloured


class SentenceList(QListView):
    """The list; its chosen rows, or all of them where none is chosen, copy as text."""

    chosen = Signal(object)
    """The verdict or sentence whose evidence is wanted."""

    def __init__(self, model: SentenceModel, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._sentences = model
        self._stood: tuple[tuple[str, str] | None, int, int] = (None, 0, 0)
        """The name of what the current row belongs to, how many rows further down that is, and how far was scrolled."""
        model.modelAboutToBeReset.connect(self._remember)
        self.setModel(model)
        model.modelReset.connect(self._return)
        self.setAccessibleName("Findings in sentences")
        self.setToolTip("Click: show the evidence. ▸ or the right arrow key: the numbers behind it.")
        self.setFrameShape(QListView.Shape.NoFrame)
        self.setResizeMode(QListView.ResizeMode.Adjust)
        self.setVerticalScrollMode(QListView.ScrollMode.ScrollPerPixel)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setSelectionMode(QListView.SelectionMode.ExtendedSelection)
        self.setItemDelegate(_WrappedDelegate(self))

    def gap(self) -> int:
        """Return the air between rows, pixels."""
        return self.fontMetrics().height() // 3

    def indent(self, index: _AnyIndex) -> int:
        """Return how far a row's text stands in, pixels: headings not at all, details furthest."""
        step = self.fontMetrics().horizontalAdvance("▸  ")
        if not index.flags() & Qt.ItemFlag.ItemIsSelectable:
            return self.gap() // 2
        return step if self._sentences.item_at(index.row()) is not None else 2 * step

    def copied(self) -> str:
        """Return what a copy puts on the clipboard."""
        return self._sentences.copied(sorted(index.row() for index in self.selectionModel().selectedIndexes()))

    def _remember(self) -> None:
        row = self.currentIndex().row()
        further = row - self._sentences.owner(row) if row >= 0 else 0
        self._stood = (self._sentences.name_at(row), further, self.verticalScrollBar().value())

    def _return(self) -> None:
        """Stay at the row of the same name: whoever walks through the list by keys must not begin anew."""
        name, further, place = self._stood
        row = None if name is None else self._sentences.row_named(name)
        if row is not None:
            still = self._sentences.owner(min(row + further, self._sentences.rowCount() - 1)) == row
            self.setCurrentIndex(self._sentences.index(row + further if still else row))
        self.executeDelayedItemsLayout()
        self.verticalScrollBar().setValue(place)

    def toggle(self, row: int) -> None:
        """Open or close a row, and stay on it."""
        place = self.verticalScrollBar().value()
        index = self._sentences.index(self._sentences.toggle(row))
        self.setCurrentIndex(index)
        self.executeDelayedItemsLayout()
        self.verticalScrollBar().setValue(place)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Open or close where the sign is pressed; else choose."""
        index = self.indexAt(event.position().toPoint())
        on_sign = index.isValid() and event.position().x() < self.indent(index)
        if on_sign and index.data(OPENED_ROLE) is not None and event.button() == Qt.MouseButton.LeftButton:
            self.toggle(index.row())
            return
        super().mousePressEvent(event)
        item = self._sentences.item_at(index.row()) if index.isValid() else None
        plain = event.modifiers() == Qt.KeyboardModifier.NoModifier
        if item is not None and plain and event.button() == Qt.MouseButton.LeftButton:
            self.chosen.emit(item)

    def event(self, event: QEvent) -> bool:
        """Keep the copy keys, and those that open and close."""
        key = event if event.type() is QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent) else None
        if key is not None and (_opens_or_closes(key) or key.matches(QKeySequence.StandardKey.Copy)):
            event.accept()
            return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Copy, open and close, choose by Return; leave the keys that step to the desk."""
        stepping = (Qt.Key.Key_PageUp, Qt.Key.Key_PageDown, Qt.Key.Key_Home, Qt.Key.Key_End)
        current = self.currentIndex()
        if event.matches(QKeySequence.StandardKey.Copy):
            QGuiApplication.clipboard().setText(self.copied())
        elif _opens_or_closes(event) and current.isValid():
            opened = current.data(OPENED_ROLE)
            closes = event.key() == Qt.Key.Key_Left
            if (opened is None and closes) or opened == closes:
                self.toggle(current.row())
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and current.isValid():
            item = self._sentences.item_at(current.row())
            if item is not None:
                self.chosen.emit(item)
        elif event.key() in stepping:
            event.ignore()
        else:
            super().keyPressEvent(event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Wrap the sentences to the new width."""
        super().resizeEvent(event)
        self.scheduleDelayedItemsLayout()


def _opens_or_closes(event: QKeyEvent) -> bool:
    """Return whether a key opens or closes a row: left or right alone; with others held they are the desk's."""
    held = event.modifiers() & ~Qt.KeyboardModifier.KeypadModifier
    return event.key() in (Qt.Key.Key_Left, Qt.Key.Key_Right) and held == Qt.KeyboardModifier.NoModifier
