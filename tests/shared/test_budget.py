"""Terms of a budget: how they combine, and how many degrees of freedom come out."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pulsewright.budget import Term, combined_u, effective_dof
from pulsewright.quantity import Quantity, coverage_factor


def test_three_inputs_observed_ten_five_and_fifteen_times() -> None:
    """Source: JCGM 100:2008, G.4.1, the example: 0.25 %, 0.57 %, 0.82 % give 1.03 % and ν_eff = 19.0 (from memory,
    recomputed by hand: 1.0598²/(0.25⁴/9 + 0.57⁴/4 + 0.82⁴/14) = 1.1232/0.05912 = 19.0).
    """
    terms = [Term("x1", 0.25, "A", 9), Term("x2", 0.57, "A", 4), Term("x3", 0.82, "A", 14)]
    assert combined_u(terms) == pytest.approx(1.03, abs=5e-3)
    assert effective_dof(terms) == pytest.approx(19.0, abs=0.05)


def test_limits_of_the_formula() -> None:
    """Source: algebra on JCGM 100:2008, formula G.2b."""
    one = Term("a", 3e-12, "A", 7)
    assert effective_dof([one]) == pytest.approx(7)
    assert effective_dof([one, one]) == pytest.approx(14)
    assert effective_dof([one, Term("b", 3e-12, "B")]) == pytest.approx(28)
    assert effective_dof([Term("b", 1.0, "B"), Term("c", 2.0, "B")]) is None
    assert effective_dof([Term("a", 0.0, "A", 5), Term("b", 1.0, "B")]) is None
    assert effective_dof([Term("a", 0.0, "A", 5)]) is None
    assert combined_u([]) == 0.0


@pytest.mark.parametrize("ratio", [0.3, 1.0, 3.0])
@pytest.mark.parametrize("count", [4, 8])
def test_coverage_of_a_mean_with_a_known_part(count: int, ratio: float) -> None:
    """A mean of `count` normal readings plus one normal error of `ratio` times the mean's u, 40,000 times.

    Coverage of value ± t(ν_eff)·u is between 93 % and 97 %; with the normal factor instead, a small known part would
    leave it visibly below: the formula is needed.
    """
    rng = np.random.default_rng(20)
    readings = rng.standard_normal((40_000, count))
    known_u = ratio / math.sqrt(count)
    error = np.mean(readings, axis=1) + known_u * rng.standard_normal(40_000)
    own = np.std(readings, axis=1, ddof=1) / math.sqrt(count)
    inside, inside_normal = 0, 0
    for value, u in zip(error, own, strict=True):
        terms = [Term("mean", float(u), "A", count - 1), Term("known", known_u, "B")]
        dof = effective_dof(terms)
        assert dof is not None
        inside += abs(value) <= _factor(dof) * combined_u(terms)
        inside_normal += abs(value) <= 1.96 * combined_u(terms)
    assert 0.93 < inside / 40_000 < 0.97
    if ratio < 1:
        assert inside_normal / 40_000 < 0.93


_GRID = np.geomspace(1.0, 1e6, 2000)
_FACTORS = np.array([coverage_factor(float(dof)) for dof in _GRID])


def _factor(dof: float) -> float:
    """Return Student's factor from a fine grid: 240,000 calls of the exact one would take long."""
    return float(np.interp(math.log(dof), np.log(_GRID), _FACTORS))


def test_a_quantity_has_the_u_and_the_degrees_of_freedom_of_its_terms() -> None:
    terms = (Term("a", 3.0, "A", 5), Term("b", 4.0, "B"))
    quantity = Quantity.from_terms(10.0, "V", terms)
    assert (quantity.u, quantity.terms) == (5.0, terms)
    assert quantity.dof == pytest.approx(5 * (5 / 3) ** 4)
    half = coverage_factor(quantity.dof) * 5.0
    assert quantity.interval95 == pytest.approx((10 - half, 10 + half))


def test_a_budget_changes_neither_equality_nor_json() -> None:
    plain, with_budget = Quantity(1.0, 2.0, "s", 3), Quantity(1.0, 2.0, "s", 3, None, (Term("a", 2.0, "A", 3),))
    assert plain == with_budget
    assert plain.as_json() == with_budget.as_json()
    assert set(with_budget.as_json()) == {"value", "u", "unit", "dof", "interval95"}


def test_a_multiple_keeps_its_budget() -> None:
    quantity = Quantity.from_terms(2.0, "s", (Term("a", 3.0, "A", 5), Term("b", 4.0, "B"))).scaled(-2.0)
    assert [term.u for term in quantity.terms] == [6.0, 8.0]
    assert quantity.u == 10.0


def test_widening_adds_terms() -> None:
    quantity = Quantity(1.0, 3.0, "s", 8).widened(Term("b", 4.0, "B"))
    assert quantity.u == 5.0
    assert [(term.u, term.kind, term.dof) for term in quantity.terms] == [(3.0, "A", 8), (4.0, "B", None)]
    assert quantity.dof == pytest.approx(8 * (5 / 3) ** 4)


def test_widening_by_nothing_keeps_the_numbers() -> None:
    lopsided = Quantity(2.0, 0.5, "s", 8, (1.5, 4.0))
    widened = lopsided.widened(Term("b", 0.0, "B"))
    assert widened == lopsided
    assert [term.name for term in widened.terms] == ["measured", "b"]


def test_widening_keeps_the_form_of_a_given_interval() -> None:
    widened = Quantity(2.0, 0.5, "s", 8, (1.5, 4.0)).widened(Term("b", 0.3, "B"))
    half = 0.3 * coverage_factor(None)
    assert widened.interval95 == pytest.approx((2 - math.hypot(0.5, half), 2 + math.hypot(2.0, half)))
    assert Quantity(2.0, 0.5, "s", 8, (1.5, 4.0)).widened(Term("b", 5.0, "B")).interval95[0] == 0.0


@pytest.mark.parametrize("u", [-1.0, math.nan, math.inf])
def test_a_term_needs_a_finite_u(u: float) -> None:
    with pytest.raises(ValueError, match="needs a finite u"):
        Term("a", u, "A")
