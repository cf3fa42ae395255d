"""How fast the afterglow is: beside datashader's lines and beside NumPy's sum of the same samples.

Run: ``python tests/benchmarks/afterglow.py [--records 2000] [--samples 25000] [--repeats 7]``. All in one process,
warm, medians.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from pulsewright.session import Channel, Session
from pulsewright_analysis.overlay import Raster
from pulsewright_app.glow import Accumulation, GlowPlan
from pulsewright_app.glow_alignment import Alignment

RATE = 10e6
WIDTH, HEIGHT = 1600, 800
AT_LEAST_DATASHADER, AT_MOST_SUM = 50.0, 8.0
REZOOM_MS = 80.0
LOT = 100
"""Records that datashader gets at once: all of them as float32 pairs would be 400 MB."""


def traces(records: int, samples: int) -> NDArray[np.int16]:
    """Return noisy records with a walking pulse, shape (records, samples)."""
    random = np.random.default_rng(11)
    block = random.normal(0.0, 120.0, (records, samples))
    at = np.arange(samples)
    for record in range(records):
        centre = samples * (0.3 + 0.3 * (record % 12) / 12)
        block[record] += 9000.0 * np.exp(-(((at - centre) / (samples / 100)) ** 2) / 2)
    codes: NDArray[np.int16] = np.round(block).astype(np.int16)
    return codes


def median_ms(work: Callable[[], object], repeats: int) -> float:
    """Return the median time of some work, milliseconds, after one that is not counted."""
    work()
    taken = []
    for _ in range(repeats):
        begin = time.perf_counter()
        work()
        taken.append(1e3 * (time.perf_counter() - begin))
    return statistics.median(taken)


def accumulated(session: Session, raster: Raster) -> NDArray[np.uint32]:
    """Return the counts of all records."""
    made = Accumulation(GlowPlan(session, 0, raster, Alignment(np.zeros(session.records))))
    made.add(np.arange(session.records))
    return made.picture().counts[0]


def by_datashader(codes: NDArray[np.int16], raster: Raster, scale: float) -> Callable[[], object]:
    """Return the same picture's making by datashader: a lot of NaN-separated float32 lines at a time."""
    import datashader
    import pandas

    samples = codes.shape[1]
    times = np.append(np.arange(samples) / RATE, np.nan).astype(np.float32)
    canvas = datashader.Canvas(
        WIDTH, HEIGHT, (raster.time_low, raster.time_high), (raster.value_low, raster.value_high)
    )
    lots = []
    for first in range(0, len(codes), LOT):
        lot = codes[first : first + LOT]
        values = np.full((len(lot), samples + 1), np.nan, np.float32)
        values[:, :-1] = lot * scale
        lots.append(pandas.DataFrame({"t": np.tile(times, len(lot)), "v": values.ravel()}))

    def work() -> object:
        total = np.zeros((HEIGHT, WIDTH), np.uint32)
        for lot in lots:
            total += canvas.line(lot, "t", "v", agg=datashader.count()).to_numpy()
        return total

    return work


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=2000)
    parser.add_argument("--samples", type=int, default=25_000)
    parser.add_argument("--repeats", type=int, default=7)
    given = parser.parse_args()
    codes, scale = traces(given.records, given.samples), 1e-4
    channel = Channel("H01", "M1", scale=scale)
    session = Session.from_samples(codes[:, None, :], [channel], RATE, 0, trigger_offset=np.zeros(given.records))
    whole = Raster(WIDTH, HEIGHT, 0.0, given.samples / RATE, -0.2, 1.1)
    ours = median_ms(lambda: accumulated(session, whole), given.repeats)
    summing = median_ms(lambda: codes.sum(), given.repeats)
    print(
        f"{given.records} records × {given.samples} int16 samples into {WIDTH} × {HEIGHT}, medians of {given.repeats}"
    )
    print(f"ours {ours:.1f} ms; NumPy's sum {summing:.1f} ms: {ours / summing:.2f} times (at most {AT_MOST_SUM:g})")
    for share in (0.5, 0.1, 0.02):
        low = 0.35 * given.samples / RATE
        zoomed = Raster(WIDTH, HEIGHT, low, low + share * given.samples / RATE, -0.2, 1.1)
        took = median_ms(lambda zoomed=zoomed: accumulated(session, zoomed), given.repeats)  # type: ignore[misc]
        print(f"zoomed to {100 * share:g} % of the time: {took:.1f} ms (at most {REZOOM_MS:g})")
    theirs = median_ms(by_datashader(codes, whole, scale), 1)
    print(f"datashader {theirs:.0f} ms: {theirs / ours:.0f} times as long (at least {AT_LEAST_DATASHADER:g})")


if __name__ == "__main__":
    main()
