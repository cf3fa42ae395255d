"""The files that somebody drops on a window."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtGui import QDragEnterEvent, QDropEvent


def dropped_files(event: QDropEvent) -> list[Path]:
    """Return the files of a drop; none if it holds anything else."""
    urls = event.mimeData().urls()
    return [Path(url.toLocalFile()) for url in urls] if all(url.isLocalFile() for url in urls) else []


class TakesFiles:
    """A window on which files, and nothing else, can be dropped; to be named before Qt's own class."""

    def take_files(self, paths: list[Path]) -> None:
        """Do with dropped files what the window is for.

        Raises
        ------
        NotImplementedError
            Here; each window does something else with them.
        """
        raise NotImplementedError

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Take files, and nothing else."""
        if dropped_files(event):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        """Take the files that were dropped."""
        paths = dropped_files(event)
        if paths:
            event.acceptProposedAction()
            self.take_files(paths)
