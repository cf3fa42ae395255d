"""Findings built by hand, and a desk to show them on: nothing here is measured."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from pulsewright.quantity import Quantity
from pulsewright.settings import Settings
from pulsewright_analysis.results import (
    Alignment,
    ChannelHealth,
    ChannelSkew,
    Findings,
    Jitter,
    Levels,
    ModuleSkew,
    Polarity,
    Pulses,
    Sequence,
    SessionSummary,
    Timing,
)

NAMES = tuple(f"H{number:02d}" for number in range(1, 13))
RECORDS = 24


def _pulses(sign: np.ndarray) -> Pulses:
    """One pulse for each record and channel, walking by 5 µs over 12 stops."""
    records, channels = sign.shape
    record = np.repeat(np.arange(records), channels)
    channel = np.tile(np.arange(channels), records)
    count = len(record)
    time = 100e-6 + 5e-6 * (record % 12)
    return Pulses(
        record=record,
        channel=channel,
        order=np.zeros(count, dtype=np.int64),
        polarity=sign[record, channel],
        confidence=np.full(count, 20.0),
        amplitude=0.4 * sign[record, channel],
        amplitude_u=np.full(count, 1e-3),
        width=np.full(count, 2e-6),
        width_u=np.full(count, 1e-8),
        first_sample=np.full(count, 100, dtype=np.int64),
        last_sample=np.full(count, 150, dtype=np.int64),
        extreme_sample=np.full(count, 150, dtype=np.int64),
        times={"midpoint": time},
        times_u={"midpoint": np.full(count, 3e-9)},
        trigger_u=np.zeros(count),
        clipped=np.zeros(count, dtype=bool),
        cut=np.zeros(count, dtype=bool),
        ambiguous=np.zeros(count, dtype=bool),
        position="midpoint",
    )


def _clean() -> Findings:
    sign = np.where(np.arange(RECORDS) % 2 == 0, 1, -1)[:, None] * np.ones((1, 12), dtype=np.int64)
    pulses = _pulses(sign)
    modules = ("M1", "M2", "M3")
    return Findings(
        session=SessionSummary(
            None, "", RECORDS, 10_240, 600, 25e6, tuple((n, modules[i // 4]) for i, n in enumerate(NAMES)), modules
        ),
        settings=Settings(span=(50e-6, 300e-6), origins={"span": "claims"}),
        channels=tuple(range(12)),
        records=np.arange(RECORDS),
        levels=Levels(*(np.zeros(12) for _ in range(4)), np.zeros((12, 4)), np.full(12, 1e4)),
        pulses=pulses,
        polarity=Polarity(sign, np.full(sign.shape, 20.0), ()),
        sequence=Sequence(
            channel=0,
            increment=Quantity(5e-6, 2e-10, "s", 22),
            start=Quantity(100e-6, 1e-9, "s", 22),
            extent=Quantity(55e-6, 1e-9, "s", 22),
            cycle=12,
            alternates=True,
            pattern=(1, -1),
            period=1.024e-3,
            missed=(),
            slips=(),
            repeated=(),
            sent=None,
            out_of_place=(),
            pulse=np.arange(RECORDS) * 12,
            stop=np.arange(RECORDS) % 12,
            residual=np.linspace(-4e-9, 4e-9, RECORDS),
            residual_u=np.full(RECORDS, 3e-9),
            in_step=np.ones((RECORDS, 3), dtype=bool),
        ),
        alignment=Alignment(
            reference=0,
            method="correlation",
            channels=(
                ChannelSkew(0, Quantity(0.0, 0.0, "s"), RECORDS),
                *(ChannelSkew(c, Quantity(0.1e-9, 0.3e-9, "s", 22), RECORDS) for c in range(1, 12)),
            ),
            within_modules=Quantity(0.4e-9, 0.4e-9, "s", 22),
            between_modules=(ModuleSkew(("M1", "M2"), Quantity(0.05e-9, 0.2e-9, "s", 22)),),
            largest_between=Quantity(0.05e-9, 0.2e-9, "s", 22),
            frequency=None,
            span=(50e-6, 300e-6),
        ),
        jitter=Jitter(Quantity(4e-9, 0.6e-9, "s", 22, (3e-9, 6e-9)), None, None, 3e-9, None),
        timing=Timing(
            Quantity(1.024e-3, 1e-10, "s", 22),
            Quantity(409.6e-6, 0.0, "s"),
            Quantity(614.4e-6, 1e-10, "s", 22),
            Quantity(638.4e-6, 1e-10, "s", 22),
            1.024e-3,
            25_600,
        ),
        health=tuple(
            ChannelHealth(c, Quantity(1e-3, 1e-4, "V"), Quantity(3e-3, 1e-4, "V"), 0, (), None, None, False)
            for c in range(12)
        ),
    )


@pytest.fixture
def clean_findings() -> Findings:
    """Twelve hydrophones on three modules, 24 records, nothing wrong."""
    return _clean()


@pytest.fixture
def altered(clean_findings: Findings) -> Callable[..., Findings]:
    """Return a builder: clean findings with parts replaced, ``altered(sequence={"missed": …})``."""

    def build(**parts: dict[str, Any] | Any) -> Findings:
        changed = {
            name: replace(getattr(clean_findings, name), **part) if isinstance(part, dict) else part
            for name, part in parts.items()
        }
        return replace(clean_findings, **changed)

    return build


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave the sheet's figures empty, where none is looked at: they take most of what a sheet takes."""
    empty = b'<svg xmlns="http://www.w3.org/2000/svg" width="72pt" height="36pt" viewBox="0 0 72 36"/>'
    monkeypatch.setattr("pulsewright_app.evidence.drawing._written", lambda *_: empty)


