"""Where the review of a session is kept: beside it, or, where that cannot be, in the user's own folder. No Qt."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from pulsewright.errors import ReviewFileError
from pulsewright.review import Review, review_path_for, save_review
from pulsewright.review_places import FoundReview, another_s, is_another_s, review_places, sift_reviews

_UNUSED = "it is not used and stays as it is"


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


class ReviewPlaces:
    """The review of one session: found once, then saved as often as it changes.

    Nothing that another session, another window or another program wrote is ever replaced: the review then goes to a
    name of its own. As long as only the quick digest of a large session is known, what was there before is not
    replaced either. All methods may be called on any thread; of two saves the newer one lasts.

    Parameters
    ----------
    session_path : Path
        The session's file.
    quick_digest : str
        Its quick digest.
    sha256 : str
        Its digest; empty while it is not known.
    beside : bool
        False keeps the review in the user's own folder: the bundled samples stay as they came.
    shared : str
        Where else the session is open, in words: then what is added here goes to a name of its own from the beginning.
    """

    def __init__(
        self, session_path: Path, quick_digest: str, sha256: str = "", *, beside: bool = True, shared: str = ""
    ) -> None:
        self.name, self.sha256, self.quick_digest = session_path.name, sha256, quick_digest
        self._beside, self._shared = beside, shared
        self._usual = review_path_for(session_path)
        self._places = list(review_places(session_path, quick_digest, beside=beside))
        self._lock = threading.Lock()
        self._version = self._saved_version = 0
        self._seen: dict[Path, bytes | None] = {}
        """What each place held when it was last read or written here; None where there was no file."""
        self._not_ours: set[Path] = set()
        """Places with something that must stay as it is."""
        self._unsure: set[Path] = set()
        """Places with a review that may prove to be another session's, once the whole file's digest is known."""
        self._taken = Review()
        self._last_place: Path | None = None
        self._meanwhile: Path | None = None
        """Where it was saved while its usual place was unsure."""

    # -- finding --------------------------------------------------------------------------------------------

    def find(self) -> Found:
        """Read the newest review of this session; one that cannot be used is told of, and left as it is."""
        # what is read later than it was seen counts as changed meanwhile, and stays
        self._seen = {path: _content(path) for path in self._places}
        sifted = sift_reviews(self._places, self.name, self.sha256, self.quick_digest)
        self._not_ours.update(path for path, _ in sifted.refused)
        told = [f"{error.cause}; {_UNUSED}" for _, error in sifted.refused]
        return self._choose(sifted.found, told)

    def _choose(self, found: Sequence[FoundReview], told: list[str]) -> Found:
        """Take the newest of the session's reviews, the first."""
        if self._shared:
            self._not_ours.update(one.path for one in found)
            told.append(f"{self.name} is open {self._shared}")
        if found:
            self._last_place, self._taken = found[0].path, found[0].review
            others = [one.path for one in found[1:]]
            if others:
                self._not_ours.update(others)
                told += [f"{self._told_place(path)} is older and stays as it is" for path in others]
            if not self.sha256:
                self._unsure.add(self._last_place)
            if others or (self._beside and self._last_place != self._usual):
                told.append(f"what was added earlier is taken from {self._told_place(self._last_place)}")
        return Found(self._taken, self._sentence(told))

    def learn(self, sha256: str) -> str:
        """Judge what was found by the digest of the whole file, as soon as that is known.

        Returns
        -------
        str
            A sentence for the bar, if the review that was used is another session's; else empty.
        """
        with self._lock:
            self.sha256 = sha256
            unsure, self._unsure = self._unsure, set()
            if not is_another_s(self._taken, sha256, self.quick_digest):
                return ""
            self._not_ours.update(unsure)
            return self._sentence([f"{another_s(path, self.name).cause}; {_UNUSED}" for path in sorted(unsure)])

    def _sentence(self, told: Sequence[str]) -> str:
        if (self._not_ours or self._shared) and self._beside:
            target = next(place for place in self._places if place not in self._not_ours)
            if target != self._usual:
                told = [*told, f"what you add is kept in {self._told_place(target)}"]
        text = "; ".join(dict.fromkeys(told))
        names = tuple(path.name for path in (self._usual, *self._places))
        first = text[:1] if text.startswith((self.name, *names)) else text[:1].upper()  # a file is called as it is
        return f"{first}{text[1:]}." if text else ""

    def _told_place(self, path: Path) -> str:
        return path.name if path.parent == self._usual.parent else str(path)

    @property
    def overtaken(self) -> bool:
        """Whether a place holds something else now than when it was read: what was found is not the newest any more."""
        return any(_content(path) != seen for path, seen in self._seen.items())

    # -- saving ---------------------------------------------------------------------------------------------

    def next_version(self) -> int:
        """Return a number for the next save, higher than any before; called on the main thread."""
        self._version += 1
        return self._version

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
            refusals: set[tuple[Path, str]] = set()
            for path in self._places:
                if path in self._not_ours or path in self._unsure:
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
                    reason = error.cause if isinstance(error, ReviewFileError) else f"{path}: {error.strerror}"
                    # a full disk refuses every name alike: it is said once for a folder
                    refusal = (path.parent, reason.replace(path.name, ""))
                    if refusal not in refusals:
                        reasons.append(reason)
                    refusals.add(refusal)
                    continue
                self._saved_version = version
                self._seen[path] = _content(path)
                self._tidy(path)
                return self._told_of(path, reasons)
            raise ReviewFileError(
                f"what you added to {self.name} is not saved: {'; '.join(reasons)}",
                "make room for it beside the session, then change something",
            )

    def _tidy(self, path: Path) -> None:
        """Take away what was only kept until the whole file's digest was known, now that its place takes it."""
        if self._unsure:
            self._meanwhile = path
        elif self._meanwhile is not None and self._meanwhile != path:
            with suppress(OSError):
                if _content(self._meanwhile) == self._seen[self._meanwhile]:
                    self._meanwhile.unlink()
                    self._seen[self._meanwhile] = None
            self._meanwhile = None

    def _told_of(self, path: Path, reasons: Sequence[str]) -> str:
        before, self._last_place = self._last_place, path
        if path == before or path == self._usual:
            return ""
        if not self._beside and not reasons and not self._shared:
            return f"The sample stays as it came: what you add is kept in {path}."
        if reasons:
            return f"{'; '.join(reasons)}; what you add is kept in {self._told_place(path)}."
        return ""  # where it goes was told when the session was opened


def _content(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except OSError:
        return None
