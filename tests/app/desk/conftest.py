"""The desk's tests drive real widgets on the offscreen platform; they skip only where QtGui cannot be imported."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from pulsewright.session import Channel, Session
from pulsewright_app.samples import sample

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

if TYPE_CHECKING:
    from pulsewright_app.desk.window import DeskWindow

RECORDS, LENGTH, PRE_TRIGGER, RATE = 12, 2000, 200, 10e6
LONGEST_WAIT = 300.0


def walking(records: int = RECORDS, clipped_record: int = 7, naming: str = "H{:02d}") -> Session:
    """Three hydrophones, a pulse that walks 3 µs a record and changes sign; invented, and no check of any number."""
    time_axis = (np.arange(LENGTH) - PRE_TRIGGER) / RATE
    random = np.random.default_rng(20)
    samples = random.normal(0.0, 20.0, (records, 3, LENGTH))
    for record in range(records):
        centre, sign = 40e-6 + 3e-6 * (record % 8), 1 if record % 2 == 0 else -1
        samples[record] += sign * 9000 * np.exp(-(((time_axis - centre) / 1e-6) ** 2) / 2)
    codes = np.round(samples).astype(np.int16)
    codes[clipped_record, 1, 900:905] = 32767
    channels = [Channel(naming.format(c + 1), "M1", scale=1e-4) for c in range(3)]
    return Session.from_samples(
        codes, channels, RATE, PRE_TRIGGER, trigger_time=np.arange(records) * 1e-3, trigger_offset=np.zeros(records)
    )


@pytest.fixture
def faults(tmp_path: Path) -> Path:
    """A copy of the sample with faults, with its claims file, in a folder of its own."""
    folder = tmp_path / "run"
    folder.mkdir()
    for name in ("tank_faults.h5", "tank_faults.claims.toml"):
        shutil.copy(sample(name), folder / name)
    return folder / "tank_faults.h5"


def let_settle(window: DeskWindow) -> None:
    """Let the background come to rest and everything be drawn: also what a view has put off to the next idle moment."""
    from PySide6.QtCore import QCoreApplication, QTimer

    def at_rest() -> bool:
        if window.background.busy:
            return False
        return not any(timer.isActive() and timer.isSingleShot() for timer in window.findChildren(QTimer))

    end, quiet = time.monotonic() + LONGEST_WAIT, 0
    while quiet < 4:
        QCoreApplication.processEvents()
        time.sleep(0.003)
        quiet = quiet + 1 if at_rest() else 0
        assert time.monotonic() < end, "the desk does not come to rest"


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep what the desk writes for its user out of the real user's folders, and return where it goes."""
    folder = tmp_path / "user data"
    monkeypatch.setattr("platformdirs.user_data_path", lambda *_, **__: folder)
    return folder / "reviews"


@pytest.fixture(autouse=True)
def undressed(request: pytest.FixtureRequest) -> None:
    """Let panels that are shown by themselves not wear what a desk left on the application."""
    if "bench" not in request.fixturenames:
        return
    from PySide6.QtGui import QPalette
    from PySide6.QtWidgets import QApplication

    application = QApplication.instance()
    if isinstance(application, QApplication) and application.styleSheet():
        application.setStyleSheet("")
        application.setPalette(QPalette())


def leave_windows() -> None:
    """Hide every window that another test left: the mouse goes to whichever lies on top."""
    from .gestures import shown_windows

    leave_popups()
    for window in shown_windows():
        window.hide()


def leave_popups() -> None:
    """Close every list that hangs open: it would take the mouse of whatever comes next."""
    from PySide6.QtWidgets import QApplication

    while (popup := QApplication.activePopupWidget()) is not None:
        popup.close()


@pytest.fixture
def settle() -> Callable[[DeskWindow], None]:
    """Return what lets the background come to rest and everything be drawn."""
    return let_settle


@pytest.fixture
def walking_session() -> Callable[..., Session]:
    """Return a maker of sessions in memory."""
    return walking


@pytest.fixture(scope="session")
def compiled() -> None:
    """Compile what measures before any desk is waited for: where nothing is kept from an earlier run, that is long."""
    from pulsewright.opening import open_session
    from pulsewright_analysis.findings import measure

    for name in ("tank_faults.h5", "tank_walk.h5"):
        with open_session(sample(name)) as session:
            measure(session)


@pytest.fixture
def short_pauses(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the desk wait only briefly for a person's next change: every change of a test would cost up to a second.

    For what is saved as the session leaves it waits as long as it takes: a busy machine changes nothing of a test.
    """
    from pulsewright_app.desk import first_screen, judging, measuring, reviewing

    monkeypatch.setattr(first_screen, "_LOOKING_MS", 30)
    monkeypatch.setattr(judging, "_SETTLE_MS", 10)
    monkeypatch.setattr(measuring, "_SETTLE_MS", 25)
    monkeypatch.setattr(reviewing, "_SOON_MS", 50)
    monkeypatch.setattr(reviewing, "_MOMENT_S", LONGEST_WAIT)


@pytest.fixture
def make_window(qtbot: Any, compiled: None, short_pauses: None) -> Iterator[Callable[..., DeskWindow]]:
    """Return a maker of shown desks; each is closed, its workers awaited and its widgets deleted."""
    from PySide6.QtCore import QCoreApplication, QEvent
    from PySide6.QtWidgets import QApplication

    from pulsewright_app.desk.style import prepare
    from pulsewright_app.desk.window import DeskWindow

    application = QApplication.instance()
    assert isinstance(application, QApplication)
    prepare(application)
    made: list[DeskWindow] = []

    def make(session: Session | Path | None = None, dark: bool = False) -> DeskWindow:
        window = DeskWindow(dark=dark)
        made.append(window)
        with qtbot.waitExposed(window):
            window.show()
        if isinstance(session, Session):
            window.document.open(session)
        elif session is not None:
            window.open_path(session)
        window.activateWindow()
        let_settle(window)
        return window

    leave_windows()
    yield make
    leave_popups()
    for window in made:
        if not window.close():  # it says once that something cannot be saved
            window.close()
        window.deleteLater()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    QCoreApplication.processEvents()


@pytest.fixture
def desk(make_window: Callable[..., DeskWindow]) -> DeskWindow:
    """A desk with the walking session on it, measured."""
    return make_window(walking())


@pytest.fixture
def habitual(
    qtbot: Any, settle: Callable[[DeskWindow], None], tmp_path: Path, make_window: Callable[..., DeskWindow]
) -> Iterator[Callable[..., DeskWindow]]:
    """A maker of desks that remember, in a folder of the test's own; every window that opens is closed again."""
    from PySide6.QtWidgets import QApplication

    from pulsewright_app.desk.habits import windows
    from pulsewright_app.desk.habits.habits import Habits
    from pulsewright_app.desk.habits.manners import set_font_percent
    from pulsewright_app.desk.window import DeskWindow

    make_window()  # for its tidying up
    others = set(windows.open_windows())

    def make(path: Path | None = None) -> DeskWindow:
        window = DeskWindow(habits=Habits(tmp_path / "settings" / "desk.json"))
        window.show()
        if path is not None:
            window.open_path(path)
        window.activateWindow()
        settle(window)
        return window

    yield make
    for window in set(windows.open_windows()) - others:
        settle(window)
        window.close()
        window.deleteLater()
    application = QApplication.instance()
    assert isinstance(application, QApplication)
    set_font_percent(100)
