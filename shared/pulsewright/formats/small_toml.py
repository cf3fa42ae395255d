"""Small TOML files that a person writes, bounded so that none can keep the program busy."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from pulsewright.errors import RecordingError

_MOST_BYTES = 1 << 20
_MOST_DOTS = 16


def read_small_toml(path: Path, option: str = "") -> dict[str, Any]:
    """Return what a TOML file says.

    Parameters
    ----------
    path : Path
        The file.
    option : str
        The option that names it, for the error.

    Raises
    ------
    RecordingError
        If it cannot be read, is no TOML, or is larger or deeper than such a file is.
    """
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise RecordingError(f"{path.name}: is larger than such a file is", "give a small TOML file", option)
        text = path.read_text(encoding="utf-8")
        # the parser goes through a key of many parts once for each part, and through those of its parts
        if any(line.partition("=")[0].count(".") > _MOST_DOTS for line in text.splitlines() if len(line) > _MOST_DOTS):
            raise RecordingError(f"{path.name}: has a key of more than {_MOST_DOTS} parts", "write it shorter", option)
        return tomllib.loads(text)
    except (OSError, ValueError, RecursionError) as error:
        reason = getattr(error, "strerror", None) or " ".join(str(error).split())[:200]
        raise RecordingError(f"{path.name}: cannot be read ({reason})", "give a TOML file", option) from error
