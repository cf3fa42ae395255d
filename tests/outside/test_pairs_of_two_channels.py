"""A pair from a pulse of one channel to a pulse of another, over all records.

Sources: what the samples are made of, by algebra in this file; NumPy; and the PyPI package `uncertainties`, in which
every error is a variable of its own: what two ends share cancels because it is the same variable.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import uncertainties
from uncertainties.core import AffineScalarFunc

from pulsewright.opening import open_session
from pulsewright.review import Marker, Review
from pulsewright.session import Channel, Session
from pulsewright.settings import layered
from pulsewright_analysis.assessment import assess
from pulsewright_analysis.followed_pulses import FollowedPulse, followed_pulse
from pulsewright_analysis.marker_series import PairSeries, pair_over_records
from pulsewright_analysis.marker_tables import marker_series_table
from pulsewright_analysis.pulse_intervals import intervals_across
from pulsewright_analysis.results import Findings
from pulsewright_analysis.standing_pairs import End

SLIP = Path(__file__).parents[2] / "sample_sessions" / "tank_slip.h5"
RATE, LENGTH, RECORDS = 10e6, 1200, 12
PPM, DELAY_U, OFFSET_U = 25.0, 3e-9, 4e-9
SENT, FIRST_WAY, STEP, DELAY = 15e-6, 30e-6, 2.13e-6, 0.37e-6
"""Seconds: where H01 hears the ping, how long it is under way to H02 in record 0, how much longer each record, and how
late the cable of H02 is, which is known and taken off."""
SILENT, ECHO = 4, 7
"""A record in which H02 hears nothing, and one in which something comes before the ping on H02."""
ENDS = End(0.0, 0.0, 0, 0), End(0.0, 0.0, 0, 1)


def way(record: int) -> float:
    return FIRST_WAY + STEP * record


def made(modules: tuple[str, str], **times: Any) -> Session:
    """H01 hears the ping at one place, H02 farther away each time, upside down every second time."""
    time, random = np.arange(LENGTH) / RATE, np.random.default_rng(11)
    samples = random.normal(0.0, 30.0, (RECORDS, 2, LENGTH))
    for record in range(RECORDS):
        samples[record, 0] += 8000 * np.exp(-(((time - SENT) / 1e-6) ** 2) / 2)
        sign = -1 if record % 2 else 1
        if record != SILENT:
            samples[record, 1] += sign * 7000 * np.exp(-(((time - SENT - way(record) - DELAY) / 1e-6) ** 2) / 2)
        if record == ECHO:
            samples[record, 1] += 4000 * np.exp(-(((time - SENT - 15e-6 - DELAY) / 1e-6) ** 2) / 2)
    channels = [Channel("H01", modules[0], scale=1e-4), Channel("H02", modules[1], scale=1e-4, delay=DELAY)]
    codes = np.round(samples).astype(np.int16)
    return Session.from_samples(codes, channels, RATE, 0, trigger_time=np.arange(RECORDS) * 1e-3, **times)


def measured(session: Session) -> Findings:
    known = {"clock_ppm": PPM, "delay_u": DELAY_U, "trigger_offset_u": OFFSET_U}
    return assess(session, layered(option=known)).findings


@pytest.fixture(scope="module")
def one_module() -> Findings:
    return measured(made(("M1", "M1")))


@pytest.fixture(scope="module")
def untimed() -> Findings:
    """Two modules that timed no trigger."""
    return measured(made(("M1", "M2")))


@pytest.fixture(scope="module")
def timed() -> Findings:
    """Two modules that timed each its own."""
    return measured(made(("M1", "M2"), trigger_offset=np.zeros((RECORDS, 2))))


@pytest.mark.parametrize("kind", ["one_module", "untimed", "timed"])
def test_each_end_is_where_its_own_channel_heard_the_ping(kind: str, request: pytest.FixtureRequest) -> None:
    """Δ of record r is 30 µs + 2.13 µs·r by the algebra above; that of H02's cable takes no part."""
    series = pair_over_records(request.getfixturevalue(kind), ENDS)
    there = np.setdiff1d(np.arange(RECORDS), (SILENT, ECHO))
    assert set(there) < set(series.measured.tolist())
    expected = np.array([way(record) for record in there])
    assert np.all(np.abs(series.delta[there] - expected) < 4 * series.delta_u[there])
    assert np.all(series.delta_u[there] < 100e-9), "an uncertainty that large would be no check"
    assert (series.channels, series.orders) == ((0, 1), (0, 0))


