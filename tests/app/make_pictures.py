"""Renders every state, page and menu of the desk for every sample, light and dark: look at them as a stranger would.

Run: ``python tests/app/make_pictures.py FOLDER [SAMPLE ...] [--readme]``

With ``--readme`` the light desk on the sample with faults is also written to app/pictures/desk.png.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
from desk_states import finish, settle, states
from picture_findings import figure_pictures, glow_pictures
from PySide6.QtCore import QCoreApplication, Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QApplication, QWidget

from pulsewright_app.desk.style import prepare
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.samples import sample

SAMPLES = ("tank_faults", "tank_walk", "tank_slip", "tank_sine")
README_PICTURE = Path(__file__).parents[2] / "app" / "pictures" / "desk.png"
README_SIZE = (1500, 920)


def save(widget: QWidget, path: Path) -> None:
    widget.grab().save(str(path))
    print(path)


def desk_pictures(folder: Path, name: str, dark: bool) -> None:
    """Render every state of the desk with one sample, every page, and every menu."""
    shade = "dark" if dark else "light"
    for state, window in states(name, dark=dark):
        save(window, folder / f"{name}_{shade}_{state}.png")
        if state == "single" and isinstance(window, DeskWindow):
            for menu in (entry.menu() for entry in window.menuBar().actions()):
                menu.popup(window.pos())
                QCoreApplication.processEvents()
                save(menu, folder / f"{name}_{shade}_menu_{menu.title().replace('&', '')}.png")
                menu.close()
    os.environ["XDG_DATA_HOME"] = tempfile.mkdtemp()  # what is added for the pictures is nobody's review
    window = DeskWindow(dark=dark)
    window.show()
    window.open_path(sample(f"{name}.h5"))
    settle(window)
    window.viewing.go_to(5)
    glow_pictures(window, folder, f"{name}_{shade}", settle, save)
    figure_pictures(window, folder, f"{name}_{shade}", settle, save)
    finish(window)


def in_few_colours(image: QImage) -> QImage:
    """Return a picture in the 256 colours that it has most of: smaller, and to the eye the same."""
    plain = image.convertToFormat(QImage.Format.Format_RGB32)
    pixels = np.frombuffer(plain.constBits(), dtype=np.uint32).reshape(plain.height(), -1)[:, : plain.width()]
    colours, counts = np.unique(pixels, return_counts=True)
    table = [int(colour) for colour in colours[np.argsort(counts)[::-1][:256]]]
    return plain.convertToFormat(QImage.Format.Format_Indexed8, table, Qt.ImageConversionFlag.ThresholdDither)


def readme_picture() -> None:
    """Render the picture that README shows, small enough to be kept with the code."""
    os.environ["XDG_DATA_HOME"] = tempfile.mkdtemp()  # nobody's review is in the picture
    window = DeskWindow()
    window.resize(*README_SIZE)
    window.show()
    window.open_path(sample("tank_faults.h5"))
    settle(window)
    window.viewing.go_to(14)
    window.viewing.set_channel(6)
    settle(window)
    findings, hand = window.results.findings, window.middle.view.hand
    assert findings is not None
    found = findings.pulses.where(14, 6)[0]
    hand.add_at_pointer()
    pair = window.document.pairs[0]  # from where the ping leaves, by hand, to where its echo was found
    window.document.move_marker(pair.id, 1, 14.9e-6, pair.u1)
    window.document.move_marker(pair.id, 2, float(findings.pulses.time[found]), float(findings.pulses.time_u[found]))
    window.document.flag(14)
    settle(window)
    window.message_bar.tell("")
    settle(window)
    image = in_few_colours(window.grab().toImage())
    image.save(str(README_PICTURE), "PNG", 0)  # Qt's quality 0 is the strongest compression
    size = README_PICTURE.stat().st_size
    print(README_PICTURE, f"{image.width()}x{image.height()}, {size / 1000:.0f} kB")
    finish(window)


def main() -> None:
    words = [word for word in sys.argv[1:] if word != "--readme"]
    folder = Path(words[0])
    folder.mkdir(parents=True, exist_ok=True)
    application = QApplication([])
    prepare(application)
    if "--readme" in sys.argv:
        readme_picture()
    for dark in (False, True):
        for name in words[1:] or SAMPLES:
            desk_pictures(folder, name, dark)


if __name__ == "__main__":
    main()
