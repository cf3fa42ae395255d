"""The form of ``measure --json``: its keys, its quantities, and that nothing in it is NaN."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pulsewright.quantity import Quantity
from pulsewright.settings import POSITIONS, layered
from pulsewright_analysis.assessment import Assessment, Verdict
from pulsewright_analysis.findings_json import as_json, plain
from pulsewright_analysis.results import (
    Alignment,
    ChannelHealth,
    ChannelSkew,
    Findings,
    Jitter,
    Levels,
    MissedTrigger,
    ModuleSkew,
    Polarity,
    Pulses,
    Sequence,
    SessionSummary,
    Slip,
    Timing,
)

SKEW = Quantity(1.06e-8, 3e-11, "s", 22)


def two_pulses() -> Pulses:
    """Return one pulse with everything known, and one whose position and width are not."""
    known, half = np.array([409.6e-6, math.nan]), np.array([2e-9, math.nan])
    return Pulses(
        record=np.array([0, 2]),
        channel=np.array([0, 1]),
        order=np.array([0, 0]),
        polarity=np.array([1, -1]),
        confidence=np.array([40.0, 31.0]),
        amplitude=np.array([0.5, -0.4]),
        amplitude_u=np.array([0.01, 0.01]),
        width=np.array([12e-6, math.nan]),
        width_u=np.array([1e-8, math.nan]),
        first_sample=np.array([100, 100]),
        last_sample=np.array([120, 120]),
        extreme_sample=np.array([120, 120]),
        times=dict.fromkeys(POSITIONS, known),
        times_u=dict.fromkeys(POSITIONS, half),
        trigger_u=np.zeros(2),
        clipped=np.zeros(2, dtype=bool),
        cut=np.zeros(2, dtype=bool),
        ambiguous=np.zeros(2, dtype=bool),
        position="midpoint",
    )


def hand_made() -> Findings:
    """Return findings of three records on two channels; record 1 was left out."""
    flat = np.zeros(2)
    return Findings(
        session=SessionSummary(
            Path("tank.h5"), "ab12", 3, 1000, 100, 1e6, (("H01", "M1"), ("H05", "M2")), ("M1", "M2")
        ),
        settings=layered(claims={"span": "0.1 ms .. 0.8 ms"}, option={"records": "0:3"}),
        channels=(0, 1),
        records=np.array([0, 2]),
        levels=Levels(flat, flat, flat, flat, np.zeros((2, 4)), flat),
        pulses=two_pulses(),
        polarity=Polarity(
            np.array([[1, 1], [0, 0], [-1, 1]]), np.array([[40.0, 30.0], [np.nan] * 2, [41.0, 31.0]]), (1,)
        ),
        sequence=Sequence(
            channel=0,
            increment=Quantity(2e-6, 1e-9, "s", 20),
            start=None,
            extent=None,
            cycle=None,
            alternates=True,
            pattern=(1, -1),
            period=1e-3,
            missed=(MissedTrigger(0, 2, ("position", "time")),),
            slips=(Slip("M2", 2, 1),),
            repeated=((0, 2),),
            sent=None,
            out_of_place=(),
            pulse=np.array([0, -1, 1]),
            stop=np.array([0, -1, 3]),
            residual=np.zeros(3),
            residual_u=np.zeros(3),
            in_step=np.ones((3, 2), dtype=bool),
        ),
        alignment=Alignment(
            reference=0,
            method="correlation",
            channels=(ChannelSkew(0, Quantity(0.0, 0.0, "s"), 2), ChannelSkew(1, SKEW, 2)),
            within_modules=None,
            between_modules=(ModuleSkew(("M1", "M2"), SKEW),),
            largest_between=SKEW,
            frequency=None,
            span=None,
        ),
        jitter=Jitter(None, None, None, None, None),
        timing=Timing(Quantity(1e-3, 1e-9, "s"), Quantity(1e-3, 0.0, "s"), None, None, 1e-3, 999),
        health=(
            ChannelHealth(0, Quantity(0.0, 1e-4, "V"), Quantity(1e-3, 1e-5, "V"), 0, (), 11.2, 69.0, False),
            ChannelHealth(1, Quantity(0.0, 1e-4, "Pa"), None, np.int64(7), (2,), math.nan, None, True),
        ),
        reasons=("H05 carries no sine.",),
    )


def text_of(findings: Findings) -> str:
    return json.dumps(as_json(findings), allow_nan=False)


def test_the_keys_are_those_of_the_schema_in_its_order() -> None:
    body = as_json(hand_made())
    assert list(body) == [
        "schema", "session", "settings", "pulses", "polarity", "sequence", "alignment", "jitter", "timing",
        "health", "claims", "reasons", "rejected_pulses",
    ]  # fmt: skip
    assert body["schema"] == "pulsewright-findings/1"
    inner = {
        "session": "file sha256 records record_length pre_trigger sample_rate_hz channels",
        "sequence": "increment cycle extent alternates missed missed_total slips repeated_records sent "
        "start pattern out_of_place witnesses",
        "alignment": "reference method channels within_modules between_modules largest_between frequency "
        "modules_against_channels",
        "jitter": "std peak_to_peak drift_per_record measurement_std_s expected_peak_to_peak_s shape",
        "timing": "trigger_period record_duration dead_time wait longest_record_samples",
    }
    for part, keys in inner.items():
        assert list(body[part]) == keys.split()
    rows = {
        "pulses": "record channel order time amplitude width polarity rise fall overshoot",
        "polarity": "record channel sign confidence",
        "health": "channel offset noise_rms clipped_samples enob sinad_db thd_db",
    }
    for part, keys in rows.items():
        assert all(list(row) == keys.split() for row in body[part])


def test_a_quantity_carries_value_u_unit_degrees_of_freedom_and_interval() -> None:
    skew = as_json(hand_made())["alignment"]["channels"][1]
    assert skew["channel"] == "H05"
    assert skew["module"] == "M2"
    # Student's t for 22 degrees of freedom, 95 %: 2.074 (JCGM 100:2008, table G.2 gives 2.09 for 20)
    assert skew["skew"] == {
        "value": 1.06e-8,
        "u": 3e-11,
        "unit": "s",
        "dof": 22,
        "interval95": pytest.approx([1.06e-8 - 2.074 * 3e-11, 1.06e-8 + 2.074 * 3e-11], rel=1e-5),
    }


def test_what_could_not_be_measured_is_null_and_nothing_is_nan() -> None:
    body = json.loads(text_of(hand_made()))
    assert body["pulses"][1]["time"] is None
    assert body["pulses"][1]["width"] is None
    assert body["sequence"]["cycle"] is None
    assert body["jitter"]["std"] is None
    assert body["health"][1]["enob"] is None
    assert body["health"][1]["noise_rms"] is None


def test_records_that_took_no_part_are_not_in_the_polarity() -> None:
    rows = as_json(hand_made())["polarity"]
    assert [(row["record"], row["channel"], row["sign"]) for row in rows] == [
        (0, "H01", 1), (0, "H05", 1), (2, "H01", -1), (2, "H05", 1),
    ]  # fmt: skip


def test_the_sequence_names_gaps_slips_and_repeated_records() -> None:
    sequence = as_json(hand_made())["sequence"]
    assert sequence["missed"] == [{"after_record": 0, "count": 2, "seen_in": ["position", "time"]}]
    assert sequence["missed_total"] == 2
    assert sequence["slips"] == [{"module": "M2", "from_record": 2, "by": 1}]
    assert sequence["repeated_records"] == [[0, 2]]


def test_settings_say_where_they_came_from() -> None:
    settings = as_json(hand_made())["settings"]
    assert settings["span"] == {"value": [1e-4, 8e-4], "from": "claims"}
    assert settings["records"] == {"value": [0, 3], "from": "option"}
    assert settings["position"] == {"value": "midpoint", "from": "default"}


def test_amplitudes_are_in_their_channels_unit() -> None:
    first, second = as_json(hand_made())["pulses"]
    assert first["amplitude"]["unit"] == "V"
    assert second["amplitude"]["unit"] == "Pa"


def test_every_number_is_plain_python() -> None:
    def check(value: Any) -> None:
        if isinstance(value, dict | list):
            for item in value.values() if isinstance(value, dict) else value:
                check(item)
        else:
            assert type(value) in (str, int, float, bool, type(None))

    check(as_json(hand_made()))


def test_an_untimed_trigger_gives_a_time_the_interval_of_a_uniform_error() -> None:
    # 95 % of a uniform error of half-width a lie within 0.95·a (JCGM 100:2008, 4.3.7)
    interval = 1e-6
    trigger = np.full(2, interval / math.sqrt(12))
    timed = replace(two_pulses(), trigger_u=trigger)
    entry = as_json(replace(hand_made(), pulses=timed))["pulses"][0]["time"]
    assert entry["interval95"][1] - entry["value"] == pytest.approx(0.95 * interval / 2, rel=1e-4)


def test_plain_turns_infinities_into_null() -> None:
    assert plain({"a": np.array([1.0, np.inf]), "b": (np.bool_(True), np.int16(3))}) == {
        "a": [1.0, None],
        "b": [True, 3],
    }


@pytest.mark.parametrize(
    ("decisions", "code"),
    [
        ((), 0),
        (("holds", "holds"), 0),
        (("holds", "fails", "undecided"), 1),
        (("holds", "undecided"), 3),
    ],
)
def test_the_exit_code_follows_the_worst_verdict(decisions: tuple[Any, ...], code: int) -> None:
    verdicts = tuple(Verdict("late", "skew", SKEW, "at most 5 ns", decision) for decision in decisions)
    assessment = Assessment(hand_made(), verdicts)
    assert assessment.exit_code == code
    written = json.loads(json.dumps(assessment.as_json(), allow_nan=False))
    assert [claim["verdict"] for claim in written["claims"]] == list(decisions)
