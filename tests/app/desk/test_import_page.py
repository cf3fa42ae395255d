"""Recordings of other formats brought in by gestures: what is shown of them, what is mended, what is written."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QMimeData, QPoint, Qt, QUrl
from PySide6.QtGui import QColor, QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import QAbstractButton, QApplication, QFileDialog, QLabel, QLineEdit, QScrollArea, QWidget
from scipy.io import wavfile

from pulsewright.opening import open_session
from pulsewright_app.desk.importing.preview_plot import end_of_axis
from pulsewright_app.desk.importing.previewing import understand
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import DARK, LIGHT

from .gestures import LEFT, Settle, button, colours_of, message, press, shown_windows, spots

PAGE = "Import recordings"
READY = "Nothing stands in the way of importing it."
MakeWindow = Callable[..., DeskWindow]


def drop(on: QWidget, paths: Sequence[Path]) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(path)) for path in paths])
    how = (QPoint(50, 50), Qt.DropAction.CopyAction, data, LEFT, Qt.KeyboardModifier.NoModifier)
    for kind in (QDragEnterEvent, QDropEvent):
        QApplication.sendEvent(on, kind(*how))


def pages() -> list[Any]:
    return [w for w in shown_windows() if w.accessibleName() == PAGE]


def shown_page(qtbot: Any) -> Any:
    """The page, once it has come up and has looked at its files."""
    qtbot.waitUntil(lambda: bool(pages()), timeout=20_000)
    page = pages()[0]
    looked_at(qtbot, page)
    return page


def looked_at(qtbot: Any, page: Any) -> None:
    busy = ("being looked at", "…")
    qtbot.waitUntil(lambda: not any(words in how_it_goes(page) for words in busy), timeout=20_000)


def called(page: Any, name: str, kind: type[Any] = QWidget) -> Any:
    return next(w for w in page.findChildren(kind) if w.accessibleName() == name)


def how_it_goes(page: Any) -> str:
    return str(called(page, f"How it goes: {PAGE}", QLabel).text())


def told(page: Any, name: str) -> str:
    QApplication.processEvents()  # a new row is shown when its place is known
    label = next((w for w in page.findChildren(QLabel) if w.accessibleName() == name), None)
    return label.text() if label is not None and label.isVisible() else ""


def write(qtbot: Any, page: Any, name: str, text: str) -> None:
    """Click a field, put a text in the place of what stands there, and press Enter."""
    field = called(page, name, QLineEdit)
    next(s for s in page.findChildren(QScrollArea)).ensureWidgetVisible(field)
    qtbot.mouseClick(field, LEFT)
    qtbot.keyClick(field, Qt.Key.Key_A, Qt.KeyboardModifier.ControlModifier)
    qtbot.keyClick(field, Qt.Key.Key_Delete)
    qtbot.keyClicks(field, text)
    qtbot.keyClick(field, Qt.Key.Key_Return)
    looked_at(qtbot, page)


def field(page: Any, name: str) -> str:
    return str(called(page, name, QLineEdit).text())


def click(qtbot: Any, page: Any, name: str) -> None:
    qtbot.mouseClick(called(page, name, QAbstractButton), LEFT)


def trace_pixels(page: Any, colour: str) -> set[tuple[int, int]]:
    """Where the preview has a channel's colour, smoothed edges aside."""
    image = called(page, "The first record as it would be understood").grab().toImage()
    wanted = np.array(QColor(colour).getRgb()[:3])
    return spots(np.abs(colours_of(image) - wanted).max(axis=2) < 40)


@pytest.fixture
def headerless(tmp_path: Path) -> tuple[Path, np.ndarray]:
    """Milliseconds and two values in each line, decimal commas, semicolons, no heading: 2.5 MHz."""
    random = np.random.default_rng(1)
    sample = np.arange(1500)
    values = np.stack([0.5 * np.exp(-(((sample - 600) / 25) ** 2)), -0.3 * np.exp(-(((sample - 615) / 25) ** 2))])
    values = np.round(values + random.normal(0, 2e-3, values.shape), 5)
    rows = [f"{0.0004 * i:.4f};{a:.5f};{b:.5f}".replace(".", ",") for i, (a, b) in enumerate(values.T)]
    path = tmp_path / "tank.csv"
    path.write_text("\n".join(rows) + "\n", encoding="ascii")
    return path, values


