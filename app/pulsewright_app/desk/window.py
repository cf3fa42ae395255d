"""The desk: one window with the view in the middle, the rail below it, and the panels at both sides."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent, QGuiApplication, QKeyEvent
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QApplication,
    QComboBox,
    QDockWidget,
    QFileDialog,
    QMainWindow,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)
from shiboken6 import isValid

from pulsewright.errors import PulsewrightError
from pulsewright_app.desk.actions import ACTIONS, ShortcutsPage, make_actions
from pulsewright_app.desk.answers import answers_of
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.first_screen import FirstScreen
from pulsewright_app.desk.measuring import Measuring
from pulsewright_app.desk.message_bar import MessageBar
from pulsewright_app.desk.middle import Middle
from pulsewright_app.desk.opening import Opened, open_for_desk
from pulsewright_app.desk.panels.channels import ChannelsPanel
from pulsewright_app.desk.panels.findings import FindingsPanel
from pulsewright_app.desk.panels.markers import MarkersPanel
from pulsewright_app.desk.panels.records import RecordsPanel
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.reviewing import Reviewing
from pulsewright_app.desk.style import dress, prepare
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.views.view import Desk
from pulsewright_app.desk.work import Background, SessionData
from pulsewright_app.theme import theme

DEMO_SESSION = "tank_faults.h5"


class DeskWindow(QMainWindow):
    """The window.

    Parameters
    ----------
    options : mapping of setting to value, optional
        What the command line said; it counts before everything else.
    dark : bool
        Whether it begins dark.
    """

    def __init__(self, options: Mapping[str, Any] | None = None, dark: bool = False) -> None:
        super().__init__()
        self._options = dict(options or {})
        self.document = Document(self)
        self.viewing = Viewing(self.document, self)
        self.results = Results(self)
        self.background = Background(self)
        self.data = SessionData(self.document, self.background, self)
        self.measuring = Measuring(self.document, self.results, self.background, self)
        self.reviewing = Reviewing(self.document, self.viewing, self.background, self)
        self.viewing.set_dark(dark)
        self.actions_by_name = make_actions(self, answers_of(self))
        self._help: ShortcutsPage | None = None
        self._build()
        self._connect()
        self._redress()
        self._session_changed()

    # -- building -------------------------------------------------------------------------------------------

    def _build(self) -> None:
        self.setWindowTitle("Pulsewright")
        self.setAcceptDrops(True)
        self.resize(1500, 920)
        self.message_bar = MessageBar()
        self.first_screen = FirstScreen()
        desk = Desk(self.document, self.viewing, self.results, self.data, self.background)
        self.middle = Middle(desk, self.actions_by_name)
        self.pages = QStackedWidget()
        self.pages.addWidget(self.first_screen)
        self.pages.addWidget(self.middle)
        centre = QWidget()
        column = QVBoxLayout(centre)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.message_bar)
        column.addWidget(self.pages, 1)
        self.setCentralWidget(centre)
        self._build_docks()
        self._build_menus()

    def _build_docks(self) -> None:
        state = (self.document, self.viewing, self.results)
        self.findings_panel = FindingsPanel(*state)
        left, right = Qt.DockWidgetArea.LeftDockWidgetArea, Qt.DockWidgetArea.RightDockWidgetArea
        self.docks = {
            "channels_panel": self._dock("Channels", ChannelsPanel(*state), left),
            "records_panel": self._dock("Records", RecordsPanel(*state), left),
            "markers_panel": self._dock("Markers", MarkersPanel(*state), right),
            "findings_panel": self._dock("Findings", self.findings_panel, right),
        }
        docks = list(self.docks.values())
        self.resizeDocks([docks[0], docks[2]], [290, 400], Qt.Orientation.Horizontal)
        self.resizeDocks(docks[:2], [430, 400], Qt.Orientation.Vertical)
        self.resizeDocks(docks[2:], [250, 580], Qt.Orientation.Vertical)

    def _dock(self, title: str, panel: QWidget, area: Qt.DockWidgetArea) -> QDockWidget:
        dock = QDockWidget(title, self)
        dock.setObjectName(title)
        dock.setAccessibleName(f"{title} panel")
        dock.setWidget(panel)
        self.addDockWidget(area, dock)
        return dock

    def _build_menus(self) -> None:
        for title in dict.fromkeys(described.menu for described in ACTIONS):
            menu = self.menuBar().addMenu(title)
            for described in ACTIONS:
                if described.menu == title:
                    menu.addAction(self.actions_by_name[described.name])

    def _connect(self) -> None:
        document, viewing = self.document, self.viewing
        document.session_changed.connect(self._session_changed)
        viewing.told.connect(self.message_bar.tell)
        self.data.unreadable.connect(self.message_bar.tell)
        self.reviewing.told.connect(self.message_bar.tell)
        viewing.dark_changed.connect(self._redress)
        self.results.changed.connect(self._tell_error)
        self.findings_panel.cancel_requested.connect(self.measuring.cancel)
        self.first_screen.open_wanted.connect(self.choose_file)
        self.first_screen.sample_wanted.connect(self.open_sample)
        for signal in (
            document.history_changed, viewing.view_changed, viewing.record_changed, viewing.playing_changed,
            viewing.shown_changed, viewing.selection_changed, viewing.options_changed, self.results.changed,
        ):  # fmt: skip
            signal.connect(self.update_actions)
        for dock in self.docks.values():
            dock.visibilityChanged.connect(self.update_actions)
        application = QApplication.instance()
        if isinstance(application, QApplication):
            application.focusChanged.connect(self._follow_focus)
        QGuiApplication.styleHints().colorSchemeChanged.connect(
            lambda scheme: viewing.set_dark(scheme == Qt.ColorScheme.Dark)
        )

    # -- following the state --------------------------------------------------------------------------------

    def _session_changed(self) -> None:
        session = self.document.session
        self.pages.setCurrentWidget(self.first_screen if session is None else self.middle)
        name = "" if session is None else (session.file.name if session.file else session.title or "session")
        self.setWindowTitle(f"{name} — Pulsewright" if name else "Pulsewright")
        for dock in self.docks.values():
            dock.setVisible(session is not None)
        for described in ACTIONS:
            self.actions_by_name[described.name].setEnabled(session is not None or not described.needs_session)
        self.update_actions()
        if session is not None:
            self.middle.view.canvas.setFocus()

    def update_actions(self) -> None:
        """Let every action say what it would do now, and whether it can."""
        actions, viewing, document = self.actions_by_name, self.viewing, self.document
        there = document.session is not None
        checked = {
            **{name: viewing.view == name for name in ("single", "stacked", "afterglow", "map")},
            **{f"snap_{name}": viewing.snap == name for name in ("pulses", "samples", "nothing")},
            **{name: not dock.isHidden() for name, dock in self.docks.items()},
            "play": viewing.playing,
            "loop": viewing.loop,
            "lanes": viewing.lanes,
            "dark": viewing.dark,
            "flag": viewing.record in document.flags,
        }
        for name, on in checked.items():
            actions[name].setChecked(on)
        actions["play"].setText("Pause" if viewing.playing else "Play")
        for name, label in (("undo", document.undo_label), ("redo", document.redo_label)):
            actions[name].setText(f"{name.capitalize()}: {label}" if label else name.capitalize())
            actions[name].setEnabled(bool(label))
        for name in ("nudge_earlier", "nudge_later", "remove_pair"):
            actions[name].setEnabled(there and viewing.selected_marker is not None)
        actions["cancel"].setEnabled(self.results.busy)
        actions["next_flag"].setEnabled(bool(document.flags))

    def _tell_error(self) -> None:
        if self.results.error:
            self.message_bar.tell(self.results.error)

    def _redress(self) -> None:
        colours = theme(self.viewing.dark)
        application = QApplication.instance()
        if isinstance(application, QApplication):
            dress(application, colours)
        self.message_bar.set_theme(colours)
        self.update_actions()

    # -- opening --------------------------------------------------------------------------------------------

    def open_path(self, path: Path) -> None:
        """Open a session file; what is wrong with it appears in the bar at the top."""
        self.message_bar.tell("")
        self.background.start("Opening", lambda _: open_for_desk(path), self._take, self.message_bar.tell)

    def _take(self, opened: Opened) -> None:
        if not self.reviewing.let_go():
            opened.session.close()
            return
        self.background.stop()
        self.measuring.sha256 = opened.sha256
        self.reviewing.put_on(opened, self._options)

    def open_sample(self) -> None:
        """Open the sample with faults."""
        from pulsewright_app.samples import sample

        try:
            self.open_path(sample(DEMO_SESSION))
        except PulsewrightError as error:
            self.message_bar.tell(error.sentence)

    def choose_file(self) -> None:
        """Ask for a session file and open it."""
        name, _ = QFileDialog.getOpenFileName(self, "Open a session", "", "Sessions (*.h5);;All files (*)")
        if name:
            self.open_path(Path(name))

    def close_session(self) -> None:
        """Go back to the first screen."""
        if not self.reviewing.let_go():
            return
        self.background.stop()
        self.document.open(None)

    def show_shortcuts(self) -> None:
        """Show the list of keys and gestures, beside the work, not in its way."""
        if self._help is None:
            self._help = ShortcutsPage(self)
        self._help.show()
        self._help.raise_()

    # -- events ---------------------------------------------------------------------------------------------

    def _follow_focus(self, old: QWidget | None, new: QWidget | None) -> None:
        """Watch only the widget that has the keyboard: a filter on everything would slow everything down."""
        if old is not None and isValid(old):
            old.removeEventFilter(self)
        if new is not None:
            new.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Let Space press the button, or tick the box, that has the keyboard; elsewhere it plays."""
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent):
            focus = QApplication.focusWidget()
            if event.key() == Qt.Key.Key_Space and watched is focus and _wants_space(focus):
                event.accept()
                return True
        return super().eventFilter(watched, event)

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Take files, and nothing else."""
        if _dropped_file(event) is not None:
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        """Open the file that was dropped."""
        path = _dropped_file(event)
        if path is not None:
            event.acceptProposedAction()
            self.open_path(path)

    def closeEvent(self, event: QCloseEvent) -> None:
        """Save what was added, end the background work and give the file back."""
        self.viewing.play(False)
        if not self.reviewing.let_go():
            event.ignore()
            return
        application = QApplication.instance()
        if isinstance(application, QApplication):
            application.focusChanged.disconnect(self._follow_focus)
        self.background.close()
        if self.document.session is not None:
            self.document.session.close()
        super().closeEvent(event)


def _wants_space(widget: QWidget | None) -> bool:
    if isinstance(widget, QAbstractItemView):
        return bool(widget.currentIndex().flags() & Qt.ItemFlag.ItemIsUserCheckable)
    return isinstance(widget, QAbstractButton | QComboBox)


def _dropped_file(event: QDropEvent) -> Path | None:
    urls = event.mimeData().urls()
    return Path(urls[0].toLocalFile()) if len(urls) == 1 and urls[0].isLocalFile() else None


def _warm_up() -> None:
    """Load what the first marker and the first picture need, before they need it."""
    import scipy.special

    import pulsewright_analysis.overlay_kernels  # noqa: F401

    assert scipy.special


def open_desk(path: Path | None, options: Mapping[str, Any]) -> int:
    """Show the desk until it is closed, and return the exit code.

    Parameters
    ----------
    path : Path or None
        A session file; None shows the first screen.
    options : mapping of setting to value
        Settings of the command line.
    """
    import signal

    existing = QApplication.instance()
    application = existing if isinstance(existing, QApplication) else QApplication(["pulsewright"])
    prepare(application)
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    dark = QGuiApplication.styleHints().colorScheme() == Qt.ColorScheme.Dark
    window = DeskWindow(options, dark)
    window.background.start("Getting ready", lambda _: _warm_up(), lambda _: None)
    if path is not None:
        window.open_path(path)
    window.show()
    return application.exec()
