"""What one cell of the honesty table holds, how it is judged and how it is printed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

COVERAGE_LIMITS = (0.93, 0.97)
BIAS_LIMIT = 0.2
BOUND_LIMIT = 1.10
MOST_UNMEASURED = 0.05
"""Inside its region a method may leave this share of the runs without a number: noise carries some over the edge."""


@dataclass(frozen=True)
class Cell:
    """One set of conditions.

    Attributes
    ----------
    kind : str
        ``pulse``, ``correlation``, ``sine``, ``increment``, ``jitter`` or ``period``.
    samples : float
        Samples a pulse (its width at 50 %) or a period of the sine; 0 where none are looked at.
    decibels : float
        Amplitude over noise, 20·log₁₀; for increments the step over the scatter, for jitter the jitter over the
        measurement's own.
    noise : str
        ``white`` or ``band``; for times of triggers ``stamps`` or ``periods``.
    records : int
        Records in a session.
    gain : float
        Amplitude of the second channel over the first's.
    """

    kind: str
    samples: float
    decibels: float
    noise: str
    records: int
    gain: float = 1.0

    @property
    def seed(self) -> list[int]:
        """The declared seed: the cell's own conditions."""
        place = ("pulse", "correlation", "sine", "increment", "jitter", "period").index(self.kind)
        noise = ("white", "band", "stamps", "periods").index(self.noise)
        return [place, round(10 * self.samples), round(10 * self.decibels) + 1000, noise, self.records,
                round(100 * self.gain)]  # fmt: skip

    @property
    def ratio(self) -> float:
        """Amplitude over noise, a plain number."""
        return float(10 ** (self.decibels / 20))


@dataclass(frozen=True)
class Outcome:
    """What the runs of one cell said of one quantity.

    Attributes
    ----------
    quantity : str
    inside : bool
        Whether the cell lies in the declared region.
    runs, measured : int
        All runs, and those that gave a number.
    coverage : float
        Share of the measured whose 95 % interval holds the truth.
    bias : float
        Mean error over the mean u.
    over_bound : float or None
        Root mean square error over the Cramér–Rao bound; None where no bound is known.
    bounded : bool
        Whether `over_bound` is judged and not only shown.
    """

    cell: Cell
    quantity: str
    inside: bool
    runs: int
    measured: int
    coverage: float
    bias: float
    over_bound: float | None
    bounded: bool = False

    def faults(self, slack: float = 0.0) -> list[str]:
        """Return what lies outside the limits, each widened by `slack` standard errors of this number of runs."""
        if not self.inside:
            return []
        if self.measured < (1 - MOST_UNMEASURED) * self.runs:
            return [f"only {self.measured} of {self.runs} measured"]
        found = []
        low, high = COVERAGE_LIMITS
        room = slack * np.sqrt(0.05 * 0.95 / self.measured)
        if not low - room <= self.coverage <= high + room:
            found.append(f"coverage {self.coverage:.3f}")
        if abs(self.bias) > BIAS_LIMIT + slack / np.sqrt(self.measured):
            found.append(f"bias {self.bias:.2f} u")
        limit = BOUND_LIMIT + slack / np.sqrt(2 * self.measured)
        if self.bounded and self.over_bound is not None and self.over_bound > limit:
            found.append(f"{self.over_bound:.2f} times the bound")
        return found


def outcome(
    cell: Cell,
    quantity: str,
    inside: bool,
    runs: int,
    found: tuple[Floats, Floats, Floats, Floats],
    bound: float | None = None,
    bounded: bool = False,
) -> Outcome:
    """Sum the runs up.

    Parameters
    ----------
    cell, quantity, inside, runs
        See `Outcome`.
    found : four arrays (runs,)
        Error, u, and the interval's lower and upper end less the truth; NaN where nothing was measured.
    bound : float, optional
        Cramér–Rao bound of the standard deviation, in the error's unit.
    bounded : bool
        Whether the ratio to it is judged.
    """
    error, u, low, high = found
    known = np.isfinite(error) & np.isfinite(u)
    measured = int(np.count_nonzero(known))
    if measured == 0:
        return Outcome(cell, quantity, inside, runs, 0, np.nan, np.nan, None, bounded)
    error, u, low, high = error[known], u[known], low[known], high[known]
    rms = float(np.sqrt(np.mean(error**2)))
    return Outcome(
        cell,
        quantity,
        inside,
        runs,
        measured,
        float(np.mean((low <= 0) & (high >= 0))),
        float(np.mean(error) / np.mean(u)),
        None if bound is None else rms / bound,
        bounded,
    )


HEADING = (
    f"{'quantity':12} {'samples':>7} {'dB':>5} {'noise':7} {'records':>7} {'gain':>5} {'region':>8} "
    f"{'measured':>8} {'coverage':>8} {'bias/u':>7} {'rms/bound':>9}"
)


def line_of(result: Outcome) -> str:
    """Return one line of the table."""
    cell = result.cell
    head = (
        f"{result.quantity:12} {cell.samples or '-':>7} {cell.decibels:5.0f} {cell.noise:7} {cell.records:7d} "
        f"{cell.gain if cell.kind == 'correlation' else '-':>5} {'inside' if result.inside else 'outside':>8} "
        f"{result.measured / result.runs:8.3f}"
    )
    if result.measured == 0:
        return f"{head} {'-':>8} {'-':>7} {'-':>9}"
    ratio = "-" if result.over_bound is None else f"{result.over_bound:.3f}"
    faults = result.faults()
    mark = f"   <-- {', '.join(faults)}" if faults else ""
    return f"{head} {result.coverage:8.3f} {result.bias:7.2f} {ratio:>9}{mark}"
