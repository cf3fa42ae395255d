"""TOML that a person writes: read with the line of whatever is wrong in it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any


class TomlError(Exception):
    """A text is not TOML, or its file cannot be read.

    Parameters
    ----------
    line : int or None
        Where, from 1; None where it is no matter of a line.
    cause, remedy : str
        As for `PulsewrightError`, without the name of the file.

    Attributes
    ----------
    line, cause, remedy
        As given.
    """

    def __init__(self, line: int | None, cause: str, remedy: str = "") -> None:
        super().__init__(cause)
        self.line, self.cause, self.remedy = line, cause, remedy


def toml_text_of(path: Path, kind: str) -> str:
    """Return the text of a file.

    Parameters
    ----------
    path : Path
        The file.
    kind : str
        What it ought to be, ``"a claims file"``.

    Raises
    ------
    TomlError
        If it cannot be read, or is not UTF-8.
    """
    try:
        path.stat()  # says of a NUL in the path what the next question passes over
        if not path.is_file():
            raise TomlError(None, "is not a file", f"give {kind}")
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise TomlError(None, "there is no such file", f"looked in {path.absolute().parent}") from error
    except OSError as error:
        raise TomlError(None, f"cannot be read ({error.strerror})", "see whether you may read it") from error
    except ValueError as error:  # a NUL in the path
        raise TomlError(None, "is not a file name", f"give {kind}") from error
    try:
        return data.decode("utf-8-sig")  # some editors put a mark at the start
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise TomlError(line, "is not UTF-8 text", "save the file as UTF-8") from error


def toml_table(text: str) -> dict[str, Any]:
    """Return what a text says as TOML.

    Parameters
    ----------
    text : str
        The text.

    Raises
    ------
    TomlError
        If it is not TOML.
    """
    import tomllib

    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.fullmatch(r"(?s)(.*?) \(at (?:line (\d+), column \d+|end of document)\)", str(error))
        cause, line = (found[1], found[2]) if found else (str(error), None)
        number = int(line) if line else text.count("\n") + 1
        raise TomlError(number, f"is not TOML ({cause[:1].lower()}{cause[1:]})", 'write name = "value"') from error
    except (RecursionError, ValueError) as error:  # arrays nested without end, a number of 5,000 digits
        raise TomlError(None, f"is not TOML ({error})") from error


def line_of(text: str, table: str, key: str) -> int | None:
    """Return the line that names a key in a table, counted from 1.

    The TOML reader tells no lines, so they are found in the text; what stands inside a value over several
    lines may mislead this, never the check itself.

    Parameters
    ----------
    text : str
        The file's text.
    table : str
        Heading of the table, ``"channels.H07"``; empty for the top.
    key : str
        The key, which may be the name of a table itself.
    """
    quoted = _quoted(key)
    at_key = re.compile(rf"\s*{quoted}\s*[=.]")
    # settings.span = "…" or settings = {span = "…"} at the top says the same as a line below [settings]
    inside = re.compile(rf"\s*{re.escape(table)}\s*(?:\.\s*{quoted}\s*[=.]|=.*\b{quoted}\s*=)")
    own_header = re.compile(rf"{re.escape(table)}\s*\.\s*{quoted}$" if table else rf"{quoted}\s*(?:\.|$)")
    here = ""
    for number, line in enumerate(text.splitlines(), start=1):
        header = re.match(r"\s*\[\[?\s*([^\]]*?)\s*\]", line)
        if header:
            here = header[1]
            if own_header.match(here):
                return number
        elif (here == table and at_key.match(line)) or (table and here == "" and inside.match(line)):
            return number
    return None


def line_in_list(text: str, heading: str, place: int, key: str) -> int | None:
    """Return the line of a key in one table of a list, or of that table's heading where the key is empty or not found.

    Parameters
    ----------
    text : str
        The file's text.
    heading : str
        ``"claims"`` for tables headed ``[[claims]]``.
    place : int
        Which of them, from 0.
    key : str
        The key; may be empty.
    """
    at_key = re.compile(rf"\s*{_quoted(key)}\s*[=.]")
    here, found = -1, None
    for number, line in enumerate(text.splitlines(), start=1):
        header = re.match(r"\s*(\[\[?)\s*([^\]]*?)\s*\]", line)
        if header:
            ours = header[1] == "[[" and header[2].strip("\"'") == heading
            here = here + 1 if ours else here
            if ours and here == place:
                found = number
                if not key:
                    return number
        elif found is not None and here == place and key and at_key.match(line):
            return number
    return found


def _quoted(key: str) -> str:
    return rf"""(?:{re.escape(key)}|"{re.escape(key)}"|'{re.escape(key)}')"""
