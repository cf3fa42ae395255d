"""How files are to be understood, kept in a TOML file: the options by name, for modules and for single channels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pulsewright.errors import RecordingError
from pulsewright.formats.small_toml import read_small_toml


@dataclass(frozen=True)
class How:
    """How one file is to be understood.

    Attributes
    ----------
    options : dict of str to str
        By the names of `option_words.OPTIONS`.
    channels : dict of str to dict of str to str
        For single channels, by the names that they have without.
    """

    options: dict[str, str] = field(default_factory=dict)
    channels: dict[str, dict[str, str]] = field(default_factory=dict)

    def under(self, other: How) -> How:
        """Return this with what another says put over it.

        Parameters
        ----------
        other : How
            What counts more.
        """
        names = {*self.channels, *other.channels}
        channels = {name: {**self.channels.get(name, {}), **other.channels.get(name, {})} for name in names}
        return How({**self.options, **other.options}, channels)


def read_how(path: Path) -> tuple[How, dict[str, How]]:
    """Return what a TOML file says for every file, and what it says for single modules.

    Top-level keys are options; ``[channels.NAME]`` holds options for one channel, ``[modules.NAME]`` options for one
    module's file, with ``[modules.NAME.channels.…]`` for its channels.

    Parameters
    ----------
    path : Path
        The TOML file.

    Raises
    ------
    RecordingError
        If it cannot be read, or holds something else.
    """
    told = read_small_toml(path)
    modules = told.pop("modules", {})
    if not isinstance(modules, dict) or not all(isinstance(table, dict) for table in modules.values()):
        raise RecordingError(f"{path.name}: modules is no table of tables", "write [modules.NAME]")
    return _how(told, path), {name: _how(table, path) for name, table in modules.items()}


def _how(table: Mapping[str, Any], path: Path) -> How:
    channels = table.get("channels", {})
    if not isinstance(channels, dict) or not all(isinstance(entry, dict) for entry in channels.values()):
        raise RecordingError(f"{path.name}: channels is no table of tables", "write [channels.NAME]")
    options = {key: _text(key, value, path) for key, value in table.items() if key != "channels"}
    return How(options, {name: {key: _text(key, value, path) for key, value in entry.items()}
                         for name, entry in channels.items()})  # fmt: skip


def _text(key: str, value: Any, path: Path) -> str:
    if isinstance(value, list) and all(isinstance(part, str | int | float) for part in value):
        return ",".join(str(part) for part in value)
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise RecordingError(f"{path.name}: {key} is neither text nor a number", 'write it like "25 MHz"')
    return str(value)
