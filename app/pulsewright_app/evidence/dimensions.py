"""The marker pairs and level pairs of a figure: where each stands in the record that is drawn, with its Δ there."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from pulsewright.review import LevelMarker, Marker, Review, level_pairs, marker_pairs
from pulsewright_analysis.level_markers import level_difference, placed
from pulsewright_analysis.results import Findings
from pulsewright_analysis.standing_pairs import ends_of, record_of, standing_in
from pulsewright_app.evidence.drawing import MARKER, short
from pulsewright_app.figures_axes import Axis
from pulsewright_app.wording import follows, held_for, stays

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_ROW = 0.075
_COLUMN = 0.035
_ROOM = {"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 0.6}
"""Behind a text that lines go through."""


@dataclass(frozen=True)
class DrawnPair:
    """A marker pair in one record.

    Attributes
    ----------
    times : (float, float)
        Seconds from the trigger.
    text : str
        What stands on its dimension line.
    """

    times: tuple[float, float]
    text: str


@dataclass(frozen=True)
class DrawnLevels:
    """A level pair.

    Attributes
    ----------
    channel : str
        The name of its channel.
    values : (float, float)
        In the channel's unit.
    text : str
        What stands on its dimension line.
    """

    channel: str
    values: tuple[float, float]
    text: str


@dataclass(frozen=True)
class Dimensions:
    """Everything that a figure shows of the markers.

    Attributes
    ----------
    pairs : tuple of DrawnPair
    levels : tuple of DrawnLevels
    absent : tuple of str
        A clause for each following pair that does not stand in the record, with the reason.
    """

    pairs: tuple[DrawnPair, ...] = ()
    levels: tuple[DrawnLevels, ...] = ()
    absent: tuple[str, ...] = field(default=())

    def __bool__(self) -> bool:
        return bool(self.pairs or self.levels)

    @property
    def sentence(self) -> str:
        """What a caption says of pairs that are not drawn; empty where all are."""
        return f" Not drawn: {'; '.join(self.absent)}." if self.absent else ""


def dimensions_of(
    review: Review, findings: Findings, units: dict[str, str], channels: Collection[str], record: int | None = None
) -> Dimensions:
    """Return the pairs on some channels as they stand in one record.

    Parameters
    ----------
    review : Review
    findings : Findings
    units : dict of str to str
        The unit of each channel, by its name.
    channels : collection of str
        The channels whose pairs are wanted: those with a marker on one of them.
    record : int, optional
        The record that is drawn; each pair in the one that it was put down on if left out, and that is said.

    Returns
    -------
    Dimensions
        A pair that follows pulses has its Δ and U from that record; one that is fixed has those that it was put down
        with, and names the record that they hold for where it is another.
    """
    drawn, absent = [], []
    for pair in marker_pairs(review):
        named = {marker.channel for marker in pair}
        if None not in named and named.isdisjoint(channels):
            continue
        there = standing_in(findings, pair, record)
        name = short(pair[0].name or f"Pair {pair[0].pair}")
        if there.told is None:
            absent.append(f"{name}: {there.reason}")
        else:
            drawn.append(DrawnPair(there.times, f"{name}: Δ {there.told.delta}{_about(pair, record, findings)}"))
    levels = [
        DrawnLevels(pair[0].channel, (pair[0].value, pair[1].value), _level_text(pair, findings, units, record))
        for pair in level_pairs(review)
        if pair[0].channel in channels and pair[0].channel in units
    ]
    return Dimensions(tuple(drawn), tuple(levels), tuple(absent))


def _about(pair: tuple[Marker, Marker], record: int | None, findings: Findings) -> str:
    """Return which record a pair's Δ holds for, and what it follows, where that has to be said."""
    ends = ends_of(pair, findings)
    first, second = (end.pulse for end in ends)
    moves = first is not None or second is not None
    shown = record_of(pair) if record is None and moves else record
    own = [
        marker.record or 0 if pulse is None or shown is None else shown
        for marker, pulse in zip(pair, (first, second), strict=True)
    ]
    told = held_for(own, shown)
    if moves:
        one, other = (findings.channel_name(end.channel) for end in ends)
        told = [follows(first, second, (one, other)), f"record {shown}", *stays(first, second, own, (one, other))]
    return f" ({', '.join(told)})" if told else ""


