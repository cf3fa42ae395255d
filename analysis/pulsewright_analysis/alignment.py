"""How the channels line up: skews against a reference, within modules and between them."""

from __future__ import annotations

from collections.abc import Sequence as SequenceOf
from dataclasses import replace
from itertools import combinations
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pulsewright.budget import Term
from pulsewright.long_columns import in_blocks
from pulsewright.quantity import Quantity
from pulsewright.session import Session
from pulsewright.settings import Settings
from pulsewright_analysis.clock_rates import clock_rate
from pulsewright_analysis.correlation import correlate
from pulsewright_analysis.gates import Gate, cut_gate, gate_around_pulses
from pulsewright_analysis.groups import compare_groups
from pulsewright_analysis.record_runs import spread
from pulsewright_analysis.results import (
    Alignment,
    ChannelSkew,
    GroupComparison,
    Levels,
    ModuleSkew,
    PairSkew,
    Pulses,
    Sequence,
)
from pulsewright_analysis.sine import CARRIES_SINE, SineFit, carries_sine, fit_shared_frequency
from pulsewright_analysis.skew_contrasts import ComparedDelays, contrast, covariance_of, drift_of, largest_of
from pulsewright_analysis.streaming import Check, unchecked
from pulsewright_analysis.type_b import ComparisonErrors, clock_term
from pulsewright_analysis.validity import SINE_REGION

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NOTHING = Alignment(None, None, (), None, (), None, None, None)
ENOUGH_TO_JUDGE = 8
"""Whether the channels carry a sine is judged on this many records."""
DRIFTS = 4.0
"""Modules are said to drift apart where the drift is this many times its u."""


def measure_alignment(
    session: Session,
    channels: SequenceOf[int],
    records: Ints,
    levels: Levels,
    pulses: Pulses,
    sequence: Sequence,
    settings: Settings,
    check: Check = unchecked,
) -> tuple[Alignment, SineFit | None, list[str]]:
    """Measure skews by a shared-frequency sine fit or by correlation, whichever the signal asks for.

    Parameters
    ----------
    session : Session
    channels : sequence of int
        Places of the channels that take part.
    records : int array
        Numbers of the records that take part, rising.
    levels : Levels
        Of the same channels in the same order.
    pulses : Pulses
        Where no stretch is given, the gate lies around the reference's strongest pulse.
    sequence : Sequence
        Records in which a module is out of step are not compared with the reference's.
    settings : Settings
    check : callable
        As for `streaming.for_each`.

    Returns
    -------
    Alignment, SineFit or None, list of str
        The sine fit is returned for the channels' health; a skew from it is known modulo 1/f.
    """
    if len(channels) < 2:
        return NOTHING, None, ["No alignment: one channel alone has nothing to line up with."]
    reference = session.channel_index(settings.reference) if settings.reference else channels[0]
    method = _method(session, channels, records, settings, check)
    if method == "correlation" and settings.alignment_span is None:
        gate = gate_around_pulses(session, channels, records, pulses, reference, check)
    else:
        gate = cut_gate(session, channels, records, settings.alignment_span, check)
    if isinstance(gate, str):
        return NOTHING, None, [f"No alignment: {gate}."]
    place = list(channels).index(reference)
    usable = in_blocks(
        len(gate.records),
        lambda some: ~gate.clipped[some] & _same_trigger(session, channels, gate.records[some], sequence, reference),
    )
    fit = None
    if method == "sine":
        fit = fit_shared_frequency(gate.samples, session.sample_rate, check=check)
        if not 0 < fit.frequency < session.sample_rate / 2:
            return NOTHING, None, ["No alignment: the records carry no sine between 0 and half the sample rate."]
        delay, variance, unlike = sine_delays(fit, gate, usable, place)
        against = fit.amplitude[:, [place]]
        gain = np.where(np.isfinite(delay) & (against > 0), fit.amplitude / np.where(against > 0, against, 1.0), np.nan)
    else:
        delays = correlate(gate.samples, usable, place, levels.autocovariance, session.sample_rate, check)
        variance, unlike, gain = delays.variance, delays.unlike, delays.gain
        delay = in_blocks(
            len(gate.records),
            lambda some: delays.delay[some] + gate.start[some] - gate.start[some, place : place + 1],
        )
    comparison = ComparedDelays(
        tuple(channels),
        session.module_of[list(channels)].astype(np.int64),
        place,
        gate.records,
        delay,
        variance,
        ComparisonErrors.of(session, channels, settings),
    )
    reasons = [f"No skew of {session.channels[channels[c]].name}: {why}." for c, why in sorted(unlike.items())]
    reasons += _out_of_step(session, sequence)
    if comparison.lasting.any_untimed:
        reasons.append(
            "Not every module timed its triggers: a skew between modules carries the uncertainty of a whole sample "
            "interval, unless one trigger offset serves all modules and the session says so."
        )
    alignment = _combined(session, comparison, gate, method, fit, gain)
    if fit is not None:
        alignment = _with_rates(alignment, session, comparison, gate, fit, check)
    else:
        alignment = _with_pulse_rates(alignment, session, comparison, pulses, sequence, settings)
    return alignment, fit, [*reasons, *_apart(alignment)]


