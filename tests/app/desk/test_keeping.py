"""What a person adds survives a kill; large sessions are shown before they are hashed; one session on two desks."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from pulsewright.digest import quick_digest_of, sha256_of
from pulsewright.review import Review, read_review, review_path_for, save_review
from pulsewright_app.desk import opening
from pulsewright_app.desk.session_lock import SessionLock
from pulsewright_app.desk.window import DeskWindow

from .gestures import Settle, message, press

MakeWindow = Callable[..., DeskWindow]
LONGEST_WAIT = 120.0

CHILD = """
import sys
from pathlib import Path

import platformdirs

platformdirs.user_data_path = lambda *_, **__: Path(sys.argv[2])
from PySide6.QtCore import QTimer, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from pulsewright_app.desk.style import prepare
from pulsewright_app.desk.window import DeskWindow

application = QApplication([])
prepare(application)
window = DeskWindow()
window.show()
window.open_path(Path(sys.argv[1]))


def flag_soon():
    if window.document.session is None:
        QTimer.singleShot(20, flag_soon)
    else:
        window.activateWindow()
        QTest.keyClick(window, Qt.Key.Key_F)
        print("flagged", window.message_bar.label.text(), flush=True)


flag_soon()
application.exec()
"""


@pytest.fixture
def child(faults: Path, own_folder: Path) -> Iterator[subprocess.Popen[str]]:
    """A desk in a process of its own, with the sample with faults on it and record 0 flagged."""
    process = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(faults), str(own_folder.parent)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen", "PYTHONPATH": os.pathsep.join(sys.path)},
    )
    assert process.stdout is not None
    assert process.stdout.readline().startswith("flagged")
    yield process
    process.kill()
    process.wait()
    process.stdout.close()


def wait_for(there: Callable[[], bool]) -> None:
    end = time.monotonic() + LONGEST_WAIT
    while not there():
        time.sleep(0.02)
        assert time.monotonic() < end


def test_a_killed_desk_has_saved_what_was_added_and_leaves_no_lock(
    child: subprocess.Popen[str], make_window: MakeWindow, faults: Path, own_folder: Path
) -> None:
    wait_for(review_path_for(faults).exists)
    os.kill(child.pid, signal.SIGKILL)
    child.wait()
    assert list((own_folder.parent / "locks").iterdir())  # the file is still there, and locks nothing
    desk = make_window(faults)
    assert desk.document.flags == {0}
    assert message(desk) == ""


def test_a_desk_in_another_process_is_told_of(
    child: subprocess.Popen[str], make_window: MakeWindow, qtbot: Any, settle: Settle, faults: Path
) -> None:
    wait_for(review_path_for(faults).exists)
    desk = make_window(faults)
    assert message(desk).startswith(f"tank_faults.h5 is open in another desk (process {child.pid}), since ")
    assert desk.document.flags == {0}
    desk.viewing.go_to(3)
    press(desk, qtbot, "F")
    settle(desk)
    assert read_review(review_path_for(faults)).flags == {0}
    assert sorted(p.name for p in faults.parent.glob("*.review.json"))[0] in message(desk)


def test_opening_the_same_session_again_in_one_window_is_no_second_desk(
    make_window: MakeWindow, settle: Settle, faults: Path
) -> None:
    desk = make_window(faults)
    desk.open_path(faults)
    settle(desk)
    assert message(desk) == ""
    desk.close_session()
    assert make_window(faults).message_bar.label.text() == ""


def test_a_lock_is_had_by_one_alone_and_given_back(faults: Path, tmp_path: Path) -> None:
    (tmp_path / "link.h5").symlink_to(faults)
    one, other = SessionLock(faults), SessionLock(tmp_path / "link.h5")
    assert one.take() is None
    holder = other.take()
    assert holder is not None
    assert holder.process == os.getpid()
    assert not other.held
    one.release()
    assert other.take() is None
    other.release()


def test_where_no_lock_can_be_had_nobody_is_told(faults: Path, own_folder: Path) -> None:
    own_folder.parent.write_text("a file where a folder should be")
    lock = SessionLock(faults)
    assert lock.take() is None
    assert not lock.held


# -- large sessions -----------------------------------------------------------------------------------------------


def change_between_the_pieces(path: Path) -> None:
    """Change one sample that the quick digest does not look at."""
    before = quick_digest_of(path)
    with h5py.File(path, "r") as file:
        start, size = file["samples"].id.get_offset(), file["samples"].id.get_storage_size()
    with path.open("r+b") as stream:
        for place in range(start, start + size, 1 << 16):
            stream.seek(place)
            byte = stream.read(1)
            stream.seek(place)
            stream.write(bytes([byte[0] ^ 1]))
            stream.flush()
            if quick_digest_of(path) == before:
                return
            stream.seek(place)
            stream.write(byte)
            stream.flush()
    pytest.fail("the quick digest looks at everything")


@pytest.fixture
def large(faults: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A session that counts as large, and is larger than what the quick digest looks at."""
    monkeypatch.setattr(opening, "HASHED_AT_ONCE", 0)
    with h5py.File(faults, "r+") as file:
        samples = file["samples"][:]
        del file["samples"]
        file["samples"] = np.concatenate([samples] * 8)
        times = file["triggers/time"][:]
        for name in ("time", "offset"):
            once = file[f"triggers/{name}"][:]
            del file[f"triggers/{name}"]
            more = [once + (i * (times.max() + 1.024e-3) if name == "time" else 0) for i in range(8)]
            file[f"triggers/{name}"] = np.concatenate(more)
    assert faults.stat().st_size > 6 << 20
    return faults


