"""The Afterglow picture: many records of one channel over each other, aligned, faded, in one ink or by polarity.

Knows no toolkit, so that the desk and the evidence sheet can make the same picture.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import repeat

import numpy as np
from numpy.typing import NDArray

from pulsewright.block_source import Room
from pulsewright.session import Codes, Session
from pulsewright_analysis.mean_trace import Mean, mean_over
from pulsewright_analysis.overlay import Afterglow, Part, Raster, part_seen, passing_records
from pulsewright_analysis.pyramid import Pyramid
from pulsewright_analysis.record_runs import neighbouring
from pulsewright_analysis.results import Floats, Ints
from pulsewright_app.glow_alignment import Alignment
from pulsewright_app.glow_long import ByBlocks, Refiner

Counts = NDArray[np.uint32]
Weights = NDArray[np.float32]
Stopped = Callable[[], bool]
Told = Callable[[], None]

BLOCK_BYTES = 4 << 20
CORES = os.cpu_count() or 1
COARSE_AT_ONCE, EXACT_AT_ONCE = 64, 4
"""Long records that a lane adds by their blocks, or makes exact, between two looks at whether to leave off."""
OUTLINED_FROM, REFINED_FROM = 3.0, 40.0
"""Blocks in a column from which on they outline a record, and from which on few samples are needed to make it exact."""
QUICK_BYTES = 128 << 20
"""Samples that are accumulated in the time that a coarse picture may take."""
_FIRST_RUNS = 16
"""Blocks from all over the session that are accumulated before the others."""
_MOST_AT_ONCE = 512
"""Records of a block: calling off is heard between blocks."""
FADED_AWAY = 12
"""Half-lives after which a record has less than 1/4000 of its ink, and is not drawn."""
STEPS_A_HALF_LIFE = 8
"""Records of an eighth of a half-life fade together: 9 % of a record's ink at most."""


@dataclass(frozen=True)
class GlowPlan:
    """What is accumulated, apart from the records.

    Attributes
    ----------
    session, channel, raster
    signs : int array (records,) or None
        The polarity of each record, 0 where it has none, for one ink each; None for one ink.
    alignment : Alignment
    half_life : int or None
        Records after which a record has half its ink; None: nothing fades.
    mean : bool
        Whether the mean trace is wanted too.
    overview : callable
        Returns the pyramid of the channel, where there is one; called when records are added.
    """

    session: Session
    channel: int
    raster: Raster
    alignment: Alignment
    signs: Ints | None = None
    half_life: int | None = None
    mean: bool = False
    overview: Callable[[], Pyramid | None] = lambda: None


@dataclass(frozen=True)
class GlowPicture:
    """What was accumulated so far; rows from the top.

    Attributes
    ----------
    raster : Raster
    counts : tuple of int array (height, width)
        Records through each pixel: all of them; or those positive, negative and without polarity.
    weights : tuple of float array (height, width) or None
        The same with each record's ink faded by its age.
    records, unplaced, coarse : int
        How many are counted, how many could not be aligned and are not, and how many of those that are counted reach
        only about as far as they should: they may lie in more pixels than they pass through, never in fewer.
    mean : Mean or None
    """

    raster: Raster
    counts: tuple[Counts, ...]
    weights: tuple[Weights, ...] | None
    records: int
    unplaced: int
    mean: Mean | None
    coarse: int = 0

    @property
    def most(self) -> int:
        """The number of records through the densest pixel of one ink."""
        return max(int(counts.max(initial=0)) for counts in self.counts)

    def at(self, time: float, value: float) -> list[int] | None:
        """Return the counts of a spot for each ink, None outside the picture."""
        column, row = self.raster.column(time), self.raster.row(value)
        if not (0 <= column < self.raster.width and 0 <= row < self.raster.height):
            return None
        return [int(counts[row, column]) for counts in self.counts]


@dataclass(frozen=True)
class _Read:
    """Records that were read: how many, and the numbers, samples and first times of those that have a place.

    Of each, only the part that is seen was read, where it lies in a file.
    """

    count: int
    records: Ints
    block: Codes
    begin: Floats
    part: Part


@dataclass(frozen=True)
class _Outline:
    """What is shown until every sample has been looked at: counts that are too high, and of how many records."""

    counts: tuple[Counts, ...]
    records: int


