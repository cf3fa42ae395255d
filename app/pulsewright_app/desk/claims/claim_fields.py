"""What a person types into the form of a claim, and what is written of it in the claims file. No Qt."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from pulsewright.claim import FURTHER
from pulsewright.claim_kinds import HOW_TO_WRITE, KINDS, ClaimKind

EXAMPLES = {
    "channels": "H01,H02; empty for all",
    "modules": "M1,M3; empty for all",
    "intervals": "11; empty for as many as there are",
    "pair": "name of a marker pair",
    "withheld": "9, 12: triggers withheld on purpose, from 0",
}
LABELS = {
    "name": "Name",
    "kind": "Kind",
    "limit": "Limit",
    "channels": "Channels",
    "modules": "Modules",
    "intervals": "Intervals",
    "pair": "Marker pair",
    "withheld": "Withheld",
}

_IN_FILE = re.compile(rf'\b(?:{"|".join(LABELS)}) = (?:"([^"]*)"|([\d.]*\d))')
"""A piece of a claim as it stands in the claims file."""


def typed_of(raw: Mapping[str, Any]) -> dict[str, str]:
    """Return each piece of a claim as a person would type it."""
    return {key: _typed(value) for key, value in raw.items()}


def _typed(value: Any) -> str:
    if isinstance(value, list | tuple):
        return ", ".join(str(part) for part in value)
    return str(value)


def raw_with(raw: Mapping[str, Any], key: str, typed: str) -> dict[str, Any]:
    """Return a claim with one piece typed anew; what cannot be a number stays text, and is told to be none."""
    changed = dict(raw)
    text = typed.strip()
    if key == "kind":
        return of_kind(raw, text)
    if key in ("name", "limit"):
        changed[key] = typed if key == "name" else text
    elif not text:
        changed.pop(key, None)
    elif key == "intervals":
        changed[key] = _number(text)
    elif key == "withheld":
        changed[key] = [_number(part.strip()) for part in text.split(",") if part.strip()]
    else:
        changed[key] = text
    return changed


def _number(text: str) -> int | str:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 13 else text


def of_kind(raw: Mapping[str, Any], word: str) -> dict[str, Any]:
    """Return a claim of another kind, without what that kind does not take; a limit of another form is left open."""
    kind = KINDS[word]
    before = KINDS.get(str(raw.get("kind", "")))
    kept = {key: value for key, value in raw.items() if key not in FURTHER or key in kind.takes}
    kept["kind"] = word
    if not kind.has_limit:
        kept.pop("limit", None)
    elif before is None or (before.form, before.unit) != (kind.form, kind.unit):
        kept["limit"] = ""
    return kept


def new_claim(names: set[str]) -> dict[str, Any]:
    """Return a claim to begin with, under a name that is free."""
    return {"name": free_name("New claim", names), "kind": "skew", "limit": ""}


def copy_of(raw: Mapping[str, Any], names: set[str]) -> dict[str, Any]:
    """Return the same claim under a name that is free."""
    return {**raw, "name": free_name(str(raw.get("name", "Claim")), names)}


def free_name(wanted: str, names: set[str]) -> str:
    """Return the name that is wanted, or the first one with a number behind it that is free."""
    if wanted not in names:
        return wanted
    number = 2
    while f"{wanted} {number}" in names:
        number += 1
    return f"{wanted} {number}"


def beside_field(sentence: str) -> str:
    """Return a sentence about the claims file for whoever types into a field: without the key, without the quotes."""
    return _IN_FILE.sub(lambda found: found[1] or found[2] or "", sentence)


def limit_hint(kind: ClaimKind) -> str:
    """Return how the limit of a kind is written, for the empty field."""
    return f"{kind.example.strip(chr(34))}: {HOW_TO_WRITE[kind.form]}" if kind.has_limit else "takes no limit"
