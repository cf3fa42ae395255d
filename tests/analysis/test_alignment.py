"""Skews by correlation and by sine, against the truth they were made with and the Cramér–Rao bound."""

import numpy as np
import pytest

from pulsewright import Channel, Session
from pulsewright.settings import layered
from pulsewright_analysis import sine
from pulsewright_analysis.correlation import correlate, noise_spectrum
from pulsewright_analysis.findings import measure
from pulsewright_analysis.sine import LONG, carries_sine, fit_shared_frequency

SAMPLE_RATE = 1e6


def events(records: int, gains: tuple[float, ...], delays: tuple[float, ...], sigma: float, noise: float, seed: int):
    """Return gated Gaussian pulses (records, channels, 128) in white noise; delays in samples."""
    rng = np.random.default_rng(seed)
    centre = 64 + rng.uniform(-0.5, 0.5, records)[:, None, None] + np.array(delays)[None, :, None]
    clean = np.exp(-(((np.arange(128) - centre) / sigma) ** 2) / 2) * np.array(gains)[None, :, None]
    return clean + noise * rng.standard_normal(clean.shape)


def bound(gain: float, sigma: float, noise: float) -> float:
    """Return σ/√Σs′² in samples of a Gaussian pulse: the Cramér–Rao bound of one known waveform's delay."""
    place = np.arange(128) - 64
    slope = gain * place / sigma**2 * np.exp(-((place / sigma) ** 2) / 2)
    return noise / float(np.sqrt(np.sum(slope**2)))


@pytest.mark.parametrize("sigma", [1.3, 4.0, 12.0])
@pytest.mark.parametrize("gains", [(1.0, 1.0), (1.0, 0.2), (1.0, -1.0)])
def test_correlation_reaches_the_bound(sigma, gains):
    noise, true = 0.01, 0.37
    samples = events(800, gains, (0.0, true), sigma, noise, 8)
    autocovariance = np.full((2, 1), noise**2)
    delays = correlate(samples, np.ones((800, 2), dtype=bool), 0, autocovariance, SAMPLE_RATE)
    found = delays.delay[:, 1] * SAMPLE_RATE
    limit = np.hypot(bound(1.0, sigma, noise), bound(abs(gains[1]), sigma, noise))
    assert np.mean(found) == pytest.approx(true, abs=4 * limit / np.sqrt(800))
    assert np.sqrt(np.mean((found - true) ** 2)) < 1.1 * limit
    claimed = np.sqrt(np.sum(delays.variance)) * SAMPLE_RATE
    assert claimed == pytest.approx(limit, rel=0.1)


def test_silent_and_foreign_channels_are_named():
    samples = events(50, (1.0, 0.0, 1.0), (0.0, 0.0, 0.0), 4.0, 0.01, 8)
    samples[:, 2] = np.sin(np.arange(128) * np.random.default_rng(1).uniform(1.5, 1.9, (50, 1)))
    delays = correlate(samples, np.ones((50, 3), dtype=bool), 0, np.full((3, 1), 1e-4), SAMPLE_RATE)
    assert delays.unlike[1] == "it carries no signal in the gate"
    assert delays.unlike[2] == "its signal is unlike the reference's"
    assert np.all(np.isnan(delays.delay[:, 1:]))


def test_spectrum_of_white_noise():
    rng = np.random.default_rng(9)
    power = np.mean(np.abs(np.fft.rfft(0.5 * rng.standard_normal((4000, 64)))) ** 2, axis=0)
    assert noise_spectrum(np.array([[0.25, 0.0]]), 64)[0] == pytest.approx(power, rel=0.12)


def sine_session(skews: np.ndarray, noise: float, records: int = 60, length: int = 400) -> Session:
    """Return one free-running sine of 41.3 kHz on four channels of two modules."""
    rng = np.random.default_rng(12)
    time = np.arange(length) / SAMPLE_RATE
    phase = rng.uniform(0, 2 * np.pi, (records, 1, 1))
    clean = np.cos(2 * np.pi * 41.3e3 * (time - skews[None, :, None]) + phase)
    codes = np.round((clean + noise * rng.standard_normal(clean.shape)) / 1e-4).astype(np.int16)
    channels = [Channel(f"H{c + 1:02d}", f"M{c // 2 + 1}", scale=1e-4) for c in range(len(skews))]
    return Session.from_samples(codes, channels, SAMPLE_RATE, 0, trigger_offset=np.zeros(records))


