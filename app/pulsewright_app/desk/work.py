"""Background work: jobs with generation numbers, and the records and extents that the views draw from."""

from __future__ import annotations

import math
import threading
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor, wait
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QCoreApplication, QEvent, QObject, Signal

from pulsewright.errors import PulsewrightError
from pulsewright.file_blocks import ChunkedSource
from pulsewright.session import Codes, Session
from pulsewright_app.desk.attention import OF_ALL_WINDOWS, Attention
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.kept import K, Kept
from pulsewright_app.desk.tidying import Tidying

Outcome = TypeVar("Outcome")
Cancelled = Callable[[], bool]
Progress = Callable[[float, str], None]

_PROGRESS_EVERY = 0.05
PARTS_EVERY = 0.15
"""Seconds between two parts of a picture."""
_FIRST_PART = 1 / 15
"""Of that time, until the first part: with its ink and the paint it is to be on the screen within two frames."""
_KEPT_BYTES = 64 << 20


class Job:
    """A piece of work under way: what it is told, and what it reports."""

    def __init__(
        self,
        key: str,
        generation: int,
        report: Callable[[Callable[[], None]], None],
        give_way: Callable[[], None] = lambda: None,
    ) -> None:
        self.key = key
        self.generation = generation
        self._report = report
        self._give_way = give_way
        self._cancelled = threading.Event()
        self._last_progress = 0.0
        self.on_progress: Progress | None = None
        self.on_part: Callable[[Any], None] | None = None
        self.future: Future[None] | None = None
        self._parts: deque[Any] = deque(maxlen=1)  # of those that nobody has taken yet, the newest counts
        self._begun, self._last_part = time.monotonic(), -math.inf

    def cancel(self) -> None:
        """Ask the work to stop."""
        self._cancelled.set()

    def cancelled(self) -> bool:
        """Return whether the work should stop; polled by the work itself, which waits here while the window is busy."""
        self._give_way()
        return self._cancelled.is_set()

    def progress(self, fraction: float, text: str) -> None:
        """Report from the worker how far it has come."""
        now = time.monotonic()
        if self.on_progress is None or now - self._last_progress < _PROGRESS_EVERY:
            return
        self._last_progress = now
        tell = self.on_progress
        self._report(lambda: tell(fraction, text))

    def publish(self, make: Callable[[], Any], every: float = 0.0) -> None:
        """Hand over from the worker what there is of the outcome so far.

        Parameters
        ----------
        make : callable
            Makes the part; not called where nobody wants it, or where the last one was made just now.
        every : float
            Seconds between two parts; the first one comes much sooner.
        """
        now = time.monotonic()
        if self.on_part is None or now < max(self._begun + every * _FIRST_PART, self._last_part + every):
            return
        self._parts.append(make())
        self._last_part = time.monotonic()
        self._report(self._hand_over)

    def _hand_over(self) -> None:
        if self._parts and self.on_part is not None:
            self.on_part(self._parts.pop())


