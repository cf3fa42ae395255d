"""The command line tells the truth about the sample sessions.

The sessions are invented, so this checks the program against the recipe's own truth and against the Cramér–Rao bound
(σ²/Σs′² of a known waveform's delay; 2σ²/(N·A²·(2πf)²) of a sine's), not against nature.
"""

import importlib.util
import json
import sys
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from pulsewright_app.cli import app

FOLDER = Path(__file__).resolve().parents[2] / "sample_sessions"


def load_scenario():
    """Return the module that holds the truth behind the samples."""
    if "scenario" not in sys.modules:
        spec = importlib.util.spec_from_file_location("scenario", FOLDER / "scenario.py")
        sys.modules["scenario"] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules["scenario"])
    return sys.modules["scenario"]


scenario = load_scenario()

EXIT_CODES = {"tank_walk": 0, "tank_faults": 1, "tank_slip": 1, "tank_sine": 1}
"""0: every claim holds, 1: at least one fails."""


@pytest.fixture(scope="module")
def measured():
    """Return what `measure --json` prints for each sample, by name."""
    runner = CliRunner()
    found = {}
    for name in scenario.NAMES:
        result = runner.invoke(app, ["measure", str(FOLDER / f"{name}.h5"), "--json"])
        assert result.exit_code == EXIT_CODES[name], result.output
        found[name] = json.loads(result.stdout)
    return found


def skews(findings):
    """Return {channel: skew} of one session."""
    return {entry["channel"]: entry["skew"] for entry in findings["alignment"]["channels"]}


def pair_bound(channel):
    """Return the least u of a channel's skew against H01 over all records of `tank_faults`, seconds."""
    tank, span = scenario.TANK_FAULTS, (5e-6, 25e-6)
    variance = tank.test_pulse_bound(channel, span) + tank.test_pulse_bound(0, span)
    return np.sqrt(variance / tank.records)


def test_walk_is_clean(measured):
    sequence = measured["tank_walk"]["sequence"]
    assert sequence["missed_total"] == 0
    assert sequence["missed"] == []
    assert sequence["slips"] == []
    assert sequence["alternates"] is True
    assert sequence["cycle"] == scenario.STOPS


def test_walk_increment_is_the_plate_step_there_and_back(measured):
    """Source: speed of sound in water at 20 °C, 1482.4 m/s (Bilaniuk & Wong 1993; Marczak 1997)."""
    increment = measured["tank_walk"]["sequence"]["increment"]
    assert abs(increment["value"] - 2 * 7.5e-3 / 1482.4) < 2 * increment["u"]
    assert increment["u"] < 1e-9


def test_faults_missed_triggers_by_all_witnesses(measured):
    sequence = measured["tank_faults"]["sequence"]
    assert sequence["missed_total"] == 2
    assert [gap["after_record"] for gap in sequence["missed"]] == list(scenario.TANK_FAULTS.after_record)
    assert all(gap["count"] == 1 for gap in sequence["missed"])
    assert all(set(gap["seen_in"]) == {"position", "polarity", "time"} for gap in sequence["missed"])


def test_faults_late_channel(measured):
    """Source: 2.1 m of polyethylene coaxial cable at 5.05 ns/m (handbook value)."""
    skew = skews(measured["tank_faults"])["H07"]
    assert abs(skew["value"] - 2.1 * 5.05e-9) < 2 * skew["u"]
    assert skew["u"] < 1.3 * pair_bound(6)
    assert skew["interval95"][0] > 0


def test_faults_u_of_every_channel_is_near_the_bound(measured):
    for place, name in enumerate(scenario.CHANNELS[1:], start=1):
        ratio = skews(measured["tank_faults"])[name]["u"] / pair_bound(place)
        assert 0.9 < ratio < 1.5, (name, ratio)


def test_faults_inverted_channel_shows_in_polarity(measured):
    signs = {}
    for entry in measured["tank_faults"]["polarity"]:
        signs.setdefault(entry["record"], {})[entry["channel"]] = entry["sign"]
    for record in signs.values():
        usual = record["H01"]
        assert all(sign == (-usual if name == "H10" else usual) for name, sign in record.items())


