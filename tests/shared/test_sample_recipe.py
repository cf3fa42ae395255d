"""The sample sessions are what their recipe makes, and their geometry agrees with itself."""

import hashlib
import importlib.util
import sys
from pathlib import Path

import h5py
import numpy as np
import pytest

from pulsewright.claims_file import read_claims
from pulsewright.opening import open_session
from pulsewright.settings import layered

FOLDER = Path(__file__).resolve().parents[2] / "sample_sessions"


def load(name):
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, FOLDER / f"{name}.py")
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


scenario = load("scenario")
load("tank_claims")
recipe = load("make")


@pytest.fixture(scope="module")
def fresh(tmp_path_factory):
    folder = tmp_path_factory.mktemp("samples")
    list(recipe.make(folder))
    return folder


def contents(path):
    """Every dataset and attribute of a file, by its path in it."""
    found = {}
    with h5py.File(path, "r") as file:
        for key, value in file.attrs.items():
            found["@" + key] = value

        def keep(name, item):
            if isinstance(item, h5py.Dataset):
                found[name] = item[()]
            for key, value in item.attrs.items():
                found[f"{name}@{key}"] = value

        file.visititems(keep)
    return found


@pytest.mark.parametrize("name", scenario.NAMES)
def test_recipe_gives_committed_file(fresh, name):
    committed, made = contents(FOLDER / f"{name}.h5"), contents(fresh / f"{name}.h5")
    assert set(committed) == set(made)
    for key, value in made.items():
        np.testing.assert_array_equal(committed[key], value, err_msg=key)
        assert np.asarray(committed[key]).dtype == np.asarray(value).dtype, key


def test_twice_gives_the_same_bytes(fresh, tmp_path):
    for path in recipe.make(tmp_path):
        first = (fresh / path.name).read_bytes()
        assert hashlib.sha256(path.read_bytes()).digest() == hashlib.sha256(first).digest(), path.name


@pytest.mark.parametrize("name", scenario.NAMES)
def test_at_most_two_megabytes(name):
    assert (FOLDER / f"{name}.h5").stat().st_size <= 2_000_000


# speed of sound in water at 20 °C, 1482.4 m/s: Bilaniuk & Wong 1993; Marczak 1997
def test_echo_walks_by_two_way_travel():
    distances = scenario.FIRST_DISTANCE + 7.5e-3 * np.arange(scenario.STOPS)
    times = scenario.echo_time(distances)
    np.testing.assert_allclose(np.diff(times), 2 * 7.5e-3 / 1482.4, rtol=1e-9)
    assert pytest.approx(2 * 7.5e-3 / 1482.4, rel=1e-12) == scenario.INCREMENT


# by Marczak's polynomial (1997), from memory: good for ±0.02 m/s between 0 and 95 °C
def test_speed_of_sound_at_twenty_degrees():
    factors = [1.402385e3, 5.038813, -5.799136e-2, 3.287156e-4, -1.398845e-6, 2.787860e-9]
    assert np.polynomial.Polynomial(factors)(20.0) == pytest.approx(scenario.SPEED_OF_SOUND, abs=0.05)


