"""A measurement that is called off stops within one small piece of work, while kernels run as well as between them."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Callable, Iterator

import numpy as np
import pytest

from pulsewright import Channel, Session
from pulsewright.session import ArraySource
from pulsewright.settings import layered
from pulsewright_analysis import streaming
from pulsewright_analysis.findings import Cancelled, measure
from pulsewright_analysis.streaming import for_each, pieces

RECORDS, CHANNELS, LENGTH = 40, 4, 2000
A_RECORD = CHANNELS * LENGTH * 2


def walking(sine: bool = False) -> Session:
    random, sample = np.random.default_rng(3), np.arange(LENGTH)
    codes = np.round(random.normal(0, 40, (RECORDS, CHANNELS, LENGTH)))
    for record in range(RECORDS):
        if sine:
            codes[record] += np.round(8000 * np.sin(2 * np.pi * 0.0301 * sample + record))
        else:
            codes[record] += np.round(8000 * np.exp(-(((sample - 900 - 10 * (record % 8)) / 10) ** 2)))
    inputs = [Channel(f"H{c + 1:02d}", f"M{c // 2 + 1}", scale=1e-4) for c in range(CHANNELS)]
    offset = np.zeros(RECORDS)
    return Session.from_samples(codes.astype(np.int16), inputs, 25e6, 200, trigger_offset=offset)


@pytest.mark.parametrize("threads", ["1", "2", "4"])
def test_nothing_new_begins_once_it_is_called_off(threads: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PULSEWRIGHT_THREADS", threads)
    begun, given = [], []
    called_off = threading.Event()

    def numbers() -> Iterator[int]:
        for number in range(1000):
            given.append(number)
            yield number

    def work(number: int) -> int:
        begun.append((number, called_off.is_set()))
        return number

    def take(number: int, made: int) -> None:
        if number == 20:
            called_off.set()

    def check() -> None:
        if called_off.is_set():
            raise Cancelled

    with pytest.raises(Cancelled):
        for_each(numbers(), work, take, check)
    # a thread may take up what was handed to it in the moment of the cancel, no more than there are threads
    assert sum(late for _, late in begun) <= int(threads)
    assert len(given) <= 20 + 2 * int(threads) + 2


def test_it_is_asked_while_threads_work(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PULSEWRIGHT_THREADS", "2")
    asked, free = [], threading.Event()

    def check() -> None:
        asked.append(threading.current_thread())
        if len(asked) == 12:  # more often than there are pieces: so some of it was while the work went on
            free.set()

    for_each(iter(range(3)), lambda number: free.wait(60), lambda number, made: None, check)
    assert free.is_set()
    assert set(asked) == {threading.current_thread()}


@pytest.mark.parametrize(("records", "length"), [(40, 2000), (3, 700_000), (2, 5_000_000)])
def test_a_piece_is_a_block_or_one_trace(records: int, length: int) -> None:
    codes = np.broadcast_to(np.zeros((1, 1, 1), np.int16), (records, CHANNELS, length))
    inputs = [Channel(f"H{c + 1:02d}", "M1") for c in range(CHANNELS)]
    session = Session(ArraySource(codes), inputs, 25e6, 0)
    seen: Counter[tuple[int, int]] = Counter()
    for piece in pieces(session, range(CHANNELS), np.arange(records)):
        here = len(piece.rows) * len(piece.columns) * length * 2
        assert here <= streaming.BLOCK_BYTES or (len(piece.rows), len(piece.columns)) == (1, 1)
        seen.update((piece.first + row, channel) for row in piece.rows for channel in range(CHANNELS)[piece.places])
    assert seen == Counter({(record, channel): 1 for record in range(records) for channel in range(CHANNELS)})


@pytest.mark.parametrize("kind", ["pulse", "sine"])
@pytest.mark.parametrize("threads", ["1", "2"])
def test_every_stage_asks_for_every_piece(kind: str, threads: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PULSEWRIGHT_THREADS", threads)
    monkeypatch.setattr(streaming, "BLOCK_BYTES", A_RECORD)
    asked: Counter[str] = Counter()
    stage = ["before"]

    def progress(share: float, doing: str) -> None:
        stage[0] = doing

    def cancelled() -> bool:
        asked[stage[0]] += 1
        return False

    measure(walking(kind == "sine"), layered(), progress, cancelled)
    # each record is a piece of its own; levels ask for each channel
    assert asked["noise and levels"] >= CHANNELS
    for name in ("pulses", "sequence", "alignment", "jitter, timing and health"):
        assert asked[name] >= RECORDS, name


@pytest.mark.parametrize("kind", ["pulse", "sine"])
def test_it_stops_wherever_it_is_called_off(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PULSEWRIGHT_THREADS", "1")  # with more, how often it is asked depends on how long they take
    session = walking(kind == "sine")
    total = polls(session, never)
    assert total > 20
    for number in range(1, total, max(1, total // 25)):
        assert polls(session, lambda count, number=number: count == number) == number


def never(count: int) -> bool:
    return False


def polls(session: Session, stops: Callable[[int], bool]) -> int:
    """Return how often it was asked, until it was told to stop or was done."""
    count = 0

    def cancelled() -> bool:
        nonlocal count
        count += 1
        return stops(count)

    try:
        measure(session, layered(), cancelled=cancelled)
    except Cancelled:
        assert stops(count)
    return count
