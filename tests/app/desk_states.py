"""Goes through what the desk can look like, one state after another: for pictures, and for the test of sizes."""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from PySide6.QtCore import QCoreApplication, QEvent, QPoint, Qt, QTimer
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QDialog, QFileDialog, QLabel, QWidget

from pulsewright_app.desk.viewing import VIEWS
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.samples import sample

LONGEST_WAIT = 120.0
_NO_PAGE = {"quit", "close", "dark", "play", "undo", "redo", "cancel", "sample"}
"""Actions that open nothing, and would change what the pictures after them show."""

State = tuple[str, QWidget]


def settle(window: DeskWindow) -> None:
    """Let the desk finish what it does in the background and draw it."""
    end = time.monotonic() + LONGEST_WAIT
    quiet = 0
    while quiet < 5 and time.monotonic() < end:
        QCoreApplication.processEvents()
        time.sleep(0.02)
        put_off = any(timer.isActive() and timer.isSingleShot() for timer in window.findChildren(QTimer))
        quiet = 0 if window.background.busy or put_off else quiet + 1


def wait_until_seen(window: DeskWindow) -> None:
    """Let the desk paint every part that it holds back: a part that is not painted is black in a picture."""
    end = time.monotonic() + LONGEST_WAIT
    QCoreApplication.processEvents()
    while not all(part.updatesEnabled() for part in window.findChildren(QWidget)) and time.monotonic() < end:
        QCoreApplication.processEvents()


def finish(window: DeskWindow) -> None:
    """Close a desk and let Qt delete it."""
    if not window.close():  # it says once that something cannot be saved
        window.close()
    window.deleteLater()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    QCoreApplication.processEvents()


def own_copy(name: str) -> Path:
    """Return a copy of a sample in a folder of its own, with its claims, so that nobody's review is in the picture."""
    folder = Path(tempfile.mkdtemp(prefix="desk"))
    os.environ["XDG_DATA_HOME"] = os.environ["XDG_CONFIG_HOME"] = str(folder / "home")
    for file in (f"{name}.h5", f"{name}.claims.toml"):
        shutil.copy(sample(file), folder / file)
    return folder / f"{name}.h5"


def states(name: str, size: tuple[int, int] | None = None, dark: bool = False) -> Iterator[State]:
    """Yield a name and a window for every state of the desk with one sample on it; the desk closes at the end."""
    path = own_copy(name)
    window = DeskWindow(dark=dark)
    if size is not None:
        window.resize(*size)
    window.show()
    settle(window)
    yield "first_screen", window
    window.open_path(path.with_name("no_such_session.h5"))
    settle(window)
    yield "message_no_file", window
    window.open_path(path)
    settle(window)
    if window.document.session is None:
        said = [label.text() for label in window.message_bar.findChildren(QLabel)]
        raise RuntimeError(f"the sample was not opened: {said}, at work: {window.background.busy}")
    window.activateWindow()
    if size is not None:
        window.resize(*size)
        settle(window)
    yield from _records(window)
    yield from _views(window)
    yield from _findings(window)
    yield from _filters(window)
    yield from _pages(window)
    finish(window)


def _records(window: DeskWindow) -> Iterator[State]:
    """What a person adds to records: markers, flags, notes, a record left out."""
    window.viewing.go_to(5)
    settle(window)
    yield "single", window
    window.middle.view.hand.add_at_pointer()
    window.viewing.go_to(6)
    window.middle.view.hand.add_at_pointer()
    window.middle.view.level_hand.add_at_pointer()
    window.document.note_pair(window.document.pairs[0].id, "From the ping to the wall's echo")
    window.document.flag(9)
    window.document.note(9, "The carriage paused here")
    window.document.leave_out(3, "A bubble on the plate")
    settle(window)
    yield "single_marked", window
    window.viewing.go_to(3)
    settle(window)
    yield "single_left_out", window
    window.viewing.set_lanes(False)
    settle(window)
    yield "single_one_axis", window
    window.viewing.set_lanes(True)
    session = window.document.session
    assert session is not None
    window.viewing.zoom_time((0.0, 40 * session.sample_interval))
    settle(window)
    yield "single_dots", window
    window.viewing.fit()
    window.viewing.tell("A long sentence of the bar at the top, which says what is wrong, where, and what to do " * 2)
    settle(window)
    yield "message_long", window
    window.viewing.tell("")


