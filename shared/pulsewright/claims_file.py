"""The claims file, ``NAME.claims.toml`` beside ``NAME.h5``: what is claimed of a session, and how it is measured."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from pulsewright.claim import BASIC, FURTHER, Claim, ClaimError, parse_claim
from pulsewright.errors import ClaimsFileError, SettingError
from pulsewright.settings import parse_setting
from pulsewright.toml_lines import TomlError, line_in_list, line_of, toml_table, toml_text_of

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
            _fail(path, line_of(text, "settings", name), error.cause, error.remedy)
    claims = () if settings_alone else _claims(path, text, content.get("claims", []))
    return ClaimsFile(path, content.get("title", ""), settings, claims)


def _claims(path: Path, text: str, written: list[dict[str, Any]]) -> tuple[Claim, ...]:
    """Return the claims, each with the line that it begins at."""
    found: dict[str, Claim] = {}
    for place, raw in enumerate(written):
        line = line_in_list(text, "claims", place, "")
        try:
            claim = parse_claim(raw, line or 0)
        except ClaimError as error:
            name = raw.get("name")
            who = f"claim {name!r}: " if isinstance(name, str) and name and error.key != "name" else ""
            _fail(path, line_in_list(text, "claims", place, error.key) or line, who + error.cause, error.remedy)
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
        return toml_text_of(path, "a claims file")
    except TomlError as error:
        name = repr(path.name) if error.cause == "is not a file name" else path.name
        place = f"{name}, line {error.line}" if error.line else name
        raise ClaimsFileError(f"{place}: {error.cause}", error.remedy) from error


def _table(path: Path, text: str) -> dict[str, Any]:
    try:
        return toml_table(text)
    except TomlError as error:
        _fail(path, error.line, error.cause, error.remedy)


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
        line = line_of(text, "", word)
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
