"""Renders the four views and the full desk of every sample session, light and dark: look at them as a stranger would.

Run: ``python tests/app/make_pictures.py FOLDER [SAMPLE ...] [--readme]``

With ``--readme`` the light desk on the sample with faults is also written to app/pictures/desk.png.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from picture_findings import figure_pictures, glow_pictures
from PySide6.QtCore import QCoreApplication, QEvent, QTimer
from PySide6.QtWidgets import QApplication, QWidget

from pulsewright_app.desk.style import prepare
from pulsewright_app.desk.viewing import VIEWS
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.samples import sample

SAMPLES = ("tank_faults", "tank_walk", "tank_slip", "tank_sine")
LONGEST_WAIT = 120.0
README_PICTURE = Path(__file__).parents[2] / "app" / "pictures" / "desk.png"
README_SIZE = (1500, 920)


def settle(window: DeskWindow) -> None:
    """Let the desk finish what it does in the background and draw it."""
    end = time.monotonic() + LONGEST_WAIT
    quiet = 0
    while quiet < 5 and time.monotonic() < end:
        QCoreApplication.processEvents()
        time.sleep(0.02)
        put_off = any(timer.isActive() and timer.isSingleShot() for timer in window.findChildren(QTimer))
        quiet = 0 if window.background.busy or put_off else quiet + 1


def save(widget: QWidget, path: Path) -> None:
    widget.grab().save(str(path))
    print(path)


def desk_pictures(folder: Path, name: str, dark: bool) -> None:
    """Render one sample session."""
    os.environ["XDG_DATA_HOME"] = tempfile.mkdtemp()  # what is added for the pictures is nobody's review
    window = DeskWindow(dark=dark)
    window.show()
    window.open_path(sample(f"{name}.h5"))
    settle(window)
    window.viewing.go_to(5)
    session = window.document.session
    assert session is not None
    shade = "dark" if dark else "light"
    for view in VIEWS:
        window.viewing.set_view(view)
        settle(window)
        save(window.middle, folder / f"{name}_{view}_{shade}.png")
    window.viewing.set_view("afterglow")
    window.viewing.set_inks("polarity")
    settle(window)
    save(window.middle, folder / f"{name}_two_inks_{shade}.png")
    glow_pictures(window, folder, f"{name}_{shade}", settle, save)
    figure_pictures(window, folder, f"{name}_{shade}", settle, save)
    window.viewing.set_view("single")
    window.viewing.set_lanes(False)
    settle(window)
    save(window.middle, folder / f"{name}_one_axis_{shade}.png")
    window.viewing.set_lanes(True)
    window.middle.view.hand.add_at_pointer()
    window.document.flag(9)
    settle(window)
    save(window, folder / f"{name}_desk_{shade}.png")
    window.viewing.zoom_time((0.0, 40 * session.sample_interval))
    settle(window)
    save(window.middle, folder / f"{name}_dots_{shade}.png")
    finish(window)


def readme_picture() -> None:
    """Render the picture that README shows, small enough to be kept with the code."""
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
    image = window.grab().toImage()
    image.save(str(README_PICTURE), "PNG", 0)  # Qt's quality 0 is the strongest compression
    size = README_PICTURE.stat().st_size
    print(README_PICTURE, f"{image.width()}x{image.height()}, {size / 1000:.0f} kB")
    finish(window)


def first_screen(folder: Path, dark: bool) -> None:
    """Render the desk without a session, and with a message."""
    window = DeskWindow(dark=dark)
    window.show()
    window.open_path(Path("no_such_session.h5"))
    settle(window)
    save(window, folder / f"first_screen_{'dark' if dark else 'light'}.png")
    finish(window)


def finish(window: DeskWindow) -> None:
    window.close()
    window.deleteLater()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    QCoreApplication.processEvents()


def main() -> None:
    words = [word for word in sys.argv[1:] if word != "--readme"]
    folder = Path(words[0])
    folder.mkdir(parents=True, exist_ok=True)
    application = QApplication([])
    prepare(application)
    if "--readme" in sys.argv:
        readme_picture()
    for dark in (False, True):
        first_screen(folder, dark)
        for name in words[1:] or SAMPLES:
            desk_pictures(folder, name, dark)


if __name__ == "__main__":
    main()
