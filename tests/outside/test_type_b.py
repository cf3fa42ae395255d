"""Type B parts against first-order propagation. Source: the PyPI package `uncertainties`."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import uncertainties

from pulsewright import Channel, Session
from pulsewright.budget import combined_u
from pulsewright.settings import Settings
from pulsewright_analysis.findings import measure
from pulsewright_analysis.type_b import ComparisonErrors, position_terms

MODULES = np.array([0, 0, 0, 1, 1])
KNOWN = Settings(clock_ppm=300.0, delay_u=50e-12, splitter_u=20e-12, scale_percent=0.5, trigger_offset_u=120e-12)
SKEW = 40e-9


def session(trigger_offset=None) -> Session:
    """Return five silent channels on two modules; only what is known of its triggers matters."""
    channels = [Channel(f"H{c + 1:02d}", f"M{m + 1}") for c, m in enumerate(MODULES)]
    samples = np.zeros((3, 5, 8), np.int16)
    return Session.from_samples(samples, channels, 1e9, trigger_offset=trigger_offset)


def expected_u(selector, module_u: tuple[float, float], settings: Settings = KNOWN) -> float:
    """Return u of Σ selector·time that `uncertainties` finds, each time SKEW late on the second module's channels.

    Every channel has its cable, its splitter output and its module's offset; one clock counts all of them.
    """
    offsets = [uncertainties.ufloat(0.0, u) if u else 0.0 for u in module_u]
    clock = uncertainties.ufloat(1.0, settings.clock_ppm * 1e-6)
    total = 0.0
    for weight, module in zip(selector[selector != 0], MODULES[selector != 0], strict=True):
        cable, output = uncertainties.ufloat(0.0, settings.delay_u), uncertainties.ufloat(0.0, settings.splitter_u)
        total += weight * (SKEW * module * clock + offsets[module] + cable + output)
    return total.s


SAME_MODULE = np.array([-1.0, 1.0, 0.0, 0.0, 0.0])
OTHER_MODULE = np.array([-1.0, 0.0, 0.0, 0.0, 1.0])
MEANS = np.array([-1 / 3, -1 / 3, -1 / 3, 1 / 2, 1 / 2])


@pytest.mark.parametrize("selector", [SAME_MODULE, OTHER_MODULE, MEANS])
def test_comparison_of_timed_modules(selector):
    errors = ComparisonErrors.of(session(np.zeros((3, 2))), range(5), KNOWN)
    terms = errors.terms(selector, float(SKEW * selector @ MODULES))
    expected = expected_u(selector, (KNOWN.trigger_offset_u,) * 2)
    assert combined_u(terms) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("selector", [SAME_MODULE, OTHER_MODULE, MEANS])
def test_comparison_where_one_module_did_not_time_its_trigger(selector):
    offsets = np.zeros((3, 2))
    offsets[1, 1] = np.nan
    errors = ComparisonErrors.of(session(offsets), range(5), KNOWN)
    terms = errors.terms(selector, float(SKEW * selector @ MODULES))
    expected = expected_u(selector, (KNOWN.trigger_offset_u, 1e-9 / math.sqrt(12)))
    assert combined_u(terms) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("selector", [OTHER_MODULE, MEANS])
def test_an_offset_in_common_cancels_between_modules(selector):
    errors = ComparisonErrors.of(session(np.zeros(3)), range(5), KNOWN)
    terms = errors.terms(selector, float(SKEW * selector @ MODULES))
    assert combined_u(terms) == pytest.approx(expected_u(selector, (0.0, 0.0)), rel=1e-9)


@pytest.mark.parametrize(("untimed", "trigger_u"), [(0.0, KNOWN.trigger_offset_u), (3e-10, 3e-10)])
def test_position(untimed, trigger_u):
    counted = 200e-6 * uncertainties.ufloat(1.0, KNOWN.clock_ppm * 1e-6)
    whole = counted + uncertainties.ufloat(0.0, trigger_u) - uncertainties.ufloat(0.0, KNOWN.delay_u)
    assert combined_u(position_terms(200e-6, untimed, KNOWN)) == pytest.approx(whole.s, rel=1e-9)


def tank() -> Session:
    """Return a walking pulse of 30 records on two modules, with trigger times that jitter and a base off 0."""
    rng = np.random.default_rng(4)
    walk = 60e-6 + 3e-6 * (np.arange(30) % 10)
    time = np.arange(800) / 5e6
    clean = 0.5 * np.exp(-(((time[None, :] - walk[:, None]) / 1e-6) ** 2) / 2)
    volts = 0.02 + clean[:, None, :] + 0.004 * rng.standard_normal((30, 3, 800))
    channels = [Channel(f"H{c + 1:02d}", f"M{m}", scale=1e-4, offset=0.015) for c, m in enumerate((1, 1, 2))]
    codes = np.round((volts - 0.015) / 1e-4).astype(np.int16)
    sent = 1e-3 * np.arange(30) + 4e-7 * rng.standard_normal(30)
    return Session.from_samples(codes, channels, 5e6, trigger_time=sent, trigger_offset=np.zeros((30, 2)))


def test_every_quantity_of_a_session():
    """What is known is added once, not averaged over records, and correctly weighted, whatever the estimator."""
    without, found = measure(tank()), measure(tank(), KNOWN)
    clock = uncertainties.ufloat(1.0, KNOWN.clock_ppm * 1e-6)
    scale = uncertainties.ufloat(1.0, KNOWN.scale_percent * 1e-2)

    def alone(quantity):
        return uncertainties.ufloat(quantity.value, quantity.u) if quantity.u else quantity.value

    trigger, cable = uncertainties.ufloat(0, KNOWN.trigger_offset_u), uncertainties.ufloat(0, KNOWN.delay_u)
    old, new = without.sequence, found.sequence
    pairs = [
        (new.increment, alone(old.increment) * clock),
        (new.extent, alone(old.extent) * clock),
        (new.start, alone(old.start) * clock + trigger + cable),
        (found.jitter.std, alone(without.jitter.std) * clock),
        (found.jitter.drift_per_record, alone(without.jitter.drift_per_record) * clock),
        (found.jitter.peak_to_peak, alone(without.jitter.peak_to_peak) * clock),
        (found.timing.trigger_period, alone(without.timing.trigger_period) * clock),
        (found.timing.record_duration, alone(without.timing.record_duration) * clock),
        (found.timing.dead_time, (alone(without.timing.trigger_period) - 800 / 5e6) * clock),
        (found.timing.wait, (alone(without.timing.trigger_period) - 800 / 5e6) * clock),
    ]
    for health, plain in zip(found.health, without.health, strict=True):
        pairs.append((health.noise_rms, alone(plain.noise_rms) * scale))
        pairs.append((health.offset, 0.015 + (alone(plain.offset) - 0.015) * scale))
    for quantity, expected in pairs:
        assert quantity.u == pytest.approx(expected.s, rel=1e-4)
        assert quantity.value == pytest.approx(expected.n, rel=1e-12)
    i = 7
    pulse, plain = found.pulses, without.pulses
    amplitude = uncertainties.ufloat(plain.amplitude[i], plain.amplitude_u[i]) * scale
    width = uncertainties.ufloat(plain.width[i], plain.width_u[i]) * clock
    position = uncertainties.ufloat(plain.time[i], plain.time_u[i]) * clock + trigger + cable
    assert pulse.amplitude_u[i] == pytest.approx(amplitude.s, rel=1e-4)
    assert pulse.width_u[i] == pytest.approx(width.s, rel=1e-4)
    assert pulse.time_u[i] == pytest.approx(position.s, rel=1e-4)


def test_what_lasts_is_no_jitter():
    """An error that is the same in every record takes no part in the scatter, nor in what is subtracted from it."""
    without, found = measure(tank()), measure(tank(), replace(KNOWN, delay_u=1e-6, trigger_offset_u=1e-6))
    assert found.jitter.measurement_std == without.jitter.measurement_std
    assert found.jitter.std.value == without.jitter.std.value
    assert found.sequence.start.u > 1e-6
