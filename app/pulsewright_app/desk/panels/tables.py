"""What the tables of all panels share: numbers to the right, and copying as tab-separated text."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import (
    QAbstractItemModel,
    QEvent,
    QItemSelection,
    QItemSelectionModel,
    QModelIndex,
    QPersistentModelIndex,
    QRect,
    QSize,
    Qt,
    QTimer,
)
from PySide6.QtGui import (
    QFontMetrics,
    QGuiApplication,
    QHelpEvent,
    QKeyEvent,
    QKeySequence,
    QPainter,
    QPaintEvent,
    QPalette,
)
from PySide6.QtWidgets import (
    QAbstractItemView,
    QApplication,
    QHeaderView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionHeader,
    QStyleOptionViewItem,
    QTableView,
    QToolTip,
    QWidget,
)

AnyIndex = QModelIndex | QPersistentModelIndex

EXACT_ROLE = int(Qt.ItemDataRole.UserRole) + 1
"""Role of a cell's text at full precision, for copying."""

NOT_FINAL = ", not final"
"""What a copied column's heading ends in while its numbers are of older settings, or of some records only."""

RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter

_SAMPLED = 12
"""Rows looked at to fit a column, the first and the last among them."""
_MEASURED = 3
"""The longest texts of those, whose width is measured."""

_IN_LINE = "\N{NO-BREAK SPACE}"
"""Written between a heading and the side that it stands at, so that it is in line with its cells."""
_DIVIDER = 0.6
"""How strong the line between two headings is."""
_ARROW_CLEAR = "\N{EN SPACE}"
"""Written after the heading that the table is sorted by: the style draws the arrow over the end of it."""

_STEPPING = (Qt.Key.Key_PageUp, Qt.Key.Key_PageDown, Qt.Key.Key_Home, Qt.Key.Key_End)


def exact_text(index: AnyIndex) -> str:
    """Return a cell at full precision, or as it is shown, or as its tick says."""
    for role in (EXACT_ROLE, int(Qt.ItemDataRole.DisplayRole)):
        value = index.data(role)
        if value is not None:
            return " ".join(str(value).split())
    tick = index.data(int(Qt.ItemDataRole.CheckStateRole))
    if tick is None:
        return ""
    return "yes" if Qt.CheckState(tick) is Qt.CheckState.Checked else "no"


def heading(model: QAbstractItemModel, column: int) -> str:
    """Return the heading that a copied column stands under."""
    for role in (EXACT_ROLE, int(Qt.ItemDataRole.DisplayRole)):
        value = model.headerData(column, Qt.Orientation.Horizontal, role)
        if value is not None:
            return " ".join(str(value).split())
    return ""


def tab_separated(model: QAbstractItemModel, rows: Iterable[int]) -> str:
    """Return rows of a table under its headings, with tabs between the cells and a line for each row."""
    columns = range(model.columnCount())
    lines = ["\t".join(heading(model, column) for column in columns)]
    lines.extend("\t".join(exact_text(model.index(row, column)) for column in columns) for row in rows)
    return "\n".join(lines) + "\n"


class CellDelegate(QStyledItemDelegate):
    """Draws cells with air on both sides, and tick boxes that can be seen on any ground."""

    def _inside(self, option: QStyleOptionViewItem) -> QStyleOptionViewItem:
        narrowed = QStyleOptionViewItem(option)
        air = _air(option.fontMetrics)
        narrowed.rect = option.rect.adjusted(air, 0, -air, 0)
        return narrowed

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: AnyIndex) -> None:
        """Draw one cell."""
        if option.state & QStyle.StateFlag.State_Selected:
            painter.fillRect(option.rect, option.palette.highlight())
        inside = self._inside(option)
        super().paint(painter, inside, index)
        if index.flags() & Qt.ItemFlag.ItemIsUserCheckable:
            self.initStyleOption(inside, index)
            element = QStyle.SubElement.SE_ItemViewItemCheckIndicator
            box = QApplication.style().subElementRect(element, inside, option.widget)
            painter.save()
            painter.setPen(option.palette.color(option.palette.ColorRole.PlaceholderText))
            painter.drawRect(box.adjusted(0, 0, -1, -1))
            painter.restore()

    def editorEvent(
        self, event: QEvent, model: QAbstractItemModel, option: QStyleOptionViewItem, index: AnyIndex
    ) -> bool:
        """Find the tick box where it was drawn."""
        return super().editorEvent(event, model, self._inside(option), index)

    def sizeHint(self, option: QStyleOptionViewItem, index: AnyIndex) -> QSize:
        """Return the room of one cell, the air and the tick box as it is drawn included."""
        inside, wider = self._inside(option), 2 * _air(option.fontMetrics)
        if index.flags() & Qt.ItemFlag.ItemIsUserCheckable:  # the style reckons with a box of the usual size
            style, box = QApplication.style(), self._inside(option)
            self.initStyleOption(box, index)
            drawn = style.subElementRect(QStyle.SubElement.SE_ItemViewItemCheckIndicator, box, option.widget)
            wider += max(drawn.width() - style.pixelMetric(QStyle.PixelMetric.PM_IndicatorWidth, box), 0)
        return super().sizeHint(inside, index) + QSize(wider, 0)


