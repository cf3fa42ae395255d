"""Which files are there, asked away from the window's thread: a network folder may not answer. No widgets."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from PySide6.QtCore import QObject, Signal


class Presence(QObject):
    """What is known of whether files are there; each is asked after by itself, so that none waits for another."""

    changed = Signal()
    """More is known now, or something else."""
    _answered = Signal(object, bool)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._there: dict[Path, bool] = {}
        self._asked: set[Path] = set()
        """Files whose answer is still awaited."""
        self._answered.connect(self._take)

    def ask(self, paths: Iterable[Path]) -> None:
        """Ask after files anew; what was known of them counts until the answer comes."""
        for path in paths:
            if path not in self._asked:
                self._asked.add(path)
                # nobody waits for it as the program ends: it may never come back
                threading.Thread(target=self._look, args=(path,), name="looking for a file", daemon=True).start()

    def there(self, path: Path) -> bool | None:
        """Return whether a file is there; None while nothing is known of it."""
        return self._there.get(path)

    def _look(self, path: Path) -> None:
        there = is_file(path)
        with suppress(RuntimeError):  # the window has gone meanwhile
            self._answered.emit(path, there)

    def _take(self, path: Path, there: bool) -> None:
        self._asked.discard(path)
        if self._there.get(path) != there:
            self._there[path] = there
            self.changed.emit()


def is_file(path: Path) -> bool:
    """Return whether there is such a file; takes as long as its folder takes to answer."""
    try:
        return path.is_file()
    except OSError:
        return False