class Accumulation:
    """Records laid over each other, one lot after another; one thread may add at a time."""

    def __init__(self, plan: GlowPlan) -> None:
        self.plan = plan
        inks = 1 if plan.signs is None else 3
        shape = (plan.raster.height, plan.raster.width)
        self._lanes = [[Afterglow(plan.raster) for _ in range(inks)]]
        self._faded = None if plan.half_life is None else [np.zeros(shape, dtype=np.float32) for _ in range(inks)]
        self._starts = plan.session.first_sample_time(plan.channel) - plan.alignment.shift
        self._mean = None
        if plan.mean:
            self._mean = mean_over(self._starts, plan.session.sample_interval, plan.session.record_length)
        self._records = self._unplaced = self._coarse = 0
        self._outline: _Outline | None = None

    def add(
        self,
        records: Ints,
        stopped: Stopped = lambda: False,
        added: Told = lambda: None,
        outlined: Told = lambda: None,
    ) -> None:
        """Add records, the newest last.

        Parameters
        ----------
        records : int array
            Their numbers, in the order in which they age.
        stopped : callable
            Asked between blocks whether to leave off.
        added : callable
            Called after each block.
        outlined : callable
            Called once all records are in the picture coarsely, where that can be done.
        """
        found = self._pyramid(len(records))
        if found is None:
            self._add_by_samples(records, stopped, added)
            return
        pyramid, refined = found
        plan = self.plan
        by_blocks = ByBlocks(plan.session, plan.channel, plan.raster.width, pyramid, self._starts, plan.signs)
        add = self._add_by_blocks if refined else self._add_outlined
        add(by_blocks, records, stopped, added, outlined)

    def _pyramid(self, records: int) -> tuple[Pyramid, bool] | None:
        """Return the pyramid, and whether it serves for exact counts too; None where samples are looked at at once."""
        plan = self.plan
        if plan.half_life is not None or plan.mean:
            return None  # these need every sample
        pyramid = plan.overview()
        if pyramid is None:
            return None
        interval = plan.session.sample_interval
        blocks = pyramid.blocks_a_column(plan.raster, interval)
        seen = min((plan.raster.time_high - plan.raster.time_low) / interval, plan.session.record_length)
        if blocks < OUTLINED_FROM or seen * records * plan.session.dtype.itemsize < QUICK_BYTES:
            return None
        return pyramid, blocks >= REFINED_FROM

    def _add_outlines(
        self, by_blocks: ByBlocks, lanes: list[list[Afterglow]], records: Ints, stopped: Stopped
    ) -> Iterator[int]:
        """Add records coarsely to lanes, and yield how many were added round by round."""
        with ThreadPoolExecutor(len(lanes), thread_name_prefix="glow") as pool:
            for lots in _rounds(records, COARSE_AT_ONCE, len(lanes)):
                if stopped():
                    return
                list(pool.map(by_blocks.add_coarse, lanes, lots))
                yield sum(len(lot) for lot in lots)

    def _add_by_blocks(self, by_blocks: ByBlocks, records: Ints, stopped: Stopped, added: Told, outlined: Told) -> None:
        """Add records coarsely, and make one after another exact by the samples that their blocks leave open."""
        placed = records[np.isfinite(self._starts[records])]
        lanes = self._opened(CORES)
        before = self._records
        for count in self._add_outlines(by_blocks, lanes, placed, stopped):
            self._records += count
            self._coarse += count
        if self._records < before + len(placed):
            return
        self._unplaced += len(records) - len(placed)
        outlined()
        refiners = [by_blocks.refiner() for _ in lanes]
        with ThreadPoolExecutor(len(lanes), thread_name_prefix="glow") as pool:
            for lots in _rounds(placed, EXACT_AT_ONCE, len(lanes)):
                if stopped():
                    return
                list(pool.map(Refiner.make_exact, refiners, lanes, lots, repeat(stopped)))
                if stopped():
                    return  # perhaps in the middle of a record
                self._coarse -= sum(len(lot) for lot in lots)
                added()

    def _add_outlined(self, by_blocks: ByBlocks, records: Ints, stopped: Stopped, added: Told, outlined: Told) -> None:
        """Show records coarsely while all their samples are looked at."""
        placed = records[np.isfinite(self._starts[records])]
        inks = range(len(self._lanes[0]))
        lanes = [[Afterglow(self.plan.raster) for _ in inks] for _ in range(CORES)]
        if sum(self._add_outlines(by_blocks, lanes, placed, stopped)) < len(placed):
            return
        counts = tuple(_summed(lanes, ink) for ink in inks)
        if self._records:
            counts = tuple(own + _summed(self._lanes, ink) for ink, own in zip(inks, counts, strict=True))
        self._outline = _Outline(counts, self._records + len(placed))
        outlined()
        self._add_by_samples(records, stopped, added)
        if self._records == self._outline.records:
            self._outline = None

    def _add_by_samples(self, records: Ints, stopped: Stopped, added: Told) -> None:
        half_life = self.plan.half_life
        most = _records_a_block(self.plan)
        if half_life is not None:
            most = min(most, max(1, half_life // STEPS_A_HALF_LIFE))
        runs = list(_runs(records, most))
        if half_life is None and self._mean is None:
            runs = _spread(runs)
        # what fades goes in by its age; all else is counted, and counts may be put together in any order
        lanes = self._opened(1 if half_life is not None else max(1, min(CORES, len(runs))))
        newer, rooms = len(records), [Room() for _ in lanes]
        with ThreadPoolExecutor(len(lanes), thread_name_prefix="glow") as pool:
            for place in range(0, len(runs), len(lanes)):
                if stopped():
                    return
                # all are read before any is drawn: if one cannot be, none of them is in the picture
                blocks = list(pool.map(self._read, runs[place : place + len(lanes)], rooms))
                newer -= sum(block.count for block in blocks)
                list(pool.map(self._draw, lanes, blocks, repeat(newer)))
                for block in blocks:
                    self._note(block)
                # nothing is being added while somebody looks at the picture so far
                added()

    def _opened(self, count: int) -> list[list[Afterglow]]:
        """Return counts for so many threads to add to, each its own."""
        while len(self._lanes) < count:
            self._lanes.append([Afterglow(self.plan.raster) for _ in self._lanes[0]])
        return self._lanes[:count]

    def _read(self, run: tuple[int, int], room: Room) -> _Read:
        first, count = run
        records = np.arange(first, first + count)
        begin = self._starts[records]
        placed = np.isfinite(begin)
        block, part = _seen(self.plan, first, count, begin[placed], room, whole=self._mean is not None)
        if not np.all(placed):
            records, block, begin = records[placed], block[placed], begin[placed]
        return _Read(count, records, block, begin, part)

    def _draw(self, lane: list[Afterglow], read: _Read, newer: int) -> None:
        half_life = self.plan.half_life
        visible = half_life is not None and newer < FADED_AWAY * half_life
        for ink, glow in enumerate(lane):
            own = Afterglow(self.plan.raster) if visible else glow
            self._draw_ink(own, read, ink)
            if visible and half_life is not None:
                self._fade(ink, own, len(read.records), half_life)
                glow.merge(own)

    def _note(self, read: _Read) -> None:
        placed = len(read.records)
        self._unplaced += read.count - placed
        self._records += placed
        if self._mean is not None and placed:
            self._mean.add(read.block, read.begin)

    def _fade(self, ink: int, own: Afterglow, count: int, half_life: int) -> None:
        """Let what there is fade by as many records as were added, and put these on top, each with its share."""
        assert self._faded is not None
        faded = self._faded[ink]
        faded *= np.float32(0.5 ** (count / half_life))
        shares = 0.5 ** (np.arange(count) / half_life)
        faded += own.counts * np.float32(shares.mean() if count else 0.0)

    def _draw_ink(self, glow: Afterglow, read: _Read, ink: int) -> None:
        about, signs = self.plan.session.channels[self.plan.channel], self.plan.signs
        block, begin = read.block, read.begin
        if signs is not None:
            chosen = signs[read.records] == (1, -1, 0)[ink]
            block, begin = block[chosen], begin[chosen]
        glow.add(block, begin, self.plan.session.sample_interval, about.scale, about.offset, read.part)

    def picture(self) -> GlowPicture:
        """Return what there is so far, in arrays of its own."""
        about, outline = self.plan.session.channels[self.plan.channel], self._outline
        if outline is None:
            counts = tuple(_summed(self._lanes, ink) for ink in range(len(self._lanes[0])))
            records, coarse = self._records, self._coarse
        else:
            counts = tuple(ink.copy() for ink in outline.counts)
            records, coarse = outline.records, outline.records - self._records
        return GlowPicture(
            self.plan.raster,
            counts,
            None if self._faded is None else tuple(faded.copy() for faded in self._faded),
            records,
            self._unplaced,
            None if self._mean is None else self._mean.mean(about.scale, about.offset),
            coarse,
        )


def _summed(lanes: list[list[Afterglow]], ink: int) -> Counts:
    """Return the counts of an ink over all lanes; they are put together in the first one."""
    first, *others = (lane[ink] for lane in lanes)
    for other in others:
        first.merge(other)
        other.clear()
    return first.counts


def _spread(runs: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return many runs in another order: first some from everywhere, so that the first pictures are of the whole.

    However few of those are in, they lie evenly: they go by their numbers' binary digits read backwards.
    """
    if len(runs) < _FIRST_RUNS:
        return runs
    step = len(runs) // _FIRST_RUNS
    first = runs[::step]
    digits = len(first).bit_length()
    places = sorted(range(len(first)), key=lambda place: f"{place:0{digits}b}"[::-1])
    return [first[place] for place in places] + [run for place, run in enumerate(runs) if place % step]


def _rounds(records: Ints, at_once: int, lanes: int) -> Iterator[list[Ints]]:
    """Yield a lot of neighbouring records for each lane, round by round; the last lots may hold none."""
    for place in range(0, len(records), at_once * lanes):
        yield np.array_split(records[place : place + at_once * lanes], lanes)


def _seen(
    plan: GlowPlan,
    first: int,
    count: int,
    begin: Floats,
    room: Room,
    whole: bool = False,
    columns: tuple[int, int] | None = None,
) -> tuple[Codes, Part]:
    """Read what a picture, or some of its columns, shows of a run of records; all of them where `whole`."""
    session = plan.session
    length = session.record_length
    if whole:
        return session.channel_codes(plan.channel, first, first + count, room), Part(0, length)
    start, end = part_seen(begin, session.sample_interval, length, plan.raster, columns)
    return session.channel_stretch(plan.channel, first, first + count, start, end, room), Part(start, length)


def _records_a_block(plan: GlowPlan) -> int:
    """Return how many records are read at once: as many as a block's bytes hold of what is seen of them."""
    session, raster = plan.session, plan.raster
    seen = session.record_length
    if not plan.mean:
        seen = min(seen, math.ceil((raster.time_high - raster.time_low) / session.sample_interval) + 1)
    return min(_MOST_AT_ONCE, max(1, BLOCK_BYTES // max(seen * session.dtype.itemsize, 1)))


def _runs(records: Ints, most: int) -> Iterator[tuple[int, int]]:
    """Yield (first, count) of neighbouring records, at most so many at once, in the order given."""
    for low, high in neighbouring(records, most):
        yield int(records[low]), high - low


def passing_of(plan: GlowPlan, records: Ints, time: float, value: float, stopped: Stopped) -> list[int]:
    """Return which of some records pass within one pixel of a spot, rising.

    Parameters
    ----------
    plan : GlowPlan
    records : int array
    time, value : float
        The spot: seconds as drawn, and the channel's unit.
    stopped : callable
        Asked between blocks whether to leave off.
    """
    session, about, raster = plan.session, plan.session.channels[plan.channel], plan.raster
    starts = session.first_sample_time(plan.channel) - plan.alignment.shift
    found: list[int] = []
    placed, room = np.unique(records[np.isfinite(starts[records])]), Room()
    for first, count in _runs(placed, _records_a_block(plan)):
        if stopped():
            break
        begin, column = starts[first : first + count], raster.column(time)
        near = max(column - 1, 0), min(column + 1, raster.width - 1)
        block, part = _seen(plan, first, count, begin, room, columns=near)
        passing = passing_records(
            block, begin, session.sample_interval, raster, column, raster.row(value),
            scale=about.scale, offset=about.offset, part=part,
        )  # fmt: skip
        found += [first + int(i) for i in np.flatnonzero(passing)]
    return found
