"""The desk: one window with the view in the middle, the rail below it, and the panels at both sides."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QCloseEvent
from PySide6.QtWidgets import (
    QApplication,
    QDialog,
    QDockWidget,
    QFileDialog,
    QMainWindow,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from pulsewright.errors import PulsewrightError
from pulsewright_app.desk.action_states import allow_actions, update_actions
from pulsewright_app.desk.actions import ACTIONS, MENUS, ShortcutsPage, make_actions
from pulsewright_app.desk.altered_file import AlteredFile
from pulsewright_app.desk.answers import answers_of
from pulsewright_app.desk.claims.claims_page import ClaimsPage
from pulsewright_app.desk.claims.claims_work import ClaimsWork
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.dropped_files import TakesFiles
from pulsewright_app.desk.first_screen import FirstScreen
from pulsewright_app.desk.form_page import FormPage
from pulsewright_app.desk.habits import windows
from pulsewright_app.desk.habits.habits import Habits
from pulsewright_app.desk.habits.manners import Manners, set_font_percent
from pulsewright_app.desk.help.pages import GuidePage, about_page, cautions_page
from pulsewright_app.desk.importing.arrivals import Arrived, open_or_import
from pulsewright_app.desk.importing.import_page import ImportPage
from pulsewright_app.desk.importing.importing import Importing
from pulsewright_app.desk.judging import Judging
from pulsewright_app.desk.keyboard import OwnKeys
from pulsewright_app.desk.measured_table import MeasuredTable
from pulsewright_app.desk.measuring import Measuring
from pulsewright_app.desk.message_bar import MessageBar
from pulsewright_app.desk.middle import Middle
from pulsewright_app.desk.opening import Opened
from pulsewright_app.desk.overviews import Overviews
from pulsewright_app.desk.panels.channels import ChannelsPanel
from pulsewright_app.desk.panels.dock_title import DockTitle
from pulsewright_app.desk.panels.findings import FindingsPanel
from pulsewright_app.desk.panels.markers import MarkersPanel
from pulsewright_app.desk.panels.panel import Panel
from pulsewright_app.desk.panels.records import RecordsPanel
from pulsewright_app.desk.panels.series_page import SeriesPage
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.reviewing import Reviewing
from pulsewright_app.desk.saving.saving import Saving
from pulsewright_app.desk.style import dress
from pulsewright_app.desk.unveiling import Unveiling
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.views.view import Desk
from pulsewright_app.desk.work import Background, SessionData
from pulsewright_app.theme import theme

_OPENING = "Opening"
_STEP = 0.1
"""Seconds that the workers wait at most until a step is seen."""


class DeskWindow(TakesFiles, QMainWindow):
    """The window.

    Parameters
    ----------
    options : mapping of setting to value, optional
        What the command line said; it counts before everything else.
    dark : bool
        Whether it begins dark.
    habits : Habits, optional
        What is remembered of the user; nothing beyond this process if left out.
    """

    def __init__(
        self, options: Mapping[str, Any] | None = None, dark: bool = False, habits: Habits | None = None
    ) -> None:
        habits = habits or Habits()
        set_font_percent(habits.preferences.font_percent)  # before anything is built, which then fits its letters
        super().__init__()
        self.options = dict(options or {})
        self.manners = Manners(self, habits)
        self.document = Document(self)
        self.viewing = Viewing(self.document, self)
        self.results = Results(self)
        self.background = Background(self)
        self.data = SessionData(self.document, self.background, self)
        self._unveiling = Unveiling(self, self.background.attention, lambda: (self.middle, *self.docks.values()))
        in_parts = self._unveiling.now
        self.measuring = Measuring(self.document, self.results, self.background, self, in_parts=in_parts)
        self.judging = Judging(self.document, self.results, self.background, self)
        self.reviewing = Reviewing(self.document, self.viewing, self.background, self)
        self.altered_file = AlteredFile(self.document, self.background, lambda: self.measuring.sha256, self)
        self.saving = Saving(self)
        self.importing = Importing(self)
        self.viewing.set_dark(dark)
        self.actions_by_name = make_actions(self, answers_of(self))
        self._empty, self._putting_on = False, False
        self._pages: dict[str, FormPage] = {}
        self._help: ShortcutsPage | None = None
        self._claims_page: ClaimsPage | None = None
        self._own_keys = OwnKeys(self)
        self._build()
        self._connect()
        self._redress()
        self._session_changed()
        self.manners.begin()
        windows.join(self)

    # -- building -------------------------------------------------------------------------------------------

    def _build(self) -> None:
        self.setWindowTitle("Pulsewright")
        self.setAcceptDrops(True)
        self.resize(1500, 920)
        self.message_bar = MessageBar()
        self.first_screen = FirstScreen()
        self.measured = MeasuredTable(self.document, self.viewing, self.results)
        overviews = Overviews(self.document, self.background, self.viewing.tell)
        self.reviewing.digest_known.connect(overviews.learn_digest)
        desk = Desk(self.document, self.viewing, self.results, self.data, self.background, self.measured, overviews)
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
        self.channels_panel = ChannelsPanel(*state)
        self.records_panel = RecordsPanel(*state, measured=self.measured)
        self.markers_panel = MarkersPanel(*state, actions=self.actions_by_name)
        self.records_panel.save_wanted.connect(self.saving.save_records)
        self.records_panel.copy_wanted.connect(self.saving.copy_records)
        left, right = Qt.DockWidgetArea.LeftDockWidgetArea, Qt.DockWidgetArea.RightDockWidgetArea
        self.docks = {
            "channels_panel": self._dock("Channels", self.channels_panel, left),
            "records_panel": self._dock("Records", self.records_panel, left),
            "markers_panel": self._dock("Markers", self.markers_panel, right),
            "findings_panel": self._dock("Findings", self.findings_panel, right),
        }
        self.size_docks()

    def size_docks(self) -> None:
        """Make the panels as large as they are at first."""
        docks = list(self.docks.values())
        self.resizeDocks([docks[0], docks[2]], [290, 400], Qt.Orientation.Horizontal)
        self.resizeDocks(docks[:2], [430, 400], Qt.Orientation.Vertical)
        self.resizeDocks(docks[2:], [360, 470], Qt.Orientation.Vertical)

    def _dock(self, title: str, panel: QWidget, area: Qt.DockWidgetArea) -> QDockWidget:
        dock = QDockWidget(title, self)
        dock.setObjectName(title)
        dock.setAccessibleName(f"{title} panel")
        dock.setWidget(panel)
        dock.setTitleBarWidget(DockTitle(title, dock))
        self.addDockWidget(area, dock)
        return dock

    def _build_menus(self) -> None:
        for title in dict.fromkeys(described.menu for described in ACTIONS):
            menu = self.menuBar().addMenu(MENUS[title])
            for described in ACTIONS:
                if described.menu == title:
                    menu.addAction(self.actions_by_name[described.name])
                if described.name == "sample" and title == "Session":
                    self.recent_menu = menu.addMenu("Recent")
                    self.recent_menu.aboutToShow.connect(
                        lambda: self.manners.fill_recent(self.recent_menu, self.open_path)
                    )

    def _connect(self) -> None:
        document, viewing = self.document, self.viewing
        document.session_changed.connect(self._session_changed)
        viewing.told.connect(self.message_bar.tell)
        self.data.unreadable.connect(self.message_bar.tell)
        self.viewing.record_changed.connect(self.data.try_again)
        self.viewing.record_changed.connect(self._step)
        self.altered_file.told.connect(self.message_bar.tell)
        self.altered_file.same_again.connect(self._read_again)
        for looked_at in (self.data.unreadable, viewing.record_changed, viewing.view_changed):
            looked_at.connect(self.altered_file.look)
        self.reviewing.told.connect(self.message_bar.tell)
        self.judging.told.connect(self.message_bar.tell)
        self.reviewing.digest_known.connect(self.measuring.learn_digest)
        viewing.dark_changed.connect(self._redress)
        self.results.changed.connect(self._tell_error)
        self.findings_panel.cancel_requested.connect(self.measuring.cancel)
        self.first_screen.open_wanted.connect(self.choose_file)
        self.first_screen.import_wanted.connect(self.show_import)
        self.importing.imported.connect(self._open_imported)
        self.first_screen.sample_wanted.connect(self.open_sample)
        self.first_screen.guide_wanted.connect(self.show_guide)
        self.first_screen.recent_wanted.connect(self.open_path)
        self.manners.show_recent()
        for signal in (
            document.history_changed, viewing.view_changed, viewing.record_changed, viewing.playing_changed,
            viewing.shown_changed, viewing.selection_changed, viewing.options_changed, self.results.changed,
            viewing.zoom_changed,
        ):  # fmt: skip
            signal.connect(self.update_actions)
        viewing.spans.changed.connect(self.update_actions)
        viewing.filter_changed.connect(self.update_actions)
        for dock in self.docks.values():
            dock.visibilityChanged.connect(self.update_actions)

    # -- following the state --------------------------------------------------------------------------------

    def _session_changed(self) -> None:
        session = self.document.session
        name = "" if session is None else (session.file.name if session.file else session.title or "session")
        self.setWindowTitle(f"{name} — Pulsewright" if name else "Pulsewright")
        if (session is None) != self._empty:  # from one session to the next the panels stay as they are
            self._empty = session is None
            self.manners.show_panels(not self._empty)
        # after the panels, which would make it anew in three sizes
        self.pages.setCurrentWidget(self.first_screen if session is None else self.middle)
        allow_actions(self)
        if session is not None:
            self.middle.view.canvas.setFocus()

    def update_actions(self) -> None:
        """Let every action say what it would do now, and whether it can."""
        if not self._putting_on:  # a session is announced by a dozen signals, one after another
            update_actions(self)

    def _step(self) -> None:
        """Let the workers wait from a step until it is painted."""
        if self.isVisible() and not self._unveiling.busy:
            self.background.attention.hold(_STEP)

    def _tell_error(self) -> None:
        if self.results.error:
            self.message_bar.tell(self.results.error)
            self.altered_file.look()

    def _read_again(self) -> None:
        self.data.try_again()
        self.data.record_arrived.emit(self.viewing.record)

    def _redress(self) -> None:
        colours = theme(self.viewing.dark)
        application = QApplication.instance()
        if isinstance(application, QApplication):
            dress(application, colours)
        for dock in self.docks.values():  # what was dressed anew lost the palettes that it had of its own
            panel = dock.widget()
            if isinstance(panel, Panel):
                panel.restyle()
        self.message_bar.set_theme(colours)
        self.update_actions()

    # -- opening --------------------------------------------------------------------------------------------

    def open_path(self, path: Path) -> None:
        """Open a session, or show how a recording would become one; what is wrong appears in the bar at the top."""
        self.open_paths([path])

    def open_paths(self, paths: Sequence[Path]) -> None:
        """Open the first session here and each further one in a window of its own; recordings are imported together."""
        self.message_bar.tell("")
        lock = self.reviewing.lock
        self.background.start(_OPENING, lambda _: open_or_import(paths, lock), self._take, self.message_bar.tell)

    def _take(self, arrived: Arrived) -> None:
        for path in arrived.further:
            windows.open_another(self, path)
        if arrived.recordings:
            self.show_import(arrived.recordings)
        if arrived.told:
            self.message_bar.tell(arrived.told)
        opened = arrived.opened
        if opened is not None:
            self._put_on_soon(opened)

    def _put_on_soon(self, opened: Opened) -> None:
        self._unveiling.soon(lambda: self._put_on(opened))

    def _finish_typing(self) -> None:
        """Let the field that is written in, here or on a page, hand over what was typed, while it can still be kept."""
        field = QApplication.focusWidget()
        if field is not None and self in (field.window(), field.window().parentWidget()):
            field.clearFocus()

    def _put_on(self, opened: Opened) -> None:
        self._finish_typing()
        if self.background.closed:
            opened.give_back(self.reviewing.lock)
            return
        if not self.reviewing.let_go(lambda: self._put_on_soon(opened), lambda: opened.give_back(self.reviewing.lock)):
            return
        if opened.lock is self.reviewing.lock and opened.places.overtaken:
            opened.give_back(self.reviewing.lock)  # something was added here while the same session was opened
            self.open_path(opened.path)
            return
        self.background.cancel_all(but=_OPENING)  # another session may be asked for already
        self.measuring.sha256 = opened.sha256
        self._putting_on = True
        try:
            self.reviewing.put_on(opened, self.options)
        finally:
            self._putting_on = False
        self.update_actions()
        self.manners.opened(opened.path)

    def open_sample(self) -> None:
        """Open the sample with faults."""
        from pulsewright_app.samples import DEMO_SESSION, sample

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
        self._finish_typing()
        if not self.reviewing.let_go(self.close_session):
            return
        self.background.cancel_all()
        self.document.open(None)

    def open_figure(self) -> None:
        """Show the figure that the findings panel is at in a window of its own."""
        self.findings_panel.open_large()

    def show_claims(self) -> None:
        """Show the page on which claims are written, beside the work."""
        if self._claims_page is None:
            work = ClaimsWork(self.document, self.results, self.reviewing, self.background, self)
            self._claims_page = ClaimsPage(self.document, self.viewing, self.results, work, self)
            self._claims_page.addActions([self.actions_by_name[name] for name in ("undo", "redo", "claims_again")])
        self._claims_page.come_up()

    def open_another_window(self) -> None:
        """Open another window, for another session."""
        windows.open_another(self)

    def _show_page(self, key: str, make: Callable[[], FormPage]) -> None:
        if key not in self._pages:
            self._pages[key] = make()
        self._pages[key].come_up()

    def show_import(self, paths: Sequence[Path] = ()) -> None:
        """Show the page on which recordings of other formats become a session, with these on it."""
        self._show_page("import", lambda: ImportPage(self.importing, self.viewing, self))
        self.importing.add(paths)

    def _open_imported(self, path: Path) -> None:
        """Open what was imported; its page has gone, so that the keys are the desk's again."""
        self.activateWindow()
        self.open_path(path)

    def show_series(self) -> None:
        """Show a following pair over all records, beside the work."""
        state = self.document, self.viewing, self.results, self.background
        if "series" not in self._pages:
            page = self._pages["series"] = SeriesPage(*state, self)
            page.addActions([self.actions_by_name[name] for name in ("undo", "redo", "follow", "follow_one")])
            page.save_wanted.connect(lambda table: self.saving.save_series(page, table))
            self.saving.files.saved.connect(page.tell_saved)
            self.saving.files.failed.connect(page.tell_failed)
        self._pages["series"].come_up()

    def show_guide(self) -> None:
        """Show the five-minute guide, beside the work."""
        self._show_page("guide", lambda: GuidePage(self))

    def show_cautions(self) -> None:
        """Show what to be careful about."""
        self._show_page("cautions", lambda: cautions_page(self))

    def show_about(self) -> None:
        """Show what this program is."""
        self._show_page("about", lambda: about_page(self))

    def show_shortcuts(self) -> None:
        """Show the list of keys and gestures, beside the work, not in its way."""
        if self._help is None:
            self._help = ShortcutsPage(self)
        self._help.show()
        self._help.raise_()

    # -- events ---------------------------------------------------------------------------------------------

    def take_files(self, paths: list[Path]) -> None:
        """Open what was dropped."""
        self.open_paths(paths)

    def event(self, event: QEvent) -> bool:
        """Let the workers wait while the whole window is laid out and painted."""
        if event.type() is QEvent.Type.WindowActivate:
            self.altered_file.look()  # other programs were at work meanwhile
        if event.type() is not QEvent.Type.UpdateRequest:
            return super().event(event)
        attention = self.background.attention
        with attention.thread.asked():
            handled = super().event(event)
        if attention.held and not (self._unveiling.busy or self.middle.view.scheduled):  # the step is seen
            attention.release()
        return handled

    def closeEvent(self, event: QCloseEvent) -> None:
        """Save what was added, end the background work and give the file back."""
        self.viewing.play(False)
        self._finish_typing()
        if not (self.saving.let_go() and self.reviewing.let_go(self.close)):
            event.ignore()
            return
        for page in self.findChildren(QDialog):  # a page beside the desk goes with it
            page.close()
        self.manners.end()
        self.manners.leave()
        windows.part(self)
        self._own_keys.leave()
        self.background.cancel_all()
        if self.document.session is not None:
            self.document.session.close()  # before the workers are waited for: what unpacks a large chunk stops then
        self.background.close()
        self.importing.close()
        self.reviewing.leave()
        super().closeEvent(event)
