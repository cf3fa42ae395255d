"""The traces that lie beneath the current record: those of a record, or a mean that the background makes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QObject, Signal

from pulsewright.errors import PulsewrightError
from pulsewright.session import Codes, Session
from pulsewright_analysis.mean_trace import Mean, session_means
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.reference_options import ReferenceOptions
from pulsewright_app.desk.work import PARTS_EVERY, Background, Job, SessionData
from pulsewright_app.wording import count

KEY = "Taking the mean over the records"

_A_SAMPLE = 1e-6
"""Of a sample: what two grids differ by through rounding."""


@dataclass(frozen=True, eq=False)
class Beneath:
    """A channel's reference.

    Attributes
    ----------
    samples : array (samples,)
        In codes of the channel.
    start : float
        Time of sample 0, seconds.
    """

    samples: NDArray[Any]
    start: float


def difference(
    codes: NDArray[Any], start: float, beneath: Beneath, interval: float, first: int, stop: int
) -> tuple[int, NDArray[np.float64]]:
    """Return where current − reference begins, as a sample of the current record, and its values, in codes.

    Where the reference's samples fall between the record's own, it is taken from the straight line between the two
    beside.

    Parameters
    ----------
    codes : array (samples,)
        The current record.
    start : float
        Time of its sample 0, seconds.
    beneath : Beneath
        The reference.
    interval : float
        The sample interval, seconds.
    first, stop : int
        Samples of the record that are wanted; fewer are returned where the reference does not reach.
    """
    shift = (start - beneath.start) / interval
    whole = int(np.floor(shift + _A_SAMPLE))
    part = shift - whole
    part = 0.0 if part < _A_SAMPLE else part
    reference, last = beneath.samples, len(beneath.samples) - (1 if part else 0)
    first, stop = max(first, -whole, 0), min(stop, last - whole, len(codes))
    if stop <= first:
        return first, np.zeros(0)
    there = slice(first + whole, stop + whole)
    if part == 0.0:
        return first, np.subtract(codes[first:stop], reference[there], dtype=np.float64)
    after = reference[first + whole + 1 : stop + whole + 1]
    return first, codes[first:stop] - ((1.0 - part) * reference[there] + part * after)


class References(QObject):
    """Gives the view its reference, and has the mean made when it is wanted.

    A record is read when it is asked for. The mean is made by one job, shown as far as it has come, and made anew when
    other records take part.
    """

    changed = Signal()

    def __init__(
        self, document: Document, options: ReferenceOptions, data: SessionData, background: Background, parent: QObject
    ) -> None:
        super().__init__(parent)
        self._document, self._options, self._data, self._background = document, options, data, background
        self._means: tuple[Beneath | None, ...] | None = None
        self._counted, self._wanted = 0, 0
        self._complete = self._failed = False
        self._made_for: object = None
        self._record: tuple[Codes, dict[int, Beneath]] | None = None
        """The codes of the last reference record, and what was made of them."""
        document.session_changed.connect(self._start_over)
        document.delays_changed.connect(self._start_over)
        document.left_out_changed.connect(self._want)
        document.settings_changed.connect(self._want)
        options.changed.connect(self._want)

    def _start_over(self) -> None:
        self._drop()
        self._want()

    def _drop(self) -> None:
        self._background.cancel(KEY)
        self._means, self._made_for, self._counted = None, None, 0
        self._complete = self._failed = False
        self._record = None

    def _left_out(self) -> frozenset[int]:
        try:
            return frozenset(self._document.plain_settings().left_out)
        except PulsewrightError:  # told where the settings are measured by
            return frozenset(self._document.left_out)

    def _want(self) -> None:
        """Have the mean made if it is wanted and there is none for these records; give it up if it is not wanted."""
        session = self._document.session
        if session is None or self._options.of != "mean":
            if not self._complete:
                self._drop()  # a mean that is there is kept for the next time
            self.changed.emit()
            return
        left_out = self._left_out()
        wanted = (session, left_out)
        if wanted != self._made_for:
            self._drop()
            self._made_for, self._wanted = wanted, session.records - len(left_out & set(range(session.records)))
            self._make(session, left_out)
        self.changed.emit()

    def _make(self, session: Session, left_out: frozenset[int]) -> None:
        def work(job: Job) -> tuple[Mean, ...]:
            def so_far(_: int, means: Callable[[], tuple[Mean, ...]]) -> None:
                job.publish(means, PARTS_EVERY)

            return session_means(session, left_out, job.cancelled, so_far)

        self._background.start(KEY, work, self._take, self._fail, partial=self._take_part)

    def _take(self, means: tuple[Mean, ...]) -> None:
        self._complete = True
        self._take_part(means)

    def _take_part(self, means: tuple[Mean, ...]) -> None:
        self._means = tuple(map(_beneath, means))
        self._counted = max((mean.records for mean in means), default=0)
        self.changed.emit()

    def _fail(self, sentence: str) -> None:
        self._failed = True
        self._data.unreadable.emit(sentence)
        self.changed.emit()

    # -- what there is --------------------------------------------------------------------------------------

    def of_channels(self) -> dict[int, Beneath]:
        """Return the reference of each channel that has one now: the same objects until it is another one."""
        session, options = self._document.session, self._options
        if session is None or options.of == "none":
            return {}
        if options.of == "mean":
            return {c: mean for c, mean in enumerate(self._means or ()) if mean is not None}
        codes = self._data.codes(options.record)
        if codes is None:
            return {}
        if self._record is None or self._record[0] is not codes:
            starts = session.first_sample_times(options.record)
            self._record = codes, {c: Beneath(codes[c], float(start)) for c, start in enumerate(starts)}
        return self._record[1]

    def text(self) -> str:
        """Say what the reference is; empty where there is none."""
        if self._options.of == "none":
            return ""
        if self._options.of == "record":
            waiting = "" if self.of_channels() else ", being read"
            return f"record {self._options.record}{waiting}"
        if self._failed:
            return f"mean of {self._counted} of {count(self._wanted, 'record')} only: the others could not be read"
        if not self._complete:
            return f"mean of {self._counted} of {count(self._wanted, 'record')} so far …"
        return f"mean of {count(self._counted, 'record')}"


def _beneath(mean: Mean) -> Beneath | None:
    """Return a mean as a reference, from the first point that a record reaches to the last; None if none does."""
    known = np.flatnonzero(np.isfinite(mean.value))
    if not len(known):
        return None
    first, stop = int(known[0]), int(known[-1]) + 1
    samples = mean.value[first:stop]
    samples.flags.writeable = False
    return Beneath(samples, mean.first_time + first * mean.interval)
