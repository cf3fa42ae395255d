"""The text of a claims file while it is being written: read as far as it makes sense, changed piece by piece.

Remarks and the order of what a person wrote stay: a piece is changed in the text, and the text is not made anew.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pulsewright.claim import BASIC, FURTHER, Claim, ClaimError, parse_claim
from pulsewright.claims_file import ClaimsFile
from pulsewright.errors import ClaimsFileError, SettingError
from pulsewright.settings import parse_setting

KEYS = (*BASIC, *FURTHER)
"""The order in which a claim's pieces are written."""


@dataclass(frozen=True)
class WrittenClaim:
    """A claim as it stands in the text.

    Attributes
    ----------
    raw : mapping
        Key to value, as written.
    claim : Claim or None
        None while it is not complete.
    error : ClaimError or None
        What it lacks first, and at which key.
    """

    raw: Mapping[str, Any]
    claim: Claim | None = None
    error: ClaimError | None = None

    @property
    def name(self) -> str:
        """What it is called; what is no name yet is shown as it is."""
        return str(self.raw.get("name", "")).strip()


@dataclass(frozen=True)
class WrittenClaims:
    """What a text says, as far as it makes sense.

    Attributes
    ----------
    title : str
    settings : dict
        Name to value as written.
    setting_errors : dict of str to SettingError
        What is wrong with some of them.
    claims : tuple of WrittenClaim
        In the order of the text.
    """

    title: str = ""
    settings: Mapping[str, Any] = field(default_factory=dict)
    setting_errors: Mapping[str, SettingError] = field(default_factory=dict)
    claims: tuple[WrittenClaim, ...] = ()

    @property
    def incomplete(self) -> tuple[WrittenClaim, ...]:
        """The claims that cannot be judged yet."""
        return tuple(written for written in self.claims if written.claim is None)

    def complete(self, path: Path, edited: bool = True) -> ClaimsFile:
        """Return what can be judged, as if it were the whole file.

        Parameters
        ----------
        path : Path
            The file that the text is for.
        edited : bool
            Whether the text is another one than that file's.
        """
        settings = {name: raw for name, raw in self.settings.items() if name not in self.setting_errors}
        claims = tuple(written.claim for written in self.claims if written.claim is not None)
        return ClaimsFile(path, self.title, settings, claims, edited)


def look_at(text: str) -> WrittenClaims:
    """Read the text of a claims file as far as it makes sense.

    Parameters
    ----------
    text : str
        TOML; an empty one claims nothing.

    Raises
    ------
    ClaimsFileError
        If it is no TOML at all.
    """
    import tomllib

    try:
        content = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise ClaimsFileError(f"the claims are not TOML ({error})", "take the last change back") from error
    title, settings, claims = content.get("title", ""), content.get("settings", {}), content.get("claims", [])
    found: dict[str, Any] = settings if isinstance(settings, dict) else {}
    listed = claims if isinstance(claims, list) else []
    wrong = {name: _setting_error(name, raw) for name, raw in found.items()}
    errors = {name: told for name, told in wrong.items() if told is not None}
    written: list[WrittenClaim] = []
    for raw in listed:
        names = {one.claim.name for one in written if one.claim is not None}
        written.append(_written(raw if isinstance(raw, dict) else {}, names))
    return WrittenClaims(title if isinstance(title, str) else "", found, errors, tuple(written))


def _setting_error(name: str, raw: Any) -> SettingError | None:
    try:
        parse_setting(name, raw)
    except SettingError as error:
        return error
    return None


def _written(raw: Mapping[str, Any], names: set[str]) -> WrittenClaim:
    try:
        claim = parse_claim(raw)
        if claim.name in names:
            raise ClaimError("name", f"there is a claim called {claim.name!r} already", "give each a name of its own")
    except ClaimError as error:
        return WrittenClaim(raw, None, error)
    return WrittenClaim(raw, claim)


def with_claim(text: str, place: int | None, raw: Mapping[str, Any]) -> str:
    """Return the text with one claim written anew, or a further one behind the others.

    Parameters
    ----------
    text : str
    place : int or None
        Which claim, from 0; None for a new one.
    raw : mapping
        Key to value; what is not in it is taken out of the claim.
    """

    def change(document: Any) -> None:
        import tomlkit

        claims = _claims_of(document)
        if place is None:
            claims.append(tomlkit.table())
        claim = claims[len(claims) - 1 if place is None else place]
        for key in [key for key in claim if key not in raw]:
            del claim[key]
        for key in sorted(raw, key=lambda k: KEYS.index(k) if k in KEYS else len(KEYS)):
            if claim.get(key) != raw[key] or type(claim.get(key)) is bool:
                claim[key] = raw[key]

    begun = f"{text.rstrip()}\n\n" if place is None and text.strip() else text
    return _changed(begun, change)


def without_claim(text: str, place: int) -> str:
    """Return the text without one claim.

    Parameters
    ----------
    text : str
    place : int
        Which claim, from 0.
    """

    def change(document: Any) -> None:
        claims = _claims_of(document)
        del claims[place]
        if not len(claims):
            del document["claims"]

    return _changed(text, change)


def with_moved_claim(text: str, place: int, by: int) -> str:
    """Return the text with one claim moved among the others.

    Parameters
    ----------
    text : str
    place : int
        Which claim, from 0.
    by : int
        How many places; below 0 towards the beginning.
    """

    def change(document: Any) -> None:
        claims = _claims_of(document)
        moved = claims[place]
        del claims[place]
        claims.insert(place + by, moved)

    return _changed(text, change)


def with_setting(text: str, name: str, value: Any) -> str:
    """Return the text with one setting changed; None takes it out.

    Parameters
    ----------
    text : str
    name : str
    value : object
        As it is written.
    """

    def change(document: Any) -> None:
        import tomlkit

        if "settings" not in document:
            claims = document.pop("claims", None)  # a table of its own stands before the list of tables
            document["settings"] = tomlkit.table()
            if claims is not None:
                document["claims"] = claims
        if value is None:
            document["settings"].pop(name, None)
        else:
            document["settings"][name] = value

    return _changed(text, change)


def with_title(text: str, title: str) -> str:
    """Return the text with another title.

    Parameters
    ----------
    text : str
    title : str
    """

    def change(document: Any) -> None:
        if "title" in document:
            document["title"] = title
            return
        rest = [(key, document.pop(key)) for key in list(document)]
        document["title"] = title
        for key, value in rest:
            document[key] = value

    return _changed(text, change)


def _claims_of(document: Any) -> Any:
    import tomlkit

    if "claims" not in document:
        document["claims"] = tomlkit.aot()
    return document["claims"]


def _changed(text: str, change: Callable[[Any], None]) -> str:
    import tomlkit

    document = tomlkit.parse(text)
    change(document)
    return tomlkit.dumps(document)
