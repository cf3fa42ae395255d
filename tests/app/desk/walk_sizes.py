"""Walks the desk on a screen of a given size, density and font, and prints what exceeds or is not painted as JSON.

Run: ``python walk_sizes.py WIDTHxHEIGHT [--density 2] [--font 2] [--pictures FOLDER]``. A test runs it in a process of
its own, because Qt takes screen and density when it starts.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1])]


def begin(size: str, density: float, folder: Path) -> None:
    """Say what screen there is, before Qt is loaded."""
    width, height = (round(int(side) * density) for side in size.split("x"))
    screen = {"name": "walked", "x": 0, "y": 0, "width": width, "height": height, "logicalDpi": 96, "dpr": 1}
    (folder / "screen.json").write_text(json.dumps({"screens": [screen]}))
    os.environ["QT_QPA_PLATFORM"] = f"offscreen:configfile={folder / 'screen.json'}"
    os.environ["XDG_DATA_HOME"] = os.environ["XDG_CONFIG_HOME"] = str(folder)
    if density != 1:
        os.environ["QT_SCALE_FACTOR"] = f"{density:g}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("size")
    parser.add_argument("--density", type=float, default=1.0)
    parser.add_argument("--font", type=float, default=1.0)
    parser.add_argument("--pictures", type=Path)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        begin(asked.size, asked.density, Path(folder))
        json.dump(look(asked.font, asked.pictures), sys.stdout, indent=1)


def look(font: float, pictures: Path | None) -> dict[str, object]:
    """Return what was seen, state by state."""
    from PySide6.QtWidgets import QApplication

    from pulsewright_app.desk.style import prepare

    application = QApplication([])
    prepare(application)
    larger = application.font()
    larger.setPointSizeF(larger.pointSizeF() * font)
    application.setFont(larger)
    kinds = "exceeding", "elided", "unpainted"
    told: dict[str, object] = {kind: {} for kind in kinds}
    told["density"] = application.primaryScreen().devicePixelRatio()
    texts, names = 0, []
    for name, walked in _states(pictures):
        texts += walked.texts
        names.append(name)
        for kind in kinds:
            if getattr(walked, kind):
                told[kind][name] = getattr(walked, kind)  # type: ignore[index]
    told["texts"], told["states"] = texts, names
    return told


def _states(pictures: Path | None) -> Iterator[tuple[str, object]]:
    """Go through what the desk can look like."""
    from desk_states import states
    from overflow import menus_of, walk, walk_menu
    from PySide6.QtWidgets import QApplication, QMainWindow

    room = QApplication.primaryScreen().geometry()
    for name, window in states("tank_faults", size=(room.width(), room.height())):
        if pictures is not None:
            pictures.mkdir(parents=True, exist_ok=True)
            window.grab().save(str(pictures / f"{name}.png"))
        seen = walk(window)
        seen.take(window, name, window.width(), room.width())
        seen.take(window, name, window.height(), room.height())
        yield name, seen
        if name == "single" and isinstance(window, QMainWindow):
            for menu in menus_of(window):
                menu.popup(room.topLeft())
                QApplication.processEvents()
                if pictures is not None:
                    menu.grab().save(str(pictures / f"menu_{menu.title().replace('&', '')}.png"))
                yield f"menu {menu.title()}", walk_menu(menu, room)
                menu.close()


if __name__ == "__main__":
    sys.path[:0] = [str(Path(__file__).parent)]
    main()
