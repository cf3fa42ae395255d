"""The pyramids of long records' channels: found in memory or in the user's cache folder, or made behind the picture.

What is found in the folder goes by the quick digest of the session's file, and is used at once. It is checked by the
digest of the whole file once that is known, and nothing is put into the folder before.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace

from PySide6.QtCore import QObject, Signal

from pulsewright.cache import Cache, CacheKey, key_of
from pulsewright.session import Session
from pulsewright_analysis.overlay_by_blocks import load_compiled
from pulsewright_analysis.pyramid import Pyramid, block_of, make_pyramid
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.work import Background, Job

_MAKING, _GETTING_READY = "Looking over long records", "Finding what is known of long records"
_CHECKING = "Checking what is known of long records"
_MOST = 2
"""Channels whose pyramids stay in memory."""


class Overviews(QObject):
    """What is known of long records without looking at each sample.

    `finder` works on any thread; all else belongs to the main thread.

    Parameters
    ----------
    document : Document
    background : Background
    tell : callable
        Told once, in a sentence, if pyramids cannot be kept for another time.
    cache : Cache, optional
        In the user's cache folder if None.
    """

    misled = Signal()
    """A pyramid that pictures were made from turned out to be of another file."""

    def __init__(
        self, document: Document, background: Background, tell: Callable[[str], None], cache: Cache | None = None
    ) -> None:
        super().__init__()
        self._background, self._tell = background, tell
        self._cache = cache if cache is not None else Cache()
        self._lock = threading.Lock()
        self._session: Session | None = None
        self._key: CacheKey | None = None
        self._sha256 = ""
        self._unchecked: set[int] = set()
        """Channels whose pyramids were found while the digest of the whole file was not known."""
        self._unkept: dict[int, CacheKey] = {}
        """Channels whose pyramids were made meanwhile, and the keys without that digest."""
        self._made: OrderedDict[int, Pyramid] = OrderedDict()
        self._tried: set[int] = set()
        self._told = False
        document.session_changed.connect(lambda: self._begin(document.session))

    def _begin(self, session: Session | None) -> None:
        for job in (_MAKING, _GETTING_READY, _CHECKING):
            self._background.cancel(job)
        with self._lock:
            self._session, self._key, self._sha256 = session, None, ""
            for known in (self._made, self._unchecked, self._unkept):
                known.clear()
        self._tried.clear()

    def learn_digest(self, sha256: str) -> None:
        """Check by the digest of the whole file what was found without it, and keep what was made meanwhile.

        Parameters
        ----------
        sha256 : str
            Of the session on the desk.
        """
        with self._lock:
            session, self._sha256 = self._session, sha256
            unchecked, self._unchecked = self._unchecked, set()
            unkept, self._unkept = self._unkept, {}
        if session is None or not (unchecked or unkept):
            return

        def check(job: Job) -> tuple[set[int], str]:
            told = [self._keep(channel, replace(key, sha256=sha256)) for channel, key in unkept.items()]
            return {channel for channel in unchecked if self._load(session, channel) is None}, "".join(told[:1])

        def done(found: tuple[set[int], str]) -> None:
            others, sentence = found
            self._say(sentence)
            with self._lock:
                for channel in others:
                    self._made.pop(channel, None)
            self._tried -= others
            if others:
                self.misled.emit()

        self._background.start(_CHECKING, check, done)

    def _keep(self, channel: int, key: CacheKey) -> str:
        with self._lock:
            pyramid = self._made.get(channel)
        return "" if pyramid is None else self._cache.keep(key, {"low": pyramid.low, "high": pyramid.high})

    def finder(self, session: Session, channel: int) -> Callable[[], Pyramid | None]:
        """Return what finds the pyramid of a channel, on any thread: in memory, or in the user's cache folder.

        Parameters
        ----------
        session : Session
        channel : int
        """
        return lambda: self._find(session, channel)

    def _find(self, session: Session, channel: int) -> Pyramid | None:
        if block_of(session) is None:
            return None
        key = self._key_of(session)
        with self._lock:
            if self._session is not session:
                return None
            found = self._made.get(channel)
            if found is not None:
                if key is None and session.file is not None:
                    return None  # the file was changed since: what was known of it may not hold any more
                self._made.move_to_end(channel)
                return found
        while True:
            with self._lock:
                sha256 = self._sha256
            pyramid = self._load(session, channel)
            with self._lock:
                if sha256 != self._sha256:
                    continue  # it has become known just now
                if pyramid is not None and not sha256:
                    self._unchecked.add(channel)
            if pyramid is not None:
                self._take(session, channel, pyramid)
            return pyramid

    def _load(self, session: Session, channel: int) -> Pyramid | None:
        """Return the pyramid from the cache folder, checked by the digest of the whole file if that is known."""
        key, block = self._key_of(session), block_of(session)
        if key is None or block is None:
            return None
        with self._lock:
            sha256 = self._sha256
        arrays = self._cache.load(replace(_of_channel(key, channel, block), sha256=sha256))
        if arrays is None:
            return None
        low, high = arrays.get("low"), arrays.get("high")
        shape = (session.records, -(-session.record_length // block))
        if low is None or high is None or not low.shape == high.shape == shape or low.dtype != session.dtype:
            return None
        return Pyramid(block, session.record_length, low, high)

    def _key_of(self, session: Session) -> CacheKey | None:
        """Return the key of a session, None where its file is no longer what it was when it was first asked for."""
        status = session.source.file_status()
        with self._lock:
            known = self._key if self._session is session else None
        if known is None:
            known = key_of(session, "")
            with self._lock:
                if self._session is session:
                    self._key = known
        if known is None or status is None or (status.st_size, status.st_mtime_ns) != (known.size, known.changed_ns):
            return None
        return known

    def _take(self, session: Session, channel: int, pyramid: Pyramid) -> None:
        with self._lock:
            if self._session is session:
                self._made[channel] = pyramid
                while len(self._made) > _MOST:
                    self._tried.discard(self._made.popitem(last=False)[0])

    def get_ready(self, session: Session, channel: int) -> None:
        """Let what was kept of a channel be found, and compiled code loaded, before they are asked for.

        Parameters
        ----------
        session : Session
        channel : int
        """

        def find(job: Job) -> None:
            pyramid = self._find(session, channel)
            if pyramid is not None and not job.cancelled():
                load_compiled(pyramid)

        if block_of(session) is not None:
            self._background.start(_GETTING_READY, find, lambda _: None, urgent=True)

    def prepare(self, session: Session, channel: int) -> None:
        """Let the pyramid of a channel be made in the background, and kept, unless it is there or of no use.

        Parameters
        ----------
        session : Session
        channel : int
        """
        if channel in self._tried or block_of(session) is None:
            return
        self._tried.add(channel)
        self._background.start(_MAKING, lambda job: self._make(session, channel, job), self._say)

    def _make(self, session: Session, channel: int, job: Job) -> str:
        if self._find(session, channel) is not None:
            return ""
        before = self._key_of(session)
        pyramid = make_pyramid(session, channel, job.cancelled)
        if pyramid is None:
            self._tried.discard(channel)  # it was called off, and may be wanted another time
            return ""
        if self._key_of(session) != before:
            return ""  # the file was changed meanwhile
        load_compiled(pyramid)
        self._take(session, channel, pyramid)
        if before is None:
            return ""
        key = _of_channel(before, channel, pyramid.block)
        with self._lock:
            sha256 = self._sha256
            if self._session is session and not sha256:
                self._unkept[channel] = key
            if self._session is not session or not sha256:
                return ""
        return self._keep(channel, replace(key, sha256=sha256))

    def _say(self, sentence: str) -> None:
        if sentence and not self._told:
            self._told = True
            self._tell(sentence)


def _of_channel(key: CacheKey, channel: int, block: int) -> CacheKey:
    return replace(key, what=f"minima and maxima of blocks of {block} samples, channel {channel}")
