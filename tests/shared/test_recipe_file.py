"""Recipe files: what they say, and the line of whatever is wrong in them."""

from pathlib import Path

import pytest

from pulsewright.errors import RecipeError
from pulsewright.recipe import PulsePlan, SinePlan, Surge
from pulsewright.recipe_file import read_recipe

PRACTICE = Path(__file__).resolve().parents[2] / "sample_sessions" / "practice.recipe.toml"

GOOD = """\
records = 4
sample_rate = "1 MS/s"
record_length = 100
pre_trigger = 10

[trigger]
period = "1 ms"
missed = [2]

[recorder]
scale = "1 mV"

[[modules]]
name = "M1"
channels = ["H01", "H02"]

[[modules]]
name = "M2"
channels = ["H05"]
lost = [3]

[channels.H02]
late = "3 ns"

[[pulses]]
name = "echo"
at = "20 us"
amplitude = "0.5 V"
sigma = "2 us"
surges = [{ channel = "H05", record = 1, factor = 2 }]

[[sines]]
frequency = "10 kHz"
amplitude = "0.1 V"
channels = ["H01"]
"""


def read(tmp_path, text):
    path = tmp_path / "tank.recipe.toml"
    path.write_text(text, encoding="utf-8")
    return read_recipe(path)


def test_units_become_si_and_what_is_left_out_is_usual(tmp_path):
    recipe = read(tmp_path, GOOD)
    assert (recipe.sample_rate, recipe.trigger.period, recipe.trigger.missed) == (1e6, 1e-3, (2,))
    assert [plan.channel.name for plan in recipe.channels] == ["H01", "H02", "H05"]
    assert [plan.channel.module for plan in recipe.channels] == ["M1", "M1", "M2"]
    assert {plan.channel.scale for plan in recipe.channels} == {1e-3}
    assert [plan.late for plan in recipe.channels] == [0.0, 3e-9, 0.0]
    assert recipe.pulses == (PulsePlan("echo", 20e-6, 0.5, 2e-6, surges=(Surge("H05", 1, 2.0),)),)
    assert recipe.sines == (SinePlan(1e4, 0.1, ("H01",)),)
    assert recipe.sent == 6
    assert (recipe.seed, recipe.sample_type, recipe.hums) == (0, "int16", ())


def test_the_practice_recipe_has_one_of_everything():
    recipe = read_recipe(PRACTICE)
    assert recipe.pulses[1].polarity == (1, -1)
    assert recipe.modules[1].clock_ppm == 20
    assert recipe.channels[5].gain == -1.0
    assert recipe.channels[3].channel.delay == 5e-9
    assert recipe.pulses and recipe.sines and recipe.hums and recipe.trigger.missed and recipe.modules[2].lost


