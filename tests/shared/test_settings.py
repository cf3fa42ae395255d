"""Settings: which layer counts, where a value came from, and what is refused."""

from __future__ import annotations

from typing import Any

import pytest

from pulsewright.errors import SettingError
from pulsewright.settings import Settings, layered, parse_setting, setting_names


def test_an_option_counts_before_the_review_and_that_before_the_claims_file() -> None:
    settings = layered(
        option={"min_gap": "1 us", "span": None},
        review={"min_gap": "2 us", "threshold": "20 mV"},
        claims={"min_gap": "3 us", "threshold": "30 mV", "channel": "H03", "span": "0 .. 1 ms"},
    )
    assert settings.min_gap == pytest.approx(1e-6)
    assert settings.threshold == pytest.approx(20e-3)
    assert settings.channel == "H03"
    assert settings.span == pytest.approx((0.0, 1e-3))
    names = ("min_gap", "threshold", "channel", "span", "cycle")
    assert [settings.origin(name) for name in names] == ["option", "review", "claims", "claims", "default"]


def test_every_setting_has_a_value_and_an_origin_in_json() -> None:
    written = layered(option={"records": "2:5"}).as_json()
    assert set(written) == set(setting_names())
    assert written["records"] == {"value": [2, 5], "from": "option"}
    assert written["position"] == {"value": "midpoint", "from": "default"}


def test_cable_delays_are_layered_channel_by_channel() -> None:
    settings = layered(
        option={"delays": ["H03=12 ns"]},
        review={"delays": {"H02": "2 ns", "H03": "3 ns"}},
        claims={"delays": {"H01": "1 ns", "H02": "9 ns"}},
    )
    assert settings.delays == (("H01", 1e-9), ("H02", 2e-9), ("H03", 12e-9))
    told = ["H01", "H02", "H03", "H04"]
    assert [settings.delay_origin(name) for name in told] == ["claims", "review", "option", "default"]
    assert settings.as_json()["delays"] == {
        "value": {"H01": 1e-9, "H02": 2e-9, "H03": 12e-9},
        "from": "option",
        "from_each": {"H01": "claims", "H02": "review", "H03": "option"},
    }
    # what was written can be read again
    assert layered(claims={"delays": settings.as_json()["delays"]["value"]}).delays == settings.delays


def test_every_setting_can_be_set() -> None:
    values: dict[str, Any] = {
        "channel": "H01", "reference": "H02", "channels": "H01,H02", "records": "0:10", "left_out": [3],
        "rejected_pulses": [[2, "H01", 345]],
        "span": "0.1 ms .. 1.2 ms", "reference_pulse": "5 us .. 25 us",
        "alignment_span": "0 .. 1 ms", "position": "centroid", "polarity_rule": "first",
        "threshold": "50 mV", "min_width": "1 us", "min_gap": "2 us", "increment": "-60 us", "cycle": 12, "sent": "24",
        "alignment_method": "sine", "re_arm": "5 us", "asynchronous": True, "clock_ppm": 2.5,
        "delays": {"H03": "12 ns"}, "delay_u": "50 ps", "splitter_u": "20 ps", "scale_percent": "0.5 %",
        "trigger_offset_u": "0.1 ns", "coverage_percent": "99 %",
    }  # fmt: skip
    assert set(values) == set(setting_names())
    settings = layered(claims=values)
    default = Settings()
    assert all(getattr(settings, name) != getattr(default, name) for name in setting_names())
    # what was read can be read again, as a review keeps it
    assert layered(review={name: getattr(settings, name) for name in setting_names()}) == settings


def test_rejected_pulses_are_read_alike_from_tuples_and_from_lists() -> None:
    pulses = [(5, "H02", 7), (2, "H01", 345), (5, "H02", 7)]
    read = parse_setting("rejected_pulses", pulses)
    assert read == ((2, "H01", 345), (5, "H02", 7))
    assert parse_setting("rejected_pulses", [["2", " H01 ", 345], *map(list, pulses)]) == read
    assert parse_setting("rejected_pulses", []) == ()