def _views(window: DeskWindow) -> Iterator[State]:
    viewing, glow = window.viewing, window.viewing.glow
    viewing.go_to(5)
    for view in VIEWS[1:]:
        viewing.set_view(view)
        settle(window)
        yield view, window
    viewing.set_view("afterglow")
    viewing.set_inks("polarity")
    glow.set_mean(True)
    settle(window)
    yield "afterglow_two_inks", window
    viewing.set_inks("count")
    glow.set_mean(False)
    glow.set_of("stepped")
    settle(window)
    yield "afterglow_stepped", window
    glow.set_of("all")
    settle(window)
    spot = _spot_on_a_pulse(window)
    if spot is not None:
        QTest.mouseClick(window.middle.view.canvas.viewport(), Qt.MouseButton.LeftButton, pos=spot)
        settle(window)
        if not window.middle.view.passing.isVisible():  # type: ignore[attr-defined]
            raise RuntimeError(f"the click on a pulse misses it: {window.middle.told.text()}")
        yield "afterglow_passing", window
        window.middle.view.passing.walk_button.click()  # type: ignore[attr-defined]
        settle(window)
        yield "afterglow_passing_walked", window
        window.middle.view.passing.close_button.click()  # type: ignore[attr-defined]
    viewing.set_view("single")
    settle(window)


def _spot_on_a_pulse(window: DeskWindow) -> QPoint | None:
    """Return a spot of the view that the flank of the current record's first pulse goes through; None without one.

    Of the spots halfway up, where no line of levels is in the way, it is that whose row of the screen's pixels the
    flank meets most squarely: on a dense screen a click falls on the first of several.
    """
    session, findings, viewing = window.document.session, window.results.findings, window.viewing
    found = [] if findings is None else findings.pulses.where(viewing.record, viewing.channel)
    if session is None or findings is None or not len(found):
        return None
    canvas, channel = window.middle.view.canvas, session.channels[viewing.channel]
    values = session.codes(viewing.record, viewing.record + 1)[0, viewing.channel] * channel.scale + channel.offset
    times = session.first_sample_time(viewing.channel)[viewing.record] + np.arange(len(values)) / session.sample_rate
    middle_of_first = 0.5 / window.devicePixelRatioF()
    columns = round(float(canvas.x_of(findings.pulses.time[found[0]]))) + np.arange(-9, 10)
    at = np.array([canvas.time_at(column + middle_of_first) for column in columns])
    there = np.interp(at, times, values)
    heights, off = canvas.y_of(there), np.abs(there / findings.pulses.amplitude[found[0]] - 0.5)
    beside = np.ceil(10 * np.maximum(off - 0.3, 0))  # a narrow flank may have no spot halfway up
    best = int(np.argmin(beside + np.abs(heights % 1 - middle_of_first)))
    return QPoint(int(columns[best]), int(heights[best]))


def _findings(window: DeskWindow) -> Iterator[State]:
    """The findings panel: sentences opened, and each figure."""
    panel = window.findings_panel
    for row in (3, 1):
        if row < panel.list.model().rowCount():
            panel.list.toggle(row)
    for number, figure in enumerate(panel.figures):
        panel.pages.setCurrentIndex(number + 1)
        settle(window)
        yield f"findings_{figure}", window
    panel.pages.setCurrentIndex(0)
    window.results.ask_to_measure()
    wait_until_seen(window)
    yield "findings_measuring", window
    settle(window)


def _filters(window: DeskWindow) -> Iterator[State]:
    line = window.middle.rail_row.filter_row.line
    line.setFocus()
    for name, text in (("filter_wrong", "polarity sideways"), ("filter", "polarity negative")):
        line.clear()
        QTest.keyClicks(line, text)
        QTest.keyClick(line, Qt.Key.Key_Return)
        settle(window)
        yield name, window
    window.viewing.set_only_matching(False)  # they are told, and all are shown
    settle(window)
    yield "filter_all_shown", window
    line.clear()
    window.viewing.tell("")
    settle(window)


def _pages(window: DeskWindow) -> Iterator[State]:
    """Every page that an action opens."""
    kept = QFileDialog.getOpenFileName, QFileDialog.getSaveFileName, QFileDialog.getExistingDirectory
    QFileDialog.getOpenFileName = QFileDialog.getSaveFileName = lambda *_, **__: ("", "")  # type: ignore[method-assign]
    QFileDialog.getExistingDirectory = lambda *_, **__: ""  # type: ignore[method-assign]
    try:
        for name, action in window.actions_by_name.items():
            if name in _NO_PAGE or action.isCheckable() or not action.isEnabled():
                continue
            before = set(_shown())
            action.trigger()
            QCoreApplication.processEvents()
            for page in set(_shown()) - before:
                settle(window)
                yield f"page_{name}", page
                page.close()
    finally:
        QFileDialog.getOpenFileName, QFileDialog.getSaveFileName = kept[:2]  # type: ignore[method-assign]
        QFileDialog.getExistingDirectory = kept[2]  # type: ignore[method-assign]


def _shown() -> list[QWidget]:
    return [w for w in QApplication.topLevelWidgets() if w.isVisible() and isinstance(w, QDialog)]
