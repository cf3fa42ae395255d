"""Record lengths and dead times, against facts of the trade and against integer arithmetic."""

from __future__ import annotations

from fractions import Fraction

import pytest

from pulsewright.errors import SettingError
from pulsewright.quantity import exact, parse_number
from pulsewright_analysis.planning import longest_record, plan


def test_25600_samples_at_25_megasamples_last_1_024_milliseconds() -> None:
    # common practice, no source
    result = plan("25 MS/s", "1.024 ms", 25_600)
    assert result.record_duration_s == 1.024e-3
    assert result.dead_time_s == 0
    assert result.dead_time_samples == 0
    assert result.longest_record_samples == 25_600
    assert result.keeps_one_trigger_in == 1


def test_cutting_the_record_to_25000_samples_leaves_600_samples_or_24_microseconds() -> None:
    # common practice, no source
    result = plan("25 MS/s", "1.024 ms", 25_000)
    assert result.dead_time_samples == 600
    assert result.dead_time_s == 24e-6
    assert result.re_arm_margin_s == 24e-6


def test_a_record_that_reaches_past_the_next_trigger_keeps_one_trigger_in_two() -> None:
    # (N·Ts + R)/T = 1024 µs + 1 µs over 1024 µs, rounded up
    result = plan("25 MS/s", "1.024 ms", 25_600, re_arm="1 us")
    assert result.keeps_one_trigger_in == 2
    assert result.longest_record_samples == 25_575
    assert result.re_arm_margin_s == -1e-6


def test_three_and_a_bit_periods_keep_one_trigger_in_four() -> None:
    assert plan(1e6, "100 us", 301).keeps_one_trigger_in == 4
    assert plan(1e6, "100 us", 300).keeps_one_trigger_in == 3


def test_the_pre_trigger_lengthens_the_wait_and_not_the_dead_time() -> None:
    with_part_before = plan("1 MS/s", "1 ms", 800, pre_trigger=100)
    assert with_part_before.wait_s == 300e-6
    assert with_part_before.dead_time_s == 200e-6
    assert plan("1 MS/s", "1 ms", 800).wait_s == 200e-6


def test_without_a_length_the_longest_record_is_planned() -> None:
    result = plan("25 MS/s", "1.024 ms", re_arm="24 us")
    assert result.record_length == result.longest_record_samples == 25_000
    assert result.re_arm_margin_s == 0


def test_an_asynchronous_trigger_costs_one_sample() -> None:
    assert longest_record("1.024 ms", 0, "25 MS/s", asynchronous=True) == 25_599
    assert longest_record("1.024 ms", 0, "25 MS/s") == 25_600


def test_every_whole_number_of_samples_is_found_whole() -> None:
    # integers: samples = µs × MS/s, with nothing to round
    for megasamples in (3, 25, 40, 250):
        for microseconds in range(1, 2000, 7):
            whole = microseconds * megasamples
            assert longest_record(f"{microseconds} us", 0, f"{megasamples} MS/s") == whole
            assert longest_record(f"{microseconds / 1000} ms", "0 s", f"{megasamples} MHz") == whole


def test_a_measured_period_is_not_robbed_of_a_sample_by_binary_rounding() -> None:
    measured = 1.0 + 0.001024 - 1.0
    assert measured < 0.001024
    assert longest_record(measured, 0.0, 25e6) == 25_600
    assert longest_record(0.001024 - 0.01 / 25e6, 0.0, 25e6) == 25_599


def test_a_re_arm_time_longer_than_the_period_leaves_no_record() -> None:
    assert longest_record("1 ms", "2 ms", "1 MHz") == 0
    with pytest.raises(SettingError, match="no record fits"):
        plan("1 MHz", "1 ms", re_arm="2 ms")


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("25 MS/s", "Hz", Fraction(25_000_000)),
        ("62.5 MSa/s", "Hz", Fraction(62_500_000)),
        ("3 Msamples/s", "Hz", Fraction(3_000_000)),
        ("44.1 kHz", "Hz", Fraction(44_100)),
        ("25e6", "Hz", Fraction(25_000_000)),
        ("1.024 ms", "s", Fraction(1024, 10**6)),
        ("1.1 us", "s", Fraction(11, 10**7)),
        ("1.1 µs", "s", Fraction(11, 10**7)),
        ("0.1", "s", Fraction(1, 10)),
        ("-3ns", "s", Fraction(-3, 10**9)),
        ("0.333333333333333333333 s", "s", Fraction(333333333333333333333, 10**21)),
        (0.1, "s", Fraction(1, 10)),
        (25, "Hz", Fraction(25)),
    ],
)
def test_numbers_are_read_exactly_as_written(text: str | float, unit: str, value: Fraction) -> None:
    assert exact(text, unit) == value
    assert float(value) == pytest.approx(parse_number(text, unit), rel=1e-15)


@pytest.mark.parametrize("text", ["", "fast", "3 m/s", "nan", "inf", "25 V"])
def test_what_is_no_rate_is_refused_in_one_sentence(text: str) -> None:
    with pytest.raises(SettingError) as caught:
        exact(text, "Hz", "sample rate")
    assert caught.value.sentence.startswith("sample rate: ")
    assert "\n" not in caught.value.sentence


@pytest.mark.parametrize(
    ("rate", "period", "more", "named"),
    [
        ("0 Hz", "1 ms", {}, "sample rate"),
        ("1 MHz", "-1 ms", {}, "trigger period"),
        ("1 MHz", "1 ms", {"re_arm": "-1 us"}, "re-arm time"),
        ("1 MHz", "1 ms", {"record_length": 0}, "record length"),
        ("1 MHz", "1 ms", {"record_length": 10, "pre_trigger": 11}, "pre-trigger"),
        ("1 MHz", "1 ms", {"pre_trigger": -1}, "pre-trigger"),
    ],
)
def test_values_without_a_meaning_are_named(rate: str, period: str, more: dict[str, int], named: str) -> None:
    with pytest.raises(SettingError, match=named):
        plan(rate, period, **more)  # type: ignore[arg-type]
