"""Whether the window can be shown on this machine, found out without loading Qt into this process."""

from __future__ import annotations

import os
import re
import subprocess
import sys

from pulsewright.errors import DisplayError

SYSTEM_LIBRARIES = (
    "libegl1 libgl1 libxkbcommon0 libfontconfig1 libdbus-1-3 libxkbcommon-x11-0 libxcb-cursor0 "
    "libxcb-icccm4 libxcb-keysyms1 libxcb-shape0 libxcb-image0 libxcb-render-util0"
)
"""Debian packages that Qt needs and a bare machine lacks."""

WITHOUT_A_SCREEN = ("offscreen", "minimal")

_PROBE = "from PySide6.QtWidgets import QApplication; QApplication([])"
_PROBE_SECONDS = 60


def why_no_display(for_a_person: bool = False) -> DisplayError | None:
    """Return why no window can be shown, or None if one can.

    Parameters
    ----------
    for_a_person : bool
        Whether somebody must be able to see it: then a platform that draws only into memory does not count.

    Returns
    -------
    DisplayError or None
        Found by starting Qt in a process of its own, because Qt aborts its process where it finds no display.
    """
    platform = os.environ.get("QT_QPA_PLATFORM", "").split(":")[0]
    if for_a_person and platform in WITHOUT_A_SCREEN:
        return DisplayError(
            f"the display is off (QT_QPA_PLATFORM={platform})",
            "unset it to see the window, or use pulsewright measure, which needs none",
        )
    if not platform and _without_screen():
        return DisplayError(
            "there is no display (neither DISPLAY nor WAYLAND_DISPLAY is set)",
            "start it where there is one, or use pulsewright measure, which needs none",
        )
    return _failure_of_qt()


def require_display() -> None:
    """Return if the window can be shown.

    Raises
    ------
    DisplayError
        With what to install, or which command works without.
    """
    error = why_no_display()
    if error is not None:
        raise error


def _without_screen() -> bool:
    return sys.platform.startswith("linux") and not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _failure_of_qt() -> DisplayError | None:
    try:
        probe = subprocess.run(
            [sys.executable, "-c", _PROBE], capture_output=True, text=True, timeout=_PROBE_SECONDS, check=False
        )
    except (OSError, subprocess.SubprocessError):
        return DisplayError("the display does not answer", "use pulsewright measure, which needs none")
    if probe.returncode == 0:
        return None
    return explain(probe.stderr)


def explain(complaint: str) -> DisplayError:
    """Return the error for what Qt said when it could not start.

    Parameters
    ----------
    complaint : str
        Its standard error.
    """
    if "No module named" in complaint:
        return DisplayError("PySide6 is not installed", "install Pulsewright again with pip")
    unreachable = re.search(r"could not connect to display (\S+)", complaint)
    if unreachable:
        return DisplayError(
            f"the display {unreachable[1]} does not answer",
            "set DISPLAY to one that does, or use pulsewright measure, which needs none",
        )
    missing = re.search(r"(lib[\w.+-]+\.so[.\d]*): cannot open shared object", complaint)
    what = f"the display library {missing[1]} is missing" if missing else "Qt cannot start on this display"
    return DisplayError(
        what,
        f"on Debian or Ubuntu: apt-get install {SYSTEM_LIBRARIES}; or use pulsewright measure, which needs no display",
    )
