"""The habits of the desk's user in one small file: read when it starts, written whole whenever one changes. No Qt."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pulsewright_app.desk.habits.preferences import Preferences

SCHEMA = "pulsewright-desk/1"
MOST_RECENT = 12


def habits_path() -> Path:
    """Return where the habits are kept: in the user's own folder for settings."""
    import platformdirs

    return Path(platformdirs.user_config_path("pulsewright", appauthor=False)) / "desk.json"


@dataclass(frozen=True)
class RecentFile:
    """A session that was opened.

    Attributes
    ----------
    path : Path
    when : str
        When last, ISO 8601.
    """

    path: Path
    when: str


@dataclass(frozen=True)
class Layout:
    """Where the window and its panels are, as Qt writes it: base64 text. Empty: as usual."""

    geometry: str = ""
    panels: str = ""


class Habits:
    """What is remembered.

    Parameters
    ----------
    path : Path or None
        The file; None remembers nothing beyond this process.

    Attributes
    ----------
    told : str
        What was wrong with the file, in a sentence; empty if nothing was.
    """

    def __init__(self, path: Path | None = None) -> None:
        self._path = path
        self.told = ""
        self.preferences, self.recent, self.layout = Preferences(), (), Layout()
        self._read()

    preferences: Preferences
    recent: tuple[RecentFile, ...]
    layout: Layout

    # -- changing -------------------------------------------------------------------------------------------

    def prefer(self, preferences: Preferences) -> str:
        """Take other preferences; return a sentence if they cannot be kept."""
        self.preferences = preferences
        return self._write()

    def opened(self, path: Path) -> str:
        """Remember that a session was opened; return a sentence if that cannot be kept."""
        others = _Written(self._path).recent if self._path is not None else self.recent  # another window's as well
        absolute = path.absolute()
        kept = [one for one in others if one.path != absolute]
        now = datetime.now(UTC).isoformat(timespec="seconds")
        self.recent = (RecentFile(absolute, now), *kept)[:MOST_RECENT]
        return self._write()

    def forget_recent(self) -> str:
        """Forget every session that was opened; return a sentence if that cannot be kept."""
        self.recent = ()
        return self._write()

    def arrange(self, layout: Layout) -> str:
        """Remember where things are; return a sentence if that cannot be kept."""
        self.layout = layout
        return self._write()

    # -- the file -------------------------------------------------------------------------------------------

    def _read(self) -> None:
        written = _Written(self._path)
        self.preferences, self.recent, self.layout = written.preferences, written.recent, written.layout
        if written.wrong and self._path is not None:
            aside = self._path.with_suffix(".unreadable.json")
            try:
                self._path.replace(aside)
                kept = f"is kept as {aside.name}"
            except OSError:
                kept = "stays as it is"
            self.told = (
                f"{self._path.name}: your preferences cannot be read ({written.wrong}); "
                f"the file {kept}, and the desk begins as usual."
            )

    def _write(self) -> str:
        if self._path is None:
            return ""
        from pulsewright.atomic import replacing

        body = {
            "schema": SCHEMA,
            "preferences": self.preferences.as_plain(),
            "recent": [{"path": str(one.path), "when": one.when} for one in self.recent],
            "layout": {"geometry": self.layout.geometry, "panels": self.layout.panels},
        }
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            with replacing(self._path) as temporary:
                temporary.write_text(json.dumps(body, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        except (OSError, ValueError) as error:  # a path that no UTF-8 can hold is a ValueError
            reason = getattr(error, "strerror", None) or error
            return f"{self._path}: your preferences cannot be kept ({reason})."
        return ""


class _Written:
    """What the file says, or why it cannot be read."""

    def __init__(self, path: Path | None) -> None:
        self.preferences, self.layout, self.wrong = Preferences(), Layout(), ""
        self.recent: tuple[RecentFile, ...] = ()
        if path is None:
            return
        try:
            self._take(json.loads(path.read_text(encoding="utf-8")))
        except (FileNotFoundError, NotADirectoryError):
            return
        except (OSError, ValueError, TypeError, KeyError, RecursionError) as error:
            self.wrong = " ".join(str(error).split())[:120] or type(error).__name__

    def _take(self, body: Any) -> None:
        if not isinstance(body, dict) or body.get("schema") != SCHEMA:
            raise ValueError("it is none of this program")
        preferences = Preferences.of(body.get("preferences", {}))
        recent = tuple(RecentFile(Path(one["path"]), str(one["when"])) for one in body.get("recent", []))
        layout = body.get("layout", {})
        self.layout = Layout(str(layout.get("geometry", "")), str(layout.get("panels", "")))
        self.preferences, self.recent = preferences, recent[:MOST_RECENT]
