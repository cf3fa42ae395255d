"""Findings as tidy tables: one for each finding, NumPy structured arrays with the units beside them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.quantity import Quantity
from pulsewright.review import Review, marker_pairs
from pulsewright_analysis.assessment import Assessment
from pulsewright_analysis.budgets import ONE_WORD
from pulsewright_analysis.findings_json import channel_units
from pulsewright_analysis.intervals import half_width_95
from pulsewright_analysis.marker_series import pair_over_records
from pulsewright_analysis.markers import difference
from pulsewright_analysis.results import Findings
from pulsewright_analysis.trigger_account import account

SHAPES = ("rise", "rise_u", "fall", "fall_u", "overshoot", "overshoot_u")
"""Transition durations 10 % to 90 %, and the overshoot's share of the amplitude (IEEE Std 181)."""
CHANNELS_UNIT = "the channel's unit"


@dataclass(frozen=True)
class Table:
    """One tidy table: a row for each observation, a column for each thing observed.

    Attributes
    ----------
    name : str
        Such as ``pulses``.
    rows : structured array (rows,)
        A field for each column; what was not measured is NaN, or empty text.
    units : dict of str to str
        The unit of each column that has one.
    """

    name: str
    rows: NDArray[Any]
    units: dict[str, str]

    @property
    def columns(self) -> tuple[str, ...]:
        """The names of the columns, in order."""
        return tuple(self.rows.dtype.names or ())

    def heading(self, column: str) -> str:
        """Return a column's name with its unit, as ``skew (s)``.

        Parameters
        ----------
        column : str
            The column's name.
        """
        unit = self.units.get(column, "")
        return f"{column} ({unit})" if unit else column


def tables_of(assessment: Assessment, review: Review | None = None) -> dict[str, Table]:
    """Return every finding of a session as a table, by name.

    Parameters
    ----------
    assessment : Assessment
    review : Review, optional
        What a person added: its marker pairs are a table too.

    Returns
    -------
    dict of str to Table
        ``quantities``, ``pulses``, ``polarity``, ``records``, ``missed``, ``slips``, ``repeated``, ``skews``,
        ``module_skews``, ``health``, ``claims``, ``markers``, ``marker_series``, ``settings`` and ``reasons``.
        SI units; records, channels' pulses and triggers count from 0; the ends of an interval are those of
        the 95 % interval.
    """
    findings = assessment.findings
    made = (
        _quantities(findings),
        _pulses(findings),
        _polarity(findings),
        _records(findings),
        _missed(findings),
        _slips(findings),
        _repeated(findings),
        _skews(findings),
        _module_skews(findings),
        _health(findings),
        _claims(assessment),
        *(() if review is None else (_markers(review, findings), _marker_series(review, findings))),
        _settings(findings),
        _table("reasons", {"reason": list(findings.reasons)}),
    )
    return {table.name: table for table in made}


def _table(name: str, columns: dict[str, Any], units: dict[str, str] | None = None) -> Table:
    """Return a table of columns of one length: arrays, or lists of numbers or of text."""
    arrays = {key: _column(values) for key, values in columns.items()}
    length = len(next(iter(arrays.values())))
    rows = np.zeros(length, dtype=[(key, array.dtype) for key, array in arrays.items()])
    for key, array in arrays.items():
        rows[key] = array
    rows.flags.writeable = False
    return Table(name, rows, units or {})


def _column(values: Any) -> NDArray[Any]:
    if isinstance(values, np.ndarray):
        return values
    if not values:
        return np.zeros(0, dtype="U1")
    return np.array(values)


def _numbers(values: Iterable[float | None]) -> NDArray[np.float64]:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def _whole(values: Iterable[int]) -> NDArray[np.int64]:
    return np.array(list(values), dtype=np.int64)


def _of_quantities(name: str, quantities: Sequence[Quantity | None]) -> dict[str, NDArray[np.float64]]:
    """Return the columns of quantities: value, u, degrees of freedom, and both ends of the 95 % interval."""
    ends = [(np.nan, np.nan) if q is None else q.interval95 for q in quantities]
    return {
        name: _numbers(None if q is None else q.value for q in quantities),
        f"{name}_u": _numbers(None if q is None else q.u for q in quantities),
        f"{name}_dof": _numbers(None if q is None else (np.inf if q.dof is None else q.dof) for q in quantities),
        f"{name}_low": _numbers(low for low, _ in ends),
        f"{name}_high": _numbers(high for _, high in ends),
    }


def _units(name: str, unit: str) -> dict[str, str]:
    return dict.fromkeys((name, f"{name}_u", f"{name}_low", f"{name}_high"), unit)