def test_sine_is_chosen_and_reaches_the_bound():
    skews = np.array([0.0, 12e-9, -40e-9, 300e-9])
    alignment = measure(sine_session(skews, 0.02)).alignment
    assert alignment.method == "sine"
    limit = np.sqrt(2 * 2 * 0.02**2 / (60 * 400)) / (2 * np.pi * 41.3e3)
    for channel, truth in zip(alignment.channels[1:], skews[1:], strict=True):
        assert channel.skew is not None
        assert abs(channel.skew.value - truth) < 3 * channel.skew.u
        assert limit * 0.93 < channel.skew.u < limit * 1.35
    assert abs(alignment.frequency.value - 41.3e3) < 3 * alignment.frequency.u


def test_effective_bits_of_an_ideal_converter():
    """Source: IEEE Std 1057: noise of an ideal N-bit converter is one code/√12, so ENOB = N at any size of sine."""
    rng = np.random.default_rng(1)
    time = np.arange(4000)
    for size in (0.98, 0.49):
        phase = rng.uniform(0, 2 * np.pi, (20, 2, 1))
        codes = np.round(size * 127.5 * np.cos(2 * np.pi * 0.0371234 * time + phase) - 0.5).astype(np.int16)
        channels = [Channel(name, "M1", "V", 0.01, 0.0, -128, 127) for name in ("H01", "H02")]
        health = measure(Session.from_samples(codes, channels, SAMPLE_RATE, 0)).health
        assert health[0].enob == pytest.approx(8.0, abs=0.05)


def test_one_channel_has_nothing_to_line_up_with():
    findings = measure(sine_session(np.zeros(2), 0.02), layered(option={"channels": "H01"}))
    assert findings.alignment.channels == ()
    assert any("one channel alone" in reason for reason in findings.reasons)


def burst_session(records: int, cycles: float, late: float, noise: float) -> Session:
    """Return tone bursts of ten samples a cycle on two channels, the second `late` samples later."""
    rng = np.random.default_rng(21)
    place = np.arange(1200)
    centre = 600 + rng.uniform(-0.5, 0.5, records)[:, None, None] + np.array([0.0, late])[None, :, None]
    envelope = np.exp(-(((place - centre) / (2.5 * cycles)) ** 2) / 2)
    volts = envelope * np.cos(2 * np.pi * (place - centre) / 10) + noise * rng.standard_normal((records, 2, 1200))
    codes = np.round(volts / 1e-4).astype(np.int16)
    channels = [Channel("H01", "M1", scale=1e-4), Channel("H02", "M1", scale=1e-4)]
    return Session.from_samples(codes, channels, SAMPLE_RATE, 0, trigger_offset=np.zeros(records))


@pytest.mark.parametrize("late", [0.0, 3.0, 7.4])
def test_burst_of_few_cycles_lines_up_on_the_right_cycle(late):
    alignment = measure(burst_session(40, 3, late, 0.005)).alignment
    skew = alignment.channels[1].skew
    assert skew is not None
    assert abs(skew.value * SAMPLE_RATE - late) < 3 * skew.u * SAMPLE_RATE
    assert skew.u * SAMPLE_RATE < 0.05


def test_burst_whose_cycles_cannot_be_told_apart_is_not_guessed():
    findings = measure(burst_session(6, 30, 3.0, 0.15), layered(option={"alignment_method": "correlation"}))
    skew = findings.alignment.channels[1].skew if findings.alignment.channels else None
    assert skew is None or abs(skew.value * SAMPLE_RATE - 3.0) < 4 * skew.u * SAMPLE_RATE
    assert skew is not None or findings.reasons


@pytest.mark.parametrize("late", [8.0, 20.0, -35.0])
def test_skew_of_more_than_a_width_with_the_automatic_gate(late):
    rng = np.random.default_rng(3)
    place = np.arange(600)
    centre = 300 + rng.uniform(-0.5, 0.5, 30)[:, None, None] + np.array([0.0, late])[None, :, None]
    volts = np.exp(-(((place - centre) / 4.25) ** 2) / 2) + 0.01 * rng.standard_normal((30, 2, 600))
    codes = np.round(volts / 1e-4).astype(np.int16)
    channels = [Channel("H01", "M1", scale=1e-4), Channel("H02", "M1", scale=1e-4)]
    skew = measure(Session.from_samples(codes, channels, SAMPLE_RATE, 0)).alignment.channels[1].skew
    assert skew is not None
    assert abs(skew.value * SAMPLE_RATE - late) < 3 * skew.u * SAMPLE_RATE
    assert skew.u * SAMPLE_RATE < 0.05


