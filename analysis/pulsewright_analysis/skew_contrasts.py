"""Delays of many channels in many records combined: means of differences, their covariance, their drift."""

from __future__ import annotations

from collections.abc import Sequence as SequenceOf
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pulsewright.budget import Term
from pulsewright.long_columns import blocks_of
from pulsewright.quantity import Quantity, coverage_factor
from pulsewright_analysis.intervals import with_uniform_term
from pulsewright_analysis.lines import correlated_u, fit_line
from pulsewright_analysis.type_b import ComparisonErrors

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BEYOND_CHANCE = 0.9
"""The scatter over records is quoted where it is above this quantile of what theory allows."""
FAR_OUT = 8.0
"""A record's delay further than this many standard deviations from the median takes no part."""
FEWEST_FOR_DRIFT = 8


@dataclass(frozen=True)
class ComparedDelays:
    """Delays of all channels in all usable records, with what is needed to combine them.

    `delay` (records, channels) seconds, `variance` (channels,) of one record's own share, `lasting` the errors that no
    averaging takes away.

    Attributes
    ----------
    channels : tuple of int
        Places of the channels in the session.
    modules : int array (channels,)
        Module of each channel.
    reference : int
        Place of the reference within `channels`.
    records : int array (records,)
        Numbers of the records, rising.
    delay : array (records, channels)
        Seconds against the reference, NaN where it is not known.
    variance : array (channels,)
        Each channel's own share of the variance of one record's delay, seconds squared.
    lasting : ComparisonErrors
    """

    channels: tuple[int, ...]
    modules: Ints
    reference: int
    records: Ints
    delay: Floats
    variance: Floats
    lasting: ComparisonErrors


def covariance_of(comparison: ComparedDelays) -> Floats:
    """Return the covariance of the skews that the noise leaves: each one's own, and the reference's in all of them.

    Parameters
    ----------
    comparison : ComparedDelays

    Returns
    -------
    array (channels, channels)
        Seconds squared, NaN for a channel that was not measured.
    """
    size, reference = comparison.delay.shape[1], comparison.reference
    # two skews share the reference's noise in the records that both rest on
    together = np.zeros((size, size))
    for some in blocks_of(len(comparison.delay)):
        known = np.isfinite(comparison.delay[some]).astype(float)
        together += known.T @ known  # whole numbers: the sum is exact
    measured = np.diag(together).astype(np.int64)
    counts = np.maximum(measured, 1)
    shared = comparison.variance[reference] * together / np.outer(counts, counts)
    covariance: Floats = shared + np.diag(comparison.variance / counts)
    covariance[reference, :] = 0.0
    covariance[:, reference] = 0.0
    unmeasured = measured == 0
    covariance[np.ix_(unmeasured, np.ones(size, dtype=bool))] = np.nan
    covariance[np.ix_(np.ones(size, dtype=bool), unmeasured)] = np.nan
    return covariance


def contrast(comparison: ComparedDelays, selector: Floats) -> Quantity | None:
    """Return the mean of Σ selector·time over the records in which all selected channels are known.

    u from theory (the channels' own variances; the reference's noise is counted once) and u from the scatter over
    records are both worked out. The scatter is quoted, with its degrees of freedom, where it is larger than chance
    allows; always to quote the larger of the two would cover 98 % of eight records instead of 95 %.

    Parameters
    ----------
    comparison : ComparedDelays
    selector : array (channels,)
        Factor of each channel's time, 0 for a channel that takes no part.

    Returns
    -------
    Quantity or None
        Seconds; None where no record has all selected channels.
    """
    chosen = np.flatnonzero(selector)
    values = comparison.delay[:, chosen] @ selector[chosen]
    values = values[np.isfinite(values)]
    if len(values) == 0:
        return None
    one_record = float(selector[chosen] ** 2 @ comparison.variance[chosen])
    middle = float(np.median(values))
    spread = max(1.4826 * float(np.median(np.abs(values - middle))), np.sqrt(one_record))
    values = values[np.abs(values - middle) <= FAR_OUT * spread]
    count = len(values)
    theory = np.sqrt(one_record / count)
    scatter = float(np.std(values, ddof=1)) / np.sqrt(count) if count > 1 else 0.0
    scattered = count > 1 and scatter > theory * np.sqrt(_quantile(count - 1) / (count - 1))
    mean = float(np.mean(values))
    own = Term(
        "noise of the channels", float(theory), "A", None, f"{count} records, from the noise and the signal's slope"
    )
    if scattered:
        own = Term("scatter over records", scatter, "A", float(count - 1), f"{count} records, wider than their noise")
    return with_uniform_term(Quantity.from_terms(mean, "s", (own, *comparison.lasting.terms(selector, mean))))


def _quantile(dof: int) -> float:
    """Return the `BEYOND_CHANCE` quantile of χ² with `dof` degrees of freedom."""
    from scipy.special import chdtri

    return float(chdtri(dof, 1 - BEYOND_CHANCE))


def largest_of(quantities: SequenceOf[Quantity]) -> Quantity | None:
    """Return the largest in size, turned positive, with an interval that holds for all of them together.

    The largest of many differences stands out by chance: each is given the share 0.05/n of being outside
    (Bonferroni's inequality), so that the 95 % holds for whichever is the largest.

    Parameters
    ----------
    quantities : sequence of Quantity
        Differences of one unit, of either sign.

    Returns
    -------
    Quantity or None
        In their unit; None where there are none.
    """
    largest = max(quantities, key=lambda q: abs(q.value), default=None)
    if largest is None:
        return None
    half = coverage_factor(largest.dof, 1 - 0.05 / len(quantities)) * largest.u
    value = abs(largest.value)
    return replace(largest, value=value, limits95=(value - half, value + half))


def drift_of(comparison: ComparedDelays, selector: Floats) -> Quantity | None:
    """Return how Σ selector·time changes from record to record.

    Parameters
    ----------
    comparison : ComparedDelays
    selector : array (channels,)
        See `contrast`.

    Returns
    -------
    Quantity or None
        Seconds a record; None where fewer than 8 records have all selected channels.
    """
    chosen = np.flatnonzero(selector)
    values = comparison.delay[:, chosen] @ selector[chosen]
    known = np.isfinite(values)
    if np.count_nonzero(known) < FEWEST_FOR_DRIFT:
        return None
    records = comparison.records[known].astype(float)
    line = fit_line(records, values[known])
    spread = correlated_u(records, line)
    return Quantity(line.slope, spread.slope_u, "s", spread.dof)