class Bench:
    """A desk's state with a session on it, and panels that are shown and put away again."""

    def __init__(self, qtbot: Any) -> None:
        from pulsewright_app.desk.document import Document
        from pulsewright_app.desk.results import Results
        from pulsewright_app.desk.viewing import Viewing

        self.qtbot = qtbot
        self.document = Document()
        self.viewing = Viewing(self.document)
        self.results = Results()
        self._panels: list[Any] = []

    def open(self) -> None:
        """Put twelve hydrophones with 24 records on the desk; triggers are missing before records 8 and 16."""
        from pulsewright.session import Channel, Session

        times = np.arange(RECORDS) * 1.024e-3
        times[8:] += 1.024e-3
        times[16:] += 2.048e-3
        channels = [
            Channel(name, f"M{i // 4 + 1}", scale=1 / 32768, delay=10e-9 if i == 3 else 0.0)
            for i, name in enumerate(NAMES)
        ]
        samples = np.zeros((RECORDS, len(NAMES), 64), dtype=np.int16)
        offsets = np.zeros(RECORDS)
        self.document.open(
            Session.from_samples(samples, channels, 25e6, 20, trigger_time=times, trigger_offset=offsets)
        )

    def measured(self, findings: Findings) -> None:
        """Hand over findings as a finished measuring does."""
        self.results.finish(self.results.start(), findings)

    def show(self, kind: type[Any], width: int = 800, height: int = 700) -> Any:
        """Return a panel of that kind, shown, with the focus."""
        panel = kind(self.document, self.viewing, self.results)
        self._panels.append(panel)
        panel.resize(width, height)
        with self.qtbot.waitExposed(panel):
            panel.show()
        panel.activateWindow()
        return panel

    def click(self, view: Any, row: int, column: int = 0, from_left: int | None = None, shift: bool = False) -> None:
        """Click a cell of a table or list with the left button."""
        from PySide6.QtCore import QPoint, Qt

        index = view.model().index(row, column)
        view.scrollTo(index)
        rect = view.visualRect(index)
        place = rect.center() if from_left is None else QPoint(rect.left() + from_left, rect.center().y())
        held = Qt.KeyboardModifier.ShiftModifier if shift else Qt.KeyboardModifier.NoModifier
        self.qtbot.mouseClick(view.viewport(), Qt.MouseButton.LeftButton, held, place)

    def press(self, button: Any) -> None:
        """Press a button with the left mouse button."""
        from PySide6.QtCore import Qt

        self.qtbot.mouseClick(button, Qt.MouseButton.LeftButton)

    def put_away(self) -> None:
        """Close every panel and drain the deferred deletes."""
        from PySide6.QtCore import QCoreApplication, QEvent

        for panel in self._panels:
            panel.close()
            panel.deleteLater()
        self._panels.clear()
        self.document.open(None)
        QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
        QCoreApplication.processEvents()


@pytest.fixture
def bench(request: pytest.FixtureRequest) -> Iterator[Bench]:
    """A desk's state with a session on it."""
    pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")
    from importlib.resources import as_file, files

    qtbot = request.getfixturevalue("qtbot")
    from PySide6.QtGui import QFontDatabase

    if not QFontDatabase.families():
        with as_file(files("pulsewright_app") / "fonts" / "DejaVuSans.ttf") as font:
            QFontDatabase.addApplicationFont(str(font))
    made = Bench(qtbot)
    made.open()
    yield made
    made.put_away()