def channel_volts(name, channel):
    """Samples of one channel straight from the file, sign and base kept, with each record's time of sample 0."""
    with h5py.File(FOLDER / f"{name}.h5", "r") as file:
        volts = file["samples"][:, channel].astype(float) * file["channels/scale"][channel]
        start = file["triggers/offset"][:, channel // 4] - file.attrs["pre_trigger"] / file.attrs["sample_rate"]
        return volts - np.median(volts, axis=1, keepdims=True), start


def centroid(volts, start, span):
    """Centre of gravity of what stands out in a span, seconds: another way to a time than the recipe's."""
    times = start[:, None] + np.arange(volts.shape[1]) / 5e6
    inside = (times > span[0]) & (times < span[1])
    height = np.where(inside, np.abs(volts), 0.0)
    weight = np.where(height > 0.5 * height.max(axis=1, keepdims=True), height, 0.0)
    return np.sum(weight * times, axis=1) / np.sum(weight, axis=1)


def test_echo_in_the_file_walks_as_the_plate_does():
    volts, start = channel_volts("tank_walk", 0)
    times = centroid(volts, start, (190e-6, 330e-6))
    expected = scenario.echo_time(0.14 + 7.5e-3 * (np.arange(36) % 12))
    # 3 µm of the carriage are 4 ns, and half a sample more or less above half height some 20 ns
    np.testing.assert_allclose(times, expected, atol=0.1e-6)


def test_polarity_turns_at_each_ping():
    volts, _ = channel_volts("tank_walk", 5)
    largest = volts[np.arange(36), np.argmax(np.abs(volts), axis=1)]
    np.testing.assert_array_equal(np.sign(largest), [1, -1] * 18)


def test_faults_are_where_the_scenario_says():
    tank = scenario.TANK_FAULTS
    assert tank.after_record == (8, 22)
    with h5py.File(FOLDER / "tank_faults.h5", "r") as file:
        samples = file["samples"][()]
        periods = np.diff(file["triggers/time"][:, 0]) / scenario.PERIOD
    np.testing.assert_array_equal(np.flatnonzero(periods > 1.5), tank.after_record)
    ends = (samples <= scenario.LOWEST_CODE) | (samples >= scenario.HIGHEST_CODE)
    record, channel, sample = np.nonzero(ends)
    assert set(record) == {14} and set(channel) == {1}
    times = (sample - scenario.PRE_TRIGGER) / scenario.SAMPLE_RATE
    assert times.min() > 190e-6
    quiet = samples[:, :, :150].astype(float) * scenario.SCALE
    np.testing.assert_allclose(quiet.std(axis=(0, 2)), tank.noise_rms, rtol=0.05)


def test_slip_is_in_the_third_module_alone():
    with h5py.File(FOLDER / "tank_slip.h5", "r") as file:
        time = file["triggers/time"][()]
    np.testing.assert_array_equal(time[:, 0], time[:, 1])
    np.testing.assert_array_equal(time[:18, 2], time[:18, 0])
    np.testing.assert_array_equal(time[18:-1, 2], time[19:, 0])


def test_declared_cable_is_the_delay_in_the_file():
    with h5py.File(FOLDER / "tank_walk.h5", "r") as file:
        delay = file["channels/delay"][()]
    np.testing.assert_allclose(delay, [0] * 11 + [5.05e-9])
    assert scenario.TANK_FAULTS.skew[6] == pytest.approx(10.605e-9)


# SciPy: a least-squares sine fit of one record, independent of the recipe
def test_sine_has_its_skews():
    from scipy.optimize import curve_fit

    sine = scenario.TANK_SINE
    angular = 2 * np.pi * sine.frequency

    def shape(t, a, b, c):
        return a * np.cos(angular * t) + b * np.sin(angular * t) + c

    times = []
    for channel in (0, 9):
        volts, start = channel_volts("tank_sine", channel)
        fitted = []
        for record in range(sine.records):
            t = start[record] + np.arange(sine.record_length) / scenario.SAMPLE_RATE
            (a, b, _), _ = curve_fit(shape, t, volts[record], p0=(0.5, 0.5, 0.0))
            fitted.append(np.arctan2(-b, a))
        times.append(np.array(fitted))
    turns = np.angle(np.exp(1j * (times[0] - times[1]))) / angular
    bound = np.sqrt((sine.bound(0) + sine.bound(9)) / sine.records)
    assert turns.mean() == pytest.approx(sine.skew[9] - sine.skew[0], abs=4 * bound)
    assert turns.std(ddof=1) == pytest.approx(bound * np.sqrt(sine.records), rel=0.25)


def test_slopes_are_derivatives():
    for pulse in (scenario.TEST_PULSE, scenario.ECHO):
        time = np.linspace(-5e-6, 5e-6, 201)
        step = 1e-10
        numeric = (pulse.value(time + step) - pulse.value(time - step)) / (2 * step)
        np.testing.assert_allclose(pulse.slope(time), numeric, atol=1e-4 * np.abs(numeric).max())


@pytest.mark.parametrize("name", scenario.NAMES)
def test_recipe_gives_committed_claims(fresh, name):
    assert (fresh / f"{name}.claims.toml").read_bytes() == (FOLDER / f"{name}.claims.toml").read_bytes()


@pytest.mark.parametrize("name", scenario.NAMES)
def test_claims_files_hold_usable_settings(name):
    claims = read_claims(FOLDER / f"{name}.claims.toml")
    assert claims.title
    assert len(claims.claims) >= 5
    settings = layered(claims=claims.settings)
    assert settings.channel in scenario.CHANNELS
    if name != "tank_sine":
        first, last = scenario.echo_time(0.14), scenario.echo_time(0.14 + 11 * 7.5e-3)
        assert settings.span[0] < first - 8e-6
        assert settings.span[1] > last + 8e-6


def test_delay_comes_off_the_times():
    with open_session(FOLDER / "tank_walk.h5") as session:
        difference = session.first_sample_time(10) - session.first_sample_time(11)
    np.testing.assert_allclose(difference, 5.05e-9, rtol=1e-6)
