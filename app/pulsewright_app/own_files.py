"""The user's own folder for what the desk remembers."""

from __future__ import annotations

from pathlib import Path


def config_folder() -> Path:
    """Return the folder for preferences, recent files and the layout of the window."""
    import platformdirs

    return Path(platformdirs.user_config_path("pulsewright", appauthor=False))
