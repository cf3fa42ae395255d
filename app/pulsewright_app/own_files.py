"""The user's own folders: for reviews that cannot lie beside their session, for locks, for what the desk remembers."""

from __future__ import annotations

from pathlib import Path


def data_folder() -> Path:
    """Return the folder for what belongs to a session but cannot lie beside it."""
    import platformdirs

    return Path(platformdirs.user_data_path("pulsewright", appauthor=False))


def config_folder() -> Path:
    """Return the folder for preferences, recent files and the layout of the window."""
    import platformdirs

    return Path(platformdirs.user_config_path("pulsewright", appauthor=False))
