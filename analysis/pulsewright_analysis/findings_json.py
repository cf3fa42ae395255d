"""Writes findings as plain Python, in the form that ``measure --json`` prints."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.quantity import Quantity
from pulsewright_analysis.intervals import half_width_95
from pulsewright_analysis.results import (
    Alignment,
    ChannelHealth,
    Findings,
    Jitter,
    Polarity,
    Pulses,
    Sequence,
    SessionSummary,
    Timing,
)

SCHEMA = "pulsewright-findings/1"


def as_json(findings: Findings) -> dict[str, Any]:
    """Return the findings of one session as plain Python, ready for ``json.dumps(allow_nan=False)``.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    dict
        Quantities are ``{"value", "u", "unit", "dof", "interval95"}`` in SI units; what could not be measured
        is None. ``"claims"`` is empty: verdicts are no part of the findings.
    """
    names = [name for name, _ in findings.session.channels]
    units = channel_units(findings)
    body = {
        "schema": SCHEMA,
        "session": session_json(findings.session),
        "settings": findings.settings.as_json(),
        "polarity": _polarity(findings.polarity, findings.records, findings.channels, names),
        "sequence": _sequence(findings.sequence, findings.records, findings.session.modules),
        "alignment": _alignment(findings.alignment, findings.session.channels),
        "jitter": _jitter(findings.jitter),
        "timing": _timing(findings.timing),
        "health": [_health(channel, names) for channel in findings.health],
        "claims": [],
        "reasons": list(findings.reasons),
        "rejected_pulses": findings.rejected_pulses,
    }
    body = plain(body)
    ordered = list(body.items())
    return dict([*ordered[:3], ("pulses", _pulses(findings.pulses, names, units)), *ordered[3:]])


def channel_units(findings: Findings) -> list[str]:
    """Return the unit of each channel's values, as its health carries it; volts where that is unknown.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    list of str
        One for each channel of the session, measured or not.
    """
    units = ["V"] * len(findings.session.channels)
    for health in findings.health:
        for quantity in (health.offset, health.noise_rms):
            if quantity is not None:
                units[health.channel] = quantity.unit
    return units


def plain(value: Any) -> Any:
    """Return `value` with NumPy's numbers as Python's, and NaN and infinities as None.

    Parameters
    ----------
    value : object
        Mappings, lists, tuples and arrays are gone through; their keys become str, the last three become lists.
    """
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    return value


def _quantity(quantity: Quantity | None) -> dict[str, Any] | None:
    return None if quantity is None else dict(quantity.as_json())


def _quantities(
    value: NDArray[np.float64], u: NDArray[np.float64], half: NDArray[np.float64], units: Iterable[str]
) -> list[dict[str, Any] | None]:
    """Return one JSON quantity, or None, for each entry of three arrays."""
    known = np.isfinite(value) & np.isfinite(u)
    columns = (known, value, u, value - half, value + half)
    return [
        {"value": v, "u": w, "unit": unit, "dof": None, "interval95": [low, high]} if ok else None
        for ok, v, w, low, high, unit in zip(*(c.tolist() for c in columns), units, strict=True)
    ]


def session_json(session: SessionSummary) -> dict[str, Any]:
    """Return what a session is, as plain Python.

    Parameters
    ----------
    session : SessionSummary
    """
    return {
        "file": None if session.file is None else str(session.file),
        "sha256": session.sha256 or None,
        "records": session.records,
        "record_length": session.record_length,
        "pre_trigger": session.pre_trigger,
        "sample_rate_hz": session.sample_rate,
        "channels": [_channel_json(session, place) for place in range(len(session.channels))],
    }


def _channel_json(session: SessionSummary, place: int) -> dict[str, Any]:
    name, module = session.channels[place]
    told: dict[str, Any] = {"name": name, "module": module}
    return {**told, "delay_s": session.delays[place]} if session.delays else told


def _pulses(pulses: Pulses, names: list[str], channel_units: list[str]) -> list[dict[str, Any]]:
    seconds = ["s"] * len(pulses)
    units = [channel_units[channel] for channel in pulses.channel.tolist()]
    times = _quantities(pulses.time, pulses.time_u, half_width_95(pulses.time_u, pulses.trigger_u), seconds)
    amplitudes = _quantities(pulses.amplitude, pulses.amplitude_u, half_width_95(pulses.amplitude_u), units)
    widths = _quantities(pulses.width, pulses.width_u, half_width_95(pulses.width_u), seconds)
    transitions = [
        _quantities(value, u, half_width_95(u), unit)
        for value, u, unit in (
            (_whole(pulses.rise, pulses), _whole(pulses.rise_u, pulses), seconds),
            (_whole(pulses.fall, pulses), _whole(pulses.fall_u, pulses), seconds),
            (_whole(pulses.overshoot, pulses), _whole(pulses.overshoot_u, pulses), [""] * len(pulses)),
        )
    ]
    places = (pulses.record, pulses.channel, pulses.order, pulses.polarity)
    return [
        {
            "record": record,
            "channel": names[channel],
            "order": order,
            "time": time,
            "amplitude": amplitude,
            "width": width,
            "polarity": sign,
            "rise": rise,
            "fall": fall,
            "overshoot": overshoot,
        }
        for record, channel, order, sign, time, amplitude, width, rise, fall, overshoot in zip(
            *(place.tolist() for place in places), times, amplitudes, widths, *transitions, strict=True
        )
    ]


def _whole(values: NDArray[np.float64], pulses: Pulses) -> NDArray[np.float64]:
    """Return the values, or NaN for every pulse where the pulses were made without them."""
    return values if len(values) == len(pulses) else np.full(len(pulses), np.nan)


def _polarity(
    polarity: Polarity, records: NDArray[np.int64], channels: tuple[int, ...], names: list[str]
) -> list[dict[str, Any]]:
    return [
        {
            "record": record,
            "channel": names[channel],
            "sign": polarity.sign[record, channel],
            "confidence": polarity.confidence[record, channel],
        }
        for record in records.tolist()
        for channel in channels
    ]


def _sequence(sequence: Sequence, records: NDArray[np.int64], modules: tuple[str, ...]) -> dict[str, Any]:
    return {
        "increment": _quantity(sequence.increment),
        "cycle": sequence.cycle,
        "extent": _quantity(sequence.extent),
        "alternates": sequence.alternates,
        "missed": [
            {"after_record": gap.after_record, "count": gap.count, "seen_in": gap.seen_in} for gap in sequence.missed
        ],
        "missed_total": sequence.missed_total,
        "slips": [{"module": slip.module, "from_record": slip.from_record, "by": slip.by} for slip in sequence.slips],
        "repeated_records": sequence.repeated,
        "sent": sequence.sent,
        "start": _quantity(sequence.start),
        "pattern": sequence.pattern,
        "out_of_place": sequence.out_of_place,
        "witnesses": _witnesses(sequence, records, modules),
    }


def _witnesses(sequence: Sequence, records: NDArray[np.int64], modules: tuple[str, ...]) -> list[dict[str, Any]]:
    """Return what each witness alone says of the gaps in which one of them misses a trigger; None: does not know."""
    if not sequence.said:
        return []
    something = np.any([said > 0 for said in sequence.said.values()], axis=0)
    return [
        {
            "after_record": records[gap],
            "module": modules[module],
            **{name: said[gap, module] if said[gap, module] >= 0 else None for name, said in sequence.said.items()},
        }
        for gap, module in np.argwhere(something).tolist()
    ]


def _alignment(alignment: Alignment, channels: tuple[tuple[str, str], ...]) -> dict[str, Any]:
    return {
        "reference": None if alignment.reference is None else channels[alignment.reference][0],
        "method": alignment.method,
        "channels": [
            {
                "channel": channels[entry.channel][0],
                "module": channels[entry.channel][1],
                "skew": _quantity(entry.skew),
                "records": entry.records,
                "gain": _quantity(entry.gain),
            }
            for entry in alignment.channels
        ],
        "within_modules": _quantity(alignment.within_modules),
        "between_modules": [
            {
                "modules": pair.modules,
                "skew": _quantity(pair.skew),
                "drift_per_record": _quantity(pair.drift_per_record),
                "clock_rate": _quantity(pair.rate),
            }
            for pair in alignment.between_modules
        ],
        "largest_between": _quantity(alignment.largest_between),
        "frequency": _quantity(alignment.frequency),
        "modules_against_channels": None
        if alignment.modules_against_channels is None
        else asdict(alignment.modules_against_channels),
    }


def _jitter(jitter: Jitter) -> dict[str, Any]:
    return {
        "std": _quantity(jitter.std),
        "peak_to_peak": _quantity(jitter.peak_to_peak),
        "drift_per_record": _quantity(jitter.drift_per_record),
        "measurement_std_s": jitter.measurement_std,
        "expected_peak_to_peak_s": jitter.expected_peak_to_peak,
        "shape": jitter.shape,
    }


def _timing(timing: Timing) -> dict[str, Any]:
    return {
        "trigger_period": _quantity(timing.trigger_period),
        "record_duration": _quantity(timing.record_duration),
        "dead_time": _quantity(timing.dead_time),
        "wait": _quantity(timing.wait),
        "longest_record_samples": timing.longest_record_samples,
    }


def _health(health: ChannelHealth, names: list[str]) -> dict[str, Any]:
    return {
        "channel": names[health.channel],
        "offset": _quantity(health.offset),
        "noise_rms": _quantity(health.noise_rms),
        "clipped_samples": health.clipped_samples,
        "enob": health.enob,
        "sinad_db": health.sinad_db,
        "thd_db": health.thd_db,
    }
