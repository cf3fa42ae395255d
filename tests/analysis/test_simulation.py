"""A simulated session is what its recipe says, sample by sample, in whatever blocks it is read."""

from dataclasses import replace

import numpy as np
import pytest

from pulsewright import Channel
from pulsewright.errors import RecipeError
from pulsewright.recipe import ChannelPlan, HumPlan, ModulePlan, PulsePlan, Recipe, SinePlan, Surge, TriggerPlan
from pulsewright_analysis.simulated_truth import truth_of
from pulsewright_analysis.simulation import Simulation

RATE = 1e6


def plan(name, module, **more):
    own = {key: more.pop(key) for key in ("scale", "offset", "delay", "lowest_code", "highest_code") if key in more}
    return ChannelPlan(Channel(name, module, **own), **more)


def recipe(**more):
    """Two modules, float32, nothing on them."""
    usual = {
        "records": 6,
        "sample_rate": RATE,
        "record_length": 80,
        "pre_trigger": 10,
        "trigger": TriggerPlan(1e-3),
        "modules": (ModulePlan("M1"), ModulePlan("M2")),
        "channels": (plan("H01", "M1"), plan("H02", "M2")),
        "sample_type": "float32",
        "seed": 5,
    }
    return Recipe(**(usual | more))


SAME = TriggerPlan(1e-3, together=True)
NOISY = (plan("H01", "M1", noise=0.5), plan("H02", "M2"), plan("H03", "M2", noise=2.0))


def test_the_same_in_whatever_order_it_is_read():
    made = recipe(channels=NOISY)
    whole = Simulation(made).session.codes()
    session = Simulation(made).session
    for first, stop in ((4, 6), (0, 1), (1, 4), (1, 2), (5, 6), (0, 6), (3, 3)):
        np.testing.assert_array_equal(session.codes(first, stop), whole[first:stop])
    np.testing.assert_array_equal(session.channel_codes(2, 2, 5), whole[2:5, 2])
    np.testing.assert_array_equal(session.stretch_codes(3, 7, 20), whole[3, :, 7:20])
    assert not np.array_equal(Simulation(replace(made, seed=6)).session.codes(), whole)


def test_noise_is_white_and_as_large_as_it_says():
    made = recipe(records=40, record_length=1000, channels=NOISY)
    simulation = Simulation(made)
    noise = simulation.session.values()
    assert noise[:, 1].std() == 0.0
    # the standard deviation of a standard deviation of n values is σ/√(2n)
    for channel, deviation in ((0, 0.5), (2, 2.0)):
        assert noise[:, channel].std() == pytest.approx(deviation, rel=5 / np.sqrt(2 * 40_000))
        neighbours = np.mean(noise[:, channel, 1:] * noise[:, channel, :-1]) / deviation**2
        assert abs(neighbours) < 5 / np.sqrt(40_000)
    assert truth_of(simulation)["channels"][2]["noise_rms"] == 2.0


PULSE = PulsePlan(
    "echo", 30e-6, 0.8, 3e-6, 0.6, increment=2e-6, cycle=4, drift=1e-7, jitter=2e-8, polarity=(1, 1, -1),
    factors=(("H02", 0.5),), surges=(Surge("H01", 3, 2.0),),
)  # fmt: skip


def test_a_pulse_lies_where_its_truth_says():
    channels = (plan("H01", "M1", late=40e-9, delay=15e-9, gain=-2.0, base=0.1), plan("H02", "M2"))
    modules = (ModulePlan("M1", late=5e-9), ModulePlan("M2"))
    simulation = Simulation(recipe(pulses=(PULSE,), channels=channels, modules=modules))
    session, truth = simulation.session, truth_of(simulation)
    assert truth["channels"][0]["skew_s"] == pytest.approx(30e-9)
    (pulse,) = truth["pulses"]
    assert pulse["sign"]["M1"] == [1, 1, -1, 1, 1, -1]
    expected = 30e-6 + 2e-6 * (np.arange(6) % 4) + 1e-7 * np.arange(6)
    scatter = np.array(pulse["time_s"]["M1"]) - expected
    assert 0 < np.abs(scatter).max() < 1e-7
    for record in range(6):
        for channel, (gain, base, skew) in enumerate(((-2.0, 0.1, 30e-9), (0.5, 0.0, 0.0))):
            gain *= 2.0 if (record, channel) == (3, 0) else 1.0
            # the file's own time axis, and the formula that README gives
            x = (session.times(record, channel) - skew - pulse["time_s"]["M1"][record]) / 3e-6
            shape = 0.8 * (1 - 0.6 * x**2) * np.exp(-(x**2) / 2)
            found = session.values(record, record + 1)[0, channel]
            np.testing.assert_allclose(found, base + gain * pulse["sign"]["M1"][record] * shape, atol=1e-6)


