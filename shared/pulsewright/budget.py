"""What an uncertainty is made of: its terms, how they combine, and how many degrees of freedom come out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

Kind = Literal["A", "B"]


@dataclass(frozen=True)
class Term:
    """One independent contribution to the uncertainty of a quantity.

    Parameters
    ----------
    name : str
        What contributes, in a few words.
    u : float
        Standard uncertainty that it contributes, in the quantity's own unit (sensitivity included); not negative.
        A term of 0 says that something was taken as exact.
    kind : str
        ``A``: from the statistics of repeated observations; ``B``: from what a person knows (JCGM 100:2008, 4.2, 4.3).
    dof : float, optional
        Degrees of freedom of `u`; None where they are not limited.
    source : str
        Where it came from: the method and the number of observations, or the setting.
    uniform : bool
        Whether the error is uniform between two limits, rather than about normal.

    Raises
    ------
    ValueError
        If `u` is not finite or negative.

    Attributes
    ----------
    name, u, kind, dof, source, uniform
        As given.
    """

    name: str
    u: float
    kind: Kind
    dof: float | None = None
    source: str = ""
    uniform: bool = False

    def __post_init__(self) -> None:
        if not math.isfinite(self.u) or self.u < 0:
            raise ValueError(f"the term {self.name!r} needs a finite u from 0 up, not {self.u}")

    def scaled(self, factor: float) -> Term:
        """Return this term of a quantity that is multiplied by an exactly known factor.

        Parameters
        ----------
        factor : float
            The factor; its sign does not matter to u.
        """
        return replace(self, u=self.u * abs(factor))


def combined_u(terms: Sequence[Term]) -> float:
    """Return the root of the sum of squares of independent terms (JCGM 100:2008, 5.1.2).

    Parameters
    ----------
    terms : sequence of Term
        Independent terms, all in one unit.

    Returns
    -------
    float
        Standard uncertainty, in the unit of the terms; 0 where there are none.
    """
    return math.hypot(*(term.u for term in terms))


def effective_dof(terms: Sequence[Term]) -> float | None:
    """Return the effective degrees of freedom of independent terms, None where they are not limited.

    ν_eff = u⁴/Σ(uᵢ⁴/νᵢ), the Welch–Satterthwaite formula (JCGM 100:2008, G.4.1, formula G.2b). A term without a limit
    adds nothing to the sum. The result is not rounded down: Student's t is interpolated instead.

    Parameters
    ----------
    terms : sequence of Term
        Independent terms, all in one unit.

    Returns
    -------
    float or None
        Degrees of freedom; None too where the combined u is 0.
    """
    whole = combined_u(terms)
    if whole == 0:
        return None
    # shares of u rather than u itself: the fourth power of a picosecond is far from what a float tells apart well
    total = sum((term.u / whole) ** 4 / term.dof for term in terms if term.dof is not None)
    return 1.0 / total if total > 0 else None
