"""A review and what stands on the desk: the one made of the other. No Qt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from pulsewright.review import LevelMarker, Marker, RejectedPulse, Review
from pulsewright.review_markers import by_pair
from pulsewright.session import Session
from pulsewright_analysis.level_markers import placed
from pulsewright_app.desk.additions import Additions, LevelPair, MarkerPair


@dataclass(frozen=True)
class Kept:
    """What a review holds that the desk does not show, so that saving loses nothing.

    Attributes
    ----------
    lone_markers : tuple of Marker
        Markers that make no pair, or of a channel or a record that the session does not have.
    lone_levels : tuple of LevelMarker
        Likewise.
    strange : Review
        Flags, notes, records left out, rejected pulses and hidden channels of which the session has no record or
        channel.
    """

    lone_markers: tuple[Marker, ...] = field(default=())
    lone_levels: tuple[LevelMarker, ...] = field(default=(), kw_only=True)
    strange: Review = field(default_factory=Review)


def additions_of(review: Review, session: Session) -> tuple[Additions, frozenset[int], Kept]:
    """Return a review as the desk shows it, the hidden channels, and what the desk does not show.

    What is about a record or a channel that the session does not have is not shown, and kept.
    """
    known = range(session.records)
    pairs, lone = _pairs(review, session)
    levels, lone_levels = _levels(review, session, {pair.id for pair in pairs})
    names = [channel.name for channel in session.channels]
    additions = Additions(
        pairs=pairs,
        levels=levels,
        flags=frozenset(record for record in review.flags if record in known),
        notes={record: text for record, text in review.notes.items() if record in known},
        left_out={record: reason for record, reason in review.left_out.items() if record in known},
        rejected={
            (pulse.record, names.index(pulse.channel), pulse.sample): pulse.reason
            for pulse in review.rejected
            if pulse.record in known and pulse.channel in names
        },
        settings=dict(review.settings),
        sheet_views=tuple(review.sheet_views),
        sheet_title=review.sheet_title,
        claims_text=review.claims,
    )
    hidden = frozenset(names.index(name) for name in review.hidden_channels if name in names)
    return additions, hidden, Kept(lone, _strange(review, known, names), lone_levels=lone_levels)


def _strange(review: Review, known: range, names: Sequence[str]) -> Review:
    """Return the part of a review that is about records and channels which the session does not have."""
    return Review(
        flags={record for record in review.flags if record not in known},
        notes={record: text for record, text in review.notes.items() if record not in known},
        left_out={record: reason for record, reason in review.left_out.items() if record not in known},
        rejected=[pulse for pulse in review.rejected if pulse.record not in known or pulse.channel not in names],
        hidden_channels=[name for name in review.hidden_channels if name not in names],
    )


def review_of(
    additions: Additions, hidden: frozenset[int], kept: Kept, session: Session, sha256: str, quick_digest: str = ""
) -> Review:
    """Return what stands on the desk as a review."""
    names = [channel.name for channel in session.channels]
    levels = [
        LevelMarker(
            level.value,
            level.u,
            pair.id,
            names[pair.channel],
            record,
            pair.name,
            pair.note,
            level.level,
            level.pulse,
            level.base_u,
        )
        for pair in additions.levels
        for level, record in zip((pair.first, pair.second), pair.records, strict=True)
    ]
    return Review(
        session_sha256=sha256,
        session_quick_digest=quick_digest,
        settings=dict(additions.settings),
        flags={*additions.flags, *kept.strange.flags},
        notes={**additions.notes, **kept.strange.notes},
        left_out={**additions.left_out, **kept.strange.left_out},
        rejected=[
            *(
                RejectedPulse(record, names[channel], sample, reason)
                for (record, channel, sample), reason in sorted(additions.rejected.items())
            ),
            *kept.strange.rejected,
        ],
        markers=[*markers_of(additions.pairs, names), *kept.lone_markers],
        level_markers=[*levels, *kept.lone_levels],
        hidden_channels=[*(names[channel] for channel in sorted(hidden)), *kept.strange.hidden_channels],
        sheet_views=list(additions.sheet_views),
        sheet_title=additions.sheet_title,
        claims=additions.claims_text,
    )


def markers_of(pairs: Sequence[MarkerPair], names: Sequence[str]) -> list[Marker]:
    """Return the markers of pairs as a review has them; `names` are the channels'."""
    return [
        Marker(end.time, end.u, pair.id, pair.name, names[channel], record, pair.intervals, end.pulse, pair.note)
        for pair in pairs
        for end, (record, channel) in zip(pair.ends, pair.places, strict=True)
    ]


def _pairs(review: Review, session: Session) -> tuple[tuple[MarkerPair, ...], tuple[Marker, ...]]:
    """Return the pairs of a review, two markers of one number each, and the markers that make none."""
    names = [channel.name for channel in session.channels]
    pairs: list[MarkerPair] = []
    lone: list[Marker] = []
    for number, markers in by_pair(review.markers).items():
        # on another channel or record it would tell of something that nobody marked
        strange = any((m.channel or names[0]) not in names or (m.record or 0) >= session.records for m in markers)
        if len(markers) != 2 or strange:
            lone += markers
            continue
        first, second = markers
        channel, record = names.index(first.channel or names[0]), first.record or 0
        pulses = None if first.pulse is None and second.pulse is None else (first.pulse, second.pulse)
        name, intervals = first.name or f"Pair {number}", max(first.intervals, 1)
        times = first.time, second.time, first.u, second.u
        pair = MarkerPair(number, name, *times, record, channel, intervals, pulses, first.note)
        pairs.append(pair.put(2, second.record or 0, names.index(second.channel or names[0])))
    return tuple(pairs), tuple(lone)


def _levels(review: Review, session: Session, taken: set[int]) -> tuple[tuple[LevelPair, ...], tuple[LevelMarker, ...]]:
    """Return the level pairs of a review, none with a number that is taken, and the level markers that make none."""
    names = [channel.name for channel in session.channels]
    pairs: list[LevelPair] = []
    lone: list[LevelMarker] = []
    for number, markers in by_pair(review.level_markers).items():
        strange = any(m.channel not in names or m.record >= session.records for m in markers)
        if len(markers) != 2 or strange or markers[0].channel != markers[1].channel:
            lone += markers
            continue
        first, second = markers
        free = number if number not in taken else max(taken) + 1
        taken = {*taken, free}
        name, channel = first.name or f"Levels {free}", names.index(first.channel)
        pair = LevelPair(free, name, placed(first), placed(second), first.record, channel, first.note)
        pairs.append(pair.put(2, pair.second, second.record))
    return tuple(pairs), tuple(lone)
