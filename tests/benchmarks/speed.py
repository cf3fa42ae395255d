"""Speed: both measurements of the trade's size, each beside a plain loop over SciPy in the same run.

Run by hand: ``python tests/benchmarks/speed.py [--repeats 9]``. Medians of several, compiled code warm. The peers are
timed on a part of the work and scaled up, because both loops are linear in it.
"""

from __future__ import annotations

import argparse
import os
import resource
import statistics
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from pulsewright import Channel, Session
from pulsewright.settings import Settings
from pulsewright_analysis.levels import measure_levels
from pulsewright_analysis.pulses import measure_pulses
from pulsewright_analysis.sine import fit_shared_frequency

MEBIBYTE = 1 << 20


def median_times(repeats: int, *works: Callable[[], object]) -> list[float]:
    """Return the median time of each piece of work, seconds; they take turns, so that another's load falls on all."""
    times: list[list[float]] = [[] for _ in works]
    for _ in range(repeats):
        for work, seen in zip(works, times, strict=True):
            began = time.perf_counter()
            work()
            seen.append(time.perf_counter() - began)
    return [statistics.median(seen) for seen in times]


def peak_growth(work: Callable[[], object]) -> float:
    """Return how far resident memory rises above where it stood while the work runs, MiB; looked at every 2 ms."""
    done = threading.Event()
    highest = before = _resident()

    def watch() -> None:
        nonlocal highest
        while not done.wait(0.002):
            highest = max(highest, _resident())

    watcher = threading.Thread(target=watch)
    watcher.start()
    work()
    done.set()
    watcher.join()
    return (highest - before) / MEBIBYTE


def _resident() -> int:
    return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize()


def pulses(repeats: int) -> None:
    """Two pulses in each of 2,000 records of 25,000 samples, noise and levels included."""
    from scipy.signal import find_peaks, peak_widths

    rng = np.random.default_rng(20261125)
    records, length = 2000, 25_000
    pulse = (4000 * np.exp(-(((np.arange(200) - 100) / 20) ** 2) / 2)).astype(np.int16)
    codes = np.empty((records, 1, length), dtype=np.int16)
    for r in range(records):
        codes[r, 0] = np.round(40 * rng.standard_normal(length))
        for centre in (5000 + r % 100 * 10, 15_000):
            codes[r, 0, centre - 100 : centre + 100] += pulse
    session = Session.from_samples(codes, [Channel("H01", "M1", scale=1e-4)], 25e6, trigger_offset=np.zeros(records))

    def ours(stop: int = records) -> None:
        chosen = np.arange(stop)
        found = measure_pulses(session, [0], chosen, measure_levels(session, [0], chosen), Settings())
        assert len(found) == 2 * stop

    part = 100

    def peers() -> None:
        for r in range(part):
            size = np.abs(codes[r, 0].astype(float))
            peaks, _ = find_peaks(size, height=240, distance=200, prominence=240)
            assert len(peaks) == 2
            peak_widths(size, peaks)

    ours(5)
    peers()
    mine, theirs, half = median_times(repeats, ours, peers, lambda: ours(records // 2))
    theirs *= records / part
    print(f"pulses, 2,000 records of 25,000: {mine:.2f} s; find_peaks and peak_widths {theirs:.1f} s; ", end="")
    print(f"{theirs / mine:.1f} times; {peak_growth(ours):.0f} MiB beyond the block of {codes.nbytes / MEBIBYTE:.0f}")
    print(f"    half the records take {half / mine:.2f} of the time")


def sines(repeats: int) -> None:
    """A sine of one frequency in 1,000 records of 12 channels of 1,024 samples, frequency search included."""
    from scipy.optimize import curve_fit

    rng = np.random.default_rng(20261126)
    rate, frequency = 1e6, 31e3
    moment = np.arange(1024) / rate
    phase = rng.uniform(0, 2 * np.pi, (1000, 12, 1))
    samples = np.cos(2 * np.pi * frequency * moment + phase) + 0.01 * rng.standard_normal((1000, 12, 1024))

    def sine(t: np.ndarray, offset: float, amplitude: float, f: float, start: float) -> np.ndarray:
        return offset + amplitude * np.cos(2 * np.pi * f * t + start)

    part = 200

    def peers() -> None:
        for k in range(part):
            curve_fit(sine, moment, samples[k, k % 12], p0=(0.0, 1.0, frequency, float(phase[k, k % 12, 0])))

    def ours(stop: int = 1000) -> None:
        fit_shared_frequency(samples[:stop], rate)

    ours(10)
    peers()
    mine, theirs, half = median_times(repeats, ours, peers, lambda: ours(500))
    theirs *= 12_000 / part
    print(f"sine, 1,000 records of 12 x 1,024: {1e3 * mine:.0f} ms; curve_fit {theirs:.1f} s; ", end="")
    print(f"{theirs / mine:.0f} times; {peak_growth(ours):.0f} MiB beyond the block of {samples.nbytes / MEBIBYTE:.0f}")
    print(f"    half the records take {half / mine:.2f} of the time")


def main() -> None:
    """Print both."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--repeats", type=int, default=9)
    repeats = parser.parse_args().repeats
    print(f"{os.cpu_count()} cores")
    pulses(repeats)
    sines(repeats)


if __name__ == "__main__":
    main()
