"""The readable page of one uncertainty budget: its terms one by one, and what they come to."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pulsewright.quantity import Quantity, engineering
from pulsewright_app.printing import columns
from pulsewright_app.wording import capitalised, degrees, shown

if TYPE_CHECKING:
    from rich.console import Console

    from pulsewright_analysis.budgets import Budget

KINDS = "Type A: from repeated observations; B: from what is known otherwise (JCGM 100:2008, 4.2 and 4.3)."


def print_budget(budget: Budget, out: Console) -> None:
    """Print what the quantity is, each term of its u, and the combined u with its 95 % interval."""
    quantity = budget.quantity
    out.print(f"{capitalised(budget.meaning)}: {shown(quantity)}", style="bold")
    out.print()
    if not budget.terms:
        out.print("Exact by definition: no term contributes to its uncertainty.")
        return
    rows = [
        (
            term.name,
            _u(term.u, quantity),
            term.kind,
            degrees(term.dof),
            f"{100 * budget.share(term):.1f} %",
            term.source,
        )
        for term in budget.terms
    ]
    combined = ("combined", _u(quantity.u, quantity), "", degrees(quantity.dof), "", _expanded(quantity))
    headings = ("Term", "u", "Type", "dof", "Share of u²", "From")
    out.print(columns(headings, [*rows, combined], right=(1, 3, 4)))
    out.print()
    out.print(f"{KINDS} dof: degrees of freedom, ∞ where not limited.")


def _u(u: float, quantity: Quantity) -> str:
    return engineering(u, quantity.unit, 3)


def _expanded(quantity: Quantity) -> str:
    """Return U, half of the 95 % interval, and how many u it is."""
    if quantity.u == 0:
        return "exact with these settings"
    return f"U (95 %) = {quantity.expanded / quantity.u:.3g}·u = {_u(quantity.expanded, quantity)}"
