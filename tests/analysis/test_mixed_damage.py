"""A fifth of the records missing, doubled, empty or wrong, mixed: the truth is that of the simulation."""

from collections import Counter

import numpy as np
import pytest

from pulsewright import Session
from pulsewright.settings import layered
from pulsewright_analysis.findings import measure

SETTINGS = layered(option={"span": "50 us .. 175 us", "alignment_span": "5 us .. 25 us"})
PINGS = 60
SEEDS = range(6)


def damaged(make_tank, seed, timed):
    """Return a session with twelve records damaged, and the missing pings by the record before them."""
    rng = np.random.default_rng(seed)
    bad = rng.permutation(np.arange(3, PINGS - 3))[:12]
    kinds = rng.integers(0, 4, len(bad))
    lost = set(bad[kinds == 0].tolist())
    kept = [ping for ping in range(PINGS) if ping not in lost]
    session = make_tank([kept, kept], seed=seed + 1)
    codes = session.codes().copy()
    for ping, kind in zip(bad.tolist(), kinds.tolist(), strict=True):
        if kind == 0:
            continue
        record = kept.index(ping)
        if kind == 1:
            codes[record] = codes[record - 1]
        elif kind == 2:
            codes[record] = rng.normal(0, 40, codes[record].shape).astype(np.int16)
        else:
            codes[record, :, 350:] = np.roll(codes[record, :, 350:], int(rng.integers(40, 400)), axis=-1)
    truth = Counter(max(i for i, k in enumerate(kept) if k < ping) for ping in lost)
    return (
        Session.from_samples(
            codes,
            session.channels,
            session.sample_rate,
            session.pre_trigger,
            trigger_time=session.trigger_time if timed else None,
            trigger_offset=session.trigger_offset,
        ),
        truth,
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_with_trigger_times_every_loss_is_at_its_place(make_tank, seed):
    session, truth = damaged(make_tank, seed, timed=True)
    sequence = measure(session, SETTINGS).sequence
    assert {gap.after_record: gap.count for gap in sequence.missed} == dict(truth)
    assert sequence.cycle == 8
    assert abs(sequence.increment.value - 10e-6) < 4.5 * sequence.increment.u


def test_without_times_wrong_records_are_not_counted_as_losses(make_tank):
    """A loss beside a record that tells nothing has no certain place, so totals are compared."""
    wrong = 0
    for seed in SEEDS:
        session, truth = damaged(make_tank, seed, timed=False)
        wrong += abs(measure(session, SETTINGS).sequence.missed_total - sum(truth.values()))
    assert wrong <= 2
