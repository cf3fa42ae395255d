"""The page of preferences: what is chosen holds at once, and from now on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from PySide6.QtCore import QEvent, Signal
from PySide6.QtWidgets import QCheckBox, QComboBox, QSpinBox, QWidget

from pulsewright_app.desk.form_page import FormPage
from pulsewright_app.desk.habits.preferences import LARGEST_FONT, SMALLEST_FONT, Preferences
from pulsewright_app.desk.viewing import PACES

CHOICES: dict[str, tuple[str, tuple[tuple[str, str], ...]]] = {
    "theme": ("Colours", (("system", "As the system"), ("light", "Light"), ("dark", "Dark"))),
    "view": (
        "A session begins in",
        (("single", "Single"), ("stacked", "Stacked"), ("afterglow", "Afterglow"), ("map", "Map")),
    ),
    "inks": ("Afterglow in", (("count", "Ink by count"), ("polarity", "Inks by polarity"))),
    "snap": (
        "Markers go to",
        (
            ("pulses", "Pulses"),
            ("samples", "Samples"),
            ("crossings", "Crossings"),
            ("nothing", "Where they are dropped"),
        ),
    ),
}
TICKS = {
    "logarithmic": "Ink by the logarithm of the count",
    "lanes": "A lane for each channel in Single",
    "loop": "Start again after the last record",
}


class PreferencesPage(FormPage):
    """Shows what is preferred, and says what a person chooses."""

    chosen = Signal(object)
    """The `Preferences` as they are to be."""

    def __init__(self, preferred: Callable[[], Preferences], parent: QWidget | None = None) -> None:
        super().__init__("Preferences", parent)
        self._preferred = preferred
        """What is preferred now: by this page, by a key, or by the page of another window."""
        self.boxes: dict[str, QComboBox] = {}
        self.ticks: dict[str, QCheckBox] = {}
        self._add_choices(("theme",))
        self.font_percent = QSpinBox()
        self.font_percent.setRange(SMALLEST_FONT, LARGEST_FONT)
        self.font_percent.setSingleStep(10)
        self.font_percent.setSuffix(" %")
        self.font_percent.setKeyboardTracking(False)
        self.font_percent.valueChanged.connect(lambda value: self._choose("font_percent", value))
        self.add_field("Size of letters", self.font_percent)
        self._add_choices(("view", "inks"))
        self._add_ticks(("logarithmic", "lanes"))
        self.neighbours = QSpinBox()
        self.neighbours.setRange(1, 200)
        self.neighbours.setKeyboardTracking(False)
        self.neighbours.valueChanged.connect(lambda value: self._choose("neighbours", value))
        self.add_field("Records in Stacked", self.neighbours)
        self.pace = QComboBox()
        for pace in PACES:
            self.pace.addItem(f"{pace:g} records a second", pace)
        self.pace.activated.connect(lambda: self._choose("pace", self.pace.currentData()))
        self.add_field("Play at", self.pace)
        self._add_ticks(("loop",))
        self._add_choices(("snap",))
        self.usual_button = self.add_button("As usual", "Let everything here be as it was at first")
        self.close_button = self.add_button("Close", "Close this page")
        self.usual_button.clicked.connect(lambda: self._take(Preferences()))
        self.close_button.clicked.connect(self.close)
        self.show_preferred()

    def _add_choices(self, names: tuple[str, ...]) -> None:
        for name in names:
            label, choices = CHOICES[name]
            box = QComboBox()
            for value, text in choices:
                box.addItem(text, value)
            box.activated.connect(lambda _, name=name, box=box: self._choose(name, box.currentData()))
            self.boxes[name] = box
            self.add_field(label, box)

    def _add_ticks(self, names: tuple[str, ...]) -> None:
        for name in names:
            tick = QCheckBox(TICKS[name])
            tick.clicked.connect(lambda on, name=name: self._choose(name, on))
            self.ticks[name] = tick
            self.add_field("", tick, TICKS[name])

    def changeEvent(self, event: QEvent) -> None:
        """Show what was chosen elsewhere meanwhile, as the page is gone back to."""
        super().changeEvent(event)
        if event.type() is QEvent.Type.ActivationChange and self.isActiveWindow():
            self.show_preferred()

    def show_preferred(self) -> None:
        """Show what is preferred now."""
        preferences = self._preferred()
        for name, box in self.boxes.items():
            box.setCurrentIndex(box.findData(getattr(preferences, name)))
        for name, tick in self.ticks.items():
            tick.setChecked(getattr(preferences, name))
        for spin in (self.font_percent, self.neighbours):
            spin.blockSignals(True)
        self.font_percent.setValue(preferences.font_percent)
        self.neighbours.setValue(preferences.neighbours)
        for spin in (self.font_percent, self.neighbours):
            spin.blockSignals(False)
        self.pace.setCurrentIndex(self.pace.findData(preferences.pace))

    def _choose(self, name: str, value: Any) -> None:
        self._take(replace(self._preferred(), **{name: value}))

    def _take(self, preferences: Preferences) -> None:
        self.chosen.emit(preferences)
        self.show_preferred()
