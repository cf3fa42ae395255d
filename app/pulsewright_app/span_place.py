"""Whether a span lies where a session has samples: one written without its unit is in seconds, far away. No Qt."""

from __future__ import annotations

from pulsewright.errors import SettingError
from pulsewright.quantity import engineering
from pulsewright.session import Session
from pulsewright.settings import Settings

_DIGITS = 6
SPANS = ("span", "alignment_span", "reference_pulse")


def time_range(session: Session) -> tuple[float, float]:
    """Return from when to when any record has samples, seconds from the trigger."""
    starts = [session.first_sample_time(channel) for channel in range(len(session.channels))]
    first, last = min(float(start.min()) for start in starts), max(float(start.max()) for start in starts)
    return first, last + session.record_duration


def require_samples(session: Session, name: str, span: tuple[float, float]) -> None:
    """Refuse a span that holds no sample of any record.

    Parameters
    ----------
    session : Session
    name : str
        What the span is called.
    span : (float, float)
        Seconds from the trigger.

    Raises
    ------
    SettingError
        If it lies before or behind every record, or is shorter than a sample interval.
    """
    first, last = time_range(session)
    low, high = max(span[0], first), min(span[1], last)
    if high - low >= session.sample_interval:
        return
    given, there = (" .. ".join(engineering(edge, "s", _DIGITS) for edge in window) for window in (span, (first, last)))
    seconds = max(map(abs, span)) >= 1.0 > max(abs(first), abs(last))
    remedy = 'write the unit with both numbers, like "100 us .. 300 us"' if seconds else "give a stretch inside them"
    raise SettingError(f"{name}: {given} holds no sample of the records, which lie in {there}", remedy)


def require_spans(session: Session, settings: Settings) -> None:
    """Refuse spans that somebody has just given as options and that hold no sample.

    Raises
    ------
    SettingError
        If one does; those of a claims file or a review are measured by, and what comes of it is told.
    """
    for name in SPANS:
        span = getattr(settings, name)
        if span is not None and settings.origin(name) == "option":
            require_samples(session, name.replace("_", " "), span)