def test_what_lies_beside_a_session_comes_with_it_and_is_no_recording(
    make_window: MakeWindow, settle: Settle, faults: Path
) -> None:
    review, claims = faults.with_name("tank_faults.review.json"), faults.with_name("tank_faults.claims.toml")
    review.write_text("{}")
    desk = make_window()
    for alone in (review, claims):
        drop(desk, [alone])
        settle(desk)
        assert message(desk).startswith(f"{alone.name}: is no recording; it counts beside the session")
    drop(desk, [claims, faults, review])
    settle(desk)
    assert desk.windowTitle().startswith("tank_faults.h5")
    assert not pages()


def test_samples_without_a_rate_are_numbered_from_0_to_the_last(tmp_path: Path) -> None:
    path = tmp_path / "plain.npz"
    np.savez(path, samples=np.zeros((3, 2, 500), dtype=np.int16))
    preview = understand(path, {}, lambda *_: None, lambda: False).preview
    assert preview is not None and not preview.rate_known
    assert [end_of_axis(place, preview.rate_known) for place in preview.window] == ["sample 0", "sample 499"]


def test_every_text_beside_the_fields_is_seen_whole(
    make_window: MakeWindow, qtbot: Any, settle: Settle, headerless: tuple[Path, np.ndarray]
) -> None:
    """Also after what is wrong took the place of a shorter text, and at another width of the page."""
    path, _ = headerless
    drop(make_window(), [path])
    page = shown_page(qtbot)
    for name, text in (("Time unit", "ms"), ("Record length", "500"), ("Sample rate", "as the recorder says")):
        write(qtbot, page, name, text)
        for wide in (page.width(), 1000, 640):
            page.resize(wide, page.height())
            QApplication.processEvents()
            wrapped = [label for label in page.findChildren(QLabel) if label.wordWrap() and label.isVisible()]
            assert len(wrapped) > 15
            cut = [one.text() for one in wrapped if one.height() < one.heightForWidth(one.width())]
            assert cut == [], (name, wide)


def test_a_headerless_csv_with_milliseconds_and_decimal_commas(
    make_window: MakeWindow, qtbot: Any, settle: Settle, headerless: tuple[Path, np.ndarray]
) -> None:
    path, values = headerless
    desk = make_window()
    drop(desk, [path])
    page = shown_page(qtbot)
    assert field(page, "Decimal mark") == "comma"
    assert told(page, "Where it comes from: Time unit") == "guessed: the file names none"
    assert "1 record of 1,500 samples (600 ms at 2.5 kS/s), 2 channels" in told(page, "What the file holds")
    for place in range(2):  # a pulse up in the upper lane, one down in the lower
        assert len(trace_pixels(page, LIGHT.channel(place))) > 100

    write(qtbot, page, "Time unit", "ms")
    assert told(page, "Where it comes from: Time unit").startswith("given by you")
    assert "1 record of 1,500 samples (600 µs at 2.5 MS/s)" in told(page, "What the file holds")
    assert field(page, "Sample rate") == "2.5 MHz"
    write(qtbot, page, "Channel names", "H01,H02")
    assert how_it_goes(page) == READY
    assert field(page, "Session file to make") == str(path.with_suffix(".h5"))
    click(qtbot, page, "Write the session file and open it")
    qtbot.waitUntil(lambda: desk.windowTitle().startswith("tank.h5"), timeout=20_000)
    settle(desk)
    assert not pages()
    assert desk.middle.view.caption.text().startswith("Record 0 ")
    with open_session(path.with_suffix(".h5")) as session:
        assert session.sample_rate == 2.5e6
        assert [channel.name for channel in session.channels] == ["H01", "H02"]
        np.testing.assert_array_equal(session.codes()[0], values.astype(np.float32))
        assert "Time unit: ms (given)" in session.notes


def test_what_is_being_typed_stays_while_another_file_is_looked_at(
    make_window: MakeWindow, qtbot: Any, headerless: tuple[Path, np.ndarray], tmp_path: Path
) -> None:
    path, _ = headerless
    other, third = tmp_path / "other.csv", tmp_path / "third.csv"
    for copy in (other, third):
        copy.write_bytes(path.read_bytes())
    desk = make_window()
    drop(desk, [path, other])
    page = shown_page(qtbot)
    for name, typed in (("Channel names", "H01,H"), ("Module of the chosen file", "north")):
        line = called(page, name, QLineEdit)
        qtbot.mouseClick(line, LEFT)
        line.selectAll()
        qtbot.keyClicks(line, typed)
        drop(page, [third])
        looked_at(qtbot, page)
        assert line.text() == typed and line.hasFocus()
        qtbot.keyClick(line, Qt.Key.Key_Return)
        looked_at(qtbot, page)
        third = third.rename(tmp_path / f"{third.stem}x.csv")
    assert field(page, "Channel names") == "H01,H"
    assert field(page, "Module of the chosen file") == "north"


