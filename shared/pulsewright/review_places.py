"""Where the review of a session may lie: beside it, or in the user's own folder where it cannot lie there."""

from __future__ import annotations

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
    good: list[tuple[int, FoundReview]] = []
    wrong: ReviewFileError | None = None
    for path in review_places(session_path, quick_digest, beside=beside):
        if not path.is_file():
            continue
        try:
            review = read_review(path)
            if review.session_sha256 and review.session_sha256 != sha256:
                # its record numbers and settings would silently be applied to other data
                raise ReviewFileError(
                    f"{path.name}: belongs to another session, whose SHA-256 is not that of {Path(session_path).name}",
                    "move it away, or put the session back that it was made for",
                )
            good.append((path.stat().st_mtime_ns, FoundReview(path, review)))
        except ReviewFileError as error:
            wrong = wrong or error
        except OSError:
            continue
    if good:
        return max(good, key=lambda item: item[0])[1]
    if wrong is not None:
        raise wrong
    return None
