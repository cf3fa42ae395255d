"""What may become of a file while a program reads it, and how that is told."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

CUT, WRITTEN = "shorter", "it has been written to while it was open"
REPLACED = "another file has taken its place while it was open"


def cut(path: Path) -> None:
    """Leave a file's first bytes alone."""
    os.truncate(path, 3000)


def write_in_place(path: Path) -> None:
    """Write over some of a file's bytes."""
    with path.open("r+b") as stream:
        stream.seek(-2000, os.SEEK_END)
        stream.write(bytes(1000))


def replace(path: Path) -> None:
    """Put another file, with the same bytes, in a file's place."""
    other = path.with_name("other.part")
    shutil.copy(path, other)
    other.replace(path)
