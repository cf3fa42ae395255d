"""Renders every state, page and menu of the desk for every sample, light and dark: look at them as a stranger would.

Run: ``python tests/app/make_pictures.py FOLDER [SAMPLE ...] [--readme]``

With ``--readme`` the light desk on the sample with faults is also written to app/pictures/desk.png.
"""

from __future__ import annotations

import os
import sys
import tempfile
from io import BytesIO
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
from desk_states import finish, settle, states
from picture_findings import figure_pictures, glow_pictures
from PIL import Image
from PySide6.QtCore import QBuffer, QCoreApplication
from PySide6.QtWidgets import QApplication, QWidget

from pulsewright_app.desk.style import prepare
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.samples import sample

SAMPLES = ("tank_faults", "tank_walk", "tank_slip", "tank_sine")
ALIKE = (
    "first_screen", "message_no_file", "message_long", "filter_wrong", "page_about", "page_cautions", "page_guide",
    "page_import", "page_pair_series", "page_preferences", "page_shortcuts",
)  # fmt: skip
"""States that look alike whatever the sample: rendered with the first one, as the menus are."""
README_PICTURE = Path(__file__).parents[2] / "app" / "pictures" / "desk.png"
README_SIZE = (1500, 920)
_WRITTEN: set[Path] = set()
_COMMONEST = 128
"""Colours of README's pictures that are kept as they are, of 256."""


def save(widget: QWidget, path: Path) -> None:
    if path in _WRITTEN:
        raise FileExistsError(f"{path} is written twice: the first picture would never be seen")
    _WRITTEN.add(path)
    widget.grab().save(str(path))
    print(path)


def desk_pictures(folder: Path, name: str, dark: bool) -> None:
    """Render every state of the desk with one sample, every page, and every menu."""
    shade = "dark" if dark else "light"
    first = name == SAMPLES[0]
    for state, window in states(name, dark=dark):
        if first or state not in ALIKE:
            save(window, folder / f"{name}_{shade}_{state}.png")
        if first and state == "single" and isinstance(window, DeskWindow):
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


def save_small(picture: bytes, path: Path) -> None:
    """Save a PNG in 256 colours: the commonest as they are, and others that cover the rare ones, too."""
    with Image.open(BytesIO(picture)) as image:
        pixels = np.asarray(image.convert("RGB"))
    colours, places, counts = np.unique(pixels.reshape(-1, 3), axis=0, return_inverse=True, return_counts=True)
    rare_first = colours[np.argsort(counts)]
    rare = Image.fromarray(rare_first[None, :-_COMMONEST] if len(colours) > 2 * _COMMONEST else rare_first[None])
    covering = np.array(rare.quantize(_COMMONEST, Image.Quantize.MAXCOVERAGE).convert("RGB")).reshape(-1, 3)
    table = np.unique(np.concatenate([rare_first[-_COMMONEST:], covering]), axis=0).astype(np.int64)
    nearest = [int(np.argmin(((table - colour) ** 2).sum(axis=1))) for colour in colours.astype(np.int64)]
    few = Image.fromarray(np.array(nearest, np.uint8)[places].reshape(pixels.shape[:2]), "P")
    few.putpalette(table.astype(np.uint8).ravel().tolist())
    few.save(path, optimize=True)
    print(path, f"{few.width}x{few.height}, {path.stat().st_size / 1000:.0f} kB")


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
    data = QBuffer()
    window.grab().save(data, "PNG")
    save_small(bytes(data.data().data()), README_PICTURE)
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
