"""Where a file that leaves the desk is offered to go, and which file a typed name means."""

from __future__ import annotations

import os
from pathlib import Path

from PySide6.QtCore import QObject

from pulsewright_app.desk.document import Document
from pulsewright_app.samples import samples_folder


class SavePlaces(QObject):
    """Offers the folder that the last file of this session went to, at first the session's own.

    Where that cannot be written, and for the samples, whose folder belongs to the program, it is the user's documents.
    """

    def __init__(self, document: Document, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._document = document
        self._last: Path | None = None
        document.session_changed.connect(self._forget)

    def _forget(self) -> None:
        self._last = None

    @property
    def folder(self) -> Path:
        """The folder to offer."""
        session = self._document.session
        if self._last is not None and self._last.is_dir():
            return self._last
        if session is None or session.file is None:
            return Path.cwd()
        beside = session.file.resolve().parent
        return _documents() if beside == samples_folder() or not os.access(beside, os.W_OK) else beside

    def offered(self, ending: str) -> str:
        """Return the name to offer for a file, such as ``tank.sheet.pdf`` for the ending ``sheet.pdf``."""
        session = self._document.session
        stem = "session" if session is None or session.file is None else session.file.stem
        return str(self.folder / f"{stem}.{ending}")

    def keep(self, path: Path) -> None:
        """Know that something was written there, a file or a folder of them."""
        self._last = path.parent


def _documents() -> Path:
    import platformdirs

    folder = Path(platformdirs.user_documents_path())
    return folder if folder.is_dir() else Path.home()


def meant(name: str, usual: str, known: tuple[str, ...]) -> Path | str:
    """Return the file that a typed name means: without one of the known endings it gets the usual one.

    Returns
    -------
    Path or str
        A sentence where that file is there already: the system asked only about the name as it was typed.
    """
    typed = Path(name)
    if typed.name.lower().endswith(known):
        return typed
    path = typed.with_name(f"{typed.name}{usual}")
    if path.exists():
        return f"{path} is there already: choose it by its whole name to write over it, or give another one."
    return path
