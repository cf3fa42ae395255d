"""Writes the desktop entry with the icon beside it, so that a Linux desktop lists the program and opens its files."""

from __future__ import annotations

import shutil
import sys
from importlib.resources import files
from pathlib import Path

from pulsewright.atomic import replacing
from pulsewright.errors import PulsewrightError

ENTRY, ICON = "pulsewright.desktop", "pulsewright.svg"


def applications_folder() -> Path:
    """Return where a desktop looks for the entries of one user (XDG Base Directory specification)."""
    import platformdirs

    return Path(platformdirs.user_data_path()) / "applications"


def write_desktop_entry(folder: Path) -> Path:
    """Write the entry and the icon into a folder, and return the entry's path.

    Raises
    ------
    PulsewrightError
        If the folder cannot be written to.
    """
    icon = folder / ICON
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with replacing(icon) as temporary:
            temporary.write_bytes((files("pulsewright_app") / "icon" / ICON).read_bytes())
        with replacing(folder / ENTRY) as temporary:
            temporary.write_text(entry_text(_program(), icon.absolute()), encoding="utf-8")
    except OSError as error:
        raise PulsewrightError(
            f"{folder}: the desktop entry cannot be written there ({error.strerror or error})", "give another folder"
        ) from error
    return folder / ENTRY


def entry_text(program: str, icon: Path) -> str:
    """Return the text of the entry for a program at a path."""
    return "\n".join(
        [
            "[Desktop Entry]",
            "Type=Application",
            "Version=1.5",
            "Name=Pulsewright",
            "GenericName=Review of recorded waveforms",
            "Comment=Turn the recorded segments of a repetitive-trigger experiment into evidence",
            f"Exec={_quoted(program)} review %f",
            f"Icon={icon}",
            "Terminal=false",
            "Categories=Science;Engineering;",
            "MimeType=application/x-hdf5;application/x-hdf;",
            "StartupWMClass=pulsewright",
            "",
        ]
    )


def _quoted(program: str) -> str:
    """Return an argument as the specification quotes it."""
    escaped = "".join(f"\\{letter}" if letter in '"`$\\' else letter for letter in program)
    return f'"{escaped}"'.replace("%", "%%")


def _program() -> str:
    found = shutil.which("pulsewright")
    beside = Path(sys.executable).with_name("pulsewright")
    return str(beside) if beside.exists() else found or "pulsewright"
