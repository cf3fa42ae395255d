"""What became of the session's file while it is on the desk: told once, and forgotten once it holds the same again."""

from __future__ import annotations

import os
from collections.abc import Callable

from PySide6.QtCore import QObject, Signal

from pulsewright.file_blocks import FileSource
from pulsewright.session import Session
from pulsewright.watched_file import Change
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.work import Background, Job

_KEY = "Seeing whether the file holds the same again"

_SHOWN = {
    Change.CUT: "what is left of it is shown. Copy the file again.",
    Change.WRITTEN: "nothing more of it is shown. Open it again once nothing writes there any more.",
    Change.REPLACED: "what is shown is still the one that was opened. Open it again to see the other.",
}


class AlteredFile(QObject):
    """Watches over the file of the session on the desk whenever it is looked at.

    Of a file whose place another one took, the samples that were opened are shown on. Of one that was written to,
    nothing more is shown, unless its digest is still that of the file that was opened.

    Parameters
    ----------
    document : Document
    background : Background
    sha256 : callable
        The digest of the file that was opened; empty while it is not known.
    """

    told = Signal(str)
    """A sentence for the bar at the top."""
    same_again = Signal()
    """What could not be read can be tried again."""

    def __init__(
        self, document: Document, background: Background, sha256: Callable[[], str], parent: QObject | None = None
    ) -> None:
        super().__init__(parent)
        self._document, self._background, self._sha256 = document, background, sha256
        self._seen: tuple[Session, Change | None, int] | None = None
        """What was seen last: the session, what became of its file, and the time of its last change."""

    def look(self) -> None:
        """See what became of the file, and tell of it if that is new."""
        session = self._document.recorded
        source = None if session is None else session.source
        if session is None or not isinstance(source, FileSource):
            return
        status, change = source.file_status(), source.change()
        seen = (session, change, 0 if status is None else status.st_mtime_ns)
        if seen == self._seen:
            return
        self._seen = seen
        if change is Change.WRITTEN and status is not None and self._sha256():
            self._compare(session, source, status)
        elif change is not None:
            self._tell(source, change)

    def _tell(self, source: FileSource, change: Change) -> None:
        self.told.emit(f"{source.altered()} while it was open; {_SHOWN[change]}")

    def _compare(self, session: Session, source: FileSource, status: os.stat_result) -> None:
        from pulsewright.digest import sha256_of

        wanted, file = self._sha256(), session.file

        def is_same(job: Job) -> bool:
            named = None if file is None else file.stat()
            if file is None or named is None or (named.st_dev, named.st_ino) != (status.st_dev, status.st_ino):
                return False
            return sha256_of(file, job.cancelled) == wanted

        def take(same: bool) -> None:
            if self._document.recorded is not session:
                return
            if same:
                source.take_as_opened(status)
                self.same_again.emit()
            else:
                self._tell(source, Change.WRITTEN)

        self._background.start(_KEY, is_same, take, lambda _: take(False))