def test_the_largest_of_many_differences_stays_inside_its_interval():
    """All skews are 0: the largest within a module must not exclude 0 more often than 5 % (here 60 sessions)."""
    outside = 0
    for seed in range(60):
        samples = events(12, (1.0,) * 4, (0.0,) * 4, 4.0, 0.02, seed)
        codes = np.round(samples / 1e-4).astype(np.int16)
        channels = [Channel(f"H{c + 1:02d}", "M1", scale=1e-4) for c in range(4)]
        session = Session.from_samples(codes, channels, SAMPLE_RATE, 0)
        largest = measure(session, layered(option={"alignment_method": "correlation"})).alignment.within_modules
        assert largest is not None
        outside += largest.interval95[0] > 0
    assert outside <= 8


def test_sine_in_band_limited_noise_keeps_what_its_u_promises():
    """Noise of a quarter of the band lies where the sine does; one record each, 300 runs."""
    rng = np.random.default_rng(31)
    time = np.arange(600) / SAMPLE_RATE
    inside = 0
    kernel = np.sinc(0.25 * (np.arange(65) - 32)) * np.hamming(65)
    kernel /= np.sqrt(np.sum(kernel**2))
    for _ in range(150):
        white = rng.standard_normal((2, 2, 664))
        noise = np.stack([[np.convolve(row, kernel, "valid") for row in rows] for rows in white])
        samples = np.cos(2 * np.pi * 41.3e3 * time + rng.uniform(0, 6, (2, 1, 1))) + 0.05 * noise
        fit = fit_shared_frequency(samples, SAMPLE_RATE)
        turn = np.angle(np.exp(1j * (fit.phase[:, 1] - fit.phase[:, 0])))
        u = np.sqrt(np.sum(fit.phase_variance) / 2)
        inside += abs(float(np.mean(turn))) < 1.96 * u
    assert 0.88 < inside / 150 < 1.0


def test_modules_on_separate_clocks_are_said_to_drift():
    rng = np.random.default_rng(5)
    place = np.arange(400)
    drift = 0.02 * np.arange(40)[:, None, None] * np.array([0, 0, 1, 1])[None, :, None]
    volts = np.exp(-(((place - 200 - drift) / 4.25) ** 2) / 2) + 0.01 * rng.standard_normal((40, 4, 400))
    codes = np.round(volts / 1e-4).astype(np.int16)
    channels = [Channel(f"H{c + 1:02d}", f"M{c // 2 + 1}", scale=1e-4) for c in range(4)]
    findings = measure(Session.from_samples(codes, channels, SAMPLE_RATE, 0, trigger_offset=np.zeros(40)))
    (pair,) = findings.alignment.between_modules
    assert pair.drift_per_record is not None
    assert abs(pair.drift_per_record.value - 0.02e-6) < 3 * pair.drift_per_record.u
    assert any("M2 drifts against M1" in reason for reason in findings.reasons)


@pytest.mark.parametrize("gain", [0.4, 1.7])
def test_gain_against_the_reference(gain):
    samples = events(60, (1.0, gain), (0.0, 0.4), 4.0, 0.01, 8)
    codes = np.round(samples / 1e-4).astype(np.int16)
    channels = [Channel("H01", "M1", scale=1e-4), Channel("H02", "M1", scale=1e-4)]
    settings = layered(option={"alignment_method": "correlation"})
    found = measure(Session.from_samples(codes, channels, SAMPLE_RATE, 0), settings).alignment.channels[1].gain
    assert found is not None
    assert abs(found.value - gain) < 3.5 * found.u


@pytest.mark.parametrize("share", [0.1, 0.003])
def test_harmonic_distortion_is_what_was_put_in(share):
    """Source: the trace was made with a third harmonic of that share of the sine (THD, IEEE Std 1057)."""
    rng = np.random.default_rng(2)
    turn = 2 * np.pi * 41.3e3 * np.arange(800) / SAMPLE_RATE + rng.uniform(0, 6, (30, 2, 1))
    volts = np.cos(turn) + share * np.cos(3 * turn + 1) + 0.002 * rng.standard_normal((30, 2, 800))
    codes = np.round(volts / 1e-4).astype(np.int16)
    channels = [Channel(name, "M1", "V", 1e-4) for name in ("H01", "H02")]
    health = measure(Session.from_samples(codes, channels, SAMPLE_RATE, 0)).health
    assert health[0].thd_db == pytest.approx(20 * np.log10(share), abs=0.5)


