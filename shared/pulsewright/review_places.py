"""Where the review of a session may lie: beside it, or in the user's own folder where it cannot lie there."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from pulsewright.errors import ReviewFileError
from pulsewright.review import Review, read_review, review_path_for

DIGITS = 12
"""How many of the quick digest's digits tell two reviews of one name apart."""
MOST_APART = 8
"""How many desks may have one session open and still keep their reviews apart."""


@dataclass(frozen=True)
class FoundReview:
    """A review of a session, and the file that it was read from.

    Attributes
    ----------
    path : Path
    review : Review
    """

    path: Path
    review: Review


def data_folder() -> Path:
    """Return the user's own folder for what belongs to a session but cannot lie beside it."""
    import platformdirs

    return Path(platformdirs.user_data_path("pulsewright", appauthor=False))


def review_places(session_path: str | Path, quick_digest: str, *, beside: bool = True) -> tuple[Path, ...]:
    """Return the files that may hold the review of a session, in the order in which they are written.

    Parameters
    ----------
    session_path : str or Path
        The session's file.
    quick_digest : str
        Its `pulsewright.digest.quick_digest_of`.
    beside : bool
        False leaves out those beside the session.
    """
    usual = review_path_for(session_path)
    stem = usual.name.removesuffix(".review.json") + f".{quick_digest[:DIGITS]}"
    own_names = [f"{stem}{more}.review.json" for more in ("", *(f".{n}" for n in range(2, MOST_APART + 1)))]
    near = (usual, *(usual.with_name(name) for name in own_names)) if beside else ()
    return (*near, *(data_folder() / "reviews" / name for name in own_names))


@dataclass(frozen=True)
class SiftedReviews:
    """What some files hold of one session's review.

    Attributes
    ----------
    found : tuple of FoundReview
        Those that are its reviews, the newest first.
    refused : tuple of (Path, ReviewFileError)
        Those that cannot be read or are another session's, in the order of the files.
    """

    found: tuple[FoundReview, ...]
    refused: tuple[tuple[Path, ReviewFileError], ...]


def is_another_s(review: Review, sha256: str, quick_digest: str) -> bool:
    """Return whether a review names another session: by the whole file's digest if both know it, else by the quick one.

    Parameters
    ----------
    review : Review
    sha256, quick_digest : str
        Digests of the session's file; an empty `sha256` is not known yet.
    """
    if review.session_sha256 and sha256:
        return review.session_sha256 != sha256
    return bool(review.session_quick_digest) and review.session_quick_digest != quick_digest


def another_s(path: Path, session_name: str) -> ReviewFileError:
    """Return what is said of a review that is another session's.

    Parameters
    ----------
    path : Path
        The review's file.
    session_name : str
        The file of the session that was opened, as a person knows it.
    """
    return ReviewFileError(
        f"{path.name} belongs to another session, whose SHA-256 is not that of {session_name}",
        "move it away, or put the session back that it was made for",
    )


def sift_reviews(places: Iterable[Path], session_name: str, sha256: str, quick_digest: str) -> SiftedReviews:
    """Read every review there is, and tell this session's from those that cannot be used.

    Parameters
    ----------
    places : iterable of Path
        The files, from `review_places`; those that are not there, or that cannot be opened, are passed over.
    session_name : str
        The session's file, as a person knows it.
    sha256, quick_digest : str
        Its digests: a review that names others is of another session. An empty `sha256` is not known yet.
    """
    good: list[tuple[int, FoundReview]] = []
    refused: list[tuple[Path, ReviewFileError]] = []
    for path in places:
        if not path.is_file():
            continue
        try:
            review = read_review(path)
            if is_another_s(review, sha256, quick_digest):
                # its record numbers and settings would silently be applied to other data
                refused.append((path, another_s(path, session_name)))
            else:
                good.append((path.stat().st_mtime_ns, FoundReview(path, review)))
        except ReviewFileError as error:
            refused.append((path, error))
        except OSError:
            continue
    good.sort(key=lambda item: -item[0])  # of two as old, that which stands first
    return SiftedReviews(tuple(found for _, found in good), tuple(refused))


def find_review(session_path: str | Path, sha256: str, quick_digest: str, *, beside: bool = True) -> FoundReview | None:
    """Return the newest review of a session, wherever it lies; None where there is none.

    Parameters
    ----------
    session_path : str or Path
        The session's file.
    sha256, quick_digest : str
        Its digests: a review that names others is of another session.
    beside : bool
        False looks in the user's own folder only.

    Raises
    ------
    ReviewFileError
        If there are files by such a name, but none of them is a review of this session that can be read.
    """
    places = review_places(session_path, quick_digest, beside=beside)
    sifted = sift_reviews(places, Path(session_path).name, sha256, quick_digest)
    if not sifted.found and sifted.refused:
        raise sifted.refused[0][1]
    return sifted.found[0] if sifted.found else None