def test_what_is_wrong_is_said_beside_the_field_and_mended_there(
    make_window: MakeWindow, qtbot: Any, headerless: tuple[Path, np.ndarray]
) -> None:
    path, _ = headerless
    desk = make_window(dark=True)
    drop(desk, [path])
    page = shown_page(qtbot)
    assert len(trace_pixels(page, DARK.channel(0))) > 100
    write(qtbot, page, "Time unit", "fortnights")
    assert "fortnights" in told(page, "What is wrong: Time unit")
    assert how_it_goes(page).startswith("Not understood yet: tank.csv.")
    assert not called(page, "Write the session file and open it").isEnabled()
    assert told(page, "What the file holds") == ""
    assert not trace_pixels(page, DARK.channel(0))
    write(qtbot, page, "Channel names", "H01,H01")  # a second mistake does not hide the first field
    write(qtbot, page, "Time unit", "us")
    assert told(page, "What is wrong: Time unit") == ""
    assert "name every channel differently" in told(page, "What is wrong: Channel names")
    write(qtbot, page, "Channel names", "")  # left to the file again
    assert how_it_goes(page) == READY
    assert field(page, "Channel names") == "C01,C02"

    target = called(page, "Session file to make", QLineEdit)
    for typed, words in (
        ("tank.csv", "a session file ends in .h5"),
        (str(path.parent / "gone" / "tank.h5"), "there is no such folder"),
        (str(path.parent / "there.h5"), "there is a file of that name"),
    ):
        (path.parent / "there.h5").write_text("mine")
        target.selectAll()
        qtbot.keyClicks(target, typed)
        assert words in told(page, "What is wrong with the file to write")
        assert not called(page, "Write the session file and open it").isEnabled()
    assert (path.parent / "there.h5").read_text() == "mine"
    qtbot.keyClick(page, Qt.Key.Key_Escape)
    assert not pages()


@pytest.fixture
def pings(tmp_path: Path) -> Path:
    """A long sound file, written by SciPy."""
    samples = np.zeros((3_000_000, 2), dtype=np.int16)
    samples[5000::10_000] = 9000
    path = tmp_path / "pings.wav"
    wavfile.write(path, 48_000, samples)
    return path


