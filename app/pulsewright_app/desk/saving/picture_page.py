"""The page from which the view that is looked at is saved as a picture, at a chosen size."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtWidgets import QFileDialog, QSpinBox, QWidget

from pulsewright.errors import PulsewrightError
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.form_page import FormPage
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.saving.files import PICTURE, Files
from pulsewright_app.desk.saving.sheet_page import with_suffix
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.evidence.view_files import LARGEST, SMALLEST, SUFFIXES, PictureSize

FORMS = "PNG, pixels (*.png);;SVG, lines (*.svg)"
USUAL = (1200, 700)
MOST_DENSE = 4


class PicturePage(FormPage):
    """Asks for the size, and saves the view as it is drawn on the evidence sheet: on white, with its caption."""

    def __init__(
        self, document: Document, viewing: Viewing, results: Results, files: Files, parent: QWidget | None = None
    ) -> None:
        super().__init__("Save the picture", parent)
        self._document, self._viewing, self._files = document, viewing, files
        self.across, self.down, self.density = (QSpinBox() for _ in range(3))
        for side, usual in ((self.across, USUAL[0]), (self.down, USUAL[1])):
            side.setRange(SMALLEST, LARGEST)
            side.setSingleStep(50)
            side.setSuffix(" px")
            side.setValue(usual)
        self.density.setRange(1, MOST_DENSE)
        self.density.setPrefix("× ")
        self.density.setToolTip("How many times as many pixels a PNG has each way; its letters stay as large")
        self.add_field("Width", self.across, "Width of the picture in pixels")
        self.add_field("Height", self.down, "Height of the picture in pixels")
        self.add_field("Density", self.density, "How many times as many pixels each way")
        self.save_button = self.add_button("Save as …", "Choose a file, PNG or SVG, and save the picture")
        self.close_button = self.add_button("Close", "Close this page")
        self.save_button.clicked.connect(self.choose)
        self.close_button.clicked.connect(self.close)
        for signal in (viewing.view_changed, viewing.record_changed, viewing.channel_changed, results.changed):
            signal.connect(self._update)
        document.session_changed.connect(self._update)
        files.saved.connect(self._saved)
        files.failed.connect(self._failed)
        self.resize(380, 220)
        self._update()

    def _update(self) -> None:
        session = self._document.session
        self.save_button.setEnabled(session is not None and not self._files.writing(PICTURE))
        if session is None:
            self.told.setText("There is no session on the desk: open one first.")
            return
        viewing, name = self._viewing, session.channels[self._viewing.channel].name
        what = {
            "single": f"Single, record {viewing.record}",
            "stacked": f"Stacked around record {viewing.record}, {name}",
            "afterglow": f"Afterglow, {name}",
            "map": f"Map, {name}",
        }[viewing.view]
        self.told.setText(f"{what}; drawn on white as on the evidence sheet, with its caption below.")

    def choose(self) -> None:
        """Ask for the file, and write the picture into it."""
        session = self._document.session
        if session is None:
            return
        beside = Path.cwd() if session.file is None else session.file.parent
        stem = "session" if session.file is None else session.file.stem
        start = str(beside / f"{stem}.{self._viewing.view}.png")
        name, chosen = QFileDialog.getSaveFileName(self, "Save the picture", start, FORMS)
        if name:
            self.write(with_suffix(Path(name), ".svg" if "svg" in chosen else ".png", SUFFIXES))

    def write(self, path: Path) -> None:
        """Write the view into a file."""
        try:
            size = PictureSize(self.across.value(), self.down.value(), self.density.value())
        except PulsewrightError as error:
            self.told.setText(error.sentence)
            return
        self._files.write_picture(path, size)
        self.save_button.setEnabled(not self._files.writing(PICTURE))

    def _saved(self, key: str, path: object, _: str) -> None:
        if key == PICTURE:
            self._update()
            self.told.setText(f"Saved: {path}.")

    def _failed(self, key: str, sentence: str) -> None:
        if key == PICTURE:
            self._update()
            self.told.setText(sentence)
