"""A request to end is heard between two steps of the work, and at once if it comes twice."""

from __future__ import annotations

import signal

import pytest

from pulsewright_app.ending import ended_between_steps


@pytest.mark.parametrize("request_to_end", [signal.SIGINT, signal.SIGTERM])
def test_work_ends_at_its_next_step(request_to_end: signal.Signals) -> None:
    told: list[float] = []
    before = signal.getsignal(request_to_end)
    with pytest.raises(KeyboardInterrupt), ended_between_steps(lambda share, _: told.append(share)) as step:
        step(0.1, "Writing")
        signal.raise_signal(request_to_end)
        told.append(0.15)  # what was under way comes to its end
        step(0.2, "Writing")
    assert told == [0.1, 0.15]
    assert signal.getsignal(request_to_end) is before


def test_asked_twice_it_ends_at_once() -> None:
    with pytest.raises(KeyboardInterrupt), ended_between_steps(lambda *_: None):
        signal.raise_signal(signal.SIGTERM)
        signal.raise_signal(signal.SIGTERM)
        pytest.fail("went on")