@pytest.mark.parametrize("wrong", [(True, "H01", 3), (-1, "H01", 3), (1, " ", 3), (1, 2, 3), (1, "H01"), "123"])
def test_one_wrong_pulse_among_right_ones_is_refused(wrong: object) -> None:
    with pytest.raises(SettingError, match="rejected_pulses"):
        parse_setting("rejected_pulses", [(2, "H01", 345), wrong])


@pytest.mark.parametrize(
    ("name", "raw", "value"),
    [
        ("channels", " H01 , H02 ", ("H01", "H02")), ("channels", ["H01"], ("H01",)), ("records", [2, 5], (2, 5)),
        ("left_out", [5, 3, 5], (3, 5)), ("sent", "24", 24), ("cycle", 1, 1), ("increment", "-60 us", -60e-6),
        ("asynchronous", False, False), ("channel", " H01 ", "H01"), ("min_gap", 0, 0.0),
        ("delays", {"H03": "12 ns", "H01": -1e-9}, (("H01", -1e-9), ("H03", 12e-9))),
        ("delays", "H03=12 ns, H 1 = 0", (("H 1", 0.0), ("H03", 12e-9))),
        ("delays", ["H03=12 ns"], (("H03", 12e-9),)), ("delays", [["a=b", 1e-9]], (("a=b", 1e-9),)),
        ("delays", ("a=b=3 ns",), (("a=b", 3e-9),)), ("delays", {}, ()),
        ("delay_u", "50 ps", 50e-12), ("splitter_u", 2e-11, 2e-11), ("trigger_offset_u", "0.1 ns", 1e-10),
        ("scale_percent", "0.5 %", 0.5), ("scale_percent", "0.5%", 0.5), ("scale_percent", 0.5, 0.5),
    ],
)  # fmt: skip
def test_values_that_are_read(name: str, raw: Any, value: Any) -> None:
    assert parse_setting(name, raw) == value


@pytest.mark.parametrize(
    ("name", "raw"),
    [
        ("channel", ""), ("channel", 3), ("channels", []), ("channels", "H01,,H02"), ("channels", 5),
        ("records", "5:5"), ("records", "5:2"), ("records", "5"), ("records", "a:b"), ("records", [-1, 3]),
        ("left_out", "3"), ("left_out", [-3]), ("left_out", [1.5]), ("span", "1 ms"), ("span", [2, 1]),
        ("span", {"from": 1}), ("alignment_span", "2 ms .. 1 ms"), ("position", "middle"), ("position", ["peak"]),
        ("polarity_rule", "last"), ("alignment_method", "guess"), ("threshold", "0 V"), ("threshold", "-1 V"),
        ("threshold", "60 us"), ("min_width", "-1 us"), ("min_gap", "soon"), ("increment", "0 s"), ("cycle", 0),
        ("cycle", True), ("cycle", "1.5"), ("sent", 0), ("sent", -4), ("re_arm", "-1 s"), ("asynchronous", "yes"),
        ("asynchronous", 1), ("clock_ppm", -1), ("clock_ppm", "2 V"), ("clock_ppm", "1e308"), ("delay_u", "-1 ps"),
        ("delay_u", 50), ("splitter_u", "1 V"), ("scale_percent", "-1"), ("scale_percent", "1 V"),
        ("delays", "12 ns"), ("delays", "=12 ns"), ("delays", "H03=12"), ("delays", "H03=12 V"), ("delays", "H03="),
        ("delays", 12e-9), ("delays", ["H03=1 ns", "H03=2 ns"]), ("delays", {"H03": None}), ("delays", [[3, 1e-9]]),
        ("delays", {"H03": "nan"}), ("delays", {"H03": True}),
        ("scale_percent", 101), ("scale_percent", "%"), ("trigger_offset_u", "soon"),
    ],
)  # fmt: skip
def test_values_that_are_refused(name: str, raw: Any) -> None:
    with pytest.raises(SettingError) as caught:
        parse_setting(name, raw)
    assert str(caught.value).startswith(f"{name}: ")
    assert "\n" not in str(caught.value)


def test_the_nearest_name_is_offered() -> None:
    with pytest.raises(SettingError, match="'spam' is not a setting; the nearest one is 'span'"):
        layered(option={"spam": 1})
    with pytest.raises(SettingError, match="the settings are channel, reference,"):
        parse_setting("zzzzz", 1)
