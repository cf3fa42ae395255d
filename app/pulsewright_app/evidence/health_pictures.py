"""The figures of the channels' health, and of the pulses' amplitude and width."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from pulsewright.quantity import Quantity
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
from pulsewright_app.figures_axes import Axis, time_axis
from pulsewright_app.wording import count

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def health_picture(
    findings: Findings, number: int, limits: tuple[Sequence[Limits], Sequence[Limits]] = ((), ())
) -> Picture | None:
    """Return each channel's noise and clipped samples, and its effective bits where it carries a sine.

    Parameters
    ----------
    findings : Findings
    number : int
        Of the figure.
    limits : pair of sequences of Limits
        Of claims about noise, and about effective bits.

    Returns
    -------
    Picture or None
        None where no noise is known, or where one axis would have to carry two units.
    """
    measured = [health for health in findings.health if health.noise_rms is not None]
    noise = [health.noise_rms for health in measured if health.noise_rms is not None]
    if len({quantity.unit for quantity in noise}) != 1:
        return None  # the table of health can carry several units
    bits = np.array([np.nan if health.enob is None else health.enob for health in measured])
    with_bits = bool(np.isfinite(bits).any())
    caption = "Noise of each channel, rms, with its 95 % interval."
    caption += " Triangles: clipped samples, so many." if any(health.clipped_samples for health in measured) else ""
    caption += " Below, the effective bits (ENOB)." if with_bits else ""
    near = (in_reach(limits[0], np.array([quantity.interval95 for quantity in noise])), in_reach(limits[1], bits))
    caption += " Dashed: the limits of claims." if any(near) else ""

    def draw(figure: Figure) -> None:
        panels = figure.subplots(2 if with_bits else 1, 1, sharex=True, squeeze=False)[:, 0]
        _draw_noise(panels[0], noise, [health.clipped_samples for health in measured], near[0])
        if with_bits:
            draw_limits(panels[1], Axis("ENOB"), near[1])
            points(panels[1], np.arange(len(bits), dtype=np.float64), bits, INK, size=4)
            panels[1].set_ylabel("ENOB")
            panels[1].margins(y=0.2)
        _name_channels(panels[-1], [findings.channel_name(health.channel) for health in measured])

    height = 84 if with_bits else 56
    return Picture(number, drawn(number, height, draw), caption, f"{count(len(noise), 'channel')}, with error bars")


def _draw_noise(
    axes: Axes, noise: Sequence[Quantity], clipped: Sequence[int], limits: Sequence[tuple[str, float]]
) -> None:
    ends = np.array([quantity.interval95 for quantity in noise])
    axis = value_axis("Noise, rms", noise[0].unit, (0.0, float(ends.max())))
    draw_limits(axes, axis, limits)
    x = np.arange(len(noise), dtype=np.float64)
    low, high = axis.written(ends[:, 0]), axis.written(ends[:, 1])
    value = axis.written(np.array([quantity.value for quantity in noise]))
    error_bars(axes, x, value, low, high, INK, 1.0)
    points(axes, x, value, INK, size=4)
    for place, samples in enumerate(clipped):
        if samples:
            axes.annotate(
                f"▲ {samples}", (x[place], high[place]), xytext=(0, 5), textcoords="offset points", ha="center",
                fontsize=6, color=MISSED,
            )  # fmt: skip
    highest = max([float(ends.max()), *(end for _, end in limits)])
    axes.set_ylim(0, 1.2 * highest * axis.factor or 1.0)
    axes.set_ylabel(axis.text)


def _name_channels(axes: Axes, channels: Sequence[str]) -> None:
    names = [short(name, 12) for name in channels]
    crowded = sum(len(name) + 2 for name in names) > 110
    axes.set_xticks(range(len(names)), names, rotation=90 if crowded else 0, fontsize=6 if len(names) <= 48 else 4)
    axes.margins(x=0.03)
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