def _air(metrics: QFontMetrics) -> int:
    return metrics.averageCharWidth() * 2 // 3


def _beside_arrow(header: QHeaderView) -> int:
    written = (_ARROW_CLEAR if header.isSortIndicatorShown() else "") + _IN_LINE
    return header.fontMetrics().horizontalAdvance(written)


def _sampled(rows: int, telling: Iterable[int]) -> list[int]:
    """Return the first row, the last one, some between, and those named."""
    spread = {round(place * (rows - 1) / (_SAMPLED - 1)) for place in range(_SAMPLED)} if rows else set()
    return sorted(spread | {row for row in telling if 0 <= row < rows})


class Headings(QHeaderView):
    """Headings in line with their cells, that the sort arrow stands beside; one that is cut is whole in its tooltip."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(Qt.Orientation.Horizontal, parent)

    def initStyleOptionForIndex(self, option: QStyleOptionHeader, logicalIndex: int) -> None:
        """Make room for the arrow, and for the air that the cells have at their sides."""
        super().initStyleOptionForIndex(option, logicalIndex)
        if self.isSortIndicatorShown() and self.sortIndicatorSection() == logicalIndex:
            option.text += _ARROW_CLEAR
        elif option.textAlignment & Qt.AlignmentFlag.AlignRight:
            option.text += _IN_LINE
        if not option.textAlignment & Qt.AlignmentFlag.AlignRight:
            option.text = _IN_LINE + option.text

    def paintSection(self, painter: QPainter, rect: QRect, logicalIndex: int) -> None:
        """Draw a heading, and what parts it from the next: the style's own line is not seen on a dark ground."""
        painter.save()
        super().paintSection(painter, rect, logicalIndex)
        painter.restore()
        later = map(self.logicalIndex, range(self.visualIndex(logicalIndex) + 1, self.count()))
        if not all(map(self.isSectionHidden, later)):
            ink = self.palette().color(QPalette.ColorRole.PlaceholderText)
            ink.setAlphaF(_DIVIDER)
            painter.setPen(ink)
            painter.drawLine(rect.right(), rect.top() + 2, rect.right(), rect.bottom() - 2)

    def viewportEvent(self, event: QEvent) -> bool:
        """Show in the tooltip the whole of a heading that is cut by its column or by the panel's edge."""
        if not isinstance(event, QHelpEvent) or event.type() is not QEvent.Type.ToolTip:
            return super().viewportEvent(event)
        section = self.logicalIndexAt(event.pos())
        QToolTip.showText(event.globalPos(), self.tip(section) if section >= 0 else "", self)
        return True

    def tip(self, section: int) -> str:
        """Return the tooltip of a heading: itself where it is cut, and what the model says about it."""
        start, width = self.sectionViewportPosition(section), self.sectionSize(section)
        cut = width < self.sectionSizeHint(section) or start < 0 or start + width > self.viewport().width()
        told = [self._said(section, Qt.ItemDataRole.DisplayRole)] if cut else []
        return "\n".join(filter(None, [*told, self._said(section, Qt.ItemDataRole.ToolTipRole)]))

    def _said(self, section: int, role: Qt.ItemDataRole) -> str:
        return str(self.model().headerData(section, Qt.Orientation.Horizontal, role) or "")


