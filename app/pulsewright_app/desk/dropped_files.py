"""The files that somebody drops on a window."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtGui import QDropEvent


def dropped_files(event: QDropEvent) -> list[Path]:
    """Return the files of a drop; none if it holds anything else."""
    urls = event.mimeData().urls()
    return [Path(url.toLocalFile()) for url in urls] if all(url.isLocalFile() for url in urls) else []
