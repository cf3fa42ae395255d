"""How each channel is drawn in Single: larger or smaller, higher or lower than recorded. Looked at, never undone.

Only the drawing changes: every value that is read, measured or handed over is the recorded one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from PySide6.QtCore import QObject, Signal

from pulsewright.errors import PulsewrightError
from pulsewright.quantity import engineering, parse_number

_ROUND = (*(digits * 10.0**power for power in range(-3, 3) for digits in (1, 1.5, 2, 3, 5, 7)), 1e3)
LEAST, MOST = _ROUND[0], _ROUND[-1]
"""Times as large as recorded."""


@dataclass(frozen=True)
class Trim:
    """How one channel is drawn.

    Attributes
    ----------
    scale : float
        Times as large as recorded.
    place : float
        How much higher, in the channel's unit as it would be without `scale`.
    """

    scale: float = 1.0
    place: float = 0.0

    @property
    def scale_text(self) -> str:
        """The scale as a person writes it: ``×2``."""
        return f"×{self.scale:.4g}"

    def place_text(self, unit: str) -> str:
        """Return the place as a person writes it: ``+0.5 V``."""
        return "0" if self.place == 0 else f"{'+' if self.place > 0 else ''}{engineering(self.place, unit)}"

    def text(self, unit: str) -> str:
        """Return what differs from the recorded, for a label; empty where nothing does."""
        parts = [self.scale_text] if self.scale != 1 else []
        return " ".join([*parts, self.place_text(unit)] if self.place else parts)


AS_RECORDED = Trim()


class Trims(QObject):
    """The trim of every channel that is not drawn as it was recorded."""

    changed = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._trims: dict[int, Trim] = {}

    def of(self, channel: int) -> Trim:
        """Return how a channel is drawn."""
        return self._trims.get(channel, AS_RECORDED)

    def scale(self, channel: int, scale: float) -> None:
        """Draw a channel so many times as large as recorded; `LEAST` to `MOST`."""
        self._set(channel, replace(self.of(channel), scale=min(max(scale, LEAST), MOST)))

    def step_scale(self, channel: int, up: bool) -> None:
        """Draw a channel by the next round scale larger, or smaller."""
        now = self.of(channel).scale
        further = [s for s in _ROUND if (s > now * 1.001 if up else s < now * 0.999)]
        if further:
            self.scale(channel, further[0] if up else further[-1])

    def place(self, channel: int, place: float) -> None:
        """Draw a channel higher by so much, in its unit; lower below 0."""
        if math.isfinite(place):
            self._set(channel, replace(self.of(channel), place=place))

    def reset(self, channel: int) -> None:
        """Draw a channel as it was recorded."""
        self._set(channel, AS_RECORDED)

    def start_over(self) -> None:
        """Draw every channel as it was recorded."""
        if self._trims:
            self._trims = {}
            self.changed.emit()

    def _set(self, channel: int, trim: Trim) -> None:
        if trim == self.of(channel):
            return
        self._trims.pop(channel, None)
        if trim != AS_RECORDED:
            self._trims[channel] = trim
        self.changed.emit()


def read_scale(text: str) -> float:
    """Read ``"×2"``, ``"2"`` or ``"x 0.5"``.

    Raises
    ------
    PulsewrightError
        If it is no number from `LEAST` to `MOST`.
    """
    value = parse_number(text.strip().lstrip("×x*").strip(), "", "scale")
    if not LEAST <= value <= MOST:
        raise PulsewrightError(f"scale: {text!r} is not from {LEAST:g} to {MOST:g}", 'write it like "×2"')
    return value


def read_place(text: str, unit: str) -> float:
    """Read ``"+0.5 V"`` or ``"−20 mV"``.

    Raises
    ------
    PulsewrightError
        If it is no value in that unit.
    """
    return parse_number(text.strip().removeprefix("+"), unit, "place")