def test_a_large_session_is_shown_before_its_digest_is_known(
    make_window: MakeWindow, qtbot: Any, settle: Settle, large: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import threading

    go_on = threading.Event()

    def waiting(path: Path, cancelled: Callable[[], bool] | None = None) -> str:
        assert go_on.wait(LONGEST_WAIT)
        return sha256_of(path, cancelled)

    monkeypatch.setattr("pulsewright.digest.sha256_of", waiting)
    desk = make_window()
    desk.open_path(large)
    qtbot.waitUntil(lambda: desk.middle.view.caption.text().startswith("Record 0 of"), timeout=60_000)
    press(desk, qtbot, "F")
    qtbot.waitUntil(review_path_for(large).exists, timeout=60_000)
    assert read_review(review_path_for(large)).session_sha256 == ""
    go_on.set()
    settle(desk)
    qtbot.waitUntil(lambda: read_review(review_path_for(large)).session_sha256 == sha256_of(large), timeout=60_000)
    assert desk.results.findings is not None
    assert desk.results.findings.session.sha256 == sha256_of(large)
    assert [path.name for path in large.parent.glob("*.review.json")] == [review_path_for(large).name]


def test_a_review_whose_large_session_has_changed_is_taken_off_the_desk_and_kept(
    make_window: MakeWindow, settle: Settle, large: Path
) -> None:
    written = Review(sha256_of(large), session_quick_digest=quick_digest_of(large), flags={4})
    save_review(written, review_path_for(large))
    change_between_the_pieces(large)
    desk = make_window(large)
    assert desk.document.flags == set()
    assert "belongs to another session, whose SHA-256 is not that of tank_faults.h5" in message(desk)
    desk.document.flag(6)
    settle(desk)
    desk.close()
    assert read_review(review_path_for(large)) == written
    again = make_window(large)
    assert again.document.flags == {6}


def test_what_is_added_before_the_digest_is_known_replaces_no_review(
    make_window: MakeWindow, qtbot: Any, settle: Settle, large: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import threading

    go_on = threading.Event()

    def waiting(path: Path, cancelled: Callable[[], bool] | None = None) -> str:
        assert go_on.wait(LONGEST_WAIT)
        return sha256_of(path, cancelled)

    written = Review(sha256_of(large), session_quick_digest=quick_digest_of(large), flags={4})
    save_review(written, review_path_for(large))
    monkeypatch.setattr("pulsewright.digest.sha256_of", waiting)
    desk = make_window()
    desk.open_path(large)
    qtbot.waitUntil(lambda: desk.document.flags == {4}, timeout=60_000)
    desk.document.flag(6)
    qtbot.waitUntil(lambda: len(list(large.parent.glob("*.review.json"))) == 2, timeout=60_000)
    assert read_review(review_path_for(large)) == written
    go_on.set()
    settle(desk)
    qtbot.waitUntil(lambda: len(list(large.parent.glob("*.review.json"))) == 1, timeout=60_000)
    assert read_review(review_path_for(large)).flags == {4, 6}


def test_the_quick_digest_tells_lengths_and_pieces_apart(tmp_path: Path) -> None:
    contents = [b"", b"a", b"aa", bytes(20 << 20), bytes((20 << 20) - 1) + b"\x01"]
    paths = [tmp_path / f"{i}.h5" for i in range(len(contents))]
    for path, content in zip(paths, contents, strict=True):
        path.write_bytes(content)
    assert len({quick_digest_of(path) for path in paths}) == len(contents)
