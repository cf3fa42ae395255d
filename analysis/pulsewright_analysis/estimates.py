"""A measured quantity against a limit: its interval at any coverage, its probability of conformity."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pulsewright.quantity import Quantity, coverage_factor
from pulsewright_analysis.intervals import coverage_factor_with_uniform, probability_below
from pulsewright_analysis.verdicts import Decision


@dataclass(frozen=True)
class Estimate:
    """One quantity that a claim is about.

    Attributes
    ----------
    quantity : Quantity
    what : str
        What it is of: a channel, a pair of modules, a pulse; empty where there is only one.
    budget : str
        Its name in `budgets.budget_of`; empty for none.
    count : int
        Records that it is averaged over; 0 where more of them do not make it better known.
    own : float or None
        For a scatter, the standard deviation that the measurement itself added and that was subtracted; None where
        the quantity is no scatter.
    records : tuple of int
        The records that it comes from, where these are few.
    """

    quantity: Quantity
    what: str = ""
    budget: str = ""
    count: int = 0
    own: float | None = None
    records: tuple[int, ...] = ()

    @property
    def uniform_u(self) -> float:
        """Standard uncertainty of the one uniform term, 0 where there is none or more than one."""
        uniform = [term.u for term in self.quantity.terms if term.uniform and term.u > 0]
        return uniform[0] if len(uniform) == 1 else 0.0

    @property
    def scatter_dof(self) -> float | None:
        """Degrees of freedom of a scatter, None where the quantity is none."""
        return None if self.own is None else self._own_dof

    @property
    def _own_dof(self) -> float:
        """The scatter's own degrees of freedom, before a Type B term made the combined ones more."""
        first = next((term.dof for term in self.quantity.terms if term.dof is not None), self.quantity.dof)
        return float(first or 1.0)

    @property
    def observed_variance(self) -> float:
        """For a scatter, the variance seen, what the measurement added included; from its interval's upper end.

        The value itself will not do: it is 0 where the measurement alone explains what was seen.
        """
        from scipy.special import chdtri

        high, dof = self.quantity.interval95[1], self._own_dof
        return (high**2 + (self.own or 0.0) ** 2) * float(chdtri(dof, 0.975)) / dof

    def interval(self, coverage: float) -> tuple[float, float]:
        """Return the interval with this coverage: of Student's t, of a uniform and a normal error, or of χ².

        Parameters
        ----------
        coverage : float
            Of the interval, 0 to 1.

        Returns
        -------
        (float, float)
            Lower and upper end, in the quantity's unit.
        """
        quantity = self.quantity
        if self.own is not None:
            return self._scatter_interval(coverage)
        factor = coverage_factor(quantity.dof, coverage)
        if self.uniform_u > 0:
            student = factor / coverage_factor(None, coverage)
            factor = student * coverage_factor_with_uniform(quantity.u, self.uniform_u, coverage)
        return (quantity.value - factor * quantity.u, quantity.value + factor * quantity.u)

    def _scatter_interval(self, coverage: float) -> tuple[float, float]:
        from scipy.special import chdtri

        dof, tail, own = self._own_dof, (1 - coverage) / 2, self.own or 0.0
        ends = [self.observed_variance * dof / float(chdtri(dof, share)) for share in (tail, 1 - tail)]
        low, high = (math.sqrt(max(end - own**2, 0.0)) for end in ends)
        return (low, high)

    def conformity(self, low: float | None, high: float | None) -> float:
        """Return the probability that the true value lies between the limits (JCGM 106:2012, 7.2 and 7.3).

        Parameters
        ----------
        low, high : float or None
            The limits, in the quantity's unit; None: open on that side.

        Returns
        -------
        float
            0 to 1.
        """
        above = 1.0 if high is None else self._below(high)
        return min(max(above - (0.0 if low is None else self._below(low)), 0.0), 1.0)

    def _below(self, limit: float) -> float:
        from scipy.special import chdtrc, stdtr

        quantity = self.quantity
        if self.own is not None:
            if limit <= 0:
                return 0.0
            return float(chdtrc(self._own_dof, self.observed_variance * self._own_dof / (limit**2 + self.own**2)))
        if quantity.u == 0:
            return float(quantity.value <= limit)
        if self.uniform_u > 0 or quantity.dof is None:
            return probability_below(limit - quantity.value, quantity.u, self.uniform_u)
        return float(stdtr(max(quantity.dof, 1.0), (limit - quantity.value) / quantity.u))

    def against(self, low: float | None, high: float | None, coverage: float) -> Decision:
        """Return whether the interval lies inside the limits, outside, or across one (JCGM 106:2012, clause 8).

        With one limit only its own side counts.

        Parameters
        ----------
        low, high : float or None
            The limits, in the quantity's unit; None: open on that side.
        coverage : float
            Of the interval, 0 to 1.

        Returns
        -------
        str
            ``holds``, ``fails`` or ``undecided``.
        """
        left, right = self.interval(coverage)
        if (high is not None and left > high) or (low is not None and right < low):
            return "fails"
        inside = (high is None or right <= high) and (low is None or left >= low)
        return "holds" if inside else "undecided"

    def excess(self, low: float | None, high: float | None, coverage: float) -> float:
        """Return how far the interval reaches beyond the limits; negative where it stays within them.

        Parameters
        ----------
        low, high : float or None
            The limits, in the quantity's unit; None: open on that side.
        coverage : float
            Of the interval, 0 to 1.

        Returns
        -------
        float
            In the quantity's unit; −∞ without a limit.
        """
        left, right = self.interval(coverage)
        beyond = [right - high] if high is not None else []
        beyond += [low - left] if low is not None else []
        return max(beyond, default=-math.inf)

    def margin(self, low: float | None, high: float | None) -> float:
        """Return how far the value is from the limit that it is nearest to or furthest beyond.

        Parameters
        ----------
        low, high : float or None
            The limits, in the quantity's unit; None: open on that side.

        Returns
        -------
        float
            In the quantity's unit, without sign; ∞ without a limit.
        """
        value = self.quantity.value
        beyond = [value - high] if high is not None else []
        beyond += [low - value] if low is not None else []
        return abs(max(beyond, default=-math.inf))