class CopyingTable(QTableView):
    """A calm table whose chosen rows, or all of them where none is chosen, copy as tab-separated text.

    Parameters
    ----------
    name : str
        What assistive technology calls it.
    """

    def __init__(self, name: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName(name)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setItemDelegate(CellDelegate(self))
        self.setShowGrid(False)
        self.setWordWrap(False)
        self.setTabKeyNavigation(False)
        self.setFrameShape(QTableView.Shape.NoFrame)
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.verticalHeader().hide()
        self.verticalHeader().setMinimumSectionSize(1)  # the style's own is that of the letters before
        self._why_empty = ""
        self._telling: tuple[int, ...] = ()
        self._fit_soon = QTimer(self)
        self._fit_soon.setSingleShot(True)
        self._fit_soon.setInterval(0)
        self._fit_soon.timeout.connect(self._fit)
        self._fit_rows()
        header = Headings(self)
        self.setHorizontalHeader(header)
        header.setSectionsClickable(True)
        header.setHighlightSections(False)
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        header.setStretchLastSection(True)

    def setSelectionModel(self, selection: QItemSelectionModel) -> None:
        """Let the headings know nothing of what is chosen: they would ask every row whether it can be."""
        super().setSelectionModel(selection)
        self.horizontalHeader().setSelectionModel(QItemSelectionModel(selection.model(), self))

    def say_why_empty(self, sentence: str) -> None:
        """Write a sentence where the rows would be, while there are none."""
        if sentence != self._why_empty:
            self._why_empty = sentence
            self.viewport().update()
        self.setAccessibleDescription("" if self.model().rowCount() else sentence)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw the rows, or why there are none."""
        super().paintEvent(event)
        if self._why_empty and self.model().rowCount() == 0:
            painter, air = QPainter(self.viewport()), _air(self.fontMetrics())
            painter.setPen(self.palette().color(QPalette.ColorRole.PlaceholderText))
            place = self.viewport().rect().adjusted(2 * air, 2 * air, -2 * air, 0)
            painter.drawText(place, Qt.AlignmentFlag.AlignLeft | Qt.TextFlag.TextWordWrap, self._why_empty)

    def _fit_rows(self) -> None:
        self.verticalHeader().setDefaultSectionSize(round(self.fontMetrics().height() * 1.6))

    def changeEvent(self, event: QEvent) -> None:
        """Make room for larger letters."""
        super().changeEvent(event)
        if event.type() is QEvent.Type.FontChange and self.model() is not None:
            self._fit_rows()
            self.fit_columns()

    def fit_columns(self, telling: Iterable[int] = ()) -> None:
        """Make every column wide enough for its texts, its heading and the sort arrow, when the desk is next idle.

        Several tables that are filled at once would hold the desk up together.

        Parameters
        ----------
        telling : iterable of int
            Rows that may hold long texts. Of the others only a few are looked at, as a long session must not hold the
            desk up.
        """
        self._telling = tuple(telling)
        self._fit_soon.start()

    def _fit(self) -> None:
        header, model = self.horizontalHeader(), self.model()
        rows = _sampled(model.rowCount(), self._telling)
        for column in range(model.columnCount()):
            if self.isColumnHidden(column):
                continue
            cells = [model.index(row, column) for row in rows if self.columnSpan(row, column) == 1]
            cells.sort(key=lambda cell: len(str(cell.data() or "")), reverse=True)
            wanted = max((self.sizeHintForIndex(cell).width() for cell in cells[:_MEASURED]), default=0)
            heading = header.sectionSizeHint(column) + _beside_arrow(header)
            self.setColumnWidth(column, max(wanted, heading) + _air(self.fontMetrics()))

    def copied(self) -> str:
        """Return what a copy puts on the clipboard: the chosen rows, hidden columns included."""
        rows = self.chosen_rows().tolist()
        selectable = Qt.ItemFlag.ItemIsSelectable
        model = self.model()
        every = (row for row in range(model.rowCount()) if model.index(row, 0).flags() & selectable)
        return tab_separated(model, rows or every)

    def chosen_rows(self) -> NDArray[np.intp]:
        """Return the chosen rows, in order: by the stretches of them, as there may be a hundred thousand."""
        stretches, rows = self.selectionModel().selection(), np.zeros(self.model().rowCount(), dtype=bool)
        for place in range(stretches.count()):
            rows[stretches.at(place).top() : stretches.at(place).bottom() + 1] = True
        return np.flatnonzero(rows)

    def copy(self) -> None:
        """Put the chosen rows on the clipboard."""
        QGuiApplication.clipboard().setText(self.copied())

    def event(self, event: QEvent) -> bool:
        """Keep Space for ticking a box where there is one, and the copy keys."""
        if event.type() is QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent):
            ticks = event.key() == Qt.Key.Key_Space and bool(
                self.currentIndex().flags() & Qt.ItemFlag.ItemIsUserCheckable
            )
            if ticks or event.matches(QKeySequence.StandardKey.Copy):
                event.accept()
                return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Copy on the platform's copy keys; leave the keys that step through the records to the desk."""
        if event.matches(QKeySequence.StandardKey.Copy):
            self.copy()
        elif event.key() in _STEPPING:
            event.ignore()
        else:
            super().keyPressEvent(event)

    def write_in(self, cell: AnyIndex) -> None:
        """Let a cell be written; while another one still is, its editor stays, as it holds what was typed."""
        if self.state() is not QAbstractItemView.State.EditingState:
            self.edit(cell)

    def show_row(self, row: int) -> None:
        """Choose one row and bring it into sight; the column and the focus stay as they are."""
        model, flags = self.model(), QItemSelectionModel.SelectionFlag
        first, last = model.index(row, 0), model.index(row, model.columnCount() - 1)
        self.selectionModel().select(QItemSelection(first, last), flags.ClearAndSelect)
        current = model.index(row, max(self.currentIndex().column(), 0))
        self.selectionModel().setCurrentIndex(current, flags.NoUpdate)
        self.scrollTo(current)
