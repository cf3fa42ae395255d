"""The figures of the channels' health, and of the pulses' amplitude and width."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pulsewright_analysis.results import Findings
from pulsewright_app.evidence.drawing import INK, MISSED, drawn, error_bars, points, record_axis, short
from pulsewright_app.evidence.session_pictures import value_axis
from pulsewright_app.evidence.sheet import Picture
from pulsewright_app.figures_axes import time_axis
from pulsewright_app.wording import count

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def health_picture(findings: Findings, number: int) -> Picture | None:
    """Return each channel's noise with its 95 % interval, and its clipped samples; None where no noise is known."""
    measured = [health for health in findings.health if health.noise_rms is not None]
    if not measured:
        return None
    units = {health.noise_rms.unit for health in measured if health.noise_rms is not None}
    if len(units) > 1:
        return None  # one axis cannot carry two units; the table of health can
    caption = (
        "Noise of each channel, rms, with its 95 % interval. A triangle: the channel has clipped samples, so many."
    )
    svg = drawn(number, 56, lambda figure: _draw_health(figure, findings, units.pop()))
    return Picture(number, svg, caption, f"{count(len(measured), 'channel')}, each with an error bar")


def _draw_health(figure: Figure, findings: Findings, unit: str) -> None:
    axes = figure.subplots()
    measured = [health for health in findings.health if health.noise_rms is not None]
    value = np.array([h.noise_rms.value for h in measured if h.noise_rms])
    ends = np.array([h.noise_rms.interval95 for h in measured if h.noise_rms])
    axis = value_axis("Noise, rms", unit, (0.0, float(ends.max())))
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
    axes.set_ylim(0, 1.2 * float(axis.written(ends).max()) or 1.0)
    axes.margins(x=0.03)
    axes.set_ylabel(axis.text)
    axes.set_xlabel("Channel")


def pulses_picture(findings: Findings, unit: str, number: int) -> Picture | None:
    """Return amplitude and width of the pulses on the telling channel over the records; None where there are none."""
    channel = findings.sequence.channel
    if channel is None:
        return None
    chosen = findings.pulses.where(None, channel)
    if len(chosen) == 0:
        return None
    name = findings.channel_name(channel)
    caption = (
        f"Amplitude and width of the pulses on {short(name, 40)}, with 95 % intervals: filled where the polarity is "
        f"positive, open where it is negative."
    )
    svg = drawn(number, 84, lambda figure: _draw_pulses(figure, findings, chosen, unit))
    return Picture(number, svg, caption, f"{count(len(chosen), 'pulse')} over the record number")


def _draw_pulses(figure: Figure, findings: Findings, chosen: np.ndarray, unit: str) -> None:
    above, below = figure.subplots(2, 1, sharex=True)
    pulses = findings.pulses
    record, sign = pulses.record[chosen], pulses.polarity[chosen]
    amplitude, width = np.abs(pulses.amplitude[chosen]), pulses.width[chosen]
    panels = (
        (above, amplitude, pulses.amplitude_u[chosen], value_axis("Amplitude, size", unit, _range(amplitude))),
        (below, width, pulses.width_u[chosen], time_axis("Width", width)),
    )
    for axes, values, u, axis in panels:
        half = 1.96 * u
        error_bars(axes, record, axis.written(values), axis.written(values - half), axis.written(values + half), INK)
        for s in (1, -1):
            points(axes, record[sign == s], axis.written(values[sign == s]), INK, filled=s > 0)
        axes.set_ylabel(axis.text)
    record_axis(below)


def _range(values: np.ndarray) -> tuple[float, float]:
    known = values[np.isfinite(values)]
    return (0.0, float(known.max(initial=0.0)))