def test_called_off_no_file_is_left(
    make_window: MakeWindow, qtbot: Any, pings: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pulsewright import store

    monkeypatch.setattr(store, "WRITTEN_AT_ONCE", 1 << 14)
    monkeypatch.setattr(QFileDialog, "getOpenFileNames", lambda *_, **__: ([str(pings)], ""))
    desk = make_window()
    qtbot.mouseClick(button(desk, "Import recordings …"), LEFT)
    page = shown_page(qtbot)
    assert how_it_goes(page) == "Choose the files to import, or drop them here."
    assert page.focusWidget().accessibleName() == "Choose files to import"
    click(qtbot, page, "Choose files to import")
    looked_at(qtbot, page)
    assert "Drawn are the first 1,000,000 samples" in told(page, "What the file holds")
    write(qtbot, page, "Record length", "1000")
    click(qtbot, page, "Write the session file and open it")
    click(qtbot, page, "Leave off writing; no file is made")
    assert how_it_goes(page) == "It was called off, and no file was made."
    assert called(page, "Write the session file and open it").isEnabled()
    desk.importing.close()  # the worker has ended
    assert sorted(entry.name for entry in pings.parent.iterdir()) == ["pings.wav"]


def test_a_session_among_recordings_is_opened_and_the_others_are_imported(
    make_window: MakeWindow, qtbot: Any, settle: Settle, faults: Path, headerless: tuple[Path, np.ndarray]
) -> None:
    desk = make_window()
    drop(desk, [headerless[0], faults])
    page = shown_page(qtbot)
    settle(desk)
    assert desk.windowTitle().startswith("tank_faults.h5")
    assert [page.list.item(row).text() for row in range(page.list.count())] == ["tank.csv"]
    nothing = headerless[0].with_name("notes.bin")
    nothing.write_bytes(b"\x00\x01no recording\x00")
    qtbot.keyClick(page, Qt.Key.Key_Escape)
    drop(desk, [nothing])
    settle(desk)
    assert message(desk).startswith("notes.bin:")
    assert not pages()


def choose(qtbot: Any, page: Any, row: int) -> None:
    files = called(page, "Files, one for each module")
    qtbot.mouseClick(files.viewport(), LEFT, pos=files.visualItemRect(files.item(row)).center())


def test_several_files_become_the_modules_of_one_session(
    make_window: MakeWindow, qtbot: Any, settle: Settle, tmp_path: Path
) -> None:
    """Source of the files: scipy.io.wavfile."""
    random = np.random.default_rng(2)
    samples = [random.integers(-9000, 9000, length).astype(np.int16) for length in (4000, 3000)]
    paths = [tmp_path / "left.wav", tmp_path / "right.wav"]
    for path, one in zip(paths, samples, strict=True):
        wavfile.write(path, 48_000, one)
    desk = make_window()
    drop(desk, paths)
    page = shown_page(qtbot)
    assert [page.list.item(row).text() for row in range(2)] == ["M1: left.wav", "M2: right.wav"]
    write(qtbot, page, "Record length", "1000")
    choose(qtbot, page, 1)
    write(qtbot, page, "Record length", "1000")
    assert how_it_goes(page) == READY
    outcome = told(page, "How the files go together")
    assert outcome == "! M1: has 4 records; the first 3, which all modules have, are kept."

    write(qtbot, page, "Module of the chosen file", "M1")
    assert "name every module differently" in told(page, "How the files go together")
    assert not called(page, "Write the session file and open it").isEnabled()
    write(qtbot, page, "Module of the chosen file", "B")
    by = called(page, "What records are matched by")
    qtbot.mouseClick(by, LEFT)
    qtbot.keyClick(by.view(), Qt.Key.Key_Down)
    qtbot.keyClick(by.view(), Qt.Key.Key_Return)
    looked_at(qtbot, page)
    assert "does not know when its records were taken" in told(page, "How the files go together")
    choose(qtbot, page, 0)
    write(qtbot, page, "Trigger times", "every 30 ms")
    choose(qtbot, page, 1)
    write(qtbot, page, "Trigger times", "every 30.001 ms")
    assert "3 records belong together within 10 µs" in told(page, "How the files go together")

    click(qtbot, page, "Write the session file and open it")
    qtbot.waitUntil(lambda: desk.windowTitle().startswith("left.h5"), timeout=20_000)
    settle(desk)
    with open_session(tmp_path / "left.h5") as session:
        assert session.modules == ("M1", "B")
        assert [channel.module for channel in session.channels] == ["M1", "B"]
        for place, one in enumerate(samples):
            np.testing.assert_array_equal(session.channel_codes(place), one[:3000].reshape(3, 1000))
        np.testing.assert_allclose(session.trigger_time, [[0, 0], [30e-3, 30.001e-3], [60e-3, 60.002e-3]])


def test_the_heart_beats_brought_in_split_and_stepped_through(
    make_window: MakeWindow, qtbot: Any, settle: Settle, tmp_path: Path
) -> None:
    """Source: PyWavelets' ECG (MIT-BIH Arrhythmia Database, 360 samples a second), scipy.signal.find_peaks."""
    import pywt
    from scipy.signal import find_peaks
    from typer.testing import CliRunner

    from pulsewright_app.cli import app

    ecg = np.asarray(pywt.data.ecg())
    beats, _ = find_peaks(ecg - np.median(ecg), height=100, prominence=150, distance=100)
    path = tmp_path / "heart.csv"
    np.savetxt(path, ecg, fmt="%d")
    desk = make_window()
    drop(desk, [path])
    page = shown_page(qtbot)
    assert told(page, "What is wrong: Sample rate")
    write(qtbot, page, "Sample rate", "360 Hz")
    write(qtbot, page, "Channel names", "H01")
    click(qtbot, page, "Write the session file and open it")
    qtbot.waitUntil(lambda: desk.windowTitle().startswith("heart.h5"), timeout=20_000)
    level = f"{np.median(ecg) + 100} V"
    words = ["split", str(tmp_path / "heart.h5"), "--to", str(tmp_path / "beats.h5"), "--channel", "H01"]
    words += ["--level", level, "--before", "0.1 s", "--after", "0.3 s"]
    assert CliRunner().invoke(app, words).exit_code == 0
    drop(desk, [tmp_path / "beats.h5"])
    qtbot.waitUntil(lambda: desk.windowTitle().startswith("beats.h5"), timeout=20_000)
    settle(desk)
    session = desk.document.session
    assert session is not None
    assert session.records == len(beats) == 3
    seen = []
    for record in range(3):
        assert desk.middle.view.caption.text().startswith(f"Record {record} ")
        codes = desk.data.codes(record)
        assert codes is not None
        place = int(codes[0].argmax())
        seen.append(session.trigger_time[record, 0] + session.times(record, 0)[place])
        if record < 2:
            press(desk, qtbot, "PgDown")
            settle(desk)
    np.testing.assert_allclose(np.diff(seen), np.diff(beats) / 360, atol=1e-9)