def _level_text(
    pair: tuple[LevelMarker, LevelMarker], findings: Findings, units: dict[str, str], record: int | None
) -> str:
    first, second = pair
    name = short(first.name or f"Levels {first.pair}")
    told = level_difference(placed(first), placed(second), units[first.channel], findings.settings.scale_percent)
    held = held_for((first.record, second.record), record)
    return f"{name}: Δ {told}" + (f" ({held[0]})" if held else "")


def height_of_pairs(pairs: tuple[DrawnPair, ...]) -> float:
    """Return how far the dimension lines reach above the plot, in heights of the plot."""
    return _ROW * (len(pairs) + 0.4) if pairs else 0.0


def draw_pairs(axes: Axes, pairs: tuple[DrawnPair, ...], time: Axis) -> None:
    """Draw marker pairs as dimension lines above the plot, as in a technical drawing."""
    low, high = axes.get_xlim()
    inside = [pair for pair in pairs if all(low <= t * time.factor <= high for t in pair.times)]
    for place, pair in enumerate(inside):
        x = [t * time.factor for t in pair.times]
        y = 1.03 + _ROW * place
        above: dict[str, Any] = {"xycoords": axes.get_xaxis_transform(), "color": MARKER, "annotation_clip": False}
        for end in x:
            axes.plot([end, end], [0, y + 0.015], color=MARKER, lw=0.6, transform=above["xycoords"], clip_on=False)
        axes.annotate("", (x[1], y), (x[0], y), arrowprops=_arrow(), **above)
        centre = min(max(sum(x) / 2, low + 0.2 * (high - low)), high - 0.2 * (high - low))
        axes.annotate(
            pair.text, (centre, y), xytext=(0, 1.5), textcoords="offset points", ha="center", va="bottom", fontsize=6,
            bbox=_ROOM, zorder=4, **above,
        )  # fmt: skip
    axes.set_xlim(low, high)


def draw_levels(
    axes: Axes, levels: tuple[DrawnLevels, ...], channel: str, factor: float = 1.0, *, whole: bool = False
) -> None:
    """Draw the level pairs of one channel across the plot, with dimension lines near its right edge.

    Parameters
    ----------
    factor : float
        A value times this is what the axis is written in.
    whole : bool
        Whether the axis may be stretched to hold them all.
    """
    low, high = axes.get_ylim()
    of_channel = [pair for pair in levels if pair.channel == channel]
    if whole:
        ends = [v * factor for pair in of_channel for v in pair.values]
        air = 0.04 * (high - low)
        low, high = min((low, *(end - air for end in ends))), max((high, *(end + air for end in ends)))
    inside = [pair for pair in of_channel if all(low <= v * factor <= high for v in pair.values)]
    for place, pair in enumerate(inside):
        x, heights = 0.985 - _COLUMN * place, [v * factor for v in pair.values]
        for height in heights:
            axes.axhline(height, color=MARKER, lw=0.6)
        across: dict[str, Any] = {"xycoords": axes.get_yaxis_transform(), "color": MARKER}
        axes.annotate("", (x, heights[1]), (x, heights[0]), arrowprops=_arrow(), **across)
        axes.annotate(
            pair.text, (x, max(heights)), xytext=(-4, -6.5 * place - 2), textcoords="offset points", ha="right",
            va="top", fontsize=6, bbox=_ROOM, **across,
        )  # fmt: skip
    axes.set_ylim(low, high)


def _arrow() -> dict[str, Any]:
    head = "<|-|>,head_width=0.12,head_length=0.3"
    return {"color": MARKER, "arrowstyle": head, "lw": 0.6, "shrinkA": 0, "shrinkB": 0}
