"""The figures of the channels' health, and of the pulses' amplitude and width."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from pulsewright_analysis.intervals import half_width_95
from pulsewright_analysis.results import Findings, Ints
from pulsewright_app.evidence.drawing import (
    INK,
    MISSED,
    MOST_BARS,
    Limits,
    draw_limits,
    drawn,
    error_bars,
    in_reach,
    points,
    record_axis,
    short,
)
from pulsewright_app.evidence.session_pictures import value_axis
from pulsewright_app.evidence.sheet import Picture
from pulsewright_app.figures_axes import time_axis
from pulsewright_app.wording import count

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def health_picture(findings: Findings, number: int, limits: Sequence[Limits] = ()) -> Picture | None:
    """Return each channel's noise with its 95 % interval, its clipped samples, and the limits of claims about noise."""
    measured = [health for health in findings.health if health.noise_rms is not None]
    if not measured:
        return None
    units = {health.noise_rms.unit for health in measured if health.noise_rms is not None}
    if len(units) > 1:
        return None  # one axis cannot carry two units; the table of health can
    caption = (
        "Noise of each channel, rms, with its 95 % interval. A triangle: the channel has clipped samples, so many."
    )
    near = in_reach(limits, np.array([health.noise_rms.interval95 for health in measured if health.noise_rms]))
    caption += " Dashed: the limits of claims about noise." if near else ""
    svg = drawn(number, 56, lambda figure: _draw_health(figure, findings, units.pop(), near))
    return Picture(number, svg, caption, f"{count(len(measured), 'channel')}, each with an error bar")


def _draw_health(figure: Figure, findings: Findings, unit: str, limits: Sequence[tuple[str, float]]) -> None:
    axes = figure.subplots()
    measured = [health for health in findings.health if health.noise_rms is not None]
    value = np.array([h.noise_rms.value for h in measured if h.noise_rms])
    ends = np.array([h.noise_rms.interval95 for h in measured if h.noise_rms])
    axis = value_axis("Noise, rms", unit, (0.0, float(ends.max())))
    draw_limits(axes, axis, limits)
    x = np.arange(len(measured), dtype=np.float64)
    error_bars(axes, x, axis.written(value), axis.written(ends[:, 0]), axis.written(ends[:, 1]), INK, 1.0)
    points(axes, x, axis.written(value), INK, size=4)
    for place, health in enumerate(measured):
        if health.clipped_samples:
            axes.annotate(
                f"▲ {health.clipped_samples}", (x[place], float(axis.written(ends[place, 1:])[0])), xytext=(0, 5),
                textcoords="offset points", ha="center", fontsize=6, color=MISSED,
            )  # fmt: skip
    names = [short(findings.channel_name(health.channel), 12) for health in measured]
    crowded = sum(len(name) + 2 for name in names) > 110
    axes.set_xticks(x, names, rotation=90 if crowded else 0, fontsize=6 if len(names) <= 48 else 4)
    highest = max([float(ends.max()), *(end for _, end in limits)])
    axes.set_ylim(0, 1.2 * highest * axis.factor or 1.0)
    axes.margins(x=0.03)
    axes.set_ylabel(axis.text)
    axes.set_xlabel("Channel")


def pulses_picture(
    findings: Findings, unit: str, number: int, limits: tuple[Sequence[Limits], Sequence[Limits]] = ((), ())
) -> Picture | None:
    """Return amplitude and width of the pulses on the telling channel over the records; None where there are none.

    Parameters
    ----------
    findings : Findings
    unit : str
        Of the channel's values.
    number : int
        Of the figure.
    limits : pair of sequences of Limits
        Of claims about the amplitude, and about the width.
    """
    channel = findings.sequence.channel
    if channel is None:
        return None
    chosen = findings.pulses.where(None, channel)
    if len(chosen) == 0:
        return None
    name = findings.channel_name(channel)
    intervals = "with 95 % intervals, " if len(chosen) <= MOST_BARS else ""
    caption = (
        f"Amplitude and width of the pulses on {short(name, 40)}, {intervals}filled where the polarity is positive, "
        f"open where it is negative."
    )
    values = (np.abs(findings.pulses.amplitude[chosen]), findings.pulses.width[chosen])
    near = [in_reach(own, value) for own, value in zip(limits, values, strict=True)]
    caption += " Dashed: the limits of claims." if any(near) else ""
    svg = drawn(number, 84, lambda figure: _draw_pulses(figure, findings, chosen, unit, near))
    return Picture(number, svg, caption, f"{count(len(chosen), 'pulse')} over the record number")


def _draw_pulses(
    figure: Figure, findings: Findings, chosen: Ints, unit: str, limits: Sequence[Sequence[tuple[str, float]]]
) -> None:
    above, below = figure.subplots(2, 1, sharex=True)
    pulses = findings.pulses
    record, sign = pulses.record[chosen], pulses.polarity[chosen]
    amplitude, width = np.abs(pulses.amplitude[chosen]), pulses.width[chosen]
    panels = (
        (above, amplitude, pulses.amplitude_u[chosen], value_axis("Amplitude, size", unit, _range(amplitude))),
        (below, width, pulses.width_u[chosen], time_axis("Width", width)),
    )
    for (axes, values, u, axis), own in zip(panels, limits, strict=True):
        draw_limits(axes, axis, own)
        half, few = half_width_95(u), len(chosen) <= MOST_BARS
        if few:
            error_bars(
                axes, record, axis.written(values), axis.written(values - half), axis.written(values + half), INK
            )
        for s in (1, -1):
            same = sign == s
            points(axes, record[same], axis.written(values[same]), INK, filled=s > 0, size=3.0 if few else 1.5)
        axes.set_ylabel(axis.text)
    record_axis(below)


def _range(values: np.ndarray) -> tuple[float, float]:
    known = values[np.isfinite(values)]
    return (0.0, float(known.max(initial=0.0)))
