"""How much a packed file may unpack to: recordings shrink to a half or a tenth, never to a thousandth."""

from __future__ import annotations

from pulsewright.errors import RecordingError

MOST_RATIO = 250
"""A packed file that promises or gives more than so many times its size is no recording."""
ALWAYS_ALLOWED = 64 << 20
"""Bytes that may be unpacked from a file of any size."""


def check_ratio(name: str, unpacked: int, packed: int) -> None:
    """Refuse what would unpack to far more than a recording does.

    Parameters
    ----------
    name : str
        The file's name.
    unpacked, packed : int
        Bytes, as promised or as counted so far.

    Raises
    ------
    RecordingError
        If there are more than `ALWAYS_ALLOWED`, and more than `MOST_RATIO` for each packed one.
    """
    if unpacked > max(ALWAYS_ALLOWED, MOST_RATIO * packed):
        raise RecordingError(
            f"{name}: unpacks to more than {MOST_RATIO} times its size ({unpacked:,} bytes from {packed:,})",
            "unpack it yourself if you trust it, and give what comes out",
        )
