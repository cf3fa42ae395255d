"""Measures the session on the desk in the background, anew whenever a setting changes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace

from PySide6.QtCore import QObject, QTimer

from pulsewright.errors import PulsewrightError, SettingError
from pulsewright.session import Session
from pulsewright.settings import Settings
from pulsewright_analysis.results import Findings
from pulsewright_app.desk.additions import PulsePlace
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.memory import loading
from pulsewright_app.desk.results import Results, named
from pulsewright_app.desk.work import Background, Job

_KEY = "Measuring"
_SETTLE_MS = 250
"""Several settings changed in a row are measured once."""
_SAMPLES_AT_FIRST = 4_000_000
"""Samples of the first part: measured well within a second."""
_TRACES_AT_FIRST = 1_500
"""Its records on all channels: of short ones the pulses in them take the time."""
_FEW = 8
_SAMPLES_OF_FEW = 2_000_000
"""Of a first part of fewer records: each sample of these takes longer, as they are all looked at for a sine.

Where one record has more on all channels together, the part is of some channels.
"""
_WORTH_A_PART = 3
"""A session that is not so many times its first part is measured at once."""
_SHARE_AT_FIRST = 0.05


def _at_once(fill: Callable[[], object]) -> None:
    fill()


class Measuring(QObject):
    """Keeps the findings on the desk up with the settings that count.

    Parameters
    ----------
    document, results, background
        The session and what was added, what was measured, and who works.
    in_parts : callable
        Does what it is given, which fills every panel, and has them painted one after another.
    """

    def __init__(
        self,
        document: Document,
        results: Results,
        background: Background,
        parent: QObject | None = None,
        *,
        in_parts: Callable[[Callable[[], object]], None] = _at_once,
    ) -> None:
        super().__init__(parent)
        self._document, self._results, self._background = document, results, background
        self._in_parts = in_parts
        self.sha256 = ""
        """Digest of the session's file; empty while it is being taken."""
        self._settle = QTimer(self)
        self._settle.setSingleShot(True)
        self._settle.setInterval(_SETTLE_MS)
        self._settle.timeout.connect(self.start)
        self._measured: tuple[Session, Settings, Mapping[PulsePlace, str]] | None = None
        """What was measured last, or is being measured, by which settings and without which pulses."""
        document.session_changed.connect(self._session_changed)
        document.settings_changed.connect(self._settings_changed)
        document.left_out_changed.connect(self._settings_changed)
        document.rejected_changed.connect(self._settings_changed)
        results.measuring_asked.connect(self.start)
        results.cancel_asked.connect(self.cancel)

    def _session_changed(self) -> None:
        self._results.clear()
        self._settle.stop()
        self._measured = None
        if self._document.session is not None:
            self.start()

    def _settings_changed(self) -> None:
        findings = self._results.findings
        if self._document.session is None or (findings is None and not self._results.busy):
            return
        if self._under_way():  # a session that was opened announces all that was added to it
            return
        self._results.mark_out_of_date()
        self._settle.start()

    def _under_way(self) -> bool:
        """Return whether the session is being measured by just the settings that count now."""
        if self._measured is None or self._settle.isActive() or not self._results.busy:
            return False
        session, settings, rejected = self._measured
        document = self._document
        with suppress(PulsewrightError):
            same = session is document.session and rejected is document.rejected
            return same and settings == document.plain_settings()
        return False

    def start(self) -> None:
        """Measure by the settings that count now; what is being measured by older ones is dropped."""
        session, digest = self._document.session, self.sha256
        self._settle.stop()
        if session is None:
            return
        self._in_parts(self._results.start)  # every number is shown as out of date
        generation = self._results.generation
        try:
            plain, settings = self._document.plain_settings(), self._document.settings_to_come()
        except PulsewrightError as error:
            self._results.fail(generation, error.sentence)
            return
        self._measured = (session, plain, self._document.rejected)
        results, in_parts = self._results, self._in_parts
        self._background.start(
            _KEY,
            lambda job: _measure(session, settings(), digest, job),
            lambda findings: self._finish(generation, findings),
            lambda sentence: results.fail(generation, sentence),
            lambda fraction, text: results.advance(generation, fraction, text),
            partial=lambda findings: in_parts(lambda: results.take_partial(generation, findings)),
        )

    def _finish(self, generation: int, findings: Findings) -> None:
        findings = named(findings, self.sha256)  # it may have become known while this was measured
        self._in_parts(lambda: self._results.finish(generation, findings))

    def learn_digest(self, sha256: str) -> None:
        """Take the digest of the session's file, and put it into the findings that were measured without it."""
        self.sha256 = sha256
        self._results.learn_digest(sha256)

    def cancel(self) -> None:
        """Stop measuring; the findings stay as they are."""
        if self._results.busy:
            self._background.cancel(_KEY)
            self._in_parts(lambda: self._results.fail(self._results.generation, ""))


def first_part(session: Session, settings: Settings) -> Settings | None:
    """Return settings that measure the first records of a large session, None where the whole is quickly done.

    Of very long records, one on some channels, the reference among them. What was sent counts for the whole session,
    and is left away.
    """
    names = settings.channels or tuple(channel.name for channel in session.channels)
    samples = len(names) * session.record_length
    first, stop = settings.records or (0, session.records)
    part = min(_SAMPLES_AT_FIRST // samples, _TRACES_AT_FIRST // len(names))
    part, some = (part if part >= _FEW else _SAMPLES_OF_FEW // samples), settings.channels
    if part < 1:
        part, some = 1, _beside_the_reference(names, settings, max(1, _SAMPLES_OF_FEW // session.record_length))
    if part * len(some or names) * _WORTH_A_PART > (stop - first) * len(names):
        return None
    return replace(settings, records=(first, first + part), channels=some, sent=None)


def _beside_the_reference(names: tuple[str, ...], settings: Settings, most: int) -> tuple[str, ...]:
    """Return so many channels, the reference among them, in their order."""
    first = settings.reference if settings.reference in names else names[0]
    chosen = {first, *[name for name in names if name != first][: most - 1]}
    return tuple(name for name in names if name in chosen)


def _measure(session: Session, settings: Settings, digest: str, job: Job) -> Findings:
    with loading("pulsewright_analysis.assessment"):
        from pulsewright_analysis.assessment import assess

    part, begin = first_part(session, settings), 0.0
    if part is not None:
        begin = _SHARE_AT_FIRST
        with suppress(SettingError):  # the first records may all be left out
            told = assess(session, part, lambda share, text: job.progress(begin * share, text), job.cancelled, digest)
            job.publish(lambda: told.findings)

    def progress(share: float, text: str) -> None:
        job.progress(begin + (1 - begin) * share, text)

    return assess(session, settings, progress, job.cancelled, digest).findings
