"""The panel of the channels: which are shown, in which colour, with which range and cable delay."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QModelIndex
from PySide6.QtWidgets import QComboBox, QGridLayout, QPushButton, QTableView, QWidget

from pulsewright_app.desk.document import Document
from pulsewright_app.desk.panels.channel_table import DELAY, MODULE, NAME, ChannelTable
from pulsewright_app.desk.panels.panel import Panel
from pulsewright_app.desk.panels.tables import CopyingTable
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing


class ChannelsPanel(Panel):
    """A row for each channel under its module; choosing one makes it the current channel."""

    def __init__(self, document: Document, viewing: Viewing, results: Results, parent: QWidget | None = None) -> None:
        super().__init__(document, viewing, results, parent)
        self._model = ChannelTable(document, viewing)
        self.table = CopyingTable("Channels")
        self.table.setSelectionMode(QTableView.SelectionMode.SingleSelection)
        self.table.setEditTriggers(QTableView.EditTrigger.DoubleClicked | QTableView.EditTrigger.EditKeyPressed)
        self.table.setModel(self._model)
        self.table.setColumnHidden(MODULE, True)
        self.column.addWidget(self.table, 1)
        self.column.addLayout(self._buttons())
        self.table.selectionModel().currentChanged.connect(self._chosen)
        document.session_changed.connect(self._session_changed)
        viewing.channel_changed.connect(self._follow)
        viewing.shown_changed.connect(self._shown_changed)
        viewing.trims.changed.connect(self._model.refresh)
        document.settings_changed.connect(self._settings_changed)
        document.claims_changed.connect(self._settings_changed)
        self.restyle()
        self._session_changed()

    def _buttons(self) -> QGridLayout:
        grid = QGridLayout()
        self.only_button = self._button("Only this one", "Show only the current channel", self.show_only)
        self.module_button = self._button("Only its module", "Show only the module of the row", self.show_only_module)
        self.all_button = self._button("Show all", "Show all channels", self.viewing.show_all)
        self.reset_button = self._button(
            "As recorded", "Draw every channel as it was recorded", self.viewing.trims.start_over
        )
        self.lanes_box = QComboBox()
        self.lanes_box.addItems(["Lanes", "One axis"])
        self.lanes_box.setAccessibleName("Channels in lanes or on one axis")
        self.lanes_box.setToolTip("Each channel in a lane of its own, or all on one axis")
        self.lanes_box.activated.connect(lambda index: self.viewing.set_lanes(index == 0))
        for place, widget in enumerate(
            (self.only_button, self.module_button, self.all_button, self.reset_button, self.lanes_box)
        ):
            grid.addWidget(widget, place // 2, place % 2)
        return grid

    def _button(self, text: str, name: str, answer: Callable[[], object]) -> QPushButton:
        button = QPushButton(text)
        button.setAccessibleName(name)
        button.setToolTip(name)
        button.clicked.connect(lambda: answer())
        return button

    def show_only(self) -> None:
        """Show the current channel alone."""
        self.viewing.show_only(self.viewing.channel)

    def show_only_module(self) -> None:
        """Show the module of the chosen row alone, or that of the current channel."""
        session, row = self.document.session, self.table.currentIndex().row()
        if session is None:
            return
        channels = self._model.channels_at(row if row >= 0 else self._model.row_of(self.viewing.channel) or 0)
        modules = {session.channels[channel].module for channel in channels}
        self.viewing.show_only_these(c for c, about in enumerate(session.channels) if about.module in modules)

    def _session_changed(self) -> None:
        self._model.rebuild()
        self.table.clearSpans()
        for row in self._model.module_rows():
            self.table.setSpan(row, NAME, 1, self._model.columnCount())
        self.table.fit_columns()
        for widget in (self.only_button, self.module_button, self.all_button, self.reset_button):
            widget.setEnabled(self.document.session is not None)
        self._shown_changed()
        self._follow()

    def edit_delay(self) -> None:
        """Let the delay of the current channel be written."""
        row = self._model.row_of(self.viewing.channel)
        if row is not None:
            self.table.setFocus()
            self.table.setCurrentIndex(self._model.index(row, DELAY))
            self.table.write_in(self.table.currentIndex())

    def _settings_changed(self) -> None:
        self._model.refresh()
        self.table.fit_columns()

    def _shown_changed(self) -> None:
        self._model.refresh()
        self.lanes_box.setCurrentIndex(0 if self.viewing.lanes else 1)

    def _chosen(self, current: QModelIndex) -> None:
        channel = self._model.channel_at(current.row())
        if channel is not None:
            self.viewing.set_channel(channel)

    def _follow(self) -> None:
        row = self._model.row_of(self.viewing.channel)
        if row is not None and self.table.currentIndex().row() != row:
            self.table.show_row(row)

    def restyle(self) -> None:
        """Take the theme's colours."""
        super().restyle()
        self._model.refresh()
