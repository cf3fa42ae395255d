"""No text exceeds its widget on a small screen, at double density, and in letters of twice the size."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtGui import QFont
from PySide6.QtWidgets import QApplication, QComboBox, QLabel, QPushButton, QSpinBox, QVBoxLayout, QWidget

from pulsewright_app.desk.style import dress, wear_again
from pulsewright_app.theme import LIGHT

from .overflow import walk

WALK = Path(__file__).parent / "walk_sizes.py"
STATES_AT_LEAST, TEXTS_AT_LEAST = 25, 2000
"""So that a walk that sees nothing cannot pass."""


@pytest.mark.parametrize(
    ("size", "options", "density"),
    [
        pytest.param("1366x768", [], 1.0, id="small screen"),
        pytest.param("1366x768", ["--density", "2"], 2.0, id="double density"),
        pytest.param("1920x1080", ["--font", "2"], 1.0, id="letters of twice the size"),
        pytest.param("1366x768", ["--font", "2"], 1.0, id="letters of twice the size on a small screen"),
    ],
)
def test_no_text_exceeds_its_widget(size: str, options: list[str], density: float) -> None:
    run = subprocess.run([sys.executable, str(WALK), size, *options], capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    seen = json.loads(run.stdout)
    assert seen["density"] == density
    assert len(seen["states"]) >= STATES_AT_LEAST
    assert seen["texts"] >= TEXTS_AT_LEAST
    assert seen["exceeding"] == {}
    assert seen["unpainted"] == {}  # so that no picture of a state is black
    print("cut, with the whole in a tooltip:", sum(map(len, seen["elided"].values())))


def test_the_arrows_of_boxes_grow_with_the_letters(qtbot: object) -> None:
    """By construction: at twice the letters, twice the arrow, to a pixel of its blurred edge on each side."""
    application = QApplication.instance()
    assert isinstance(application, QApplication)
    dress(application, LIGHT)
    usual, widths = application.font(), []
    try:
        for times in (1, 2):
            font = QFont(usual)
            font.setPointSizeF(usual.pointSizeF() * times)
            application.setFont(font)
            wear_again(application)
            widths.append([_arrow_width(box) for box in (QComboBox(), QSpinBox())])
    finally:
        application.setFont(usual)
        wear_again(application)
    for small, large in zip(*widths, strict=True):
        assert small >= 6
        assert abs(large - 2 * small) <= 4


def _arrow_width(box: QWidget) -> int:
    """How many pixels wide what is drawn as strong as letters is, inside the right half of a box without text."""
    box.resize(160, box.sizeHint().height())
    image = box.grab().toImage()
    inside = range(image.height() // 4, image.height() - image.height() // 4)
    dark = [x for x in range(image.width() // 2, image.width() - 4) for y in inside
            if image.pixelColor(x, y).lightness() < 170]  # fmt: skip
    return max(dark) - min(dark) + 1 if dark else 0


def test_the_walk_finds_what_exceeds(qtbot: object) -> None:
    """By construction: a button and a wrapped label with less room than they need, and a label that says it all."""
    page = QWidget()
    column = QVBoxLayout(page)
    button, wrapped, told, fits = QPushButton("a long word"), QLabel("one two " * 20), QLabel("three four"), QLabel("x")
    wrapped.setWordWrap(True)
    told.setToolTip("three four")
    for widget in (button, wrapped, told):
        widget.setMinimumSize(1, 1)
        widget.setFixedSize(30, 30)
    for widget in (button, wrapped, told, fits):
        column.addWidget(widget)
    page.show()
    walked = walk(page)
    page.close()
    assert {line.split(" ")[0] for line in walked.exceeding} == {"QPushButton", "QLabel"}
    assert any("one two" in line for line in walked.exceeding)
    assert len(walked.elided) == 1
    assert not any("'x'" in line for line in walked.exceeding)
