"""Names in menus and on buttons: an ampersand is a letter there, not the mark of a key. No Qt."""

from __future__ import annotations


def without_keys(text: str) -> str:
    """Return a text that reads as it is written where Qt takes an ampersand for the mark of a key."""
    return text.replace("&", "&&")
