"""The guide, the pages of help and the icon: by real gestures."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtGui import QIcon
from PySide6.QtWidgets import QPushButton

from pulsewright_app.desk.help.guide_steps import STEPS
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.samples import sample

from .gestures import LEFT, Settle, message, press
from .shown_pages import called, page_of

Make = Callable[..., DeskWindow]


def test_every_step_of_the_guide_can_be_shown(habitual: Make, qtbot: Any, settle: Settle) -> None:
    desk = habitual()
    guide_button = next(b for b in desk.first_screen.findChildren(QPushButton) if b.text() == "Five-minute guide")
    qtbot.mouseClick(guide_button, LEFT)
    guide = page_of("Five-minute guide")
    title = called(guide, "Step of the guide")
    seen = []
    for number in range(len(STEPS)):
        seen.append(title.text())
        qtbot.mouseClick(called(guide, "Do this step on the desk"), LEFT)
        settle(desk)
        assert not message(desk) or message(desk).startswith("The sample stays as it came")
        if number < len(STEPS) - 1:
            qtbot.mouseClick(called(guide, "Go to the next step"), LEFT)
    assert seen == [f"{n + 1} of {len(STEPS)}: {step.title}" for n, step in enumerate(STEPS)]
    assert len(desk.document.pairs) == 1  # the spacing was measured
    assert len(desk.document.sheet_views) == 1
    assert page_of("Save the evidence sheet").isVisible() and page_of("Claims").isVisible()


def test_the_guide_shows_the_late_channel_where_it_can_be_seen(habitual: Make, settle: Settle) -> None:
    """The recipe of the sample, sample_sessions/scenario.py, delays H07 by 10 ns: less than a pixel of the lanes."""
    desk = habitual()
    desk.resize(1366, 768)
    desk.open_sample()
    settle(desk)
    step = next(step for step in STEPS if "late channel" in step.title)
    step.show(desk)
    settle(desk)
    assert desk.middle.view.canvas.pixel_time > 10e-9  # so that the guide must not say that the lanes show it
    shown = desk.findings_panel.pages.currentWidget()
    assert shown.isVisible() and shown is desk.findings_panel.figures["skew"]
    assert "Skew" in step.text


def test_the_guide_adds_nothing_to_a_session_that_is_not_its_sample(
    habitual: Make, qtbot: Any, settle: Settle, tmp_path: Path
) -> None:
    own = tmp_path / "own.h5"
    shutil.copy(sample("tank_walk.h5"), own)
    desk = habitual(own)
    press(desk, qtbot, "Shift+F1")
    guide = page_of("Five-minute guide")
    show = called(guide, "Do this step on the desk")
    told = called(guide, "How it goes: Five-minute guide")
    assert show.isEnabled()
    for _ in range(len(STEPS) - 1):
        qtbot.mouseClick(called(guide, "Go to the next step"), LEFT)
        assert not show.isEnabled()
        assert told.text() == "Open the sample first: it is the first step."
    desk.open_sample()
    settle(desk)
    assert show.isEnabled() and told.text() == ""


def test_the_guide_s_marker_has_the_uncertainty_of_what_it_stands_on(habitual: Make, settle: Settle) -> None:
    """A marker on a sample may be off by half an interval to each side: Δ/√12 (JCGM 100:2008, 4.3.7)."""
    desk = habitual()
    desk.open_sample()
    settle(desk)
    next(step for step in STEPS if step.title == "Measure a spacing").show(desk)
    (pair,) = desk.document.pairs
    session = desk.document.session
    assert session is not None
    assert pair.u1 == pytest.approx(session.sample_interval / 12**0.5, rel=1e-6)
    from_first = (pair.t1 - float(session.first_sample_time(pair.channel)[pair.record])) * session.sample_rate
    assert from_first == pytest.approx(round(from_first), abs=1e-6)


def test_help_shows_cautions_and_version(habitual: Make, qtbot: Any) -> None:
    desk = habitual()
    press(desk, qtbot, "Ctrl+F1")
    assert "high-voltage pulsers" in called(page_of("Cautions"), "Cautions").text()
    desk.activateWindow()
    press(desk, qtbot, "Alt+F1")
    assert "MIT licence" in called(page_of("About Pulsewright"), "About Pulsewright").text()


@pytest.mark.parametrize("side", [16, 24, 32, 48, 128, 256])
def test_the_icon_has_a_picture_at_every_size(side: int, qtbot: Any) -> None:
    import pulsewright_app

    path = Path(pulsewright_app.__file__).parent / "icon" / "pulsewright.svg"
    image = QIcon(str(path)).pixmap(side, side).toImage()
    assert (image.width(), image.height()) == (side, side)
    colours = {image.pixelColor(x, y).name() for x in range(side) for y in range(side)}
    assert {"#1f5f7a"} < colours and len(colours) > 4