def test_the_pulse_that_comes_first_on_its_channel_is_the_one_that_is_followed(one_module: Findings) -> None:
    series = pair_over_records(one_module, ENDS)
    assert series.delta[ECHO] == pytest.approx(15e-6, abs=50e-9)
    later = pair_over_records(one_module, (ENDS[0], End(0.0, 0.0, 1, 1)))
    assert later.measured.tolist() == [ECHO]
    assert later.delta[ECHO] == pytest.approx(way(ECHO), abs=50e-9)


def test_polarity_is_told_for_each_end(one_module: Findings) -> None:
    series = pair_over_records(one_module, ENDS)
    there = np.setdiff1d(np.arange(RECORDS), (SILENT, ECHO))
    assert series.polarity[there, 0].tolist() == [1] * len(there)
    assert series.polarity[there, 1].tolist() == [(-1) ** int(record) for record in there]
    assert series.polarity[SILENT].tolist() == [0, 0]
    half = pair_over_records(one_module, (End(20e-6, 1e-9, None, 0), ENDS[1]))
    assert half.polarity[1].tolist() == [0, -1]


def test_a_record_in_which_one_channel_heard_nothing_says_which(one_module: Findings) -> None:
    series = pair_over_records(one_module, ENDS)
    assert series.reasons[SILENT] == f"no pulse in record {SILENT} on H02, so no pulse 0"
    assert np.isnan([series.delta[SILENT], series.t1[SILENT], series.t2[SILENT]]).all()


Errors = Callable[[], tuple[AffineScalarFunc, AffineScalarFunc]]


def module_errors(kind: str) -> Errors:
    """Return a maker of the trigger's errors of both ends in one record: one variable where they share it."""
    each = {"untimed": 1 / RATE / np.sqrt(12.0), "timed": OFFSET_U}.get(kind)
    if each is not None:
        both = uncertainties.ufloat(0.0, each), uncertainties.ufloat(0.0, each)
        return lambda: both

    def shared() -> tuple[AffineScalarFunc, AffineScalarFunc]:
        one = uncertainties.ufloat(0.0, 1 / RATE / np.sqrt(12.0))
        return one, one

    return shared


@pytest.mark.parametrize("kind", ["one_module", "untimed", "timed"])
def test_u_is_that_of_first_order_propagation(kind: str, request: pytest.FixtureRequest) -> None:
    """Each channel's cable is an error of its own, in all records; each module's trigger likewise, where there are two.

    That is how two modules' skew is reckoned too: their samplings may stand still against each other (JCGM 100:2008,
    4.3.7 and 5.2.2).
    """
    findings = request.getfixturevalue(kind)
    series = pair_over_records(findings, ENDS)
    clock, cables = uncertainties.ufloat(1.0, PPM * 1e-6), [uncertainties.ufloat(0.0, DELAY_U) for _ in range(2)]
    triggers, deltas, noise = module_errors(kind), [], []
    for record in series.measured:
        found = [followed_pulse(findings, int(record), channel, 0) for channel in (0, 1)]
        shared = triggers()
        ends = []
        for pulse, trigger, cable in zip(found, shared, cables, strict=True):
            assert isinstance(pulse, FollowedPulse)
            own = uncertainties.ufloat(pulse.time, pulse.own_u)
            noise.append(own)
            ends.append(clock * (own + trigger + cable))
        deltas.append(ends[1] - ends[0])
        assert series.delta_u[record] == pytest.approx(deltas[-1].std_dev, rel=1e-6)
    mean = sum(deltas) / len(deltas)
    assert series.mean is not None and series.deviation is not None
    assert series.mean.value == pytest.approx(mean.nominal_value, rel=1e-12)
    by_variable = mean.error_components()
    theory = np.sqrt(sum(by_variable[one] ** 2 for one in noise))
    lasting = np.sqrt(mean.std_dev**2 - theory**2)
    scatter = np.std([one.nominal_value for one in deltas], ddof=1) / np.sqrt(len(deltas))
    assert series.mean.u == pytest.approx(np.hypot(max(theory, scatter), lasting), rel=1e-6)


