"""The user's own folders: for reviews that cannot lie beside their session, for locks, for what the desk remembers."""

from __future__ import annotations

from pathlib import Path

from pulsewright.review_places import data_folder as data_folder


def config_folder() -> Path:
    """Return the folder for preferences, recent files and the layout of the window."""
    import platformdirs

    return Path(platformdirs.user_config_path("pulsewright", appauthor=False))
