"""Keeps what a person adds: saved in the background soon after each change, and before the session leaves the desk.

A large session is shown before its whole digest is known. It is taken in the background, and what was found of a
review is judged by it then.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, QTimer, Signal

from pulsewright.review import Review
from pulsewright_app.desk.additions import Additions
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.opening import Opened
from pulsewright_app.desk.review_file import Kept, review_of
from pulsewright_app.desk.session_lock import SessionLock
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.work import Background, Job

_KEY = "Saving the review"
_DIGEST_KEY = "Taking the digest of the whole file"
_SOON_MS = 1000
"""A change is on disk after about this long, however many more follow it."""
_AGAIN_MS = 5000
"""What could not be saved is tried again after this long."""
_MOMENT_S = 0.05
"""How long the window stands still for the saving of what leaves the desk."""


@dataclass(frozen=True)
class _Standing:
    """What makes a review different from the one before: taken and compared at once, however many records it names."""

    additions: Additions
    hidden: frozenset[int]
    sha256: str

    def review(self, opened: Opened) -> Review:
        """Return the review itself; on any thread, as this takes long where many records are marked."""
        more = (self.sha256, opened.places.quick_digest)
        return review_of(self.additions, self.hidden, opened.kept, opened.session, *more)


@dataclass(frozen=True)
class _Leaving:
    """Who waits for the session to be let go of: what is done then, and what where it stays."""

    then: Callable[[], object]
    otherwise: Callable[[], object]
    told: bool = False
    """Whether the bar says that it is being saved."""


class Reviewing(QObject):
    """Saves the review of the session on the desk."""

    told = Signal(str)
    """A sentence for the bar at the top."""
    digest_known = Signal(str)
    """The SHA-256 of the session on the desk."""

    def __init__(
        self, document: Document, viewing: Viewing, background: Background, parent: QObject | None = None
    ) -> None:
        super().__init__(parent)
        self._document, self._viewing, self._background = document, viewing, background
        self._opened: Opened | None = None
        self._saved: _Standing | None = None
        """What the file holds, as far as is known here."""
        self._sha256 = ""
        self._written = False
        """Whether it was saved from this desk."""
        self._warned = False
        self._failure = ""
        """Why the last saving failed; empty if it did not."""
        self._given_up: _Standing | None = None
        """What could not be saved, and was given up."""
        self._leaving: _Leaving | None = None
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(_SOON_MS)
        self._timer.timeout.connect(self._save_soon)
        self._again = QTimer(self)
        self._again.setInterval(_AGAIN_MS)
        self._again.timeout.connect(self._save_soon)
        document.session_changed.connect(self._session_changed)
        document.history_changed.connect(self._changed)
        viewing.shown_changed.connect(self._changed)

    def put_on(self, opened: Opened, options: Mapping[str, Any]) -> None:
        """Put an opened session on the desk, with what was added to it earlier."""
        before, self._opened = self._opened, opened
        self._sha256, self._written = opened.sha256, False
        self._document.open(
            opened.session, options, opened.claims, opened.additions, opened.claims_file, opened.claims_text
        )
        for channel in opened.hidden:
            self._viewing.show_channel(channel, False)
        if before is not None and before.lock is not opened.lock:
            before.lock.release()
        self._saved = self._standing()
        self._timer.stop()
        if opened.told:
            self.told.emit(opened.told)
        if opened.sha256:
            self.digest_known.emit(opened.sha256)
        else:
            self._take_digest(opened)

    def _take_digest(self, opened: Opened) -> None:
        from pulsewright.digest import sha256_of

        def taken(job: Job) -> str:
            sha256 = sha256_of(opened.path, job.cancelled)
            opened.session.require_unaltered()  # else it may be the digest of another file
            return sha256

        def known(sha256: str) -> None:
            if self._opened is opened:
                self._learn(opened, sha256)

        self._background.start(_DIGEST_KEY, taken, known, self.told.emit)

    def _learn(self, opened: Opened, sha256: str) -> None:
        untouched = self._unsaved() is None
        sentence = opened.places.learn(sha256)
        self._sha256 = sha256
        if sentence and untouched and self._document.additions == opened.additions:
            self._document.forget_additions()
            self._viewing.show_all()
        elif sentence:
            sentence = f"{sentence} What you have added since is kept with what that review held."
        if untouched and not self._written:  # looking alone writes nothing
            self._saved = self._standing()
        else:
            self._changed()
        if sentence:
            self.told.emit(sentence)
        self.digest_known.emit(sha256)

    @property
    def path(self) -> Path | None:
        """The file of the session on the desk, if it came from one."""
        return None if self._opened is None else self._opened.path

    @property
    def lock(self) -> SessionLock | None:
        """The desk's mark on the session that it shows."""
        return None if self._opened is None else self._opened.lock

    def _session_changed(self) -> None:
        self._timer.stop()
        self._again.stop()
        self._end_leaving(False)
        self._saved, self._warned, self._failure, self._given_up = None, False, "", None
        if self._opened is not None and self._opened.session is not self._document.recorded:
            self._opened.lock.release()
            self._opened = None

    def as_it_stands(self) -> Callable[[], Review]:
        """Return what makes the review of all that is on the desk now, on any thread; of a session in memory too."""
        session, standing, opened = self._document.session, self._standing(), self._opened
        additions = self._document.additions
        if standing is not None and opened is not None:
            return lambda: standing.review(opened)
        return Review if session is None else lambda: review_of(additions, frozenset(), Kept(), session, "")

    def _standing(self) -> _Standing | None:
        opened = self._opened
        if opened is None:
            return None
        hidden = frozenset(range(len(opened.session.channels))) - frozenset(self._viewing.visible_channels)
        return _Standing(self._document.additions, hidden, self._sha256)

    def _unsaved(self) -> _Standing | None:
        """Return what is to be saved, or None if the file holds it already."""
        standing = self._standing()
        return None if self._saved is None or standing == self._saved else standing

    def _changed(self) -> None:
        # not started anew by each change: a long row of changes must not put the saving off
        if self._saved is not None and not self._timer.isActive():
            self._timer.start()

    def _save_soon(self) -> None:
        standing, opened = self._unsaved(), self._opened
        if standing is None or opened is None:
            self._again.stop()
        else:
            self._save(standing, opened)

    def _save(self, standing: _Standing, opened: Opened) -> None:
        """Have it saved in the background; what was let go of before it was saved is told when it is."""
        places, version = opened.places, opened.places.next_version()

        def done(sentence: str) -> None:
            if self._opened is opened:
                self._saved, self._written, self._warned, self._failure = standing, True, False, ""
                self._again.stop()
                if sentence or (self._leaving is not None and self._leaving.told):
                    self.told.emit(sentence)
                if self._unsaved() is not None:
                    self._changed()
                self._end_leaving(True)

        def failed(sentence: str) -> None:
            if self._opened is not opened:
                return
            if self._leaving is not None:
                self._fail_to_leave(sentence, standing)
                return
            if sentence != self._failure:  # it is told once, and tried again until it goes
                self.told.emit(sentence)
            self._failure = sentence
            self._again.start()

        self._background.start(_KEY, lambda _: places.save(standing.review(opened), version), done, failed, urgent=True)

    def let_go(self, then: Callable[[], object], otherwise: Callable[[], object] = lambda: None) -> bool:
        """Save what is not saved yet, as the session is about to leave the desk.

        Very much takes longer to save than a window may stand still, and so does a folder that does not answer.

        Parameters
        ----------
        then : callable
            Called where it is saved later than in a moment: whoever asked may ask again.
        otherwise : callable
            Called where the session stays: it cannot be saved, or somebody else asked to let it go.

        Returns
        -------
        bool
            Whether nothing is left to be saved. Where it cannot be saved anywhere, the bar says why; asked once more,
            it tries again and then gives up.
        """
        self._timer.stop()
        self._end_leaving(False)
        standing, opened = self._unsaved(), self._opened
        if standing is None or opened is None or standing == self._given_up:
            return True
        answer: list[bool] = []
        self._leaving = _Leaving(lambda: answer.append(True), lambda: answer.append(False))
        self._save(standing, opened)
        self._background.hand_over_soon(_KEY, _MOMENT_S)
        if answer:
            if not answer[0]:
                otherwise()
            return answer[0]
        self._leaving = _Leaving(then, otherwise, told=True)
        self.told.emit(f"What you added to {opened.path.name} is being saved; it closes as soon as that is done.")
        return False

    def _end_leaving(self, saved: bool) -> None:
        """Tell whoever waits for the session to be let go of that it is, or that it stays."""
        leaving = self._leaving
        if leaving is not None and saved and self._unsaved() is not None:
            self._save_soon()  # more was added meanwhile
        elif leaving is not None:
            self._leaving = None
            (leaving.then if saved else leaving.otherwise)()

    def _fail_to_leave(self, sentence: str, standing: _Standing) -> None:
        if self._warned:
            self._given_up = standing
            leaving, self._leaving = self._leaving, None
            if leaving is not None:
                leaving.then()
            return
        self._warned = True
        self.told.emit(f"{sentence} Close it once more to give up what you added.")
        self._end_leaving(False)

    def leave(self) -> None:
        """Take the desk's mark off the session, as the window is closed."""
        if self._opened is not None:
            self._opened.lock.release()
