"""Long records in an Afterglow picture: by blocks it has the counts of all samples, and says while it has not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pulsewright.errors import SessionFileError
from pulsewright.opening import open_session
from pulsewright.session import Channel, Session
from pulsewright.store import write_session
from pulsewright_analysis.overlay import Afterglow, Raster
from pulsewright_analysis.pyramid import make_pyramid
from pulsewright_app import glow
from pulsewright_app.glow import Accumulation, GlowPicture, GlowPlan
from pulsewright_app.glow_alignment import Alignment

RECORDS, LENGTH, RATE, SCALE = 23, 60_000, 1e6, 1e-3


@pytest.fixture(scope="module")
def long_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two channels of noise and a slow swing; the trigger was timed for half of the records."""
    random = np.random.default_rng(7)
    swing = 300 * np.sin(np.arange(LENGTH) / 9_000)
    samples = np.round(random.normal(0, 100, (RECORDS, 2, LENGTH)) + swing).astype(np.int16)
    offsets = np.where(np.arange(RECORDS) % 2, random.uniform(0, 1 / RATE, RECORDS), np.nan)
    path = tmp_path_factory.mktemp("long") / "long.h5"
    channels = [Channel(f"H0{c + 1}", "M1", scale=SCALE, offset=0.01) for c in range(2)]
    write_session(path, samples, channels, RATE, 500, trigger_offset=offsets)
    return path


@pytest.fixture
def session(long_file: Path) -> Session:
    return open_session(long_file)


@pytest.fixture(params=["outlined", "refined"], autouse=True)
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """By its outline until all samples were looked at, or made exact by the samples that blocks leave open."""
    monkeypatch.setattr(glow, "QUICK_BYTES", 0)
    monkeypatch.setattr(glow, "REFINED_FROM", glow.OUTLINED_FROM if request.param == "refined" else 1e9)
    return str(request.param)


def raster_of(share: float, begin: float, width: int = 37) -> Raster:
    duration = LENGTH / RATE
    return Raster(width, 211, begin * duration, (begin + share) * duration, -0.703, 0.711)


def plan_of(session: Session, raster: Raster, *, blocks: bool = True, **more: object) -> GlowPlan:
    pyramid = make_pyramid(session, 1) if blocks else None
    more.setdefault("alignment", Alignment(np.zeros(session.records)))
    return GlowPlan(session, 1, raster, overview=lambda: pyramid, **more)  # type: ignore[arg-type]


def pictures(plan: GlowPlan) -> tuple[GlowPicture, list[GlowPicture], GlowPicture]:
    """The coarse picture, those on the way, and the last one."""
    accumulation, outlined, seen = Accumulation(plan), [], []
    accumulation.add(
        np.arange(RECORDS),
        added=lambda: seen.append(accumulation.picture()),
        outlined=lambda: outlined.append(accumulation.picture()),
    )
    assert len(outlined) == 1, "the picture was not made by blocks"
    return outlined[0], seen, accumulation.picture()


@pytest.mark.parametrize("cores", [1, 2, 3])
@pytest.mark.parametrize(("share", "begin"), [(1.0, 0.0), (0.31, 0.4), (0.5, -0.2), (1.7, -0.3)])
def test_the_last_picture_is_that_of_all_samples(session, share, begin, cores, monkeypatch):
    monkeypatch.setattr(glow, "CORES", cores)
    raster = raster_of(share, begin)
    signs = np.resize([1, -1, 0, 1], RECORDS)
    coarse, seen, last = pictures(plan_of(session, raster, signs=signs))
    times, samples = session.first_sample_time(1), session.channel_codes(1)
    for ink, sign in enumerate((1, -1, 0)):
        alone, chosen = Afterglow(raster), signs == sign
        alone.add(samples[chosen], times[chosen], 1 / RATE, SCALE, 0.01)
        np.testing.assert_array_equal(last.counts[ink], alone.counts)
        assert (coarse.counts[ink] >= last.counts[ink]).all()
    assert not all(np.array_equal(*both) for both in zip(coarse.counts, last.counts, strict=True))
    assert (coarse.records, coarse.coarse, last.records, last.coarse) == (RECORDS, RECORDS, RECORDS, 0)
    left = [picture.coarse for picture in seen]
    assert left == sorted(left, reverse=True) and left[-1] == 0


def test_records_without_a_place_are_left_away(session):
    shift = np.where(np.arange(RECORDS) % 5 == 0, np.nan, 1e-4 * np.arange(RECORDS))
    raster = raster_of(0.6, 0.1)
    _, _, last = pictures(plan_of(session, raster, alignment=Alignment(shift)))
    by_samples = Accumulation(plan_of(session, raster, blocks=False, alignment=Alignment(shift)))
    by_samples.add(np.arange(RECORDS))
    expected = by_samples.picture()
    np.testing.assert_array_equal(last.counts[0], expected.counts[0])
    assert (last.records, last.unplaced) == (expected.records, expected.unplaced) == (18, 5)


