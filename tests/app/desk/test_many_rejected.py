"""Very many rejected pulses: what the window's thread leaves to others, or looks up once."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

pytest.importorskip("PySide6.QtCore", exc_type=ImportError, reason="Qt's system libraries are missing")

from pulsewright import Session
from pulsewright.settings import Settings
from pulsewright_analysis.findings import measure
from pulsewright_app.desk import measuring
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.panels.row_pulses import RowPulses
from pulsewright_app.desk.results import Results


def test_the_settings_of_rejected_pulses_are_made_where_they_are_measured(
    walking_session: Callable[..., Session], monkeypatch: pytest.MonkeyPatch
) -> None:
    document, started, measured = Document(), [], []
    background = SimpleNamespace(start=lambda _key, work, *_, **__: started.append(work))
    monkeypatch.setattr(measuring, "_measure", lambda _session, settings, *_: measured.append(settings))
    made: list[Settings] = []
    to_come = document.settings_to_come

    def watched() -> Callable[[], Settings]:
        make = to_come()

        def later() -> Settings:
            made.append(make())
            return made[-1]

        return later

    monkeypatch.setattr(document, "settings_to_come", watched)
    keeper: Any = measuring.Measuring(document, Results(), background)  # type: ignore[arg-type]
    document.open(walking_session())
    document.reject_pulses([(5, 1, 700), (2, 0, 600)])
    made.clear()
    keeper.start()
    assert document.plain_settings().rejected_pulses == () and not made  # the window's thread has gone on
    started[-1](None)
    assert measured[-1].rejected_pulses == ((2, "H01", 600), (5, "H02", 700))
    assert measured[-1].origin("rejected_pulses") == "review"
    assert measured[-1] == document.measuring_settings()


def test_rejections_on_the_command_line_count_before_those_made_here(walking_session: Callable[..., Session]) -> None:
    document = Document()
    document.open(walking_session(), option={"rejected_pulses": [[1, "H03", 650]]})
    document.reject_pulses([(2, 0, 600)])
    assert document.measuring_settings().rejected_pulses == ((1, "H03", 650),)


class _Counted(dict[Any, str]):
    looked_up = 0

    def __contains__(self, key: object) -> bool:
        self.looked_up += 1
        return super().__contains__(key)


def test_what_can_be_rejected_is_looked_up_once(walking_session: Callable[..., Session]) -> None:
    findings = measure(walking_session())
    pulses, rejected = RowPulses(findings, 0), _Counted()
    document: Any = SimpleNamespace(rejected=rejected)
    records = list(range(12))
    rejected.update(dict.fromkeys(pulses.to_reject(document, records), "an echo"))
    rejected.looked_up = 0
    for _ in range(3):
        assert pulses.offered(document, list(records)) == (False, True)
    assert rejected.looked_up == len(records)
    document.rejected = {}
    assert pulses.offered(document, records) == (True, False)
