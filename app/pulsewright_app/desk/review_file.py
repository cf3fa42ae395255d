"""A review and what stands on the desk: the one made of the other. No Qt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from pulsewright.review import Marker, RejectedPulse, Review
from pulsewright.session import Session
from pulsewright_app.desk.additions import Additions, MarkerPair


@dataclass(frozen=True)
class Kept:
    """What a review holds that the desk does not show, so that saving loses nothing.

    Attributes
    ----------
    lone_markers : tuple of Marker
        Markers that make no pair, or of a channel or a record that the session does not have.
    strange : Review
        Flags, notes, records left out, rejected pulses and hidden channels of which the session has no record or
        channel.
    """

    lone_markers: tuple[Marker, ...] = field(default=())
    strange: Review = field(default_factory=Review)


def additions_of(review: Review, session: Session) -> tuple[Additions, frozenset[int], Kept]:
    """Return a review as the desk shows it, the hidden channels, and what the desk does not show.

    What is about a record or a channel that the session does not have is not shown, and kept.
    """
    known = range(session.records)
    pairs, lone = _pairs(review, session)
    names = [channel.name for channel in session.channels]
    additions = Additions(
        pairs=pairs,
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
        claims_text=review.claims,
    )
    hidden = frozenset(names.index(name) for name in review.hidden_channels if name in names)
    return additions, hidden, Kept(lone, _strange(review, known, names))


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
    markers = [
        Marker(time, u, pair.id, pair.name, names[pair.channel], pair.record, pair.intervals, pulse)
        for pair in additions.pairs
        for time, u, pulse in zip((pair.t1, pair.t2), (pair.u1, pair.u2), pair.pulses or (None, None), strict=True)
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
        markers=[*markers, *kept.lone_markers],
        hidden_channels=[*(names[channel] for channel in sorted(hidden)), *kept.strange.hidden_channels],
        sheet_views=list(additions.sheet_views),
        claims=additions.claims_text,
    )


def _pairs(review: Review, session: Session) -> tuple[tuple[MarkerPair, ...], tuple[Marker, ...]]:
    """Return the pairs of a review, two markers of one number each, and the markers that make none."""
    by_number: dict[int, list[Marker]] = {}
    for marker in review.markers:
        by_number.setdefault(marker.pair, []).append(marker)
    names = [channel.name for channel in session.channels]
    pairs: list[MarkerPair] = []
    lone: list[Marker] = []
    for number, markers in by_number.items():
        if len(markers) != 2:
            lone += markers
            continue
        first, second = markers
        if any((m.channel or names[0]) not in names or (m.record or 0) >= session.records for m in markers):
            lone += markers  # on another channel or record it would tell of something that nobody marked
            continue
        channel, record = names.index(first.channel or names[0]), first.record or 0
        name = first.name or f"Pair {number}"
        pairs.append(
            MarkerPair(
                number,
                name,
                first.time,
                second.time,
                first.u,
                second.u,
                record,
                channel,
                max(first.intervals, 1),
                _followed(first, second),
            )
        )
    return tuple(pairs), tuple(lone)


def _followed(first: Marker, second: Marker) -> tuple[int, int] | None:
    """Return the two pulses that a pair follows; it follows both or none."""
    if first.pulse is None or second.pulse is None or first.channel != second.channel:
        return None
    return first.pulse, second.pulse
