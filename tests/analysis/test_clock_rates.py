"""Clock rates of modules from several pulses in each record."""

import numpy as np
import pytest

from pulsewright import Channel, Session
from pulsewright.settings import layered
from pulsewright_analysis.findings import measure

SAMPLE_RATE = 5e6
CENTRES = np.array([200.0, 700.0, 1300.0, 1800.0])
SETTINGS = layered(option={"alignment_method": "correlation", "alignment_span": "1 us .. 399 us"})


def pulsed(rate: float, own_ways: float, seed: int) -> Session:
    """Return a session whose second module counts `rate` more samples; `own_ways` moves its pulses, each by itself."""
    rng = np.random.default_rng(seed)
    place = np.arange(2000)
    samples = np.zeros((20, 4, 2000))
    for channel in range(4):
        late = channel // 2
        centres = CENTRES * (1 + rate * late) + late * own_ways * np.array([1.0, -1.0, 1.0, -1.0])
        samples[:, channel] = np.sum(np.exp(-(((place - centres[:, None]) / 6.0) ** 2) / 2), axis=0)
    samples += 0.01 * rng.standard_normal(samples.shape)
    channels = [Channel(f"H{c + 1:02d}", f"M{c // 2 + 1}", scale=1e-4) for c in range(4)]
    return Session.from_samples(np.rint(samples / 1e-4).astype(np.int16), channels, SAMPLE_RATE, 0)


@pytest.mark.parametrize("rate", [0.0, 50e-6, -200e-6])
def test_the_rate_is_found_within_its_uncertainty(rate):
    """Source: algebra; a clock that runs fast by 50 ppm counts 50 ppm more samples to the same instant."""
    deviations = []
    for seed in range(12):
        findings = measure(pulsed(rate, 0.0, seed), SETTINGS)
        found = findings.alignment.between_modules[0].rate
        assert found is not None
        deviations.append((found.value - rate) / found.u)
        if abs(rate) > 10 * found.u:
            assert any("clock of M2" in reason for reason in findings.reasons)
    # twelve normal deviations: their root mean square is below 1.8 with a probability of more than 99.9 %
    assert np.sqrt(np.mean(np.square(deviations))) < 1.8


def test_events_that_come_by_different_ways_tell_no_rate():
    findings = measure(pulsed(0.0, 2.0, 1), SETTINGS)
    assert findings.alignment.between_modules[0].rate is None


def test_pulses_of_one_size_are_not_taken_for_each_other():
    """Noise decides which of four equal pulses is the largest; the skew is 0 all the same."""
    findings = measure(pulsed(0.0, 0.0, 1), layered(option={"alignment_method": "correlation"}))
    assert all(skew.skew is not None for skew in findings.alignment.channels)
    assert max(abs(skew.skew.value) for skew in findings.alignment.channels) < 0.1 / SAMPLE_RATE


def test_one_event_a_record_tells_no_rate(make_tank):
    settings = layered(option={"span": "50 us .. 150 us", "alignment_span": "5 us .. 25 us"})
    assert measure(make_tank([range(32), range(32)]), settings).alignment.between_modules[0].rate is None