def _method(
    session: Session, channels: SequenceOf[int], records: Ints, settings: Settings, check: Check
) -> Literal["sine", "correlation"]:
    """Return the method asked for, or the one that a few records ask for."""
    if settings.alignment_method != "auto":
        return settings.alignment_method
    few = records[spread(len(records), ENOUGH_TO_JUDGE)]
    gate = cut_gate(session, channels, few, settings.alignment_span, check)
    if isinstance(gate, str) or not carries_sine(gate.samples, session.sample_rate, check):
        return "correlation"
    return "sine"


def _with_rates(
    alignment: Alignment, session: Session, comparison: ComparedDelays, gate: Gate, fit: SineFit, check: Check
) -> Alignment:
    """Return the alignment with the rate of each module's clock against the others', from its own frequency."""
    found: dict[str, SineFit] = {}
    for module, name in enumerate(session.modules):
        own = (comparison.modules == module) & (fit.explained > CARRIES_SINE)
        if np.any(own):
            found[name] = fit_shared_frequency(gate.samples.of_channels(own), session.sample_rate, fit.frequency, check)
    pairs = []
    for pair in alignment.between_modules:
        first, second = (found.get(name) for name in pair.modules)
        rate = None
        if first is not None and second is not None:
            # a clock that runs fast sees a lower frequency
            u = float(np.hypot(first.frequency_u, second.frequency_u)) / fit.frequency
            noise = Term("noise of the channels", u, "A", None, f"sine fits of {len(fit.phase)} records")
            rate = Quantity.from_terms(first.frequency / second.frequency - 1, "", (noise,))
        pairs.append(replace(pair, rate=rate))
    return replace(alignment, between_modules=tuple(pairs))


def _with_pulse_rates(
    alignment: Alignment,
    session: Session,
    comparison: ComparedDelays,
    pulses: Pulses,
    sequence: Sequence,
    settings: Settings,
) -> Alignment:
    """Return the alignment with the rates of the modules' clocks where records hold several common events."""
    pairs = []
    for pair in alignment.between_modules:
        first, second = (session.modules.index(name) for name in pair.modules)
        together = sequence.in_step[:, first] & sequence.in_step[:, second]
        mine, theirs = _measured(comparison, first), _measured(comparison, second)
        rate = None
        if mine and theirs:
            one, other = comparison.channels[mine[0]], comparison.channels[theirs[0]]
            rate = clock_rate(pulses, one, other, together, settings.alignment_span)
        pairs.append(replace(pair, rate=rate))
    return replace(alignment, between_modules=tuple(pairs))


