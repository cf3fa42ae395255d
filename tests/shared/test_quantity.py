"""Quantities: intervals, printing with U to two digits, and reading what a person writes."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Any

import pytest

from pulsewright.errors import SettingError
from pulsewright.quantity import (
    Quantity,
    coverage_factor,
    engineering,
    exact,
    parse_number,
    parse_span,
    parse_with_unit,
    with_uncertainty,
)


@pytest.mark.parametrize(
    ("dof", "factor"), [(1, 12.71), (2, 4.30), (5, 2.57), (9, 2.26), (10, 2.23), (20, 2.09), (50, 2.01), (None, 1.96)]
)
def test_coverage_factors(dof: float | None, factor: float) -> None:
    # JCGM 100:2008, table G.2, column 95 %
    assert coverage_factor(dof) == pytest.approx(factor, abs=0.005)


@pytest.mark.parametrize(
    ("value", "expanded", "unit", "text"),
    [
        # JCGM 100:2008, 7.2.4: m = (100,021 47 ± 0,000 79) g
        (100.02147, 0.00079, "g", "100.02147 ± 0.00079 g"),
        # JCGM 100:2008, 7.2.6: 10,057 62 Ω with 27 mΩ is rounded to 10,058 Ω
        (10.05762, 0.027, "Ω", "10.058 ± 0.027 Ω"),
        # what follows has no source: it is our own rule, worked out by hand
        (10.6123e-9, 0.4178e-9, "s", "10.61 ± 0.42 ns"),
        (-10.6123e-9, 0.4178e-9, "s", "−10.61 ± 0.42 ns"),
        (1.2e-9, 4.4e-9, "s", "1.2 ± 4.4 ns"),
        (0.0, 4.4e-9, "s", "0.0 ± 4.4 ns"),
        (-1e-12, 4.4e-9, "s", "0.0 ± 4.4 ns"),
        (60e-6, 0.0123e-6, "s", "60.000 ± 0.012 µs"),
        (25e6, 12.4e3, "Hz", "25.000 ± 0.012 MHz"),
        (1482.4, 1234.0, "m/s", "1.5 ± 1.2 km/s"),
        (0.5, 0.123, "", "0.50 ± 0.12"),
    ],
)
def test_u_has_two_digits_and_the_value_ends_where_it_does(value: float, expanded: float, unit: str, text: str) -> None:
    assert with_uncertainty(value, expanded, unit) == text


@pytest.mark.parametrize(
    ("expanded", "text"),
    [(0.996e-9, "123.5 ± 1.0 ns"), (9.96e-9, "123 ± 10 ns"), (99.6e-9, "120 ± 100 ns"), (0.994e-9, "123.46 ± 0.99 ns")],
)
def test_u_that_rounds_up_to_another_digit_keeps_two(expanded: float, text: str) -> None:
    assert with_uncertainty(123.4567e-9, expanded, "s") == text


def test_the_interval_is_students() -> None:
    # JCGM 100:2008, 7.2.4: u = 0,35 mg and ν = 9 give U = 0,79 mg
    mass = Quantity(100.02147, 0.35e-3, "g", dof=9)
    assert mass.expanded == pytest.approx(0.79e-3, abs=0.005e-3)
    low, high = mass.interval95
    assert (low + high) / 2 == pytest.approx(mass.value)
    assert str(mass) == "100.02147 ± 0.00079 g"


def test_scaling_turns_limits_round() -> None:
    scatter = Quantity(2.0, 0.5, "s", 4, (1.5, 4.0)).scaled(-2.0)
    assert (scatter.value, scatter.u, scatter.interval95) == (-4.0, 1.0, (-8.0, -3.0))


@pytest.mark.parametrize(("value", "u"), [(math.nan, 1.0), (1.0, math.inf), (1.0, -1.0)])
def test_no_quantity_without_numbers(value: float, u: float) -> None:
    with pytest.raises(ValueError, match="a quantity needs"):
        Quantity(value, u)


def test_json_form() -> None:
    assert Quantity(2.0, 0.5, "s", 4, (1.0, 3.0)).as_json() == {
        "value": 2.0, "u": 0.5, "unit": "s", "dof": 4, "interval95": [1.0, 3.0],
    }  # fmt: skip


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (409.6e-6, "s", "409.6 µs"),
        (25e6, "Hz", "25 MHz"),
        (0.0, "V", "0 V"),
        (math.nan, "s", "not known"),
        (-0.5, "V", "\N{MINUS SIGN}500 mV"),
        (-1e-20, "s", "\N{MINUS SIGN}1e\N{MINUS SIGN}05 fs"),
        (-0.0, "V", "0 V"),
    ],
)
def test_engineering(value: float, unit: str, text: str) -> None:
    assert engineering(value, unit) == text


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("60 us", "s", 60e-6), ("60us", "s", 60e-6), ("60 µs", "s", 60e-6), ("60e-6", "s", 60e-6), (60e-6, "s", 60e-6),
        ("-2.5 ns", "s", -2.5e-9), ("1.024 ms", "s", 1.024e-3), ("25 MHz", "Hz", 25e6), ("25 MS/s", "Hz", 25e6),
        ("500 mV", "V", 0.5), ("0", "s", 0.0), ("3", "", 3.0), ("\N{MINUS SIGN}2.5 ns", "s", -2.5e-9),
        ("\N{MINUS SIGN}2.5e\N{MINUS SIGN}3", "", -2.5e-3), ("\N{MINUS SIGN}3 ks", "s", -3000.0),
    ],
)  # fmt: skip
def test_numbers_as_people_write_them(text: str | float, unit: str, value: float) -> None:
    assert parse_number(text, unit) == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize("text", ["", "soon", "60 V", "60 us us", "nan", "inf", "1e999", "--3", None, [1], True])
def test_what_is_no_number_is_refused(text: Any) -> None:
    with pytest.raises(SettingError) as caught:
        parse_number(text, "s", "min_gap")
    assert str(caught.value).startswith("min_gap: ")
    assert '"60 us"' in str(caught.value)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("1.024 ms", "s", Fraction(1024, 1_000_000)), ("25 MS/s", "Hz", Fraction(25_000_000)),
        (0.1, "s", Fraction(1, 10)), (Fraction(1, 3), "s", Fraction(1, 3)), ("40 ns", "s", Fraction(40, 10**9)),
        ("\N{MINUS SIGN}40 ns", "s", Fraction(-40, 10**9)),
    ],
)  # fmt: skip
def test_exact_numbers_are_those_written(text: Any, unit: str, value: Fraction) -> None:
    assert exact(text, unit) == value


def test_a_span() -> None:
    assert parse_span("0.1 ms .. 1.2 ms") == pytest.approx((0.1e-3, 1.2e-3))
    assert parse_span("-10us..10us") == pytest.approx((-10e-6, 10e-6))
    assert parse_span("\N{MINUS SIGN}10 µs .. \N{MINUS SIGN}1 µs") == pytest.approx((-10e-6, -1e-6))


@pytest.mark.parametrize("value", [-1.0, -2.5e-9, -0.04])
def test_what_is_written_can_be_read_again(value: float) -> None:
    assert parse_number(engineering(value, "s", 6), "s") == pytest.approx(value, rel=1e-12)
    assert parse_with_unit(engineering(value, "V", 6), ["V"]) == (pytest.approx(value, rel=1e-12), "V")


@pytest.mark.parametrize("text", ["0.1 ms", "1 ms .. 1 ms", "2 ms .. 1 ms", "a .. b", "1 .. 2 .. 3", "1 V .. 2 V"])
def test_what_is_no_span_is_refused(text: str) -> None:
    with pytest.raises(SettingError, match=r"^span: "):
        parse_span(text)


@pytest.mark.parametrize(("text", "value"), [("0.4 Pa", 0.4), ("400 mPa", 0.4), ("2e-3 kPa", 2.0), ("3", 3.0)])
def test_a_unit_that_begins_like_a_prefix_is_still_the_unit(text: str, value: float) -> None:
    """Pascal (SI Brochure, 9th edition, table 4), not peta-something."""
    assert parse_number(text, "Pa") == value


def test_a_foreign_unit_stays_foreign_beside_pascal() -> None:
    with pytest.raises(SettingError, match="not in Pa"):
        parse_number("0.4 V", "Pa")


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("5 m", "m", 5.0), ("5 mm", "m", 5e-3), ("5 K", "K", 5.0), ("5 mK", "K", 5e-3), ("5 T", "T", 5.0),
        ("5 um/s", "m/s", 5e-6), ("0.2 G", "G", 0.2),
    ],
)  # fmt: skip
def test_a_unit_that_is_written_like_a_prefix_is_the_unit(text: str, unit: str, value: float) -> None:
    """Metre, kelvin and tesla (SI Brochure, 9th edition, tables 2 and 4) are no milli, kilo and tera of nothing."""
    assert parse_number(text, unit) == value


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("5 psi", (5.0, "psi")), ("5 m", (5.0, "m")), ("200 mV", (0.2, "V")), ("5 kPa", (5e3, "Pa")),
        ("5 mpsi", (5e-3, "psi")), ("5 pints", (5.0, "pints")), ("5", (5.0, "")), ("2 m/s2", (2.0, "m/s2")),
    ],
)  # fmt: skip
def test_a_unit_that_is_not_known_beforehand(text: str, expected: tuple[float, str]) -> None:
    assert parse_with_unit(text, ("V", "Pa", "psi", "m")) == expected


@pytest.mark.parametrize("text", ["", "V", "5 V 6", "5,000 V", "1e999 V", "nan V", "5 .3"])
def test_what_is_no_number_with_a_unit_is_refused(text: str) -> None:
    with pytest.raises(SettingError, match=r"^limit: .* is not a number with a unit"):
        parse_with_unit(text, ("V",), "limit")


def test_a_pure_number_takes_no_unit() -> None:
    with pytest.raises(SettingError, match=r"^coverage: '95 V' is in V, and takes no unit"):
        parse_number("95 V", "", "coverage")
