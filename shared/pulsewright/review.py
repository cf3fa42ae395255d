"""What a person adds to a session: ``NAME.review.json`` beside ``NAME.h5``, which itself never changes."""

from __future__ import annotations

import json
import math
import re
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any, ClassVar, Literal

from pulsewright.atomic import replacing
from pulsewright.errors import PulsewrightError, ReviewFileError
from pulsewright.review_markers import STRICT, check_records, pairs_of
from pulsewright.review_markers import LevelMarker as LevelMarker
from pulsewright.review_markers import Marker as Marker
from pulsewright.settings import parse_setting

SCHEMA = "pulsewright-review/3"
"""What is written; 2 added level markers and the notes of pairs, 3 the title of the sheet."""
_READ = ("pulsewright-review/1", "pulsewright-review/2", SCHEMA)


@dataclass(frozen=True)
class RejectedPulse:
    """A pulse that a person says is none: whatever is found there later takes no part in the measuring.

    Attributes
    ----------
    record : int
    channel : str
        The channel's name.
    sample : int
        A sample of the pulse, its extreme one: it names the pulse whatever it is measured by.
    reason : str
        Why; may be empty.
    """

    record: int
    channel: str
    sample: int
    reason: str = ""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT

    def __post_init__(self) -> None:
        check_records((self.record,))
        if self.sample < 0:
            raise ValueError(f"{self.sample} is not the number of a sample")


@dataclass(frozen=True)
class SheetView:
    """A view that a person wants in the evidence sheet: enough to draw it again, and its caption.

    Attributes
    ----------
    view : str
        ``single``, ``stacked``, ``afterglow`` or ``map``.
    record : int
        The current record when it was added.
    channel : str
        The current channel's name.
    caption : str
        What the person wrote below it; may be empty.
    time : (float, float) or None
        Seconds from the trigger that are shown; None for the whole record.
    value : (float, float) or None
        Values that are shown, in the channel's unit; None for all of them.
    visible : tuple of str
        Names of the channels that Single shows, in order; empty for all.
    lanes : bool
        Whether each of them has a lane of its own in Single, rather than all sharing one axis.
    neighbours : int
        How many records Stacked shows, the current one included.
    spacing : float
        Distance of two records in Stacked, as a share of a trace's full height.
    inks : str
        Afterglow in one ink by ``count``, or in two by ``polarity``.
    logarithmic : bool
        Whether the ink of Afterglow follows the logarithm of the count.
    filter : str
        The filter that the records of Stacked, Afterglow and Map match; empty for all records.
    aligned_by : str
        What the records of Afterglow are laid over each other by: ``trigger``, ``reference`` pulse or found ``pulse``.
    reference : int, "mean" or None
        What lies beneath the record in Single: another record, the mean of all, or nothing.
    markers : bool
        Whether the marker pairs of the review are drawn.
    """

    view: Literal["single", "stacked", "afterglow", "map"]
    record: int
    channel: str
    caption: str = ""
    time: tuple[float, float] | None = None
    value: tuple[float, float] | None = None
    visible: tuple[str, ...] = ()
    lanes: bool = True
    neighbours: int = 12
    spacing: float = 2 / 3
    inks: Literal["count", "polarity"] = "count"
    logarithmic: bool = True
    filter: str = ""
    aligned_by: Literal["trigger", "reference", "pulse"] = "trigger"
    reference: int | Literal["mean"] | None = None
    markers: bool = True

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT

    def __post_init__(self) -> None:
        for name in ("time", "value"):
            window = getattr(self, name)
            if window is not None and not (all(map(math.isfinite, window)) and window[0] < window[1]):
                raise ValueError(f"the {name} that a view shows goes from a lower number to a higher one")
        if self.neighbours < 1:
            raise ValueError("a view of neighbouring records shows at least 1")
        if not (math.isfinite(self.spacing) and self.spacing > 0):
            raise ValueError("the spacing of records above each other is more than 0")
        check_records((self.record, *((self.reference,) if isinstance(self.reference, int) else ())))


@dataclass(frozen=True)
class Review:
    """Everything a person added to one session.

    Attributes
    ----------
    session_sha256 : str
        The session file's SHA-256, 64 hexadecimal digits; empty while it is not known.
    session_quick_digest : str
        Its `pulsewright.digest.quick_digest_of`, likewise.
    settings : dict
        Name to value as the person wrote it.
    flags : set of int
        Records that were flagged.
    notes : dict of int to str
        Record to text.
    left_out : dict of int to str
        Records taken out of the measurement, to the reason.
    rejected : list of RejectedPulse
        Pulses taken out of the measurement.
    markers : list of Marker
        In the order in which a person wants the pairs: as they were put down, if nothing else was said.
    level_markers : list of LevelMarker
        Likewise.
    hidden_channels : list of str
        Channels that are not drawn.
    sheet_views : list of SheetView
        Views for the evidence sheet, in its order.
    sheet_title : str
        What the evidence sheet is called; empty for the title of the claims file or of the session.
    claims : str
        The text of the claims as they were edited on the desk and not saved into the claims file; empty where the file
        counts.
    """

    session_sha256: str = ""
    session_quick_digest: str = field(default="", kw_only=True)
    settings: dict[str, Any] = field(default_factory=dict)
    flags: set[int] = field(default_factory=set)
    notes: dict[int, str] = field(default_factory=dict)
    left_out: dict[int, str] = field(default_factory=dict)
    rejected: list[RejectedPulse] = field(default_factory=list, kw_only=True)
    markers: list[Marker] = field(default_factory=list)
    hidden_channels: list[str] = field(default_factory=list)
    sheet_views: list[SheetView] = field(default_factory=list)
    claims: str = field(default="", kw_only=True)
    level_markers: list[LevelMarker] = field(default_factory=list, kw_only=True)
    sheet_title: str = field(default="", kw_only=True)

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT

    def __post_init__(self) -> None:
        for name in ("session_sha256", "session_quick_digest"):
            if not re.fullmatch(r"(?:[0-9a-f]{64})?", getattr(self, name)):
                raise ValueError(f"{name} is not 64 hexadecimal digits")
        check_records((*self.flags, *self.notes, *self.left_out))
        for name, raw in self.settings.items():
            try:
                parse_setting(name, raw)
            except PulsewrightError as error:
                raise ValueError(error.sentence) from error
        if self.claims:
            import tomllib

            tomllib.loads(self.claims)

    def measuring_settings(self) -> dict[str, Any]:
        """Return the settings as a measurement takes them, with the records left out and the pulses rejected."""
        chosen: dict[str, Any] = {}
        if self.left_out:
            chosen["left_out"] = sorted(self.left_out)
        if self.rejected:
            chosen["rejected_pulses"] = [(pulse.record, pulse.channel, pulse.sample) for pulse in self.rejected]
        return {**self.settings, **chosen}


