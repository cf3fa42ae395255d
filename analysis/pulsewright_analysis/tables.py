"""Findings as tidy tables: one for each finding, NumPy structured arrays with the units beside them."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.review import Review
from pulsewright_analysis.assessment import Assessment
from pulsewright_analysis.budgets import ONE_WORD
from pulsewright_analysis.findings_json import channel_units
from pulsewright_analysis.intervals import half_width_95
from pulsewright_analysis.marker_tables import level_table, marker_series_table, marker_table
from pulsewright_analysis.results import Findings
from pulsewright_analysis.table_columns import Table as Table
from pulsewright_analysis.table_columns import make_table, number_column, quantity_columns, whole_column
from pulsewright_analysis.trigger_account import account

SHAPES = ("rise", "rise_u", "fall", "fall_u", "overshoot", "overshoot_u")
"""Transition durations 10 % to 90 %, and the overshoot's share of the amplitude (IEEE Std 181)."""
CHANNELS_UNIT = "the channel's unit"


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
        ``module_skews``, ``health``, ``claims``, ``markers``, ``levels``, ``marker_series``, ``settings`` and
        ``reasons``. SI units; records, channels' pulses and triggers count from 0; the ends of an interval are those of
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
        *(
            ()
            if review is None
            else (
                marker_table(review, findings),
                level_table(review, findings),
                marker_series_table(review, findings),
            )
        ),
        _settings(findings),
        make_table("reasons", {"reason": list(findings.reasons)}),
    )
    return {table.name: table for table in made}


def _units(name: str, unit: str) -> dict[str, str]:
    return dict.fromkeys((name, f"{name}_u", f"{name}_low", f"{name}_high"), unit)


def _quantities(findings: Findings) -> Table:
    """Return what a session has once: increment, jitter, period and so on, each with its unit in its row."""
    found = [where(findings) for _, where in ONE_WORD.values()]
    columns = {
        "quantity": list(ONE_WORD),
        "meaning": [meaning for meaning, _ in ONE_WORD.values()],
        "unit": ["" if q is None else q.unit for q in found],
        **quantity_columns("value", found),
    }
    return make_table("quantities", columns)


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
    return make_table("pulses", columns, told)


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
    return make_table("polarity", columns)


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
    return make_table("records", columns, {"residual": "s", "residual_u": "s"})


def _missed(findings: Findings) -> Table:
    gaps = findings.sequence.missed
    columns = {
        "after_record": whole_column(gap.after_record for gap in gaps),
        "count": whole_column(gap.count for gap in gaps),
        "seen_in": [" ".join(gap.seen_in) for gap in gaps],
    }
    return make_table("missed", columns)


def _slips(findings: Findings) -> Table:
    slips = findings.sequence.slips
    columns = {
        "module": [slip.module for slip in slips],
        "from_record": whole_column(slip.from_record for slip in slips),
        "by": whole_column(slip.by for slip in slips),
    }
    return make_table("slips", columns)


def _repeated(findings: Findings) -> Table:
    pairs = findings.sequence.repeated
    columns = {
        "record": whole_column(first for first, _ in pairs),
        "repeated_in": whole_column(second for _, second in pairs),
    }
    return make_table("repeated", columns)


def _skews(findings: Findings) -> Table:
    entries = findings.alignment.channels
    columns = {
        "channel": [findings.session.channels[entry.channel][0] for entry in entries],
        "module": [findings.session.channels[entry.channel][1] for entry in entries],
        **quantity_columns("skew", [entry.skew for entry in entries]),
        **quantity_columns("gain", [entry.gain for entry in entries]),
        "records": whole_column(entry.records for entry in entries),
    }
    return make_table("skews", columns, _units("skew", "s"))


def _module_skews(findings: Findings) -> Table:
    pairs = findings.alignment.between_modules
    columns = {
        "first": [pair.modules[0] for pair in pairs],
        "second": [pair.modules[1] for pair in pairs],
        **quantity_columns("skew", [pair.skew for pair in pairs]),
        **quantity_columns("drift_per_record", [pair.drift_per_record for pair in pairs]),
        **quantity_columns("clock_rate", [pair.rate for pair in pairs]),
    }
    return make_table("module_skews", columns, {**_units("skew", "s"), **_units("drift_per_record", "s")})


def _health(findings: Findings) -> Table:
    health = findings.health
    units = {entry.noise_rms.unit for entry in health if entry.noise_rms is not None}
    unit = units.pop() if len(units) == 1 else CHANNELS_UNIT
    columns = {
        "channel": [findings.channel_name(entry.channel) for entry in health],
        **quantity_columns("offset", [entry.offset for entry in health]),
        **quantity_columns("noise", [entry.noise_rms for entry in health]),
        "clipped_samples": whole_column(entry.clipped_samples for entry in health),
        "enob": number_column(entry.enob for entry in health),
        "sinad": number_column(entry.sinad_db for entry in health),
        "thd": number_column(entry.thd_db for entry in health),
    }
    told = {**_units("offset", unit), **_units("noise", unit), "sinad": "dB", "thd": "dB"}
    return make_table("health", columns, told)


def _claims(assessment: Assessment) -> Table:
    verdicts = assessment.verdicts
    measured = [verdict.measured for verdict in verdicts]
    columns = {
        "name": [verdict.name for verdict in verdicts],
        "kind": [verdict.kind for verdict in verdicts],
        "verdict": [verdict.verdict for verdict in verdicts],
        "limit": [verdict.limit for verdict in verdicts],
        "unit": ["" if quantity is None else quantity.unit for quantity in measured],
        **quantity_columns("measured", measured),
        "probability": number_column(verdict.probability for verdict in verdicts),
        "records": [" ".join(str(record) for record in verdict.records) for verdict in verdicts],
        "reason": [verdict.reason for verdict in verdicts],
        "needed": [verdict.needed for verdict in verdicts],
    }
    return make_table("claims", columns)


def _settings(findings: Findings) -> Table:
    told = findings.settings.as_json()
    columns = {
        "setting": list(told),
        "value": ["" if entry["value"] is None else str(entry["value"]) for entry in told.values()],
        "from": [entry["from"] for entry in told.values()],
    }
    return make_table("settings", columns)
