"""The pyramids of long records' channels: found in memory or in the user's cache folder, or made behind the picture."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace

from pulsewright.cache import Cache, CacheKey, key_of
from pulsewright.session import Session
from pulsewright_analysis.overlay_by_blocks import load_compiled
from pulsewright_analysis.pyramid import Pyramid, block_of, make_pyramid
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.work import Background, Job

_MAKING, _GETTING_READY = "Looking over long records", "Finding what is known of long records"
_MOST = 2
"""Channels whose pyramids stay in memory."""


class Overviews:
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

    def __init__(
        self, document: Document, background: Background, tell: Callable[[str], None], cache: Cache | None = None
    ) -> None:
        self._background, self._tell = background, tell
        self._cache = cache if cache is not None else Cache()
        self._lock = threading.Lock()
        self._session: Session | None = None
        self._key: CacheKey | None = None
        self._made: OrderedDict[int, Pyramid] = OrderedDict()
        self._tried: set[int] = set()
        self._told = False
        document.session_changed.connect(lambda: self._begin(document.session))

    def _begin(self, session: Session | None) -> None:
        self._background.cancel(_MAKING)
        self._background.cancel(_GETTING_READY)
        with self._lock:
            self._session, self._key = session, None
            self._made.clear()
        self._tried.clear()

    def finder(self, session: Session, channel: int) -> Callable[[], Pyramid | None]:
        """Return what finds the pyramid of a channel, on any thread: in memory, or in the user's cache folder.

        Parameters
        ----------
        session : Session
        channel : int
        """
        return lambda: self._find(session, channel)

    def _find(self, session: Session, channel: int) -> Pyramid | None:
        block = block_of(session)
        if block is None:
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
        arrays = None if key is None else self._cache.load(_of_channel(key, channel, block))
        if arrays is None:
            return None
        low, high = arrays.get("low"), arrays.get("high")
        shape = (session.records, -(-session.record_length // block))
        if low is None or high is None or not low.shape == high.shape == shape or low.dtype != session.dtype:
            return None
        pyramid = Pyramid(block, session.record_length, low, high)
        self._take(session, channel, pyramid)
        return pyramid

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
        return self._cache.keep(_of_channel(before, channel, pyramid.block), {"low": pyramid.low, "high": pyramid.high})

    def _say(self, sentence: str) -> None:
        if sentence and not self._told:
            self._told = True
            self._tell(sentence)


def _of_channel(key: CacheKey, channel: int, block: int) -> CacheKey:
    return replace(key, what=f"minima and maxima of blocks of {block} samples, channel {channel}")