class Background(QObject):
    """Runs jobs on threads of its own and hands their outcome to the main thread.

    A job belongs to a key. Starting another with the same key cancels the first, whose outcome is dropped.
    """

    _reported = Signal(object)

    def __init__(self, parent: QObject | None = None, threads: int = 3) -> None:
        super().__init__(parent)
        self._pool = ThreadPoolExecutor(threads, thread_name_prefix="desk")
        self._pictures = ThreadPoolExecutor(2, thread_name_prefix="desk picture")
        self._urgent = ThreadPoolExecutor(1, thread_name_prefix="desk at once")
        self._futures: set[Future[None]] = set()
        self._jobs: dict[str, Job] = {}
        self._generation = 0
        self._closed = False
        self.attention = Attention(OF_ALL_WINDOWS)
        self._tidying = Tidying(OF_ALL_WINDOWS, self)
        self._reported.connect(self._receive)

    def start(
        self,
        key: str,
        work: Callable[[Job], Outcome],
        done: Callable[[Outcome], None],
        failed: Callable[[str], None] | None = None,
        progress: Progress | None = None,
        *,
        partial: Callable[[Any], None] | None = None,
        urgent: bool = False,
        picture: bool = False,
    ) -> None:
        """Start a job; once the threads have ended, nobody is left who wants its outcome, and nothing happens.

        Parameters
        ----------
        key : str
            What the job is for.
        work : callable
            Runs on a worker thread with its `Job`; it must poll `Job.cancelled`.
        done, failed, progress, partial : callable
            Called on the main thread with the outcome, a sentence, how far it has come, or a part of the outcome; not
            after a newer job of the same key was started or the job was cancelled.
        urgent : bool
            True for short work that must not wait until a long one lets go of a thread.
        picture : bool
            True for the picture of the view in front, which does not wait for other work either, however long it takes.
        """
        self.cancel(key)
        if self._closed:
            return
        self._generation += 1
        thread = self.attention.thread
        of_others = thread.give_way if picture else thread.give_way_to_pictures
        give_way = (lambda: None) if urgent else of_others
        job = Job(key, self._generation, lambda call: self._reported.emit((job, False, call)), give_way)
        job.on_progress, job.on_part = progress, partial
        self._jobs[key] = job
        self._futures = {future for future in self._futures if not future.done()}
        pool = self._urgent if urgent else self._pictures if picture else self._pool
        drawing = thread.drawing if picture else nullcontext
        job.future = pool.submit(self._run, job, work, done, failed, drawing)
        self._futures.add(job.future)

    def hand_over_soon(self, key: str, seconds: float) -> None:
        """Wait for the job of that key, no longer than so many seconds, and hand over what has come of it by then."""
        job = self._jobs.get(key)
        if job is not None and job.future is not None:
            wait((job.future,), seconds)
            QCoreApplication.sendPostedEvents(self, QEvent.Type.MetaCall.value)

    def _run(
        self,
        job: Job,
        work: Callable[[Job], Outcome],
        done: Callable[[Outcome], None],
        failed: Callable[[str], None] | None,
        about: Callable[[], AbstractContextManager[None]],
    ) -> None:
        if job.cancelled():
            return
        try:
            with about():
                outcome = work(job)
        except PulsewrightError as error:
            sentence = error.sentence
        except Exception as error:  # a worker must never end without a word
            sentence = f"{job.key} came to nothing: {type(error).__name__}: {error}."
        else:
            self._reported.emit((job, True, lambda: done(outcome)))
            return
        self._reported.emit((job, True, lambda: failed(sentence) if failed is not None else None))

    def _receive(self, report: tuple[Job, bool, Callable[[], None]]) -> None:
        job, last, call = report
        if self._jobs.get(job.key) is not job:  # it was cancelled, or a newer one has begun
            return
        if last:
            del self._jobs[job.key]
        with self.attention.thread.asked():
            call()

    def cancel(self, key: str) -> None:
        """Cancel the job of that key, if one runs; nothing more is heard of it."""
        job = self._jobs.pop(key, None)
        if job is not None:
            job.cancel()

    @property
    def closed(self) -> bool:
        """Whether the threads have ended: the window has gone."""
        return self._closed

    @property
    def busy(self) -> bool:
        """Whether a job runs whose outcome is still wanted."""
        return bool(self._jobs)

    def cancel_all(self, but: str = "") -> None:
        """Cancel every job, but for that of one key; nothing more is heard of any."""
        for key in tuple(self._jobs):
            if key != but:
                self.cancel(key)

    def stop(self) -> None:
        """Cancel every job and wait until the threads are idle."""
        self.cancel_all()
        self.attention.thread.release_all()  # nobody is to wait for the one that waits
        wait(self._futures)

    def close(self) -> None:
        """Cancel every job and end the threads."""
        self._closed = True
        self.stop()
        self._pool.shutdown()
        self._pictures.shutdown()
        self._urgent.shutdown()
        self._tidying.end()


@dataclass(frozen=True)
class Extents:
    """Lowest and highest code of every record and channel, shape (records, channels)."""

    low: NDArray[Any]
    high: NDArray[Any]

    @cached_property
    def ends(self) -> tuple[NDArray[Any], NDArray[Any]]:
        """The lowest and the highest code of every channel over all records, shape (channels,)."""
        return self.low.min(axis=0), self.high.max(axis=0)

    def clipped(self, session: Session) -> NDArray[np.bool_]:
        """Return where a record touches an end code of its channel's converter, shape (records, channels)."""
        lowest = np.array([channel.lowest_code for channel in session.channels])
        highest = np.array([channel.highest_code for channel in session.channels])
        touched: NDArray[np.bool_] = (self.low <= lowest) | (self.high >= highest)
        return touched


def measure_extents(session: Session, job: Job) -> Extents:
    """Return the lowest and highest code of every record and channel; stops early if the job is cancelled."""
    shape = (session.records, len(session.channels))
    low, high = np.zeros(shape, session.dtype), np.zeros(shape, session.dtype)
    for first, block in session.blocks(block_bytes=8 << 20):
        if job.cancelled():
            break
        low[first : first + len(block)] = block.min(axis=2)
        high[first : first + len(block)] = block.max(axis=2)
    return Extents(low, high)


