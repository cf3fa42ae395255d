"""Lets a window follow the habits of its user: theme, letters, recent files, where the panels are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QByteArray, QObject, Qt
from PySide6.QtGui import QAction, QFont, QGuiApplication
from PySide6.QtWidgets import QApplication, QMenu

from pulsewright_app.desk.habits.habits import Habits, Layout
from pulsewright_app.desk.habits.preferences import Preferences, apply
from pulsewright_app.desk.habits.preferences_page import PreferencesPage
from pulsewright_app.desk.habits.presence import Presence
from pulsewright_app.desk.plain_letters import without_keys
from pulsewright_app.desk.style import wear_again

if TYPE_CHECKING:
    from pulsewright_app.desk.window import DeskWindow

_USUAL_FONT = "pulsewright_usual_font"
PANELS_VERSION = 1
"""Counts up when panels come or go, so that an older layout is not laid over them."""


class Manners(QObject):
    """The link between one window and what is remembered; several windows share one `Habits`."""

    def __init__(self, window: DeskWindow, habits: Habits) -> None:
        super().__init__(window)
        self._window, self.habits = window, habits
        self._page: PreferencesPage | None = None
        self._usual = Layout()
        self._panels = ""
        """How the panels were when the last session was closed."""
        self._ever_shown = False
        self._recent_actions: dict[Path, QAction] = {}
        """What the menu of recent sessions holds, by their files."""
        self._presence = Presence(self)
        self._presence.changed.connect(self._list_recent)
        QGuiApplication.styleHints().colorSchemeChanged.connect(self._system_changed)

    # -- beginning and ending -------------------------------------------------------------------------------

    def begin(self) -> None:
        """Let a window that was just built be as its user left it."""
        self._usual = self._layout()
        self._restore(self.habits.layout)
        apply(self.habits.preferences, self._window.viewing)
        if self.habits.told:
            self._window.viewing.tell(self.habits.told)
            self.habits.told = ""

    def end(self) -> None:
        """Remember where things are, as the window closes."""
        layout = self._layout()
        if self._window.document.session is None:  # the panels are hidden then, which nobody asked for
            layout = replace(layout, panels=self._panels or self.habits.layout.panels)
        self.habits.arrange(layout)

    def leave(self) -> None:
        """Follow the system no more."""
        QGuiApplication.styleHints().colorSchemeChanged.disconnect(self._system_changed)

    # -- where things are -----------------------------------------------------------------------------------

    def _layout(self) -> Layout:
        window = self._window
        geometry, panels = window.saveGeometry(), window.saveState(PANELS_VERSION)
        return Layout(_text(geometry), _text(panels))

    def _restore(self, layout: Layout) -> None:
        if layout.geometry:
            self._window.restoreGeometry(QByteArray.fromBase64(layout.geometry.encode("ascii", "ignore")))
        if layout.panels:
            self._window.restoreState(QByteArray.fromBase64(layout.panels.encode("ascii", "ignore")), PANELS_VERSION)

    def show_panels(self, on: bool) -> None:
        """Show the panels as a person left them, now that there is a session, or hide them all as there is none."""
        if not on and self._ever_shown:
            self._panels = self._layout().panels
        for dock in self._window.docks.values():
            dock.setVisible(on)
        if on:
            self._ever_shown = True
            self._restore(Layout(panels=self._panels or self.habits.layout.panels))

    def usual_layout(self) -> None:
        """Put every panel back where it was at first."""
        self._panels = ""
        self._restore(replace(self._usual, geometry=""))
        for dock in self._window.docks.values():
            dock.setVisible(self._window.document.session is not None)
        self._window.size_docks()  # what was kept of a desk that was never shown holds no sizes
        self._tell(self.habits.arrange(Layout()))

    # -- preferences ----------------------------------------------------------------------------------------

    def show_preferences(self) -> None:
        """Show the page of preferences, beside the work."""
        if self._page is None:
            self._page = PreferencesPage(lambda: self.habits.preferences, self._window)
            self._page.chosen.connect(self._prefer)
            self._window.viewing.dark_changed.connect(self._page.show_preferred)
        self._page.show_preferred()
        self._page.come_up()

    def _prefer(self, preferences: Preferences) -> None:
        before = self.habits.preferences
        self._tell(self.habits.prefer(preferences))
        if preferences.font_percent != before.font_percent:
            set_font_percent(preferences.font_percent)
        apply(preferences, self._window.viewing, before)
        if preferences.theme != before.theme:
            self._window.viewing.set_dark(is_dark(preferences))

    def choose_dark(self, dark: bool) -> None:
        """Make every desk dark or light, from now on."""
        self._tell(self.habits.prefer(replace(self.habits.preferences, theme="dark" if dark else "light")))
        self._window.viewing.set_dark(dark)

    def _system_changed(self, scheme: Qt.ColorScheme) -> None:
        if self.habits.preferences.theme == "system":
            self._window.viewing.set_dark(scheme == Qt.ColorScheme.Dark)

    def _tell(self, sentence: str) -> None:
        if sentence:
            self._window.viewing.tell(sentence)

    # -- recent files ---------------------------------------------------------------------------------------

    def opened(self, path: Path) -> None:
        """Remember that a session was opened."""
        self._tell(self.habits.opened(path))
        self.show_recent()

    def show_recent(self) -> None:
        """List the recent sessions on the first screen, those that are there, as soon as that is known."""
        self._presence.ask(one.path for one in self.habits.recent)
        self._list_recent()

    def _list_recent(self) -> None:
        there = [one for one in self.habits.recent if self._presence.there(one.path)]
        self._window.first_screen.show_recent(there)
        for number, (path, action) in enumerate(self._recent_actions.items(), start=1):
            gone = self._presence.there(path) is False
            text = without_keys(recent_text(path, gone))
            action.setText(f"{'&' if number < 10 else ''}{number}  {text}")
            action.setEnabled(not gone)

    def fill_recent(self, menu: QMenu, open_path: Callable[[Path], object]) -> None:
        """Put the recent sessions into a menu, newest first; those that are gone say so, as soon as that is known."""
        menu.clear()
        self._recent_actions = {one.path: menu.addAction("") for one in self.habits.recent}
        for path, action in self._recent_actions.items():
            action.setToolTip(str(path))
            action.setStatusTip(str(path))
            action.triggered.connect(lambda _=False, path=path: open_path(path))
        self.show_recent()
        if not self.habits.recent:
            menu.addAction("None yet").setEnabled(False)
            return
        menu.addSeparator()
        menu.addAction("Forget these").triggered.connect(self._forget)

    def _forget(self) -> None:
        self._tell(self.habits.forget_recent())
        self._recent_actions = {}
        self._list_recent()


def recent_text(path: Path, gone: bool) -> str:
    """Return how a recent session is called: its name and its folder, and that it is gone if it is."""
    text = f"{path.name}  ·  {path.parent.name or path.parent}"
    return f"{text}  (gone)" if gone else text


def is_dark(preferences: Preferences) -> bool:
    """Return whether the desk is to be dark."""
    if preferences.theme == "system":
        return QGuiApplication.styleHints().colorScheme() == Qt.ColorScheme.Dark
    return preferences.theme == "dark"


def set_font_percent(percent: int) -> None:
    """Let all letters be that large, in percent of the size that the application began with."""
    application = QApplication.instance()
    if not isinstance(application, QApplication):
        return
    usual = application.property(_USUAL_FONT)
    if not isinstance(usual, QFont):
        usual = QFont(application.font())
        application.setProperty(_USUAL_FONT, usual)
    font = QFont(usual)
    font.setPointSizeF(usual.pointSizeF() * percent / 100)
    if font == application.font():
        return
    application.setFont(font)
    wear_again(application)


def _text(data: QByteArray) -> str:
    return bytes(data.toBase64().data()).decode("ascii")
