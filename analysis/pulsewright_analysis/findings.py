"""Runs the measurements over a session and returns one `Findings`; knows nothing of claims."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from pulsewright.errors import SettingError
from pulsewright.session import Session
from pulsewright.settings import Settings
from pulsewright_analysis.alignment import measure_alignment
from pulsewright_analysis.compiled import is_compiled
from pulsewright_analysis.finite import FinitePart, finite_part
from pulsewright_analysis.health import measure_health
from pulsewright_analysis.jitter import measure_jitter
from pulsewright_analysis.levels import measure_levels
from pulsewright_analysis.polarity import measure_polarity
from pulsewright_analysis.pulse_doubts import without_position
from pulsewright_analysis.pulses import counted_from, measure_pulses
from pulsewright_analysis.rejecting import rejected_reason, without_rejected
from pulsewright_analysis.results import Findings, Ints, Pulses, SessionSummary
from pulsewright_analysis.sequence import measure_sequence
from pulsewright_analysis.timing import measure_timing
from pulsewright_analysis.validity import fast_edges

Progress = Callable[[float, str], None]


class Cancelled(Exception):  # noqa: N818 - nothing went wrong
    """The measuring was called off before it ended."""


@dataclass(frozen=True)
class Watch:
    """Passes progress on, and stops the work when it is called off.

    Attributes
    ----------
    progress : callable or None
        Called with (share done 0 … 1, what is being done).
    cancelled : callable or None
        Asked at every step; True stops the work.
    """

    progress: Progress | None = None
    cancelled: Callable[[], bool] | None = None

    def check(self) -> None:
        """Stop the work if it was called off.

        Raises
        ------
        Cancelled
        """
        if self.cancelled is not None and self.cancelled():
            raise Cancelled

    def at(self, share: float, doing: str) -> None:
        """Tell how far the work is.

        Parameters
        ----------
        share : float
            What is done of the whole, 0 to 1.
        doing : str
            What is being done now.

        Raises
        ------
        Cancelled
            If it was called off.
        """
        self.check()
        if self.progress is not None:
            self.progress(share, doing)


def measure(
    session: Session,
    settings: Settings | None = None,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
    sha256: str = "",
) -> Findings:
    """Measure everything in a session.

    Parameters
    ----------
    session : Session
    settings : Settings, optional
        The defaults, if left out.
    progress : callable, optional
        Called with (share done 0 … 1, what is being done).
    cancelled : callable, optional
        Asked every few milliseconds; True stops the work.
    sha256 : str
        Digest of the session's file, kept with the findings.

    Returns
    -------
    Findings

    Raises
    ------
    SettingError
        If the settings name a channel or records that the session does not have, or what they name holds no numbers.
    SessionFileError
        If the session's file cannot be read, or was altered meanwhile.
    Cancelled
        If the work was called off.
    """
    settings = settings or Settings()
    session = session.with_delays(settings.delays)
    watch = Watch(progress, cancelled)
    watch.at(0.0, "noise and levels")
    finite = _measurable(session, settings, watch.check)
    channels, records = list(finite.channels), finite.records
    levels = measure_levels(session, channels, records, watch.check)
    # the first start on a machine compiles for half a minute: whoever waits should know why
    pulses_doing = "pulses" if is_compiled("pulse_kernels") else "pulses: compiling once, up to a minute"
    watch.at(0.1, pulses_doing)
    pulses = measure_pulses(
        session, channels, records, levels, settings, lambda share: watch.at(0.1 + 0.4 * share, "pulses"), watch.check
    )
    pulses, rejected = without_rejected(pulses, session, settings)
    if settings.reference_pulse is not None:
        nearby = replace(settings, span=settings.reference_pulse)
        others = measure_pulses(session, channels, records, levels, nearby, check=watch.check)
        references, _ = without_rejected(others, session, settings)
        pulses = counted_from(pulses, references)
    polarity = measure_polarity(pulses, session.records, len(session.channels))
    watch.at(0.5, "sequence")
    sequence, sequence_reasons = measure_sequence(session, channels, records, pulses, polarity, settings, watch.check)
    watch.at(0.6, "alignment")
    alignment, fit, alignment_reasons = measure_alignment(
        session, channels, records, levels, pulses, sequence, settings, watch.check
    )
    watch.at(0.85, "jitter, timing and health")
    jitter, jitter_reasons = measure_jitter(sequence, session.sample_interval, settings)
    timing, timing_reasons = measure_timing(session, records, sequence, settings)
    health = measure_health(session, channels, records, levels, fit, settings, watch.check)
    session.require_unaltered()
    watch.at(1.0, "done")
    reasons = [
        *finite.reasons,
        *rejected_reason(rejected, session),
        *_pulse_reasons(pulses, [channel.name for channel in session.channels]),
        *fast_edges(pulses, session.sample_interval),
        *sequence_reasons,
        *alignment_reasons,
    ]
    return Findings(
        session=_summary(session, sha256),
        settings=settings,
        channels=tuple(channels),
        records=records,
        levels=levels,
        pulses=pulses,
        polarity=polarity,
        sequence=sequence,
        alignment=alignment,
        jitter=jitter,
        timing=timing,
        health=health,
        reasons=(*reasons, *jitter_reasons, *timing_reasons),
        rejected_pulses=len(rejected),
    )


def chosen_channels(session: Session, settings: Settings) -> list[int]:
    """Return the places of the channels that take part.

    Parameters
    ----------
    session : Session
    settings : Settings
        `channels` names them, all if empty; `channel` and `reference` must be among them.

    Raises
    ------
    SettingError
        If a name is not a channel, or the telling channel or the reference is not among those that take part.
    """
    names = settings.channels or tuple(channel.name for channel in session.channels)
    channels = list(dict.fromkeys(session.channel_index(name) for name in names))
    for role, name in (("channel", settings.channel), ("reference", settings.reference)):
        if name is not None and session.channel_index(name) not in channels:
            raise SettingError(f"{role}: {name} is not among the channels measured", "add it to channels")
    return channels


def chosen_records(session: Session, settings: Settings) -> Ints:
    """Return the numbers of the records that take part, rising.

    Parameters
    ----------
    session : Session
    settings : Settings
        `records` is the range, all if left out; `left_out` are taken from it.

    Raises
    ------
    SettingError
        If there are none, or a number is not in the session.
    """
    first, stop = settings.records or (0, session.records)
    if stop > session.records:
        raise SettingError(
            f"records: {first}:{stop} reaches past the session's {session.records} records",
            f"end at {session.records} or before",
        )
    left_out = set(settings.left_out)
    records = np.array([r for r in range(first, stop) if r not in left_out], dtype=np.int64)
    if len(records) == 0:
        raise SettingError("records: every record is left out", "take some back in")
    return records


def _measurable(session: Session, settings: Settings, check: Callable[[], None]) -> FinitePart:
    """Return what the settings ask for, less what holds no numbers."""
    finite = finite_part(session, chosen_channels(session, settings), chosen_records(session, settings), check)
    for role, name in (("channel", settings.channel), ("reference", settings.reference)):
        if name is not None and session.channel_index(name) not in finite.channels:
            raise SettingError(f"{role}: most records of {name} hold NaN or infinity", "name another channel")
    return finite


def _summary(session: Session, sha256: str) -> SessionSummary:
    return SessionSummary(
        file=session.file,
        sha256=sha256,
        records=session.records,
        record_length=session.record_length,
        pre_trigger=session.pre_trigger,
        sample_rate=session.sample_rate,
        channels=tuple((c.name, c.module) for c in session.channels),
        modules=session.modules,
        own_times=not session.shared_time,
        delays=tuple(c.delay for c in session.channels),
        one_trigger=session.shared_offset,
    )


def _pulse_reasons(pulses: Pulses, names: list[str]) -> list[str]:
    """Return a sentence for the pulses that have no position, and for a session without any pulse."""
    if len(pulses) == 0:
        return ["No pulse stands out of the noise in the span."]
    return [sentence for sentence, _ in without_position(pulses, names)]
