"""Afterglow of long records on the desk: coarse at once from what is kept, said to be so, and exact in the end."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from pulsewright import cache as caches
from pulsewright import digest
from pulsewright.cache import cache_folder
from pulsewright.digest import quick_digest_of, sha256_of
from pulsewright.errors import SessionFileError
from pulsewright.session import Channel
from pulsewright.store import write_session
from pulsewright_analysis.overlay import Afterglow
from pulsewright_app import glow
from pulsewright_app.desk import opening
from pulsewright_app.desk.measuring import Measuring
from pulsewright_app.desk.window import DeskWindow

from .gestures import Settle, at, labelled, message, point

CAPTION = "What the Afterglow view shows"
RECORDS, LENGTH, RATE = 6, 200_000, 1e6
Windows = Callable[..., DeskWindow]


@pytest.fixture(params=["outlined", "refined"])
def kept(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, request: pytest.FixtureRequest) -> Path:
    """The folder of what is kept, empty at first; both ways from the coarse picture to the exact one.

    No number is looked at here, and to measure seconds of noise takes long.
    """
    monkeypatch.setattr(Measuring, "start", lambda _: None)
    monkeypatch.setattr(glow, "QUICK_BYTES", 0)
    monkeypatch.setattr(glow, "REFINED_FROM", glow.OUTLINED_FROM if request.param == "refined" else 1e9)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return cache_folder()


@pytest.fixture
def long_file(tmp_path: Path) -> Path:
    random = np.random.default_rng(8)
    samples = np.round(random.normal(0, 200, (RECORDS, 2, LENGTH))).astype(np.int16)
    channels = [Channel(f"H0{c + 1}", "M1", scale=1e-3) for c in range(2)]
    path = tmp_path / "long.h5"
    write_session(path, samples, channels, RATE, 0, trigger_offset=np.zeros(RECORDS))
    return path


def glowing(make_window: Windows, path: Path, settle: Settle) -> tuple[DeskWindow, list[str]]:
    """A desk in Afterglow, and every caption that it has shown."""
    desk = make_window(path)
    captions: list[str] = []
    desk.viewing.set_view("afterglow")
    view = desk.middle.view
    shown = view._show_picture  # type: ignore[attr-defined]

    def listening() -> None:
        shown()
        captions.append(view.caption.text())

    view._show_picture = listening  # type: ignore[attr-defined]
    settle(desk)
    return desk, captions


def is_exact(desk: DeskWindow) -> bool:
    picture, session = desk.middle.view.made.picture, desk.document.session  # type: ignore[attr-defined]
    assert session is not None
    channel = desk.viewing.channel
    alone = Afterglow(picture.raster)
    alone.add(session.channel_codes(channel), session.first_sample_time(channel), 1 / RATE, 1e-3)
    return picture.coarse == 0 and np.array_equal(picture.counts[0], alone.counts)


def entries(folder: Path) -> list[Path]:
    return sorted(folder.glob("*.kept"))


def test_what_was_kept_serves_the_next_desk(make_window: Windows, long_file: Path, settle: Settle, kept: Path) -> None:
    before = long_file.read_bytes()
    desk, captions = glowing(make_window, long_file, settle)
    assert is_exact(desk) and not any("coarse" in text for text in captions)
    assert len(entries(kept)) == 1
    desk.viewing.zoom_time((0.003, 0.189))
    settle(desk)
    assert any("coarse, 0 of 6 records exact so far" in text for text in captions)
    assert is_exact(desk) and "coarse" not in labelled(desk, CAPTION)
    second, captions = glowing(make_window, long_file, settle)
    assert "coarse, 0 of 6 records exact so far" in captions[0]
    assert is_exact(second) and "all 6 records" in labelled(second, CAPTION)
    second.viewing.set_channel(1)
    settle(second)
    assert is_exact(second) and len(entries(kept)) == 2
    assert long_file.read_bytes() == before


def test_a_damaged_entry_is_made_again(make_window: Windows, long_file: Path, settle: Settle, kept: Path) -> None:
    glowing(make_window, long_file, settle)
    (entry,) = entries(kept)
    whole = entry.read_bytes()
    for damaged in (whole[: len(whole) // 2], whole[:-9] + b"\1" * 9, b""):
        entry.write_bytes(damaged)
        desk, captions = glowing(make_window, long_file, settle)
        assert is_exact(desk) and not any("coarse" in text for text in captions)
        assert entry.read_bytes() == whole
    entry.unlink()
    desk.viewing.zoom_time((0.003, 0.189))
    settle(desk)
    assert is_exact(desk)


def test_a_file_that_was_changed_is_looked_through_anew(
    make_window: Windows, long_file: Path, settle: Settle, kept: Path
) -> None:
    """As many bytes, changed where the quick digest does not look."""
    glowing(make_window, long_file, settle)
    with long_file.open("r+b") as stream:
        stream.seek(450_000)
        stream.write(np.full(2_000, 900, "<i2").tobytes())
    os.utime(long_file, ns=(0, 1_000))
    desk, captions = glowing(make_window, long_file, settle)
    assert is_exact(desk) and not any("coarse" in text for text in captions)


@pytest.mark.parametrize("kept", ["refined"], indirect=True)
@pytest.mark.parametrize("at_once", [True, False], ids=["hashed at once", "hashed later"])
def test_only_the_digest_of_the_whole_file_tells_what_else_was_changed(
    make_window: Windows, long_file: Path, settle: Settle, kept: Path, qtbot: Any, monkeypatch: pytest.MonkeyPatch,
    at_once: bool,
) -> None:  # fmt: skip
    """Where the quick digest does not look, and with the time of change put back: blocks of the old samples mislead."""
    glowing(make_window, long_file, settle)
    (entry,) = entries(kept)
    old, quick, status = entry.read_bytes(), quick_digest_of(long_file), long_file.stat()
    with long_file.open("r+b") as stream:
        stream.seek(270_000)
        stream.write(np.full(2_000, 900, "<i2").tobytes())
    os.utime(long_file, ns=(status.st_atime_ns, status.st_mtime_ns))
    assert quick_digest_of(long_file) == quick
    if not at_once:
        may_be_known = threading.Event()
        monkeypatch.setattr(opening, "HASHED_AT_ONCE", 0)
        monkeypatch.setattr(digest, "sha256_of", lambda *given: may_be_known.wait(60) and sha256_of(*given))
        desk = make_window()
        desk.viewing.set_view("afterglow")
        view = desk.middle.view
        desk.open_path(long_file)
        qtbot.waitUntil(lambda: view.made is not None and view.made.complete, timeout=60_000)  # type: ignore[attr-defined]
        assert not is_exact(desk)
        may_be_known.set()
    else:
        desk, _ = glowing(make_window, long_file, settle)
    settle(desk)
    assert is_exact(desk)
    assert entry.read_bytes() != old


def test_a_change_while_the_desk_shows_the_file_ends_the_use_of_its_blocks(
    make_window: Windows, long_file: Path, settle: Settle, kept: Path
) -> None:
    desk, captions = glowing(make_window, long_file, settle)
    with long_file.open("r+b") as stream:
        stream.seek(450_000)
        stream.write(np.full(2_000, 900, "<i2").tobytes())
    os.utime(long_file, ns=(0, 1_000))
    captions.clear()
    desk.viewing.zoom_time((0.001, 0.199))
    settle(desk)
    assert "it has been written to while it was open" in message(desk)
    assert labelled(desk, CAPTION).endswith("the records could not be accumulated")
    assert not any("coarse" in text for text in captions)


def test_a_full_disk_is_said_once_and_blocks_serve_from_memory(
    make_window: Windows, long_file: Path, settle: Settle, kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(target: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(caches, "replacing", full)
    desk, captions = glowing(make_window, long_file, settle)
    assert "cannot be kept (No space left on device)" in message(desk)
    desk.viewing.zoom_time((0.003, 0.189))
    settle(desk)
    assert any("coarse" in text for text in captions)
    assert is_exact(desk) and not entries(kept)


def test_without_a_folder_for_what_is_kept_the_picture_is_exact(
    make_window: Windows, long_file: Path, settle: Settle, kept: Path
) -> None:
    kept.parent.parent.mkdir()
    kept.parent.write_text("a file where the folder should be")
    desk, _ = glowing(make_window, long_file, settle)
    assert f"{kept}: what was derived cannot be kept" in message(desk)
    assert is_exact(desk)


def test_what_stayed_coarse_is_never_said_to_be_exact(
    make_window: Windows, long_file: Path, settle: Settle, kept: Path, qtbot: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk, _ = glowing(make_window, long_file, settle)
    source = desk.document.session.source  # type: ignore[union-attr]

    def broken(*more: object) -> None:
        raise SessionFileError("the file ends at record 0", "copy it again")

    monkeypatch.setattr(source, "read_pieces", broken)
    monkeypatch.setattr(source, "read_channel", broken)
    desk.viewing.zoom_time((0.003, 0.189))
    settle(desk)
    assert "the file ends at record 0" in message(desk)
    assert "coarse: the samples of 6 of 6 records were not read" in labelled(desk, CAPTION)
    point(qtbot, desk, at(desk, 0.1, 0.0))
    assert "at most 6 records pass here so far" in labelled(desk, "Under the pointer")


def test_a_picture_does_not_wait_for_long_work(desk: DeskWindow, qtbot: Any) -> None:
    """Every thread of the background is taken until the picture is there."""
    done = threading.Event()
    try:
        for number in range(6):
            desk.background.start(f"Long work {number}", lambda job: done.wait(60), lambda _: None)
        desk.viewing.set_view("afterglow")
        view = desk.middle.view
        qtbot.waitUntil(lambda: view.made is not None and view.made.complete, timeout=60_000)  # type: ignore[attr-defined]
        assert desk.background.busy
    finally:
        done.set()


def test_what_was_kept_is_at_hand_before_the_view_is_chosen(
    make_window: Windows, long_file: Path, settle: Settle, kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    glowing(make_window, long_file, settle)
    desk = make_window(long_file)
    settle(desk)

    def nothing(*more: object) -> None:
        raise AssertionError("it was looked for again")

    monkeypatch.setattr(caches.Cache, "load", nothing)
    desk.viewing.set_view("afterglow")
    settle(desk)
    assert is_exact(desk)
    assert "came to nothing" not in message(desk)
