"""Where the review of a session is kept: beside it, or, where that cannot be, in the user's own folder. No Qt."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from pulsewright.errors import ReviewFileError
from pulsewright.review import Marker, Review, read_review, review_path_for, save_review
from pulsewright.session import Session
from pulsewright_app.desk.additions import Additions, MarkerPair

_DIGITS = 12
"""How many of the digest's digits tell two reviews of one name apart."""


def own_folder() -> Path:
    """Return the folder for reviews that cannot lie beside their session."""
    import platformdirs

    return Path(platformdirs.user_data_path("pulsewright", appauthor=False)) / "reviews"


@dataclass(frozen=True)
class Found:
    """What was found of a session's review.

    Attributes
    ----------
    review : Review
        Empty where there is none.
    told : str
        A sentence for the bar at the top; empty if there is nothing to say.
    """

    review: Review
    told: str = ""


class ReviewFile:
    """The review of one session: found once, then saved as often as it changes.

    Nothing that another session, another window or another program wrote is ever replaced: the review then goes to a
    name of its own. All methods may be called on any thread; of two saves the newer one lasts.

    Parameters
    ----------
    session_path : Path
        The session's file.
    sha256 : str
        Its digest.
    beside : bool
        False keeps the review in the user's own folder: the bundled samples stay as they came.
    """

    def __init__(self, session_path: Path, sha256: str, *, beside: bool = True) -> None:
        self.name, self.sha256 = session_path.name, sha256
        usual = review_path_for(session_path)
        own_name = usual.name.removesuffix(".review.json") + f".{sha256[:_DIGITS]}.review.json"
        self._usual = usual
        self._places = [usual, usual.with_name(own_name)] if beside else []
        self._places.append(own_folder() / own_name)
        self._beside = beside
        self._lock = threading.Lock()
        self._version = 0
        self._seen: dict[Path, bytes | None] = {}
        """What each place held when it was last read or written here; None where there was no file."""
        self._not_ours: set[Path] = set()
        self._last_place: Path | None = None

    # -- finding --------------------------------------------------------------------------------------------

    def find(self) -> Found:
        """Read the newest review of this session; one that cannot be used is told of, and left as it is."""
        told: list[str] = []
        good: list[tuple[float, Path, Review]] = []
        for path in self._places:
            self._seen[path] = _content(path)
            if self._seen[path] is None:
                continue
            try:
                review = read_review(path)
                changed = path.stat().st_mtime
            except ReviewFileError as error:
                self._not_ours.add(path)
                told.append(f"{error.cause}; it is not used and stays as it is")
                continue
            except OSError:
                continue
            if review.session_sha256 and review.session_sha256 != self.sha256:
                self._not_ours.add(path)
                told.append(
                    f"{path.name} belongs to another session, whose SHA-256 is not that of {self.name}; "
                    "it is not used and stays as it is"
                )
                continue
            good.append((changed, path, review))
        if not good:
            return Found(Review(), self._sentence(told))
        _, self._last_place, review = max(good, key=lambda item: item[0])
        if self._beside and self._last_place != self._usual:
            told.append(f"what was added earlier is taken from {self._told_place(self._last_place)}")
        return Found(review, self._sentence(told))

    def _sentence(self, told: Sequence[str]) -> str:
        if self._not_ours and self._beside:
            target = next(place for place in self._places if place not in self._not_ours)
            told = [*told, f"what you add is kept in {self._told_place(target)}"]
        text = "; ".join(dict.fromkeys(told))
        return f"{text[0].upper()}{text[1:]}." if text else ""

    def _told_place(self, path: Path) -> str:
        return path.name if path.parent == self._usual.parent else str(path)

    # -- saving ---------------------------------------------------------------------------------------------

    def next_version(self) -> int:
        """Return a number for the next save, higher than any before; called on the main thread."""
        self._version += 1
        return self._version

    _saved_version = 0

    def save(self, review: Review, version: int) -> str:
        """Save a review whole or not at all, in the first place that takes it.

        Parameters
        ----------
        review : Review
            What to save.
        version : int
            From `next_version`: an older review never replaces a newer one.

        Returns
        -------
        str
            A sentence for the bar, if it went elsewhere than the last one; else empty.

        Raises
        ------
        ReviewFileError
            If no place takes it.
        """
        with self._lock:
            if version <= self._saved_version:
                return ""
            reasons: list[str] = []
            for path in self._places:
                if path in self._not_ours:
                    continue
                if _content(path) != self._seen.get(path):
                    self._not_ours.add(path)
                    reasons.append(f"{path.name} was changed elsewhere meanwhile and stays as it is")
                    continue
                try:
                    if path.parent == self._places[-1].parent:
                        path.parent.mkdir(parents=True, exist_ok=True)
                    save_review(review, path)
                except (ReviewFileError, OSError) as error:
                    reasons.append(error.cause if isinstance(error, ReviewFileError) else f"{path}: {error.strerror}")
                    continue
                self._saved_version = version
                self._seen[path] = _content(path)
                return self._told_of(path, reasons)
            raise ReviewFileError(
                f"what you added to {self.name} is not saved: {'; '.join(reasons)}",
                "make room for it beside the session, then change something",
            )

    def _told_of(self, path: Path, reasons: Sequence[str]) -> str:
        before, self._last_place = self._last_place, path
        if path == before or path == self._usual:
            return ""
        if not self._beside:
            return f"The sample stays as it came: what you add is kept in {path}."
        if reasons:
            return f"{'; '.join(reasons)}; what you add is kept in {self._told_place(path)}."
        return ""  # where it goes was told when the session was opened