def test_triggers_that_are_missed_and_lost():
    modules = (ModulePlan("M1"), ModulePlan("M2", lost=(5, 3)))
    made = recipe(modules=modules, trigger=TriggerPlan(1e-3, missed=(0, 3, 4)))
    simulation = Simulation(made)
    np.testing.assert_array_equal(simulation.number.T, [[1, 2, 5, 6, 7, 8], [1, 2, 6, 7, 8, 9]])
    triggers = truth_of(simulation)["triggers"]
    assert triggers["sent"] == 10
    assert triggers["missed"] == [
        {"trigger": 0, "after_record": None}, {"trigger": 3, "after_record": 1}, {"trigger": 4, "after_record": 1},
    ]  # fmt: skip
    assert triggers["slips"] == [{"module": "M2", "trigger": 5, "from_record": 2, "by": 1}]
    # the file counts from the first trigger that was kept
    np.testing.assert_allclose(simulation.session.trigger_time.T * 1e3, [[0, 1, 4, 5, 6, 7], [0, 1, 5, 6, 7, 8]])


def test_periods_grow_by_their_drift_and_scatter_by_their_jitter():
    drifting = Simulation(recipe(trigger=TriggerPlan(1e-3, drift=1e-6))).time
    np.testing.assert_allclose(np.diff(drifting), 1e-3 + 1e-6 * np.arange(5), rtol=1e-9)
    many = Simulation(recipe(records=4000, trigger=TriggerPlan(1e-3, jitter=1e-5))).time
    # two independent instants: √2 of the jitter
    assert np.diff(many).std() == pytest.approx(np.sqrt(2) * 1e-5, rel=0.06)


def test_sines_run_on_from_trigger_to_trigger_by_each_modules_clock():
    modules = (ModulePlan("M1"), ModulePlan("M2", clock_ppm=300.0))
    simulation = Simulation(recipe(sines=(SinePlan(90_123.0, 0.7),), modules=modules))
    session = simulation.session
    for module, rate in enumerate((RATE, RATE * 1.0003)):
        sample = (np.arange(80) - 10) / rate
        for record in range(6):
            time = simulation.time[record] + simulation.offset[record, module] + sample
            angle = 2 * np.pi * 90_123.0 * time + simulation.sine_phase[0]
            np.testing.assert_allclose(session.values(record, record + 1)[0, module], 0.7 * np.sin(angle), atol=1e-6)
    # a fast clock counts more time
    np.testing.assert_allclose(session.trigger_time[:, 1], 1.0003 * session.trigger_time[:, 0])


def test_hum_is_at_one_instant_behind_gains_and_cables():
    channels = (plan("H01", "M1"), plan("H02", "M1", late=1e-3, gain=-3.0))
    hum = (HumPlan(50.0, 0.2),)
    made = recipe(records=500, channels=channels, hums=hum, trigger=SAME)
    values = Simulation(made).session.values()
    np.testing.assert_array_equal(values[:, 0], values[:, 1])
    assert np.ptp(values) == pytest.approx(0.4, rel=1e-3)


def test_a_sine_may_be_on_some_channels_alone():
    values = Simulation(recipe(sines=(SinePlan(1e5, 1.0, ("H02",)),))).session.values()
    assert np.ptp(values[:, 0]) == 0.0
    assert np.ptp(values[:, 1]) > 1.9


def test_a_base_drifts_evenly_to_its_last_record():
    channels = (plan("H01", "M1", base=0.5, drift=-0.1), plan("H02", "M2"))
    values = Simulation(recipe(channels=channels)).session.values()
    np.testing.assert_allclose(values[:, 0, 0], np.linspace(0.5, 0.4, 6), atol=1e-7)


def test_codes_are_rounded_and_clipped_at_the_end_codes():
    tall = PulsePlan("echo", 30e-6, 1.0, 5e-6)
    own = {"scale": 1e-3, "offset": 0.25, "lowest_code": -500, "highest_code": 600}
    channels = (plan("H01", "M1", **own), plan("H02", "M2", scale=1e-3))
    simulation = Simulation(recipe(channels=channels, pulses=(tall,), sample_type="int16", trigger=SAME))
    session = simulation.session
    codes = session.codes()
    assert codes.dtype == np.int16
    assert (codes[:, 0].max(), codes[:, 1].max() > 990) == (600, True)
    free = codes[:, 0] < 600
    np.testing.assert_allclose(session.values()[:, 0][free], session.values()[:, 1][free], atol=1.001e-3)
    channel = truth_of(simulation)["channels"][0]
    assert channel["clipped_samples"] == np.count_nonzero(codes[:, 0] == 600)
    assert channel["clipped_records"] == list(range(6))
    assert channel["noise_rms"] == pytest.approx(1e-3 / np.sqrt(12))


def test_what_a_recorder_may_leave_out():
    untimed = Simulation(recipe(trigger=TriggerPlan(1e-3, timed=False)))
    assert np.isnan(untimed.session.trigger_offset).all()
    assert len(truth_of(untimed)["triggers"]["offset_s"]["M2"]) == 6
    together = Simulation(recipe(trigger=SAME)).session
    assert together.shared_offset and together.shared_time
    slipping = (ModulePlan("M1"), ModulePlan("M2", lost=(2,)))
    apart = Simulation(recipe(trigger=SAME, modules=slipping)).session
    assert not apart.shared_time


def test_triggers_may_not_overtake_each_other():
    with pytest.raises(RecipeError, match="lets a trigger come before the one before it"):
        Simulation(recipe(trigger=TriggerPlan(1e-3, jitter=5e-3)))