def _apart(alignment: Alignment) -> list[str]:
    """Return a sentence for each pair of modules whose clocks run apart: their mean skew then says little."""
    sentences = []
    for pair in alignment.between_modules:
        if pair.rate is not None and abs(pair.rate.value) > DRIFTS * pair.rate.u:
            sentences.append(
                f"The clock of {pair.modules[1]} runs {pair.rate.scaled(1e6)} ppm fast against {pair.modules[0]}'s: "
                f"their skew changes within a record, and holds for its middle."
            )
        drift = pair.drift_per_record
        if drift is not None and abs(drift.value) > DRIFTS * drift.u:
            sentences.append(
                f"{pair.modules[1]} drifts against {pair.modules[0]} by {drift} a record: they seem to run on separate "
                f"clocks, and their skew is the mean over the run."
            )
    return sentences


def _same_trigger(
    session: Session, channels: SequenceOf[int], records: Ints, sequence: Sequence, reference: int
) -> NDArray[np.bool_]:
    """Return, for some records and each channel, whether it belongs to the same trigger as the reference's record."""
    in_step = sequence.in_step[records]
    mine = in_step[:, session.module_of[list(channels)]]
    own = in_step[:, session.module_of[reference]][:, None]
    same_module = session.module_of[list(channels)] == session.module_of[reference]
    result: NDArray[np.bool_] = (mine & own) | same_module[None, :]
    return result


def sine_delays(
    fit: SineFit, gate: Gate, usable: NDArray[np.bool_], reference: int
) -> tuple[Floats, Floats, dict[int, str]]:
    """Return delays modulo 1/f, their variance, and the channels that carry no such sine.

    Parameters
    ----------
    fit : SineFit
        Of the samples of `gate`.
    gate : Gate
        Where each record's samples begin.
    usable : bool array (records, channels)
        Whether a record of a channel may take part.
    reference : int
        Place of the reference within the gate.

    Returns
    -------
    array (records, channels), array (channels,), dict of int to str
        Delays against the reference, seconds, NaN where there is none; each channel's own share of the variance of one
        record's delay, seconds squared; the channels (places within the gate) that were not measured, with the clause
        that says why.
    """
    omega = 2 * np.pi * fit.frequency
    unlike = {int(c): "its noise is too large for its sine" for c in np.flatnonzero(_too_noisy(fit))}
    unlike |= {int(c): "it carries no such sine" for c in np.flatnonzero(fit.explained < CARRIES_SINE)}
    turn = fit.phase - fit.phase[:, [reference]] + omega * (gate.start - gate.start[:, [reference]])
    together = usable & usable[:, [reference]]
    delay = np.full(turn.shape, np.nan)
    for channel in range(turn.shape[1]):
        rows = together[:, channel]
        if channel in unlike:
            continue
        if not np.any(rows):
            unlike[channel] = "no record of it can be compared with the reference"
            continue
        middle = float(np.angle(np.mean(np.exp(1j * turn[rows, channel]))))
        delay[rows, channel] = (middle + np.angle(np.exp(1j * (turn[rows, channel] - middle)))) / omega
    if reference in unlike:
        delay[:] = np.nan
    return delay, fit.phase_variance / omega**2, unlike


def _too_noisy(fit: SineFit) -> NDArray[np.bool_]:
    """Return for which channels the amplitude over what is left of the fit is outside the declared region."""
    amplitude = np.sqrt(np.mean(fit.amplitude**2, axis=0))
    result: NDArray[np.bool_] = amplitude < SINE_REGION.smallest * fit.residual_rms
    return result


def _out_of_step(session: Session, sequence: Sequence) -> list[str]:
    return [
        f"{slip.module} is {slip.by} trigger{'s' if slip.by > 1 else ''} ahead from record {slip.from_record} on: "
        f"its later records are not compared with the other modules'."
        for slip in sequence.slips
    ]


