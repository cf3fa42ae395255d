"""The claims file, ``NAME.claims.toml`` beside ``NAME.h5``: what is claimed of a session, and how it is measured."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from pulsewright.claim import BASIC, FURTHER, Claim, ClaimError, parse_claim
from pulsewright.errors import ClaimsFileError, SettingError
from pulsewright.settings import parse_setting

if TYPE_CHECKING:
    from pydantic import BaseModel


@dataclass(frozen=True)
class ClaimsFile:
    """What a claims file says.

    Attributes
    ----------
    path : Path
        Where it was read from.
    title : str
        What the file is about; may be empty.
    settings : dict
        Name to value as it was written (``"60 us"``), each one checked.
    claims : tuple of Claim
        In the file's order.
    edited : bool
        Whether it was edited on the desk since, and not saved into the file.
    """

    path: Path
    title: str = ""
    settings: dict[str, Any] = field(default_factory=dict)
    claims: tuple[Claim, ...] = ()
    edited: bool = False


def claims_path_for(session_path: str | Path) -> Path:
    """Return where the claims file of a session lies: ``NAME.claims.toml`` for ``NAME.h5``.

    Parameters
    ----------
    session_path : str or Path
        The session file.
    """
    return Path(session_path).with_suffix(".claims.toml")


def read_claims(path: str | Path, settings_alone: bool = False) -> ClaimsFile:
    """Read and check a claims file.

    Parameters
    ----------
    path : str or Path
        TOML in UTF-8, with a text ``title``, a table ``[settings]`` and any number of ``[[claims]]``, each of which
        may be left out.
    settings_alone : bool
        Whether the claims are passed over, because a draft's limits may not be filled in yet.

    Raises
    ------
    ClaimsFileError
        With the first thing that is wrong and its line.
    """
    path = Path(path)
    return parse_claims(claims_text_of(path), path, settings_alone)


def parse_claims(text: str, path: Path, settings_alone: bool = False) -> ClaimsFile:
    """Check the text of a claims file.

    Parameters
    ----------
    text : str
        As `read_claims` finds it.
    path : Path
        The file that it is of, for errors.
    settings_alone : bool
        Whether the claims are passed over.

    Raises
    ------
    ClaimsFileError
        With the first thing that is wrong and its line.
    """
    content = _table(path, text)
    _check_form(path, text, content)
    settings = content.get("settings", {})
    for name, raw in settings.items():
        try:
            parse_setting(name, raw)
        except SettingError as error:
            _fail(path, _line(text, "settings", name), error.cause, error.remedy)
    claims = () if settings_alone else _claims(path, text, content.get("claims", []))
    return ClaimsFile(path, content.get("title", ""), settings, claims)


def _claims(path: Path, text: str, written: list[dict[str, Any]]) -> tuple[Claim, ...]:
    """Return the claims, each with the line that it begins at."""
    found: dict[str, Claim] = {}
    for place, raw in enumerate(written):
        line = _line_in_claim(text, place, "")
        try:
            claim = parse_claim(raw, line or 0)
        except ClaimError as error:
            name = raw.get("name")
            who = f"claim {name!r}: " if isinstance(name, str) and name and error.key != "name" else ""
            _fail(path, _line_in_claim(text, place, error.key) or line, who + error.cause, error.remedy)
        if claim.name in found:
            first = found[claim.name].line
            where = f" in line {first}" if first else ""
            _fail(path, line, f"there is a claim called {claim.name!r}{where} already", "give each a name of its own")
        found[claim.name] = claim
    return tuple(found.values())


def _fail(path: Path, line: int | None, cause: str, remedy: str = "") -> NoReturn:
    place = f"{path.name}, line {line}" if line else path.name
    raise ClaimsFileError(f"{place}: {cause}", remedy)


def claims_text_of(path: Path) -> str:
    """Return the text of a claims file.

    Parameters
    ----------
    path : Path

    Raises
    ------
    ClaimsFileError
        If it cannot be read, or is not UTF-8.
    """
    try:
        path.stat()  # says of a NUL in the path what the next question passes over
        if not path.is_file():
            _fail(path, None, "is not a file", "give a claims file")
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise ClaimsFileError(f"{path.name}: there is no such file", f"looked in {path.absolute().parent}") from error
    except OSError as error:
        raise ClaimsFileError(
            f"{path.name}: cannot be read ({error.strerror})", "see whether you may read it"
        ) from error
    except ValueError as error:  # a NUL in the path
        raise ClaimsFileError(f"{path.name!r}: is not a file name", "give a claims file") from error
    try:
        return data.decode("utf-8-sig")  # some editors put a mark at the start
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        _fail(path, line, "is not UTF-8 text", "save the file as UTF-8")


def _table(path: Path, text: str) -> dict[str, Any]:
    import tomllib

    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.fullmatch(r"(?s)(.*?) \(at (?:line (\d+), column \d+|end of document)\)", str(error))
        cause, line = (found[1], found[2]) if found else (str(error), None)
        number = int(line) if line else text.count("\n") + 1
        _fail(path, number, f"is not TOML ({cause[:1].lower()}{cause[1:]})", 'write name = "value"')
    except (RecursionError, ValueError) as error:  # arrays nested without end, a number of 5,000 digits
        _fail(path, None, f"is not TOML ({error})")


@cache
def _form() -> type[BaseModel]:
    from pydantic import BaseModel, ConfigDict, Field

    class ClaimsForm(BaseModel):
        """What a claims file may hold."""

        model_config = ConfigDict(extra="forbid", strict=True)
        title: str = ""
        settings: dict[str, Any] = Field(default_factory=dict)
        claims: list[dict[str, Any]] = Field(default_factory=list)

    return ClaimsForm


def _check_form(path: Path, text: str, content: dict[str, Any]) -> None:
    from pydantic import ValidationError

    try:
        _form().model_validate(content)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        word = str(first["loc"][0])
        line = _line(text, "", word)
        if first["type"] == "extra_forbidden":
            _fail(path, line, f"{word!r} has no meaning here", _allowed(word))
        form = {
            "title": 'text, like title = "Tank walk"',
            "settings": "a table, headed [settings]",
            "claims": "a list of tables, each headed [[claims]]",
        }[word]
        _fail(path, line, f"{word} is not {form}")


def _allowed(word: str) -> str:
    """Return what may stand where `word` stands; a setting is told where it belongs."""
    from pulsewright.settings import setting_names

    if word in setting_names():
        return "settings belong below a line [settings]"
    if word in (*BASIC, *FURTHER):
        return "claims belong below a line [[claims]]"
    return f"what may stand here: {', '.join(_form().model_fields)}"


def _line(text: str, table: str, key: str) -> int | None:
    """Return the line that names `key` in `table` (or at the top, or as a table itself), counted from 1.

    The TOML reader tells no lines, so they are found in the text; what stands inside a value over several
    lines may mislead this, never the check itself.
    """
    quoted = rf"""(?:{re.escape(key)}|"{re.escape(key)}"|'{re.escape(key)}')"""
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


def _line_in_claim(text: str, place: int, key: str) -> int | None:
    """Return the line of `key` in the claim with that place, from 0, or of its heading where `key` is empty."""
    quoted = rf"""(?:{re.escape(key)}|"{re.escape(key)}"|'{re.escape(key)}')"""
    at_key = re.compile(rf"\s*{quoted}\s*[=.]")
    here, heading = -1, None
    for number, line in enumerate(text.splitlines(), start=1):
        header = re.match(r"\s*(\[\[?)\s*([^\]]*?)\s*\]", line)
        if header:
            ours = header[1] == "[[" and header[2].strip("\"'") == "claims"
            here = here + 1 if ours else here
            if ours and here == place:
                heading = number
                if not key:
                    return number
        elif heading is not None and here == place and key and at_key.match(line):
            return number
    return heading