def test_sinad_of_an_ideal_converter_at_full_scale():
    """Source: IEEE Std 1057: SINAD = 6.02·N + 1.76 dB for an ideal N-bit converter driven to full scale."""
    rng = np.random.default_rng(1)
    phase = rng.uniform(0, 2 * np.pi, (20, 2, 1))
    codes = np.round(127.5 * np.cos(2 * np.pi * 0.0371234 * np.arange(4000) + phase) - 0.5).astype(np.int16)
    channels = [Channel(name, "M1", "V", 0.01, 0.0, -128, 127) for name in ("H01", "H02")]
    health = measure(Session.from_samples(codes, channels, SAMPLE_RATE, 0)).health
    assert health[0].sinad_db == pytest.approx(6.02 * 8 + 1.76, abs=0.1)


def test_clock_rates_of_modules_on_separate_clocks():
    """The second module's clock runs 50 ppm fast: its samples are closer together than it believes."""
    rng = np.random.default_rng(7)
    time = np.arange(2000) / SAMPLE_RATE
    stretch = np.array([1.0, 1.0, 1 / (1 + 50e-6), 1 / (1 + 50e-6)])[None, :, None]
    phase = rng.uniform(0, 6, (20, 1, 1))
    volts = np.cos(2 * np.pi * 41.3e3 * time * stretch + phase) + 0.01 * rng.standard_normal((20, 4, 2000))
    channels = [Channel(f"H{c + 1:02d}", f"M{c // 2 + 1}", scale=1e-4) for c in range(4)]
    codes = np.round(volts / 1e-4).astype(np.int16)
    findings = measure(Session.from_samples(codes, channels, SAMPLE_RATE, 0, trigger_offset=np.zeros(20)))
    (pair,) = findings.alignment.between_modules
    assert pair.rate is not None
    assert abs(pair.rate.value - 50e-6) < 3 * pair.rate.u
    assert pair.rate.u < 2e-6
    assert any("clock of M2" in reason for reason in findings.reasons)


def test_covariance_of_skews_holds_the_references_noise_in_all_of_them():
    """200 simulated sessions of ten records: the skews' scatter and their covariance are what is claimed."""
    rng = np.random.default_rng(11)
    found, claimed = [], None
    for seed in range(200):
        samples = events(10, (1.0, 1.0, 0.5), (0.0, 0.2, -0.3), 4.0, 0.02, seed)
        codes = np.round((samples + rng.normal(0, 1e-6, samples.shape)) / 1e-4).astype(np.int16)
        channels = [Channel(f"H{c + 1:02d}", "M1", scale=1e-4) for c in range(3)]
        settings = layered(option={"alignment_method": "correlation"})
        alignment = measure(Session.from_samples(codes, channels, SAMPLE_RATE, 0), settings).alignment
        found.append([c.skew.value for c in alignment.channels[1:]])
        claimed = alignment.covariance[1:, 1:]
    assert np.cov(np.array(found).T) / claimed == pytest.approx(np.ones((2, 2)), rel=0.35)


@pytest.mark.parametrize(
    ("kind", "wanted"), [("sines", True), ("a third of them noise", True), ("pulses", False), ("noise", False)]
)
def test_few_long_traces_tell_that_there_is_no_sine(kind, wanted, monkeypatch):
    """By construction; of long traces without a sine a few are read, and not all."""
    rng = np.random.default_rng(5)
    time = np.arange(LONG + 1000) / SAMPLE_RATE
    samples = 0.1 * rng.standard_normal((2, 3, len(time)))
    if "noise" not in kind or wanted:
        sines = np.sin(2 * np.pi * 12_345.6 * time) if wanted else np.exp(-(((time - 0.03) / 1e-4) ** 2))
        samples += sines * (np.array([1.0, 1.0, 0.0])[:, None] if "third" in kind else 1.0)
    read_all = []
    whole = sine._settled_on_all
    monkeypatch.setattr(sine, "_settled_on_all", lambda *given: read_all.append(True) or whole(*given))
    assert carries_sine(samples, SAMPLE_RATE) is wanted
    assert bool(read_all) is wanted
