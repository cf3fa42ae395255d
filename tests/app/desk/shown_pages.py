"""The pages of the desk, by what a screen reader calls them and their parts."""

from __future__ import annotations

from typing import Any

from PySide6.QtWidgets import QAbstractButton, QComboBox, QLabel, QLineEdit, QSpinBox, QTableWidget

from .gestures import LEFT, shown_windows

SHEET, PICTURE, VIEWS = "Save the evidence sheet", "Save the picture", "Views on the sheet"
SAVE_SHEET = "Choose a file, PDF or HTML, and save the sheet"
SAVE_PICTURE = "Choose a file, PNG or SVG, and save the picture"


def page_of(title: str) -> Any:
    return next(w for w in shown_windows() if w.accessibleName() == title)


def called(page: Any, name: str) -> Any:
    kinds = (QAbstractButton, QLineEdit, QSpinBox, QTableWidget, QLabel, QComboBox)
    return next(w for kind in kinds for w in page.findChildren(kind) if w.accessibleName() == name)


def click(qtbot: Any, page: Any, name: str) -> None:
    qtbot.mouseClick(called(page, name), LEFT)


def how_it_goes(page: Any) -> str:
    return called(page, f"How it goes: {page.accessibleName()}").text()


SHEET, PICTURE, VIEWS = "Save the evidence sheet", "Save the picture", "Views on the sheet"
SAVE_SHEET = "Choose a file, PDF or HTML, and save the sheet"
SAVE_PICTURE = "Choose a file, PNG or SVG, and save the picture"