def review_path_for(session_path: str | Path) -> Path:
    """Return where the review of a session lies: ``NAME.review.json`` for ``NAME.h5``.

    Parameters
    ----------
    session_path : str or Path
        The session file.
    """
    return Path(session_path).with_suffix(".review.json")


def read_review(path: str | Path) -> Review:
    """Read and check a review.

    Parameters
    ----------
    path : str or Path
        The review file; see `review_path_for`.

    Returns
    -------
    Review

    Raises
    ------
    ReviewFileError
        If the file is missing, is no review, or holds something that has no meaning.
    """
    from pydantic import TypeAdapter, ValidationError

    path = Path(path)
    content = _json(path)
    schema = content.pop("schema", None)
    if schema not in _READ:
        raise ReviewFileError(
            f"{path.name}: schema is {schema!r}, not {SCHEMA!r}", "this is no review that can be read here"
        )
    try:
        return TypeAdapter(Review).validate_json(json.dumps(content))
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(part) for part in first["loc"]) or "the review"
        raise ReviewFileError(
            f"{path.name}: {place}: {first['msg'].removeprefix('Value error, ').rstrip('.')}",
            "mend it, or move the file away",
        ) from error


def _json(path: Path) -> dict[str, Any]:
    try:
        content = json.loads(path.read_bytes().decode("utf-8"))
    except OSError as error:
        raise ReviewFileError(f"{path.name}: cannot be read ({error.strerror})") from error
    except json.JSONDecodeError as error:
        raise ReviewFileError(
            f"{path.name}, line {error.lineno}: is not JSON ({error.msg})", "mend it, or move the file away"
        ) from error
    except (ValueError, RecursionError) as error:
        raise ReviewFileError(f"{path.name}: is not JSON ({error})", "move the file away") from error
    if not isinstance(content, dict):
        raise ReviewFileError(f"{path.name}: is no review", "move the file away")
    return content


def save_review(review: Review, path: str | Path, *, keep_copy: bool = False) -> Path | None:
    """Save a review whole or not at all.

    Parameters
    ----------
    review : Review
        What to save.
    path : str or Path
        Where; see `review_path_for`.
    keep_copy : bool
        What happens to a file at `path` that cannot be read as a review: renamed if True, else nothing is saved.

    Returns
    -------
    Path or None
        Where a file that could not be read was moved to.

    Raises
    ------
    ReviewFileError
        If the folder cannot be written to, or a file that is no review is in the way.
    """
    path = Path(path)
    try:
        written = json.dumps(_plain(review), indent=1, sort_keys=True, ensure_ascii=False, allow_nan=False)
        data = f"{written}\n".encode()
    except (TypeError, ValueError) as error:
        raise ReviewFileError(f"{path.name}: cannot be saved ({error})") from error
    try:
        copy = _copy_of_unreadable(path, keep_copy)
        with replacing(path) as temporary:
            temporary.write_bytes(data)
    except OSError as error:
        raise ReviewFileError(
            f"{path.name}: cannot be saved ({error.strerror})", "see whether you may write to that folder"
        ) from error
    except ValueError as error:  # a NUL in the path
        raise ReviewFileError(f"{path.name!r}: is not a file name", "give another name") from error
    return copy


def _plain(review: Review) -> dict[str, Any]:
    plain: dict[str, Any] = {f.name: getattr(review, f.name) for f in fields(review)}
    plain["flags"] = sorted(review.flags)
    for name in ("markers", "level_markers", "sheet_views", "rejected"):
        plain[name] = [{f.name: getattr(item, f.name) for f in fields(item)} for item in plain[name]]
    return {"schema": SCHEMA, **plain}


def _copy_of_unreadable(path: Path, keep_copy: bool) -> Path | None:
    """Keep what cannot be read: it may be another program's, or a person's work in a newer form."""
    if not path.exists():
        return None
    try:
        read_review(path)
    except ReviewFileError as error:
        if not keep_copy:
            raise ReviewFileError(
                f"{error.cause}, so nothing was saved over it", "move the file away, then save again"
            ) from error
        number = 1
        while (copy := path.with_suffix(f".unreadable-{number}.json")).exists():
            number += 1
        return path.rename(copy)
    return None


def marker_pairs(review: Review) -> list[tuple[Marker, Marker]]:
    """Return the marker pairs of a review, in a person's order; markers that make no pair are passed over.

    Parameters
    ----------
    review : Review
    """
    return pairs_of(review.markers)


def level_pairs(review: Review) -> list[tuple[LevelMarker, LevelMarker]]:
    """Return the level pairs of a review, likewise.

    Parameters
    ----------
    review : Review
    """
    return pairs_of(review.level_markers)