WRONG = {
    ('records = 4', 'records = 0'): "tank.recipe.toml, line 1: records: 0 is too small; it must be at least 1.",
    ('records = 4', 'records = "4"'): "line 1: records: '4' is not a whole number",
    ('records = 4', 'records = 99999999999'): "line 1: records: 99,999,999,999 is more than can be simulated",
    ('records = 4', 'seed = -1\nrecords = 4'): "line 1: seed: −1 is too small",
    ('records = 4', 'recods = 4'): "a recipe needs records",
    ('records = 4', 'records = 4\ncreated = "soon"'): "line 2: created: 'soon' is no date",
    ('records = 4', 'records = 4\nspeed = 3'):
        "line 2: 'speed' has no meaning in a recipe; what may stand here: trigger,",
    ('"1 MS/s"', '"1 ms"'): "line 2: sample_rate: '1 ms' is in s, not in Hz",
    ('"1 MS/s"', '0'): "line 2: sample_rate: 0 cannot be used; it must be above 0 Hz",
    ('"1 MS/s"', 'true'): "line 2: sample_rate: True is not a number",
    ('"1 MS/s"', 'inf'): "line 2: sample_rate: inf is not a finite number",
    ('pre_trigger = 10', 'pre_trigger = 101'): "line 4: pre_trigger: 101, but a record has only 100 samples",
    ('[trigger]', '[triggers]'): "a recipe needs trigger",
    ('period = "1 ms"', ''): "line 6: [trigger] needs period",
    ('missed = [2]', 'missed = 2'): "line 8: missed: 2 is not a list",
    ('missed = [2]', 'missed = [40]'): "line 8: missed: M1 has all its 4 records before trigger 40",
    ('lost = [3]', 'lost = [9]'): "line 20: lost: M2 has all its 4 records before trigger 9",
    ('missed = [2]', 'timed = 1'): "line 8: timed: 1 is neither true nor false",
    ('scale = "1 mV"', 'scale = 0'): "line 11: scale: is 0",
    ('scale = "1 mV"', 'highest_code = 40000'): "the sample type holds -32768 to 32767 only",
    ('scale = "1 mV"', 'type = "int64"'): "line 11: type: 'int64' is none of int8,",
    ('scale = "1 mV"', 'lowest_code = 5\nhighest_code = 5'): "line 12: highest_code: 5 is not above the lowest code",
    ('name = "M2"', 'name = "M1"'): "line 18: name: 'M1' is no name of its own",
    ('channels = ["H05"]', 'channels = ["H01"]'): "line 19: channels: 'H01' is on M1 already",
    ('channels = ["H05"]', 'channels = "H05"'): "line 19: channels: 'H05' is not a list",
    ('["H01", "H02"]', '["H01", "H01"]'): "line 15: channels: 'H01' stands there twice",
    ('[channels.H02]', '[channels.H03]'): "line 22: channels: no module has a channel 'H03'; there are H01, H02, H05",
    ('late = "3 ns"', 'late = "3 mV"'): "line 23: late: '3 mV' is in V, not in s",
    ('late = "3 ns"', 'later = "3 ns"'): "line 23: 'later' has no meaning in [channels.H02]",
    ('late = "3 ns"', 'gain = 0'): "line 23: gain: 0 cannot be used; it must be above 0",
    ('name = "echo"', ''): "line 25: [[pulses]] needs name",
    ('sigma = "2 us"', 'sigma = "0 us"'): "line 29: sigma: '0 us' cannot be used",
    ('sigma = "2 us"', 'sigma = "2 us"\npolarity = "up"'): "line 30: polarity: 'up' is no polarity",
    ('sigma = "2 us"', 'sigma = "2 us"\nfactors = { H09 = 2 }'): "line 30: factors: there is no channel 'H09'",
    ('record = 1,', 'record = 4,'): "line 30: surges: there is no record 4; records go from 0 to 3",
    ('record = 1,', ''): "line 30: surges: {'channel': 'H05', 'factor': 2} is no surge",
    ('channels = ["H01"]\n', 'channels = ["H07"]\n'): "line 35: channels: there is no channel 'H07'",
    ('[[sines]]', '[sines]'): "line 32: sines is not a list of tables; head each [[sines]]",
    ('[[sines]]', '[[sines'): "line 32: is not TOML",
}  # fmt: skip


@pytest.mark.parametrize("change", WRONG, ids=lambda change: change[1].strip() or f"no {change[0]}")
def test_what_is_wrong_is_said_with_its_line(tmp_path, change):
    assert GOOD.count(change[0]) == 1
    with pytest.raises(RecipeError) as caught:
        read(tmp_path, GOOD.replace(*change))
    assert WRONG[change] in caught.value.sentence


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(RecipeError, match=r"none\.toml: there is no such file; looked in"):
        read_recipe(tmp_path / "none.toml")
    (tmp_path / "latin.toml").write_bytes(b"title = 'T\xe4nk'")
    with pytest.raises(RecipeError, match=r"latin\.toml, line 1: is not UTF-8 text"):
        read_recipe(tmp_path / "latin.toml")