def _quantities(findings: Findings) -> Table:
    """Return what a session has once: increment, jitter, period and so on, each with its unit in its row."""
    found = [where(findings) for _, where in ONE_WORD.values()]
    columns = {
        "quantity": list(ONE_WORD),
        "meaning": [meaning for meaning, _ in ONE_WORD.values()],
        "unit": ["" if q is None else q.unit for q in found],
        **_of_quantities("value", found),
    }
    return _table("quantities", columns)


def _pulses(findings: Findings) -> Table:
    pulses = findings.pulses
    names, units = _names(findings), channel_units(findings)
    half = half_width_95(pulses.time_u, pulses.trigger_u)
    columns = {
        "record": pulses.record,
        "channel": names[pulses.channel],
        "order": pulses.order,
        "polarity": pulses.polarity,
        "time": pulses.time,
        "time_u": pulses.time_u,
        "time_low": pulses.time - half,
        "time_high": pulses.time + half,
        "amplitude": pulses.amplitude,
        "amplitude_u": pulses.amplitude_u,
        "width": pulses.width,
        "width_u": pulses.width_u,
        **{name: _or_unknown(getattr(pulses, name), len(pulses)) for name in SHAPES},
        "clipped": pulses.clipped,
    }
    own = {units[channel] for channel in findings.channels}
    unit = own.pop() if len(own) == 1 else CHANNELS_UNIT
    seconds = dict.fromkeys(("width", "width_u", "rise", "rise_u", "fall", "fall_u"), "s")
    told = {**_units("time", "s"), "amplitude": unit, "amplitude_u": unit, **seconds}
    return _table("pulses", columns, told)


def _or_unknown(values: NDArray[np.float64], length: int) -> NDArray[np.float64]:
    """Return the values, or as many NaN where they were never measured."""
    return values if len(values) == length else np.full(length, np.nan)


def _names(findings: Findings) -> NDArray[Any]:
    return np.array([name for name, _ in findings.session.channels])


def _polarity(findings: Findings) -> Table:
    polarity, channels = findings.polarity, list(findings.channels)
    records = np.repeat(findings.records, len(channels))
    place = np.tile(np.array(channels, dtype=np.int64), len(findings.records))
    columns = {
        "record": records,
        "channel": _names(findings)[place],
        "sign": polarity.sign[records, place],
        "confidence": polarity.confidence[records, place],
    }
    return _table("polarity", columns)


def _records(findings: Findings) -> Table:
    """Return a row for each record that was measured: its trigger, its stop, and its distance from it."""
    sequence, records = findings.sequence, findings.records
    columns = {
        "record": records,
        "trigger": account(findings).number[records],
        "stop": sequence.stop[records],
        "residual": sequence.residual[records],
        "residual_u": sequence.residual_u[records],
        "in_step": np.all(sequence.in_step[records], axis=1),
    }
    return _table("records", columns, {"residual": "s", "residual_u": "s"})


def _missed(findings: Findings) -> Table:
    gaps = findings.sequence.missed
    columns = {
        "after_record": _whole(gap.after_record for gap in gaps),
        "count": _whole(gap.count for gap in gaps),
        "seen_in": [" ".join(gap.seen_in) for gap in gaps],
    }
    return _table("missed", columns)


def _slips(findings: Findings) -> Table:
    slips = findings.sequence.slips
    columns = {
        "module": [slip.module for slip in slips],
        "from_record": _whole(slip.from_record for slip in slips),
        "by": _whole(slip.by for slip in slips),
    }
    return _table("slips", columns)


def _repeated(findings: Findings) -> Table:
    pairs = findings.sequence.repeated
    columns = {"record": _whole(first for first, _ in pairs), "repeated_in": _whole(second for _, second in pairs)}
    return _table("repeated", columns)


def _skews(findings: Findings) -> Table:
    entries = findings.alignment.channels
    columns = {
        "channel": [findings.session.channels[entry.channel][0] for entry in entries],
        "module": [findings.session.channels[entry.channel][1] for entry in entries],
        **_of_quantities("skew", [entry.skew for entry in entries]),
        **_of_quantities("gain", [entry.gain for entry in entries]),
        "records": _whole(entry.records for entry in entries),
    }
    return _table("skews", columns, _units("skew", "s"))


def _module_skews(findings: Findings) -> Table:
    pairs = findings.alignment.between_modules
    columns = {
        "first": [pair.modules[0] for pair in pairs],
        "second": [pair.modules[1] for pair in pairs],
        **_of_quantities("skew", [pair.skew for pair in pairs]),
        **_of_quantities("drift_per_record", [pair.drift_per_record for pair in pairs]),
        **_of_quantities("clock_rate", [pair.rate for pair in pairs]),
    }
    return _table("module_skews", columns, {**_units("skew", "s"), **_units("drift_per_record", "s")})


