"""The bar at the top is as high as what it says."""

from __future__ import annotations

from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtWidgets import QApplication, QVBoxLayout, QWidget

from pulsewright_app.desk.message_bar import MessageBar


def test_a_short_message_after_a_long_one_takes_a_short_ones_room(qtbot: Any) -> None:
    page, bar = QWidget(), MessageBar()
    qtbot.addWidget(page)
    column = QVBoxLayout(page)
    column.addWidget(bar)
    column.addStretch(1)
    page.resize(400, 500)
    page.show()
    heights = []
    for sentence in ("a short one", "what is wrong, where, and what to do " * 6, "", "a short one"):
        bar.tell(sentence)
        for _ in range(3):
            QApplication.processEvents()
        heights.append(bar.height() if sentence else 0)
    short, long, _, again = heights
    assert long > short + 2 * bar.fontMetrics().lineSpacing()
    assert again == short
