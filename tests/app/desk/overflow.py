"""Finds text that exceeds its widget: by font metrics, against the room that the style leaves for it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from PySide6.QtCore import QEvent, QPoint, QRect, Qt
from PySide6.QtGui import QFontMetrics, QHelpEvent, QTextDocument
from PySide6.QtWidgets import (
    QAbstractItemView,
    QAbstractScrollArea,
    QAbstractSpinBox,
    QApplication,
    QCheckBox,
    QComboBox,
    QHeaderView,
    QLabel,
    QLineEdit,
    QMenu,
    QMenuBar,
    QPushButton,
    QStyle,
    QStyleOptionButton,
    QStyleOptionComboBox,
    QStyleOptionSpinBox,
    QTabBar,
    QTableView,
    QToolButton,
    QToolTip,
    QWidget,
)
from shiboken6 import isValid

_ROWS_LOOKED_AT = 40


@dataclass
class Walked:
    """What was looked at: how many texts, what exceeds, what is cut but shows the whole in a tooltip, what is black."""

    texts: int = 0
    exceeding: list[str] = field(default_factory=list)
    elided: list[str] = field(default_factory=list)
    unpainted: list[str] = field(default_factory=list)

    def take(self, widget: QWidget, text: str, needed: float, room: float, whole: str = "") -> None:
        """Compare one text with its room; `whole` is what a tooltip shows where it is cut."""
        if not text.strip():
            return
        self.texts += 1
        if needed <= room + 1:  # rounding to whole pixels
            return
        told = f"{type(widget).__name__} {widget.accessibleName()!r}: {text!r} needs {needed:.0f} of {room:.0f}"
        (self.elided if _plain(text) in _plain(whole) else self.exceeding).append(told)


def _plain(text: str) -> str:
    document = QTextDocument()
    if "<" in text or "&nbsp;" in text:
        document.setHtml(text)
        text = document.toPlainText()
    return " ".join(text.split())


def walk(window: QWidget) -> Walked:
    """Look at every text that is seen of a window."""
    walked = Walked()
    for widget in (window, *window.findChildren(QWidget)):
        if not isValid(widget):
            continue  # a tooltip that was looked at, and went
        if not widget.isVisible() or widget.window() is not window or widget.visibleRegion().isEmpty():
            continue
        if not widget.updatesEnabled():
            walked.unpainted.append(f"{type(widget).__name__} {widget.accessibleName()!r}")
        _look(widget, walked)
        _cut_off(widget, walked)
    return walked


def _look(widget: QWidget, walked: Walked) -> None:
    if isinstance(widget, QPushButton | QCheckBox):
        _button(widget, walked)
    elif isinstance(widget, QToolButton):
        walked.take(widget, widget.text(), widget.sizeHint().width(), widget.width(), widget.toolTip())
    elif isinstance(widget, QLabel):
        _label(widget, walked)
    elif isinstance(widget, QComboBox):
        _combo(widget, walked)
    elif isinstance(widget, QAbstractSpinBox):
        option = QStyleOptionSpinBox()
        widget.initStyleOption(option)
        parts = QStyle.ComplexControl.CC_SpinBox, option, QStyle.SubControl.SC_SpinBoxEditField, widget
        room = widget.style().subControlRect(*parts).width()
        walked.take(widget, widget.text(), _width(widget, widget.text()), room)
    elif isinstance(widget, QLineEdit) and not isinstance(widget.parentWidget(), QAbstractSpinBox | QComboBox):
        _line(widget, walked)
    elif isinstance(widget, QHeaderView):
        _header(widget, walked)
    elif isinstance(widget, QTableView):
        _cells(widget, walked)
    elif isinstance(widget, QTabBar):
        for tab in range(widget.count()):
            if widget.isTabVisible(tab):
                walked.take(widget, widget.tabText(tab), _width(widget, widget.tabText(tab)),
                            widget.tabRect(tab).width() - 8)  # fmt: skip
    elif isinstance(widget, QMenuBar):
        for action in widget.actions():
            place = widget.actionGeometry(action)
            walked.take(widget, action.text(), place.right(), widget.width())
            walked.take(widget, action.text(), _width(widget, action.text().replace("&", "")), place.width())


def _width(widget: QWidget, text: str) -> int:
    return max((widget.fontMetrics().horizontalAdvance(line) for line in text.split("\n")), default=0)


def _button(widget: QPushButton | QCheckBox, walked: Walked) -> None:
    option = QStyleOptionButton()
    widget.initStyleOption(option)
    part = QStyle.SubElement.SE_PushButtonContents
    if isinstance(widget, QCheckBox):
        part = QStyle.SubElement.SE_CheckBoxContents
    room: QRect = widget.style().subElementRect(part, option, widget)
    walked.take(widget, widget.text(), _width(widget, widget.text()), min(room.right() + 1, widget.width()) - room.x())
    walked.take(widget, widget.text(), widget.fontMetrics().height(), widget.height())


def _label(widget: QLabel, walked: Walked) -> None:
    room, text = widget.contentsRect(), widget.text()
    if widget.wordWrap():
        walked.take(widget, text, widget.heightForWidth(widget.width()), widget.height(), widget.toolTip())
        longest = max((_width(widget, word) for word in _plain(text).split()), default=0)
        walked.take(widget, text, longest, room.width())
    else:
        walked.take(widget, text, _width(widget, _plain(text)), room.width(), tooltip_of(widget))
        walked.take(widget, text, widget.fontMetrics().height(), widget.height())


def _combo(widget: QComboBox, walked: Walked) -> None:
    option = QStyleOptionComboBox()
    widget.initStyleOption(option)
    parts = QStyle.ComplexControl.CC_ComboBox, option, QStyle.SubControl.SC_ComboBoxEditField, widget
    room = widget.style().subControlRect(*parts).width()
    for row in range(widget.count()):  # any of them may come to be shown
        walked.take(widget, widget.itemText(row), _width(widget, widget.itemText(row)), room)


def _line(widget: QLineEdit, walked: Walked) -> None:
    """A line that is written in may be longer than its field; what a field says while it is empty may not."""
    text = widget.text() if widget.maxLength() < 100 or widget.isReadOnly() else ""
    text = text or widget.placeholderText()
    margins = widget.textMargins()
    room = widget.contentsRect().width() - margins.left() - margins.right() - 8
    walked.take(widget, text, _width(widget, text), room, tooltip_of(widget) or widget.toolTip())


def _header(widget: QHeaderView, walked: Walked) -> None:
    model, across = widget.model(), widget.orientation() is Qt.Orientation.Horizontal
    if model is None or not across:
        return
    for section in range(widget.count()):
        if not widget.isSectionHidden(section):
            text = str(model.headerData(section, widget.orientation()) or "")
            whole = str(model.headerData(section, widget.orientation(), Qt.ItemDataRole.ToolTipRole) or "")
            walked.take(widget, text, _width(widget, text) + 4, widget.sectionSize(section), whole)


def _cells(widget: QTableView, walked: Walked) -> None:
    model = widget.model()
    for row in range(min(model.rowCount(), _ROWS_LOOKED_AT)):
        for column in range(model.columnCount()):
            index = model.index(row, column)
            rect = widget.visualRect(index)
            text = str(index.data() or "")
            seen = widget.viewport().rect().intersects(rect)
            if text and seen and not widget.isColumnHidden(column) and widget.indexWidget(index) is None:
                whole = tooltip_of(widget.viewport(), rect.intersected(widget.viewport().rect()).center())
                if widget.wordWrap():  # its lines must have room below each other, and its longest word in one
                    room = QRect(0, 0, rect.width(), 10_000)
                    lines = widget.fontMetrics().boundingRect(room, Qt.TextFlag.TextWordWrap, text)
                    walked.take(widget, text, lines.height(), rect.height(), whole)
                    text = max(text.split(), key=len)
                walked.take(widget, text, _width(widget, text), rect.width(), whole)


def tooltip_of(widget: QWidget, spot: QPoint | None = None) -> str:
    """What is shown when the pointer rests there."""
    spot = widget.rect().center() if spot is None else spot
    QToolTip.hideText()
    QToolTip.showText(QPoint(), "")
    QApplication.sendEvent(widget, QHelpEvent(QEvent.Type.ToolTip, spot, widget.mapToGlobal(spot)))
    return QToolTip.text() if QToolTip.isVisible() else ""


def _cut_off(widget: QWidget, walked: Walked) -> None:
    """What lies outside of what holds it is not seen; in a scroll area it can be brought into sight."""
    if not isinstance(widget, QLabel | QPushButton | QToolButton | QCheckBox | QComboBox | QLineEdit | QTabBar):
        return
    above = widget.parentWidget()
    if above is None or _scrolls(widget) or (isinstance(widget, QLabel) and not widget.text()):
        return
    walked.texts += 1
    if not above.rect().adjusted(-1, -1, 1, 1).contains(widget.geometry()):
        name = widget.accessibleName() or getattr(widget, "text", str)()
        walked.exceeding.append(f"{type(widget).__name__} {name!r} at {widget.geometry().getRect()} is cut off")


def _scrolls(widget: QWidget) -> bool:
    above = widget.parentWidget()
    while above is not None:
        if isinstance(above, QAbstractScrollArea | QAbstractItemView | QTabBar):
            return True
        above = above.parentWidget()
    return False


def menus_of(window: QWidget) -> Iterator[QMenu]:
    """Every menu of the menu bar."""
    for bar in window.findChildren(QMenuBar):
        yield from (action.menu() for action in bar.actions() if action.menu() is not None)


def walk_menu(menu: QMenu, room: QRect) -> Walked:
    """Look at an open menu: every entry inside it, and all of it on the screen."""
    walked, metrics = Walked(), QFontMetrics(menu.font())
    for action in menu.actions():
        if action.isSeparator():
            continue
        keys = action.shortcut().toString()
        text = action.text().replace("&", "")
        place = menu.actionGeometry(action)
        walked.take(menu, text, metrics.horizontalAdvance(text) + metrics.horizontalAdvance(keys), place.width())
        walked.take(menu, text, place.bottom(), menu.height())
        walked.take(menu, text, place.right(), menu.width())
    walked.take(menu, menu.title(), menu.width(), room.width())
    walked.take(menu, menu.title(), menu.height(), room.height())
    return walked
