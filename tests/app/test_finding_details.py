"""What a finding opens into: how the ends of an interval are written."""

from __future__ import annotations

import math

import pytest

from pulsewright_app.finding_details import interval_in_words


@pytest.mark.parametrize(
    ("low", "high", "unit", "told"),
    [
        (10.118e-6, 10.1195e-6, "s", "10.1180 µs to 10.1195 µs"),
        (-12.25e-9, 3e-9, "s", "−12.25 ns to 3.00 ns"),
        (9.5e-9, 11.5e-9, "s", "9.5 ns to 11.5 ns"),
        (5.0, 7.0, "", "5 to 7"),
        (0.0, 7.27e-9, "s", "0 s to 7.27 ns"),  # two units
        (9.99995e-6, 10.0001e-6, "s", "9.99995 µs to 10.0001 µs"),  # a seventh digit was not rounded to
        (1.5e-30, 2e-30, "s", "1.5e−15 fs to 2e−15 fs"),
        (math.nan, 1.0, "s", "not known to 1 s"),
    ],
)
def test_both_ends_of_an_interval_have_as_many_decimals(low: float, high: float, unit: str, told: str) -> None:
    assert interval_in_words(low, high, unit) == told
