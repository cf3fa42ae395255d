"""Whether groups differ more between each other than within."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pulsewright_analysis.results import GroupComparison

Floats = NDArray[np.float64]


def compare_groups(groups: Sequence[Floats]) -> GroupComparison | None:
    """Return the one-way analysis of variance of several groups of values.

    Parameters
    ----------
    groups : sequence of array
        Values of one unit, any number to a group; empty groups are passed over.

    Returns
    -------
    GroupComparison or None
        None where there are fewer than two groups, or no value more than groups, or no scatter within them. F is the
        mean square between over that within (NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.3, from memory).
    """
    from scipy.special import fdtrc

    known = [np.asarray(group, dtype=np.float64) for group in groups if len(group)]
    between_dof = len(known) - 1
    within_dof = sum(len(group) for group in known) - len(known)
    if between_dof < 1 or within_dof < 1:
        return None
    middle = float(np.mean(np.concatenate(known)))
    between = sum(len(group) * (float(np.mean(group)) - middle) ** 2 for group in known)
    within = sum(float(np.sum((group - np.mean(group)) ** 2)) for group in known)
    if within <= 0:
        return None
    f = (between / between_dof) / (within / within_dof)
    return GroupComparison(f, between_dof, within_dof, float(fdtrc(between_dof, within_dof, f)))
