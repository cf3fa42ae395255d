"""Polarities that follow a pattern, and what is missing in it."""

import numpy as np
import pytest

from pulsewright_analysis.polarity_pattern import find_pattern, pattern_counts
from pulsewright_analysis.witnesses import UNKNOWN

PATTERNS = [(1, 1, -1, -1), (1, -1, -1), (1, 1, 1, -1, -1)]


def signs(triggers, pattern):
    """Return the sign of each trigger."""
    return np.array([pattern[k % len(pattern)] for k in triggers])


def rotations(pattern):
    """Return all patterns that are the same from another place on."""
    return {pattern[k:] + pattern[:k] for k in range(len(pattern))}


@pytest.mark.parametrize("pattern", [(1,), (-1,), (1, -1), *PATTERNS])
def test_pattern_is_found_with_losses_and_silent_records(pattern):
    kept = [k for k in range(60) if k not in (20, 41)]
    sign = signs(kept, pattern)
    sign[[7, 30]] = 0
    assert find_pattern(sign, np.arange(58)) in rotations(pattern)


def test_random_signs_have_no_pattern():
    sign = np.where(np.random.default_rng(3).random(60) > 0.5, 1, -1)
    assert find_pattern(sign, np.arange(60)) is None
    assert find_pattern(np.zeros(60, dtype=int), np.arange(60)) is None


@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("lost", range(20, 20 + 5))
def test_a_loss_is_counted_where_another_witness_sees_it(pattern, lost):
    kept = [k for k in range(60) if k != lost]
    hints = np.zeros(58, dtype=np.int64)
    hints[lost - 1] = 1
    counts = pattern_counts(signs(kept, pattern), np.arange(59), pattern, hints)
    assert np.flatnonzero(counts).tolist() == [lost - 1]
    assert counts[lost - 1] == 1


@pytest.mark.parametrize("pattern", PATTERNS)
def test_alone_it_finds_the_loss_to_within_a_run_of_equal_signs(pattern):
    kept = [k for k in range(60) if k != 22]
    counts = pattern_counts(signs(kept, pattern), np.arange(59), pattern, np.full(58, UNKNOWN))
    (place,) = np.flatnonzero(counts)
    assert abs(place - 21) <= 2
    assert counts[place] == 1


def test_one_wrong_sign_is_no_loss():
    sign = signs(range(60), (1, 1, -1, -1))
    sign[30] *= -1
    assert not np.any(pattern_counts(sign, np.arange(60), (1, 1, -1, -1), np.zeros(59, dtype=np.int64)))
