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
        if change is Change.REPLACED:
            self.told.emit(
                f"{source.altered()}; what is shown is still the one that was opened. Open it again to see the other."
            )
        elif change is Change.WRITTEN and status is not None:
            self._compare(session, source, status)

    def _compare(self, session: Session, source: FileSource, status: os.stat_result) -> None:
        from pulsewright.digest import sha256_of

        wanted, file = self._sha256(), session.file
        if not wanted or file is None:
            return

        def is_same(job: Job) -> bool:
            named = file.stat()
            is_own = (named.st_dev, named.st_ino) == (status.st_dev, status.st_ino)
            return is_own and sha256_of(file, job.cancelled) == wanted

        def take(same: bool) -> None:
            if same and self._document.recorded is session:
                source.take_as_opened(status)
                self.same_again.emit()

        self._background.start(_KEY, is_same, take)