def _combined(
    session: Session, comparison: ComparedDelays, gate: Gate, method: str, fit: SineFit | None, gain: Floats
) -> Alignment:
    size = len(comparison.channels)
    skews = []
    for place in range(size):
        selector = np.zeros(size)
        selector[place] += 1.0
        selector[comparison.reference] -= 1.0
        records = int(np.count_nonzero(np.isfinite(comparison.delay[:, place])))
        skew = Quantity(0.0, 0.0, "s") if place == comparison.reference else contrast(comparison, selector)
        skews.append(ChannelSkew(comparison.channels[place], skew, records, _mean_gain(gain[:, place])))
    between, pairs = _between(session, comparison), _pairs(comparison)
    within = tuple(pair for pair in pairs if len({int(session.module_of[c]) for c in pair.channels}) == 1)
    known = [m.skew for m in between if m.skew is not None]
    chosen: Literal["sine", "correlation"] = "sine" if method == "sine" else "correlation"
    return Alignment(
        reference=comparison.channels[comparison.reference],
        method=chosen,
        channels=tuple(skews),
        within_modules=largest_of([pair.skew for pair in within]),
        between_modules=between,
        largest_between=largest_of(known),
        frequency=None if fit is None else _frequency(fit, comparison.lasting.settings),
        span=gate.span,
        covariance=covariance_of(comparison),
        modules_against_channels=_modules_against_channels(comparison, skews),
        within_pairs=within,
        pairs=pairs,
    )


def _modules_against_channels(comparison: ComparedDelays, skews: list[ChannelSkew]) -> GroupComparison | None:
    """Return whether skews differ more between modules than within them; the reference's own noise shifts all alike."""
    values = np.array([np.nan if skew.skew is None else skew.skew.value for skew in skews])
    known = np.isfinite(values)
    return compare_groups([values[known & (comparison.modules == m)] for m in np.unique(comparison.modules)])


def _mean_gain(gain: Floats) -> Quantity | None:
    """Return the mean over the records of a channel's size against the reference's, u from their scatter."""
    known = gain[np.isfinite(gain)]
    if len(known) < 2:
        return None
    return Quantity(float(np.mean(known)), float(np.std(known, ddof=1)) / np.sqrt(len(known)), "", len(known) - 1.0)


def _frequency(fit: SineFit, settings: Settings) -> Quantity:
    noise = Term("noise", fit.frequency_u, "A", None, f"shared-frequency sine fit of {len(fit.phase)} records")
    return Quantity.from_terms(fit.frequency, "Hz", (noise, clock_term(fit.frequency, settings)))


def _measured(comparison: ComparedDelays, module: int) -> list[int]:
    known = np.any(np.isfinite(comparison.delay), axis=0)
    return [int(c) for c in np.flatnonzero(known) if comparison.modules[c] == module]


def _pairs(comparison: ComparedDelays) -> tuple[PairSkew, ...]:
    """Return the difference of every two channels."""
    known = np.flatnonzero(np.any(np.isfinite(comparison.delay), axis=0)).tolist()
    found = []
    for a, b in combinations(known, 2):
        selector = np.zeros(len(comparison.channels))
        selector[b], selector[a] = 1.0, -1.0
        difference = contrast(comparison, selector)
        if difference is not None:
            found.append(PairSkew((comparison.channels[a], comparison.channels[b]), difference))
    return tuple(found)


def _between(session: Session, comparison: ComparedDelays) -> tuple[ModuleSkew, ...]:
    """Return, for each pair of modules, the difference of the means of their channels.

    Cable delays and splitter outputs, independent from channel to channel, average over a module's channels; what its
    channels share, the error of its trigger offset, does not.
    """
    found = []
    for a, b in combinations(np.unique(comparison.modules).tolist(), 2):
        first, second = _measured(comparison, a), _measured(comparison, b)
        skew, drift = None, None
        if first and second:
            selector = np.zeros(len(comparison.channels))
            selector[first] = -1.0 / len(first)
            selector[second] = 1.0 / len(second)
            skew = contrast(comparison, selector)
            drift = drift_of(comparison, selector)
        found.append(ModuleSkew((session.modules[a], session.modules[b]), skew, drift))
    return tuple(found)
