"""The two spans of a session: where pulses are looked for, and where alignment is measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from PySide6.QtCore import QObject, Signal

from pulsewright.errors import PulsewrightError
from pulsewright.quantity import engineering
from pulsewright.settings import Origin
from pulsewright_app.desk.document import Document
from pulsewright_app.span_place import require_samples, time_range

SpanName = Literal["span", "alignment_span"]
Window = tuple[float, float]

SPANS: tuple[SpanName, ...] = ("span", "alignment_span")
WORDS: dict[SpanName, str] = {"span": "pulses are looked for here", "alignment_span": "alignment is measured here"}
HEADINGS: dict[SpanName, str] = {"span": "Pulses in", "alignment_span": "Alignment in"}
ORIGINS: dict[Origin, str] = {
    "option": "from the command line",
    "review": "set on the desk",
    "claims": "from the claims file",
    "default": "the whole record",
}
_DIGITS = 6


@dataclass(frozen=True)
class SpanToldOf:
    """A span that counts now: seconds from the trigger (None for the whole record), and where it came from."""

    window: Window | None
    origin: Origin

    @property
    def text(self) -> str:
        """The span as a person writes it; empty for the whole record."""
        return "" if self.window is None else " .. ".join(engineering(edge, "s", _DIGITS) for edge in self.window)


def span_of(document: Document, name: SpanName) -> SpanToldOf:
    """Return the span that counts now."""
    try:
        settings = document.plain_settings()
    except PulsewrightError:  # told where the settings are measured by
        return SpanToldOf(None, "default")
    return SpanToldOf(getattr(settings, name), settings.origin(name))


class SpanDrawing(QObject):
    """Which span the next drag across the plot sets, if any; and the only door by which a gesture sets one."""

    changed = Signal()

    def __init__(self, document: Document, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._document = document
        self._name: SpanName | None = None
        document.session_changed.connect(lambda: self.draw(None))

    @property
    def name(self) -> SpanName | None:
        """The span that the next drag sets; None while a drag zooms."""
        return self._name

    def draw(self, name: SpanName | None) -> None:
        """Let the next drag set this span, or let drags zoom again."""
        if name != self._name:
            self._name = name
            self.changed.emit()

    def refused(self, name: SpanName) -> str:
        """Return why a span cannot be changed on the desk; empty if it can."""
        if span_of(self._document, name).origin != "option":
            return ""
        option = "--" + name.replace("_", "-")
        return f"The desk cannot change this span: it was given as {option}, which counts first; open without it."

    def set(self, name: SpanName, low: float, high: float) -> str:
        """Set a span, as one step of undo, kept inside the records.

        Returns
        -------
        str
            Why nothing was changed; empty if it was.
        """
        session, refused = self._document.session, self.refused(name)
        if session is None or refused:
            return refused
        start, end = time_range(session)
        low, high = min(low, high), max(low, high)
        try:
            require_samples(session, HEADINGS[name], (low, high))
        except PulsewrightError as error:
            return error.sentence
        low, high = max(low, start), min(high, end)
        self._document.set_setting(name, [low, high])
        return ""

    def clear(self, name: SpanName) -> str:
        """Give a span back to the claims file or the default; return why not, as `set` does."""
        refused = self.refused(name)
        if not refused and name in self._document.settings:
            self._document.set_setting(name, None)
        return refused
