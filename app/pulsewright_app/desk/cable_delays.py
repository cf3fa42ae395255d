"""The cable delay of each channel on the desk: which one counts, where it came from, and how a person changes it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pulsewright.delays import read_delay
from pulsewright.errors import PulsewrightError
from pulsewright.quantity import engineering
from pulsewright.settings import Origin, parse_setting
from pulsewright_app.desk.document import Document

_DIGITS = 6


def delay_origin(document: Document, channel: int) -> Origin:
    """Return where the delay of a channel came from; ``default`` is the session's file."""
    session = document.session
    if session is None:
        return "default"
    try:
        return document.plain_settings().delay_origin(session.channels[channel].name)
    except PulsewrightError:  # told where the settings are measured by
        return "default"


def delay_text(seconds: float) -> str:
    """Return a delay as a person writes it."""
    return engineering(seconds, "s", _DIGITS)


def set_delay(document: Document, channel: int, text: str) -> str:
    """Give a channel the delay that was written, as one step of undo; nothing gives it back to claims file or file.

    Returns
    -------
    str
        Why nothing was changed; empty if it was.
    """
    session = document.session
    if session is None:
        return ""
    name = session.channels[channel].name
    if delay_origin(document, channel) == "option":
        return "The desk cannot change this delay: it was given as --delay, which counts first; open without it."
    kept = dict(_kept(document))
    kept.pop(name, None)
    try:
        if text.strip():
            read_delay(f"Cable delay of {name}", text.strip())
            kept[name] = text.strip()
        document.set_setting("delays", kept or None, f"Set the cable delay of {name}")
    except PulsewrightError as error:
        return f"{error.sentence} Nothing was changed."
    return ""


def _kept(document: Document) -> Mapping[str, Any]:
    """Return the delays that were set on the desk, as they were written."""
    raw = document.settings.get("delays", {})
    return raw if isinstance(raw, Mapping) else dict(parse_setting("delays", raw))
