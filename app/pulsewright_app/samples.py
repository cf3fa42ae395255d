"""Finds the sample sessions that travel with the application."""

from __future__ import annotations

from pathlib import Path

from pulsewright.errors import SessionFileError

DEMO_SESSION = "tank_faults.h5"
"""The sample with faults: what `demo` opens, and what the guide is about."""


def sample(name: str) -> Path:
    """Return the path of a bundled sample session, for example ``tank_faults.h5``.

    Raises
    ------
    SessionFileError
        If it did not come with this installation.
    """
    folder = samples_folder()
    path = folder / name
    if not path.is_file():
        raise SessionFileError(
            f"the sample session {name} is missing from {folder}",
            "install Pulsewright again, or make the samples with python sample_sessions/make.py",
        )
    return path


def samples_folder() -> Path:
    """Return the folder of the sample sessions: in the installed package, or in the checkout beside it."""
    here = Path(__file__).resolve().parent
    installed = here / "sample_sessions"
    return installed if installed.is_dir() else here.parent.parent / "sample_sessions"