@pytest.mark.parametrize("more", [{"half_life": 4}, {"mean": True}])
def test_what_needs_every_sample_gets_every_sample(session, more):
    outlined: list[int] = []
    both = []
    for blocks in (True, False):
        accumulation = Accumulation(plan_of(session, raster_of(1.0, 0.0), blocks=blocks, **more))
        accumulation.add(np.arange(RECORDS), outlined=lambda: outlined.append(1))
        both.append(accumulation.picture())
    assert not outlined
    np.testing.assert_array_equal(both[0].counts[0], both[1].counts[0])


def test_leaving_off_is_heard_before_and_after_the_coarse_picture(session, monkeypatch, way):
    monkeypatch.setattr(glow, "CORES", 1)
    monkeypatch.setattr(glow, "COARSE_AT_ONCE", 10)
    monkeypatch.setattr(glow, "BLOCK_BYTES", 4 * LENGTH * 2)
    plan = plan_of(session, raster_of(1.0, 0.0))
    begun = (0, 0) if way == "outlined" else (10, 10)  # an outline of some of the records is not shown
    for asked_before, records, coarse in ((0, 0, 0), (1, *begun)):
        accumulation, asked = Accumulation(plan), iter(range(9))
        accumulation.add(np.arange(RECORDS), lambda asked=asked, most=asked_before: next(asked) >= most)
        picture = accumulation.picture()
        assert (picture.records, picture.coarse) == (records, coarse)
    for rounds, coarse in ((2, 15), (99, 0)):
        accumulation, seen = Accumulation(plan), []
        accumulation.add(
            np.arange(RECORDS),
            lambda seen=seen, most=rounds: len(seen) >= most,
            lambda seen=seen: seen.append(1),
        )
        picture = accumulation.picture()
        assert (picture.records, picture.coarse) == (RECORDS, coarse)


def test_samples_that_cannot_be_read_leave_records_coarse(session, monkeypatch):
    plan = plan_of(session, raster_of(1.0, 0.0))

    def broken(read):
        def reading(record, *more):
            if record >= 8:
                raise SessionFileError("the file ends at record 8", "copy it again")
            return read(record, *more)

        return reading

    for name in ("read_pieces", "read_channel"):
        monkeypatch.setattr(session.source, name, broken(getattr(session.source, name)))
    monkeypatch.setattr(glow, "BLOCK_BYTES", 2 * LENGTH * 2)
    accumulation = Accumulation(plan)
    with pytest.raises(SessionFileError):
        accumulation.add(np.arange(RECORDS))
    picture = accumulation.picture()
    assert picture.records == RECORDS
    assert picture.coarse >= RECORDS - 8


def test_chunked_files_give_the_same(long_file, session, tmp_path):
    import h5py

    path = tmp_path / "chunked.h5"
    with h5py.File(long_file) as old, h5py.File(path, "w", libver="earliest") as new:
        for name in old:
            if name != "samples":
                old.copy(name, new)
        new.create_dataset("samples", data=old["samples"][()], chunks=(1, 1, 7_000), compression="gzip")
        new.attrs.update(old.attrs)
    raster = raster_of(0.9, 0.05)
    with open_session(path) as chunked:
        assert type(chunked.source) is not type(session.source)
        _, _, last = pictures(plan_of(chunked, raster))
    _, _, expected = pictures(plan_of(session, raster))
    np.testing.assert_array_equal(last.counts[0], expected.counts[0])


def test_the_first_blocks_come_from_all_over_the_session(monkeypatch):
    monkeypatch.setattr(glow, "BLOCK_BYTES", 1)  # a record a block
    monkeypatch.setattr(glow, "CORES", 1)
    codes = np.zeros((64, 1, 10), np.int16)
    session = Session.from_samples(codes, [Channel("H01", "M1")], 1e6)
    plan = GlowPlan(session, 0, Raster(5, 5, 0.0, 1e-5, -1.0, 1.0), Alignment(np.zeros(64)))
    order: list[int] = []
    read = session.source.read_channel

    def noted(first, *more):
        order.append(first)
        return read(first, *more)

    monkeypatch.setattr(session.source, "read_channel", noted)
    Accumulation(plan).add(np.arange(64))
    assert order[:4] == [0, 32, 16, 48]  # however soon the first picture is wanted
    assert sorted(order[:16]) == list(range(0, 64, 4))
    assert sorted(order) == list(range(64))
