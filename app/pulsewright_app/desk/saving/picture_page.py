"""The page from which the view that is looked at is saved as a picture, at a chosen size."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtGui import QImage
from PySide6.QtWidgets import QComboBox, QFileDialog, QSpinBox, QWidget

from pulsewright.errors import PulsewrightError
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.form_page import FormPage
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.saving.current_view import left_away
from pulsewright_app.desk.saving.files import PICTURE, Files
from pulsewright_app.desk.saving.other_colours import OtherColours
from pulsewright_app.desk.saving.places import meant
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.views.view import View
from pulsewright_app.evidence.view_files import LARGEST, SMALLEST, SUFFIXES, PictureSize

FORMS = "PNG, pixels (*.png);;SVG, lines (*.svg)"
FORM_OF_SCREEN = "PNG, pixels (*.png)"
MOST_DENSE = 4
ON_WHITE, ON_SCREEN = "On white, as on the sheet", "As it is on the screen"
IN_LIGHT, IN_DARK = "As on the screen, in light colours", "As on the screen, in dark colours"


def screen_image(view: QWidget, density: float) -> QImage:
    """Return a view as it is on the screen, with so many pixels to each of its own."""
    image = QImage(view.size() * density, QImage.Format.Format_RGB32)
    image.setDevicePixelRatio(density)
    image.fill(view.palette().window().color())
    view.render(image)
    return image


class PicturePage(FormPage):
    """Asks for the size, and saves the view as it is drawn on the evidence sheet, or as it is on the screen.

    Parameters
    ----------
    document, viewing, results, files
        What is looked at, what was measured, and who writes.
    shown : callable
        Returns the view that is on the screen.
    """

    def __init__(
        self,
        document: Document,
        viewing: Viewing,
        results: Results,
        files: Files,
        shown: Callable[[], View],
        parent: QWidget | None = None,
    ) -> None:
        super().__init__("Save the picture", parent)
        self._document, self._viewing, self._files = document, viewing, files
        self._shown, self._sized = shown, False
        self.drawn = QComboBox()
        self.drawn.addItems([ON_WHITE, ON_SCREEN, IN_LIGHT, IN_DARK])
        self._other_colours = OtherColours(viewing, shown, self)
        self.across, self.down, self.density = (QSpinBox() for _ in range(3))
        for side in (self.across, self.down):
            side.setRange(SMALLEST, LARGEST)
            side.setSingleStep(50)
            side.setSuffix(" px")
            side.valueChanged.connect(self._size_chosen)
        self.density.setRange(1, MOST_DENSE)
        self.density.setPrefix("× ")
        self.density.setToolTip("How many times as many pixels a PNG has each way; its letters stay as large")
        self.add_field("Drawn", self.drawn, "How the view is drawn")
        self.add_field("Width", self.across, "Width of the picture in pixels")
        self.add_field("Height", self.down, "Height of the picture in pixels")
        self.add_field("Density", self.density, "How many times as many pixels each way")
        self.save_button = self.add_button("Save as …", "Choose a file, PNG or SVG, and save the picture")
        self.stop_button = self.add_button("Stop", "Leave off making the picture")
        self.close_button = self.add_button("Close", "Close this page")
        self.bar = self.add_bar("How much of the picture is made")
        self.drawn.currentIndexChanged.connect(self._update)
        self.save_button.clicked.connect(self.choose)
        self.stop_button.clicked.connect(self._stop)
        self.close_button.clicked.connect(self.close)
        for signal in (
            viewing.view_changed, viewing.record_changed, viewing.channel_changed, viewing.dark_changed,
            viewing.glow.changed, viewing.reference.changed, viewing.trims.changed, results.changed,
        ):  # fmt: skip
            signal.connect(self._update)
        document.session_changed.connect(self._other_colours.give_up)
        document.session_changed.connect(self._update)
        files.saved.connect(self._saved)
        files.failed.connect(self._failed)
        files.progress.connect(self._progress)
        self.resize(400, 260)
        self._update()

    def come_up(self) -> None:
        """Show the page; until somebody chose a size, the picture is as large as the view is now."""
        self._take_size()
        super().come_up()

    def _take_size(self) -> None:
        if not self._sized:
            size = self._shown().size()
            self.across.setValue(size.width())
            self.down.setValue(size.height())
            self._sized = False  # by nobody

    def _size_chosen(self) -> None:
        self._sized = True

    @property
    def _of_screen(self) -> bool:
        return self.drawn.currentText() != ON_WHITE

    @property
    def _dark(self) -> bool:
        """Whether the picture of the screen is to be dark."""
        return {IN_LIGHT: False, IN_DARK: True}.get(self.drawn.currentText(), self._viewing.dark)

    def _update(self) -> None:
        session, writing = self._document.session, self._files.writing(PICTURE) or self._other_colours.waiting
        refused = "" if self._of_screen else self._files.picture_refused()
        self.save_button.setEnabled(session is not None and not writing and not refused)
        self.stop_button.setVisible(writing)
        self.bar.setVisible(writing)
        for side in (self.across, self.down):  # the screen has its own size
            side.setEnabled(not self._of_screen)
        if writing:
            return
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
        if self._of_screen and self._dark != self._viewing.dark:
            colours = "dark" if self._dark else "light"
            self.told.setText(f"{what}; as on the screen, in its size; the desk turns {colours} for a moment.")
        elif self._of_screen:
            self.told.setText(f"{what}; as it is on the screen, in its colours and its size.")
        elif refused:
            self.told.setText(f"{what}. {refused}")
        else:
            lacking = left_away(viewing)
            without = f"; without {lacking}, which the sheet does not draw" if lacking else ""
            self.told.setText(f"{what}; drawn on white as on the evidence sheet, with its caption below{without}.")

    def choose(self) -> None:
        """Ask for the file, and write the picture into it."""
        if self._document.session is None:
            return
        start = self._files.places.offered(f"{self._viewing.view}.png")
        forms = FORM_OF_SCREEN if self._of_screen else FORMS
        name, chosen = QFileDialog.getSaveFileName(self, "Save the picture", start, forms)
        path = meant(name, ".svg" if "svg" in chosen else ".png", SUFFIXES) if name else None
        if isinstance(path, Path):
            self.write(path)
        elif path:
            self.told.setText(path)

    def write(self, path: Path) -> None:
        """Write the view into a file."""
        if self._of_screen:
            self._write_screen(path)
            return
        try:
            size = PictureSize(self.across.value(), self.down.value(), self.density.value())
        except PulsewrightError as error:
            self.told.setText(error.sentence)
            return
        self._files.write_picture(path, size)
        self._begun()

    def _write_screen(self, path: Path) -> None:
        if path.suffix.lower() != ".png":
            self.told.setText(f"{path.name}: the screen is written as .png; choose {ON_WHITE!r} for lines.")
            return
        density = self.density.value()

        def write(view: View) -> None:
            self._files.write_screen(path, screen_image(view, density))
            self._begun()

        self._other_colours.draw(self._dark, write)
        self._update()

    def _stop(self) -> None:
        """Leave off, whether it is being drawn or written."""
        if self._other_colours.waiting:
            self._other_colours.give_up()
            self._failed(PICTURE, f"{PICTURE} was called off.")
        self._files.cancel(PICTURE)

    def _begun(self) -> None:
        self.bar.setValue(0)
        if self._files.writing(PICTURE):  # else why not has been told
            self._update()

    def _progress(self, key: str, share: float, doing: str) -> None:
        if key == PICTURE:
            self.show_progress(self.bar, share, doing)

    def _saved(self, key: str, path: object, _: str) -> None:
        if key == PICTURE:
            self._update()
            self.told.setText(f"Saved: {path}.")

    def _failed(self, key: str, sentence: str) -> None:
        if key == PICTURE:
            self._update()
            self.told.setText(sentence)
