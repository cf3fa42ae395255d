"""The pages of Help, beside the work: the guide with its steps, the cautions, what this program is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtGui import QFont
from PySide6.QtWidgets import QLabel, QWidget

from pulsewright_app.desk.form_page import FormPage
from pulsewright_app.desk.help.guide_steps import STEPS
from pulsewright_app.evidence.words import CAUTIONS
from pulsewright_app.samples import DEMO_SESSION

if TYPE_CHECKING:
    from pulsewright_app.desk.window import DeskWindow

_AS_HIGH_AS_NEEDED = 1
"""A page that comes up takes at least the height of what it says."""


class GuidePage(FormPage):
    """One step at a time; the desk beside it stays free to be used."""

    def __init__(self, desk: DeskWindow) -> None:
        super().__init__("Five-minute guide", desk)
        self._desk = desk
        self._place = 0
        self.title = QLabel()
        self.title.setAccessibleName("Step of the guide")
        font = QFont(self.title.font())
        font.setBold(True)
        self.title.setFont(font)
        self.text = QLabel()
        self.text.setAccessibleName("What the step is about")
        self.text.setWordWrap(True)
        self.text.setTextFormat(Qt.TextFormat.PlainText)
        self.text.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.column.insertWidget(0, self.title)
        self.column.insertWidget(1, self.text, 10)
        self.show_button = self.add_button("Show me", "Do this step on the desk")
        self.before_button = self.add_button("Before", "Go to the step before")
        self.next_button = self.add_button("Next", "Go to the next step")
        self.close_button = self.add_button("Close", "Close the guide")
        self.show_button.clicked.connect(lambda: STEPS[self._place].show(self._desk))
        self.before_button.clicked.connect(lambda: self._go(-1))
        self.next_button.clicked.connect(lambda: self._go(1))
        self.close_button.clicked.connect(self.close)
        desk.document.session_changed.connect(self._update)
        self.resize(440, 230)
        self._update()

    def _go(self, by: int) -> None:
        self._place = min(max(self._place + by, 0), len(STEPS) - 1)
        self._update()

    def _update(self) -> None:
        step = STEPS[self._place]
        self.title.setText(f"{self._place + 1} of {len(STEPS)}: {step.title}")
        self.text.setText(step.text)
        session = self._desk.document.session
        # its steps add a pair and a view: to nobody's own session
        there = session is not None and session.file is not None and session.file.name == DEMO_SESSION
        self.show_button.setEnabled(there or self._place == 0)
        self.told.setText("" if there or self._place == 0 else "Open the sample first: it is the first step.")
        self.before_button.setEnabled(self._place > 0)
        self.next_button.setEnabled(self._place < len(STEPS) - 1)


class TextPage(FormPage):
    """A page to be read."""

    def __init__(self, title: str, paragraphs: tuple[str, ...], parent: QWidget | None = None) -> None:
        super().__init__(title, parent)
        self.text = QLabel("\n\n".join(paragraphs))
        self.text.setAccessibleName(title)
        self.text.setWordWrap(True)
        self.text.setTextFormat(Qt.TextFormat.PlainText)
        self.text.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.text.setTextInteractionFlags(
            Qt.TextInteractionFlag.TextSelectableByMouse | Qt.TextInteractionFlag.TextSelectableByKeyboard
        )
        self.column.insertWidget(0, self.text, 10)
        self.close_button = self.add_button("Close", "Close this page")
        self.close_button.clicked.connect(self.close)
        self.resize(520, _AS_HIGH_AS_NEEDED)


def cautions_page(parent: QWidget) -> TextPage:
    """Return the page of the cautions, in the words of the evidence sheet."""
    return TextPage("Cautions", CAUTIONS[:2], parent)


def about_page(parent: QWidget) -> TextPage:
    """Return the page that says what this program is."""
    from importlib.metadata import version

    return TextPage(
        "About Pulsewright",
        (
            f"Pulsewright {version('pulsewright')}",
            "Turns the recorded segments of a repetitive-trigger experiment into evidence: every number with its "
            "uncertainty.",
            "Under the MIT licence. The letters on a machine without fonts of its own, and those of the sheet's "
            "figures, are DejaVu's, under their own licence, which is beside them.",
        ),
        parent,
    )
