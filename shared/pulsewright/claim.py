"""One claim of a claims file: what is claimed of a session, and within which limit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pulsewright.claim_kinds import KINDS, ClaimKind, Limit, kind_of, parse_limit
from pulsewright.errors import SettingError
from pulsewright.minus import quoted

BASIC = ("name", "kind", "limit")
NO_LIMIT = Limit(words="none")
FURTHER = ("channels", "modules", "intervals", "pair", "withheld")


@dataclass(frozen=True)
class Claim:
    """A sentence that a report must support, with its limit.

    Attributes
    ----------
    name : str
        What a person calls it; no two claims of a file share one.
    kind : str
        One of `claim_kinds.KINDS`.
    limit : Limit
        In SI units.
    written : str
        The limit as it stands in the file.
    channels : tuple of str
        The channels that it is about; empty: all, or the one that tells the sequence.
    modules : tuple of str
        The two modules that it is about; empty: all.
    intervals : int or None
        Intervals that an extent covers; None: as many as there are.
    pair : str
        Name of a marker of the pair that it is about.
    withheld : tuple of int
        Numbers of triggers, from 0, that were withheld on purpose, to show that their absence is noticed.
    line : int
        Where it begins in its file, from 1; 0 where it comes from no file.
    """

    name: str
    kind: str
    limit: Limit = NO_LIMIT
    written: str = ""
    channels: tuple[str, ...] = ()
    modules: tuple[str, ...] = ()
    intervals: int | None = None
    pair: str = ""
    withheld: tuple[int, ...] = ()
    line: int = 0

    @property
    def about(self) -> ClaimKind:
        """What kind of claim it is."""
        return KINDS[self.kind]


class ClaimError(SettingError):
    """A claim says something that has no meaning; `key` tells where in it."""

    def __init__(self, key: str, cause: str, remedy: str = "") -> None:
        self.key = key
        super().__init__(cause, remedy)


def parse_claim(raw: Mapping[str, Any], line: int = 0) -> Claim:
    """Return a claim from what a person wrote.

    Parameters
    ----------
    raw : mapping
        Name, kind, limit, and what its kind takes besides.
    line : int
        Where it stands.

    Raises
    ------
    ClaimError
        With the first thing that is wrong, and the key that it stands at.
    """
    name = _text(raw, "name", 'write one, as in name = "the plate walks evenly"')
    word = _text(raw, "kind", f"one of {', '.join(KINDS)}")
    kind = _at("kind", lambda: kind_of(word))
    for key in raw:
        if key not in BASIC and key not in kind.takes:
            _not_taken(kind, key)
    limit = _at("limit", lambda: parse_limit(kind, raw.get("limit")))
    claim = Claim(
        name,
        kind.word,
        limit,
        str(raw.get("limit", "")),
        channels=_names(raw, "channels", '"H01,H02"'),
        modules=_names(raw, "modules", '"M1,M3"'),
        intervals=_whole(raw["intervals"], "intervals", 1) if "intervals" in raw else None,
        pair=_text(raw, "pair", 'write which one, as in pair = "test pulse to echo"') if "pair" in raw else "",
        withheld=_withheld(raw),
        line=line,
    )
    if claim.modules and len(claim.modules) != 2:
        raise ClaimError("modules", f"modules: {raw['modules']!r} is no pair of modules", 'write modules = "M1,M3"')
    if kind.word == "marker_pair" and not claim.pair:
        raise ClaimError(
            "name", "a claim of kind 'marker_pair' needs a pair", 'write which one, as in pair = "test pulse to echo"'
        )
    return claim


def _at(key: str, read: Any) -> Any:
    try:
        return read()
    except SettingError as error:
        raise ClaimError(key, error.cause, error.remedy) from error


def _text(raw: Mapping[str, Any], key: str, form: str) -> str:
    value = raw.get(key)
    if value is None:
        raise ClaimError("", f"a claim needs a {key}", f"write {form}" if key == "kind" else form)
    if not isinstance(value, str) or not value.strip():
        what = f"its {key} is not filled in" if value == "" else f"{key}: {quoted(value)} is not text"
        raise ClaimError(key, what, form)
    return " ".join(value.split())


def _not_taken(kind: ClaimKind, key: str) -> None:
    if key in FURTHER:
        having = [other.word for other in KINDS.values() if key in other.takes]
        raise ClaimError(key, f"a claim of kind {kind.word!r} takes no {key}", f"that is for {', '.join(having)}")
    allowed = ", ".join((*BASIC[: 3 if kind.has_limit else 2], *kind.takes))
    raise ClaimError(key, f"{key!r} has no meaning in a claim of kind {kind.word!r}", f"what may stand here: {allowed}")


def _names(raw: Mapping[str, Any], key: str, example: str) -> tuple[str, ...]:
    value = raw.get(key)
    if value is None:
        return ()
    parts = value.split(",") if isinstance(value, str) else value
    if not isinstance(parts, list | tuple) or not parts or not all(isinstance(p, str) and p.strip() for p in parts):
        raise ClaimError(key, f"{key}: {quoted(value)} is not a list of names", f"write it like {example}")
    return tuple(dict.fromkeys(part.strip() for part in parts))


def _whole(value: Any, key: str, least: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < least:
        raise ClaimError(key, f"{key}: {quoted(value)} is not a whole number from {least} up")
    return value


def _withheld(raw: Mapping[str, Any]) -> tuple[int, ...]:
    value = raw.get("withheld", [])
    if not isinstance(value, list | tuple):
        raise ClaimError(
            "withheld", f"withheld: {quoted(value)} is not a list of trigger numbers", "write it like withheld = [12]"
        )
    return tuple(sorted({_whole(part, "withheld", 0) for part in value}))
