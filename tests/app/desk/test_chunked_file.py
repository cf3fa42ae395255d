"""A session with large packed chunks on the desk: workers unpack them all, and the window's thread none."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from pulsewright import file_blocks
from pulsewright.store import save_session
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import LIGHT

from .conftest import walking
from .gestures import Settle, inked, labelled, press


@pytest.fixture
def packed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A session whose rows of chunks hold four records each, and count as large ones."""
    monkeypatch.setattr(file_blocks, "SMALL_ROW", 0)
    path = tmp_path / "packed.h5"
    with walking() as session:
        save_session(path, session)
    with h5py.File(path, "r+") as file:
        samples = file["samples"][()]
        del file["samples"]
        file.create_dataset("samples", data=samples, chunks=(4, 1, 500), compression="gzip")
    return path


def test_every_chunk_is_unpacked_by_a_worker(
    packed: Path, make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle, monkeypatch: pytest.MonkeyPatch
) -> None:
    unpacked_by: set[threading.Thread] = set()
    read = h5py.Dataset.__getitem__

    def reading(dataset: h5py.Dataset, *wanted: Any, **more: Any) -> Any:
        if dataset.name == "/samples":
            unpacked_by.add(threading.current_thread())
        return read(dataset, *wanted, **more)

    monkeypatch.setattr(h5py.Dataset, "__getitem__", reading)
    desk = make_window(packed)
    for keys in ("Alt+1", "Alt+2", "Alt+3", "Alt+4"):
        press(desk, qtbot, keys)
        for record in (1, 6, 11):
            desk.viewing.go_to(record)
            desk.viewing.zoom_time((1e-6 * record, 150e-6))
            settle(desk)
    press(desk, qtbot, "Alt+1")
    settle(desk)
    assert inked(desk, LIGHT.channel(0))
    assert "being read" not in labelled(desk, "What the Single view shows")
    desk.close_session()
    assert unpacked_by
    assert threading.main_thread() not in unpacked_by


def test_a_session_is_left_while_a_worker_unpacks_it(
    packed: Path, make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The worker is held up in the midst of a row: the window's thread would wait for ever if it waited for that."""
    desk = make_window(packed)
    reached, go_on = threading.Event(), threading.Event()
    grid = file_blocks.UnpackedRows._grid

    def holding(rows: file_blocks.UnpackedRows) -> Any:
        reached.set()
        assert go_on.wait(60), "nobody let it go on"
        yield from grid(rows)

    source: Any = desk.document.session.source  # type: ignore[union-attr]
    source._rows._rows.clear()
    monkeypatch.setattr(file_blocks.UnpackedRows, "_grid", holding)
    desk.data._kept.clear()
    desk.viewing.go_to(9)
    qtbot.waitUntil(reached.is_set, timeout=60_000)
    desk.close_session()
    assert not go_on.is_set()
    assert desk.document.session is None
    go_on.set()
    settle(desk)
    assert not source._file, "the worker that read it last closes the file"
