"""An ideal quantiser's noise, SINAD and effective bits. Source: IEEE Std 1057 (SINAD = 6.02 N + 1.76 dB; ENOB = N)."""

import numpy as np
import pytest

from pulsewright import Channel, Session
from pulsewright.settings import layered
from pulsewright_analysis.findings import measure

SAMPLE_RATE = 1e6


def quantised(bits: int, share: float) -> Session:
    """Return sines of a share of the full scale through an ideal converter of that many bits, on two channels."""
    rng = np.random.default_rng(bits)
    time = np.arange(4096) / SAMPLE_RATE
    half = 2 ** (bits - 1)
    phase = rng.uniform(0, 2 * np.pi, (12, 2, 1))
    codes = np.rint(share * (half - 0.5) * np.cos(2 * np.pi * 41.234567e3 * time + phase) - 0.5).astype(np.int16)
    limits = {"lowest_code": -half, "highest_code": half - 1}
    channels = [Channel(name, "M1", scale=1e-3, **limits) for name in ("H01", "H02")]
    return Session.from_samples(codes, channels, SAMPLE_RATE, 0)


@pytest.mark.parametrize("share", [1.0, 0.5])
@pytest.mark.parametrize("bits", [8, 10, 12])
def test_ideal_quantiser(bits, share):
    """Half the scale costs 6.02 dB of SINAD and no effective bit.

    A sine of A codes leaves an error that is not quite uniform: its rms is off by up to 0.13/√A (algebra: the terms
    J₀(2πkA)/k² of the error's power, by the envelope of the Bessel function); 1 % more for the number of samples.
    """
    off = 0.13 / np.sqrt(share * 2 ** (bits - 1)) + 0.01
    for health in measure(quantised(bits, share), layered(option={"alignment_method": "sine"})).health:
        expected = 6.02 * bits + 1.76 + 20 * np.log10(share)
        assert health.sinad_db == pytest.approx(expected, abs=20 * np.log10(1 + off) + 0.02)
        assert health.enob == pytest.approx(bits, abs=np.log2(1 + off))
        assert health.noise_rms is not None
        assert health.noise_rms.value == pytest.approx(1e-3 / np.sqrt(12.0), rel=off)
