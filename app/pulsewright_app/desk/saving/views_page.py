"""The page of the views that a person added to the evidence sheet: captions, order, and the way back to each."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, Qt
from PySide6.QtGui import QPalette, QShowEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from pulsewright.review import SheetView
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.filtering import Filtering
from pulsewright_app.desk.form_page import FormPage
from pulsewright_app.desk.saving.current_view import current_view, go_to_view, left_away
from pulsewright_app.desk.viewing import Viewing

SHOWN, CAPTION = 0, 1
_NO_CAPTION = "No caption: double-click or F2 to write one"
NAMES = {"single": "Single", "stacked": "Stacked", "afterglow": "Afterglow", "map": "Map"}


def add_view(document: Document, viewing: Viewing) -> str:
    """Add the view that is looked at to the sheet; return a sentence where it cannot be drawn again."""
    view = current_view(document, viewing)
    if isinstance(view, str):
        return view
    document.set_sheet_views((*document.sheet_views, view), f"Add {NAMES[view.view]} to the sheet")
    return ""


class _CaptionDelegate(QStyledItemDelegate):
    """Says in an empty cell how a caption is written, and draws no frame, which looks like a button's."""

    def initStyleOption(self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex) -> None:
        """Take what is drawn from the table, or the hint, without the frame: the row is marked."""
        super().initStyleOption(option, index)
        option.state &= ~QStyle.StateFlag.State_HasFocus
        if not option.text:
            option.text = _NO_CAPTION
            option.features |= QStyleOptionViewItem.ViewItemFeature.HasDisplay
            hint = option.palette.color(QPalette.ColorRole.PlaceholderText)
            for role in (QPalette.ColorRole.Text, QPalette.ColorRole.HighlightedText):
                option.palette.setColor(role, hint)


class ViewsPage(FormPage):
    """Lists the added views in the order of the sheet; a caption is written where it stands."""

    def __init__(
        self, document: Document, viewing: Viewing, filtering: Filtering, parent: QWidget | None = None
    ) -> None:
        super().__init__("Views on the sheet", parent)
        self._document, self._viewing, self._filtering = document, viewing, filtering
        self.table = QTableWidget(0, 2)
        self.table.setAccessibleName("Views on the sheet")
        self.table.setTabKeyNavigation(False)
        self.table.setHorizontalHeaderLabels(["View", "Caption"])
        self.table.horizontalHeader().setSectionResizeMode(CAPTION, QHeaderView.ResizeMode.Stretch)
        self.table.setItemDelegateForColumn(CAPTION, _CaptionDelegate(self.table))
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.table.itemChanged.connect(self._caption_written)
        self.column.insertWidget(0, self.table, 100)
        self.add_here = self.add_button("Add this view", "Add the view that is looked at to the sheet")
        self.go_button = self.add_button("Look at it", "Show the chosen view on the desk as it was added")
        self.up_button = self.add_button("Up", "Move the chosen view before the one above it")
        self.down_button = self.add_button("Down", "Move the chosen view behind the one below it")
        self.remove_button = self.add_button("Remove", "Take the chosen view off the sheet")
        self.close_button = self.add_button("Close", "Close this page")
        self.add_here.clicked.connect(self._add)
        self.go_button.clicked.connect(self._go)
        self.up_button.clicked.connect(lambda: self._move(-1))
        self.down_button.clicked.connect(lambda: self._move(1))
        self.remove_button.clicked.connect(self._remove)
        self.close_button.clicked.connect(self.close)
        self.table.itemSelectionChanged.connect(self._allow)
        document.sheet_views_changed.connect(self._rebuild)
        document.session_changed.connect(self._rebuild)
        self._filling = False
        self.resize(720, 320)
        self._rebuild()

    # -- showing --------------------------------------------------------------------------------------------

    def _rebuild(self) -> None:
        views, chosen = self._document.sheet_views, self._chosen
        self._filling = True
        try:
            self.table.setRowCount(len(views))
            for row, view in enumerate(views):
                about = QTableWidgetItem(_in_words(view))
                about.setFlags(Qt.ItemFlag.ItemIsSelectable | Qt.ItemFlag.ItemIsEnabled)
                self.table.setItem(row, SHOWN, about)
                self.table.setItem(row, CAPTION, QTableWidgetItem(view.caption))
            self.table.resizeColumnToContents(SHOWN)
        finally:
            self._filling = False
        if views and chosen >= 0:
            self.table.selectRow(min(chosen, len(views) - 1))
        self._tell_whether_empty()
        self._allow()

    def showEvent(self, event: QShowEvent) -> None:
        """Come up without what was said of a view that was added before."""
        super().showEvent(event)
        if not event.spontaneous():
            self._tell_whether_empty()

    def _tell_whether_empty(self) -> None:
        views = self._document.sheet_views
        self.told.setText("" if views else "No view is on the sheet yet. What you look at can be added here.")

    @property
    def _chosen(self) -> int:
        rows = self.table.selectionModel().selectedRows()
        return rows[0].row() if rows else -1

    def _allow(self) -> None:
        row, number = self._chosen, len(self._document.sheet_views)
        self.add_here.setEnabled(self._document.session is not None)
        for button, on in (
            (self.go_button, row >= 0),
            (self.remove_button, row >= 0),
            (self.up_button, row > 0),
            (self.down_button, 0 <= row < number - 1),
        ):
            button.setEnabled(on)

    # -- gestures -------------------------------------------------------------------------------------------

    def show_added(self) -> None:
        """Let the caption of the view that was added last be written, and say what the sheet does not draw of it."""
        lacking = left_away(self._viewing)
        self.told.setText(f"Added without {lacking}, which the sheet does not draw." if lacking else "")
        row = self.table.rowCount() - 1
        item = self.table.item(row, CAPTION)
        if item is not None:
            self.table.selectRow(row)
            self.table.setCurrentItem(item)
            self.table.editItem(item)

    def _add(self) -> None:
        refused = add_view(self._document, self._viewing)
        if refused:
            self.told.setText(refused)
        else:
            self.show_added()

    def _caption_written(self, item: QTableWidgetItem) -> None:
        views = self._document.sheet_views
        if self._filling or item.column() != CAPTION or item.row() >= len(views):
            return
        if item.text() != views[item.row()].caption:
            changed = replace(views[item.row()], caption=item.text())
            self._set((*views[: item.row()], changed, *views[item.row() + 1 :]), "Write a caption")

    def _move(self, by: int) -> None:
        row, views = self._chosen, list(self._document.sheet_views)
        views.insert(row + by, views.pop(row))
        self.table.selectRow(row + by)
        self._set(tuple(views), "Move a view on the sheet")

    def _remove(self) -> None:
        row, views = self._chosen, self._document.sheet_views
        self._set((*views[:row], *views[row + 1 :]), "Take a view off the sheet")

    def _go(self) -> None:
        view = self._document.sheet_views[self._chosen]
        self.told.setText(go_to_view(self._document, self._viewing, self._filtering, view))

    def _set(self, views: tuple[SheetView, ...], label: str) -> None:
        self._document.set_sheet_views(views, label)


def _in_words(view: SheetView) -> str:
    of = view.channel if view.view in ("afterglow", "map") else f"{view.channel}, record {view.record}"
    more = f", {view.filter}" if view.filter else ""
    return f"{NAMES[view.view]}, {of if view.view != 'single' else f'record {view.record}'}{more}"