class SessionData(QObject):
    """What the views draw from: single records at once or soon, and the extents of all records.

    Samples in one piece are read in the moment they are asked for, which takes well under a millisecond a record.
    Chunked files go through HDF5, whose lock may be held for long, and are read on a worker.
    """

    record_arrived = Signal(int)
    extents_arrived = Signal()
    unreadable = Signal(str)
    """Why a record cannot be read, in a sentence."""

    def __init__(self, document: Document, background: Background, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._document = document
        self._background = background
        self._kept: Kept[int] = Kept(_KEPT_BYTES)
        self._rows: Kept[tuple[int, int]] = Kept(_KEPT_BYTES)
        """Single channels of records, by (record, channel)."""
        self._asked: set[int] = set()
        """Records that are being read."""
        self._lost: set[int] = set()
        """Records that could not be read."""
        self.extents: Extents | None = None
        document.session_changed.connect(self._session_changed)

    def _session_changed(self) -> None:
        self._kept.clear()
        self._rows.clear()
        self._asked.clear()
        self._lost.clear()
        self.extents = None
        session = self._document.session
        if session is None:
            self._background.cancel("Looking through the records")
            return
        self._background.start(
            "Looking through the records", lambda job: measure_extents(session, job), self._take_extents
        )

    def _take_extents(self, extents: Extents) -> None:
        self.extents = extents
        self.extents_arrived.emit()

    def codes(self, record: int) -> Codes | None:
        """Return a record's codes, shape (channels, record length).

        None until `record_arrived` names it, or, if `unreadable` says why, until `try_again`.
        """
        session = self._document.session
        if session is None or not 0 <= record < session.records or record in self._asked | self._lost:
            return None
        kept = self._kept.get(record)
        if kept is not None:
            return kept
        if isinstance(session.source, ChunkedSource):
            self._fetch(session, record)
            return None
        return self._read(record, self._kept, record, lambda: session.codes(record, record + 1)[0])

    def row(self, record: int, channel: int) -> Codes | None:
        """Return the codes of one channel of a record, shape (record length,), without reading the others.

        None as for `codes`.
        """
        session = self._document.session
        if session is None or not 0 <= record < session.records or record in self._asked | self._lost:
            return None
        whole = self._kept.get(record)
        if whole is not None:
            one: Codes = whole[channel]
            return one
        row = self._rows.get((record, channel))
        if row is not None:
            return row
        if isinstance(session.source, ChunkedSource):
            self._fetch(session, record)
            return None
        return self._read(
            record, self._rows, (record, channel), lambda: session.channel_codes(channel, record, record + 1)[0]
        )

    def _read(self, record: int, kept: Kept[K], key: K, read: Callable[[], Codes]) -> Codes | None:
        """Read something of a record and keep it; None, and why, where that cannot be."""
        try:
            codes = read()
        except PulsewrightError as error:
            self._lost.add(record)
            self.unreadable.emit(error.sentence)
            return None
        kept.put(key, codes)
        return codes

    def is_lost(self, record: int) -> bool:
        """Return whether a record could not be read the last time."""
        return record in self._lost

    def try_again(self) -> None:
        """Read records anew that could not be read: the file may be whole again."""
        self._lost.clear()

    def _fetch(self, session: Session, record: int) -> None:
        def arrived(codes: Codes) -> None:
            self._asked.discard(record)
            self._kept.put(record, codes)
            self.record_arrived.emit(record)

        def failed(sentence: str) -> None:
            self._asked.discard(record)
            self._lost.add(record)
            self.unreadable.emit(sentence)
            self.record_arrived.emit(record)  # whoever waits for it should say so

        self._asked.add(record)
        self._background.start(
            f"Reading record {record}", lambda _: session.codes(record, record + 1)[0], arrived, failed
        )

    def value_range(self, channels: tuple[int, ...]) -> tuple[float, float]:
        """Return the lowest and highest value of these channels over all records, in their units.

        Until the extents are there, over the record that was drawn last.
        """
        session = self._document.session
        if session is None or not channels:
            return (-1.0, 1.0)
        if self.extents is not None:
            low, high = self.extents.ends
        elif (newest := self._kept.newest) is not None:
            low, high = newest.min(axis=1), newest.max(axis=1)
        else:
            return (-1.0, 1.0)
        scale = np.array([session.channels[c].scale for c in channels])
        offset = np.array([session.channels[c].offset for c in channels])
        chosen = list(channels)
        ends = np.concatenate([low[chosen] * scale + offset, high[chosen] * scale + offset])
        bottom, top = float(ends.min()), float(ends.max())
        margin = 0.05 * (top - bottom) or 1.0
        return (bottom - margin, top + margin)