def _content(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except OSError:
        return None


# -- a review and what stands on the desk -------------------------------------------------------------------------


@dataclass(frozen=True)
class Kept:
    """What a review holds that the desk does not show, so that saving loses nothing.

    Attributes
    ----------
    lone_markers : tuple of Marker
        Markers that make no pair.
    """

    lone_markers: tuple[Marker, ...] = field(default=())


def additions_of(review: Review, session: Session) -> tuple[Additions, frozenset[int], Kept]:
    """Return a review as the desk shows it, the hidden channels, and what the desk does not show.

    Records that the session does not have are passed over.
    """
    known = range(session.records)
    pairs, lone = _pairs(review, session)
    names = [channel.name for channel in session.channels]
    additions = Additions(
        pairs,
        frozenset(record for record in review.flags if record in known),
        {record: text for record, text in review.notes.items() if record in known},
        {record: reason for record, reason in review.left_out.items() if record in known},
        dict(review.settings),
        tuple(review.sheet_views),
    )
    hidden = frozenset(names.index(name) for name in review.hidden_channels if name in names)
    return additions, hidden, Kept(lone)


def review_of(additions: Additions, hidden: frozenset[int], kept: Kept, session: Session, sha256: str) -> Review:
    """Return what stands on the desk as a review."""
    names = [channel.name for channel in session.channels]
    markers = [
        Marker(time, u, pair.id, pair.name, names[pair.channel], pair.record, pair.intervals)
        for pair in additions.pairs
        for time, u in ((pair.t1, pair.u1), (pair.t2, pair.u2))
    ]
    return Review(
        session_sha256=sha256,
        settings=dict(additions.settings),
        flags=set(additions.flags),
        notes=dict(additions.notes),
        left_out=dict(additions.left_out),
        markers=[*markers, *kept.lone_markers],
        hidden_channels=[names[channel] for channel in sorted(hidden)],
        sheet_views=list(additions.sheet_views),
    )


def _pairs(review: Review, session: Session) -> tuple[tuple[MarkerPair, ...], tuple[Marker, ...]]:
    """Return the pairs of a review, two markers of one number each, and the markers that make none."""
    by_number: dict[int, list[Marker]] = {}
    for marker in review.markers:
        by_number.setdefault(marker.pair, []).append(marker)
    names = [channel.name for channel in session.channels]
    pairs: list[MarkerPair] = []
    lone: list[Marker] = []
    for number, markers in sorted(by_number.items()):
        if len(markers) != 2:
            lone += markers
            continue
        first, second = markers
        channel = names.index(first.channel) if first.channel in names else 0
        record = min(first.record or 0, session.records - 1)
        name = first.name or f"Pair {number}"
        pairs.append(
            MarkerPair(
                number, name, first.time, second.time, first.u, second.u, record, channel, max(first.intervals, 1)
            )
        )
    return tuple(pairs), tuple(lone)