def _health(findings: Findings) -> Table:
    health = findings.health
    units = {entry.noise_rms.unit for entry in health if entry.noise_rms is not None}
    unit = units.pop() if len(units) == 1 else CHANNELS_UNIT
    columns = {
        "channel": [findings.channel_name(entry.channel) for entry in health],
        **_of_quantities("offset", [entry.offset for entry in health]),
        **_of_quantities("noise", [entry.noise_rms for entry in health]),
        "clipped_samples": _whole(entry.clipped_samples for entry in health),
        "enob": _numbers(entry.enob for entry in health),
        "sinad": _numbers(entry.sinad_db for entry in health),
        "thd": _numbers(entry.thd_db for entry in health),
    }
    told = {**_units("offset", unit), **_units("noise", unit), "sinad": "dB", "thd": "dB"}
    return _table("health", columns, told)


def _claims(assessment: Assessment) -> Table:
    verdicts = assessment.verdicts
    measured = [verdict.measured for verdict in verdicts]
    columns = {
        "name": [verdict.name for verdict in verdicts],
        "kind": [verdict.kind for verdict in verdicts],
        "verdict": [verdict.verdict for verdict in verdicts],
        "limit": [verdict.limit for verdict in verdicts],
        "unit": ["" if quantity is None else quantity.unit for quantity in measured],
        **_of_quantities("measured", measured),
        "probability": _numbers(verdict.probability for verdict in verdicts),
        "records": [" ".join(str(record) for record in verdict.records) for verdict in verdicts],
        "reason": [verdict.reason for verdict in verdicts],
        "needed": [verdict.needed for verdict in verdicts],
    }
    return _table("claims", columns)


def _markers(review: Review, findings: Findings) -> Table:
    pairs = marker_pairs(review)
    told = [difference(a.time, a.u, b.time, b.u, max(a.intervals, 1), findings.settings.clock_ppm) for a, b in pairs]
    columns = {
        "pair": [a.pair for a, _ in pairs],
        "name": [a.name for a, _ in pairs],
        "record": [a.record or 0 for a, _ in pairs],
        "channel": [a.channel or findings.session.channels[0][0] for a, _ in pairs],
        "t1": _numbers(a.time for a, _ in pairs),
        "t1_u": _numbers(a.u for a, _ in pairs),
        "t2": _numbers(b.time for _, b in pairs),
        "t2_u": _numbers(b.u for _, b in pairs),
        **_of_quantities("difference", [one.delta for one in told]),
        "intervals": [one.intervals for one in told],
        **_of_quantities("interval", [one.per_interval for one in told]),
        **_of_quantities("rate", [one.rate for one in told]),
    }
    seconds = ("t1", "t2", "difference", "interval")
    units = {key: "Hz" if key.startswith("rate") else "s" for key in columns if key.startswith((*seconds, "rate"))}
    units = {key: unit for key, unit in units.items() if not key.endswith("_dof") and key != "intervals"}
    return _table("markers", columns, units)


def _marker_series(review: Review, findings: Findings) -> Table:
    """Return every pair that follows its pulses, in every record: a row for each of both."""
    names = list(_names(findings))
    columns: dict[str, list[Any]] = {key: [] for key in _SERIES}
    for first, second in marker_pairs(review):
        if first.pulse is None or second.pulse is None or first.channel not in names:
            continue
        intervals = max(first.intervals, 1)
        told = pair_over_records(findings, names.index(first.channel), (first.pulse, second.pulse), intervals)
        count = len(told.delta)
        rows: tuple[Iterable[Any], ...] = (
            [first.pair] * count, [first.name] * count, range(count), [first.channel] * count, told.t1, told.t1_u,
            told.t2, told.t2_u, told.delta, told.delta_u, [intervals] * count, told.delta / intervals,
            told.delta_u / intervals, told.reasons,
        )  # fmt: skip
        for key, values in zip(_SERIES, rows, strict=True):
            columns[key].extend(values)
    seconds = ("t1", "t2", "difference", "interval")
    return _table("marker_series", columns, {key: "s" for key in _SERIES if key.removesuffix("_u") in seconds})


_SERIES = (
    "pair", "name", "record", "channel", "t1", "t1_u", "t2", "t2_u", "difference", "difference_u", "intervals",
    "interval", "interval_u", "reason",
)  # fmt: skip


def _settings(findings: Findings) -> Table:
    told = findings.settings.as_json()
    columns = {
        "setting": list(told),
        "value": ["" if entry["value"] is None else str(entry["value"]) for entry in told.values()],
        "from": [entry["from"] for entry in told.values()],
    }
    return _table("settings", columns)