def test_records_of_modules_out_of_step_have_no_spacing() -> None:
    """sample_sessions/scenario.py: from record 18 on M3 (H09) holds the ping after M1's (H01) and M2's (H05)."""
    findings = assess(open_session(SLIP), layered(option={})).findings
    to_slipped = pair_over_records(findings, (End(0.0, 0.0, 0, 0), End(0.0, 0.0, 0, 8)))
    assert to_slipped.measured.tolist() == list(range(18))
    assert set(to_slipped.reasons[18:]) == {f"M1 and M3 are out of step in record {record}" for record in range(18, 36)}
    to_other = pair_over_records(findings, (End(0.0, 0.0, 0, 0), End(0.0, 0.0, 0, 4)))
    within = pair_over_records(findings, (End(0.0, 0.0, 0, 8), End(0.0, 0.0, 0, 9)))
    alone = pair_over_records(findings, (End(20e-6, 1e-9, None, 0), End(0.0, 0.0, 0, 8)))
    assert [len(series.measured) for series in (to_other, within, alone)] == [36, 36, 36]


def test_the_table_names_both_channels(one_module: Findings) -> None:
    markers = [
        Marker(SENT, 1e-9, 1, "way", "H01", 0, 3, pulse=0),
        Marker(SENT + way(0), 1e-9, 1, "way", "H02", 0, 3, 0),
    ]
    rows = marker_series_table(Review(markers=markers), one_module).rows
    assert set(rows["channel"]) == {"H01"} and set(rows["channel_2"]) == {"H02"}
    assert list(rows["polarity_2"])[:4] == [1, -1, 1, -1]
    series = pair_over_records(one_module, ENDS, 3)
    np.testing.assert_array_equal(rows["interval"], series.delta / 3)


def test_intervals_from_one_channel_to_the_other(one_module: Findings) -> None:
    """From the ping to its arrival is one interval; with something between that is no equal part, none is told."""
    series: PairSeries = pair_over_records(one_module, ENDS)
    reach = 0.2e-6
    assert intervals_across(one_module, 2, (0, 1), (series.t1[2], series.t2[2]), reach) == 1
    assert intervals_across(one_module, 2, (1, 0), (series.t2[2], series.t1[2]), reach) == 1
    after = SENT + way(ECHO)  # 44.9 µs, and something at 15 µs: three parts, with one of the two instants missing
    told = intervals_across(one_module, ECHO, (0, 1), (SENT, after), reach)
    assert told == f"the pulses of H01 and H02 between its markers are not equally spaced in record {ECHO}"
    told = intervals_across(one_module, 2, (0, 1), (SENT + 3e-6, after), reach)
    assert told == "a marker stands on no pulse of H01 in record 2"


@pytest.mark.parametrize("skew", [0.0, 40e-9])
def test_pulses_that_both_channels_hear_count_once(skew: float) -> None:
    """A train of pulses 20 µs apart on both channels: from the first on one to the fifth on the other, N = 4."""
    time = np.arange(LENGTH) / RATE
    trains = [sum(8000 * np.exp(-(((time - 15e-6 - late - k * 20e-6) / 1e-6) ** 2) / 2) for k in range(5))
              for late in (0.0, skew)]  # fmt: skip
    samples = np.random.default_rng(3).normal(0.0, 30.0, (4, 2, LENGTH)) + np.stack(trains)
    channels = [Channel(f"H0{k}", "M1", scale=1e-4) for k in (1, 2)]
    session = Session.from_samples(np.round(samples).astype(np.int16), channels, RATE, 0)
    ends = 15e-6, 95e-6 + skew
    assert intervals_across(measured(session), 1, (0, 1), ends, 0.2e-6) == 4
