"""Every colour of the desk and of the evidence sheet, light and dark. Knows no toolkit.

The channel ramp has six hues at two lightnesses. Lightness alternates from channel to channel, so that neighbours in
lanes stay apart for people with protanopia, deuteranopia and tritanopia too (at least 10 in ΔE2000).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

Verdict = Literal["holds", "fails", "undecided"]


LANE_SHARE = 0.43
"""How much of the selection's colour lies over the plot in the lane of the current channel."""


@dataclass(frozen=True)
class Theme:
    """Colours by the role that they play, each ``#rrggbb``.

    Attributes
    ----------
    page, surface, raised, plot : str
        Behind everything; behind panels; behind what can be pressed; behind traces.
    ink, muted, faint, rule : str
        Text; lesser text; text that may be overlooked; lines that divide.
    accent, on_accent, selection : str
        What is chosen or current, text on it, and its pale form behind a row.
    before_trigger, trigger : str
        The shade over the pre-trigger part, and the trigger instant.
    marker, pulse, clipped, flagged, missed : str
        Marker lines; found pulses; clipped samples; flags; missed triggers.
    positive, negative : str
        The two inks where polarity or signed value is shown.
    one_ink : str
        The ink of Afterglow by count.
    holds, fails, undecided : str
        The verdicts.
    notice, on_notice : str
        The message bar and its text.
    channels : tuple of str
        The channel ramp.
    """

    name: Literal["light", "dark"]
    page: str
    surface: str
    raised: str
    plot: str
    ink: str
    muted: str
    faint: str
    rule: str
    accent: str
    on_accent: str
    selection: str
    before_trigger: str
    trigger: str
    marker: str
    pulse: str
    clipped: str
    flagged: str
    missed: str
    positive: str
    negative: str
    one_ink: str
    holds: str
    fails: str
    undecided: str
    notice: str
    on_notice: str
    channels: tuple[str, ...]

    def channel(self, index: int) -> str:
        """Return the colour of the channel at that place of the session."""
        return self.channels[index % len(self.channels)]

    def verdict(self, verdict: Verdict) -> str:
        """Return the colour of a verdict; show it with `VERDICT_SHAPES` and the word, never alone."""
        return {"holds": self.holds, "fails": self.fails, "undecided": self.undecided}[verdict]


LIGHT = Theme(
    name="light",
    page="#f3f1ea",
    surface="#faf9f5",
    raised="#ffffff",
    plot="#fdfcf9",
    ink="#26292c",
    muted="#5c6166",
    faint="#828688",
    rule="#d8d4c8",
    accent="#1f5f7a",
    on_accent="#ffffff",
    selection="#d6e5ea",
    before_trigger="#f4f1ea",
    trigger="#6b6f72",
    marker="#8a2f5b",
    pulse="#3c4247",
    clipped="#b3261e",
    flagged="#b06a00",
    missed="#b3261e",
    positive="#a5491a",
    negative="#1c5d99",
    one_ink="#22384a",
    holds="#23694a",
    fails="#a8281f",
    undecided="#7a5a00",
    notice="#fbeed0",
    on_notice="#3f3100",
    channels=(
        "#015766", "#a86ab6", "#505103", "#6581d4", "#803200", "#02996f",
        "#2f4693", "#c56a3e", "#045c41", "#0793ac", "#6b3078", "#8a8b14",
    ),
)  # fmt: skip

DARK = Theme(
    name="dark",
    page="#1b1f24",
    surface="#22272d",
    raised="#2d333a",
    plot="#20242a",
    ink="#e4e2dc",
    muted="#a9adaf",
    faint="#7c8185",
    rule="#3d444b",
    accent="#7fbcd2",
    on_accent="#10212a",
    selection="#2a404b",
    before_trigger="#292e34",
    trigger="#9a9ea1",
    marker="#e59bc0",
    pulse="#d3d0c8",
    clipped="#ff8a7d",
    flagged="#f0b45c",
    missed="#ff8a7d",
    positive="#f0a274",
    negative="#7fb8ee",
    one_ink="#d5dee6",
    holds="#7fd0a6",
    fails="#ff9488",
    undecided="#e5c46b",
    notice="#4a3d1c",
    on_notice="#f6e7bf",
    channels=(
        "#8ae8fe", "#b576c3", "#dddf75", "#708ee2", "#ffcab3", "#24ab7e",
        "#c7d7ff", "#d2764a", "#7af3c2", "#0ba3be", "#f4c4fe", "#979828",
    ),
)  # fmt: skip

TEXT_CONTRAST = 4.5
"""The least contrast of letters to what lies behind them (W3C, WCAG 2.1, 1.4.3)."""

VERDICT_SHAPES: dict[Verdict, str] = {"holds": "●", "fails": "▲", "undecided": "◇"}
"""A shape for each verdict, so that its colour is never the only sign."""


def theme(dark: bool) -> Theme:
    """Return the light theme or the dark one."""
    return DARK if dark else LIGHT


def mixed(colour: str, other: str, share: float) -> str:
    """Return `colour` with `share` (0 to 1) of `other` mixed in, ``#rrggbb``."""
    pairs = zip(components(colour), components(other), strict=True)
    return "#" + "".join(f"{round(a + (b - a) * share):02x}" for a, b in pairs)


def components(colour: str) -> tuple[int, int, int]:
    """Return red, green and blue of ``#rrggbb``, 0 to 255."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours, 1 to 21 (W3C, WCAG 2.1, "contrast ratio")."""
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


@cache
def legible(colour: str, ground: str, ink: str) -> str:
    """Return a colour for letters: the same hue, with just enough of `ink` mixed in to be read on `ground`."""
    shares = (share / 20 for share in range(21))
    return next((m for m in (mixed(colour, ink, s) for s in shares) if contrast(m, ground) >= TEXT_CONTRAST), ink)


def _luminance(colour: str) -> float:
    """Return the relative luminance (W3C, WCAG 2.1)."""
    parts = (value / 255 for value in components(colour))
    red, green, blue = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