def test_faults_clipped_record_and_noisy_channel_show_in_health(measured):
    health = {entry["channel"]: entry for entry in measured["tank_faults"]["health"]}
    assert [name for name, entry in health.items() if entry["clipped_samples"]] == ["H02"]
    truth = scenario.TANK_FAULTS.noise_rms
    for place, name in enumerate(scenario.CHANNELS):
        noise = health[name]["noise_rms"]
        assert abs(noise["value"] - truth[place]) < 4 * noise["u"], name


def test_slip_is_named_and_its_records_are_not_compared(measured):
    findings = measured["tank_slip"]
    assert findings["sequence"]["slips"] == [{"module": "M3", "from_record": 18, "by": 1}]
    assert findings["sequence"]["missed_total"] == 0
    for name, skew in skews(findings).items():
        assert abs(skew["value"]) <= 3.5 * skew["u"], name
    matched, all_records = skews(findings)["H12"]["u"], skews(findings)["H08"]["u"]
    assert matched / all_records == pytest.approx(np.sqrt(2), rel=0.25)
    assert any("M3" in reason and "record 18" in reason for reason in findings["reasons"])


def test_sine_skews(measured):
    sine, findings = scenario.TANK_SINE, measured["tank_sine"]
    truth = sine.skew - sine.skew[0]
    assert findings["alignment"]["method"] == "sine"
    hits = 0
    for place, name in enumerate(scenario.CHANNELS[1:], start=1):
        skew = skews(findings)[name]
        bound = np.sqrt((sine.bound(place) + sine.bound(0)) / sine.records)
        assert skew["u"] < 1.2 * bound, (name, skew["u"] / bound)
        hits += abs(skew["value"] - truth[place]) < 2 * skew["u"]
    assert hits >= 10


def test_sine_third_module_is_later(measured):
    between = {
        tuple(entry["modules"]): entry["skew"] for entry in measured["tank_sine"]["alignment"]["between_modules"]
    }
    for pair in (("M1", "M3"), ("M2", "M3")):
        assert between[pair]["interval95"][0] > 0
        assert between[pair]["value"] > 10 * between[pair]["u"]


def verdicts(findings):
    """Return {claim: verdict} of one session."""
    return {entry["name"]: entry["verdict"] for entry in findings["claims"]}


def test_walk_holds_whatever_is_claimed(measured):
    assert set(verdicts(measured["tank_walk"]).values()) == {"holds"}


def test_faults_fail_where_the_recipe_put_a_fault_and_nowhere_else(measured):
    told = verdicts(measured["tank_faults"])
    assert {name for name, verdict in told.items() if verdict == "fails"} == {
        "Every ping was kept",  # two are missing
        "All channels hear the test pulse at once",  # H07 has 2.1 m of cable more
        "Nothing is clipped",  # H02 in record 14
        "All channels are quiet",  # H05 is eight times as noisy
    }
    assert {name for name, verdict in told.items() if verdict == "undecided"} == {
        "The echo has its size on the first module",  # the clipped echo has no size
        "Channels of a module are aligned",  # H05 is too noisy to tell
        "The plate stops where it should",  # 4 ns, a scatter that 36 records do not tell from 5 ns
    }


def test_faults_claims_point_to_the_records(measured):
    claims = {entry["name"]: entry for entry in measured["tank_faults"]["claims"]}
    assert claims["Every ping was kept"]["records"] == list(scenario.TANK_FAULTS.after_record)
    assert claims["Nothing is clipped"]["records"] == [14]
    assert claims["All channels hear the test pulse at once"]["budget"] == "skew H07"
    assert claims["The plate stops where it should"]["needed"]


def test_slip_and_sine_fail_where_the_recipe_has_a_fault(measured):
    for name, claim in (("tank_slip", "The modules hold the same pings"), ("tank_sine", "The modules are aligned")):
        told = verdicts(measured[name])
        assert {key for key, verdict in told.items() if verdict == "fails"} == {claim}
        assert "undecided" not in told.values()
