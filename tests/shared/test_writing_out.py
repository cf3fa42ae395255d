"""Written out and brought in again, a session is the same: in codes, and in times to the last bit."""

from __future__ import annotations

import math
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pulsewright.errors import PulsewrightError
from pulsewright.formats.recognising import open_recording
from pulsewright.formats.writing import WRITTEN, write_out
from pulsewright.session import Channel, Session

TYPES = ("int8", "uint8", "int16", "uint16", "int32", "float32")
UNITS = ("V", "mV", "", "Pa", "%", "µm/s")
TEXT = st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=12)
NAME = TEXT.filter(lambda text: bool(text.strip()))
SECONDS = st.floats(0, 1e6) | st.just(math.nan)


@st.composite
def sessions(draw: st.DrawFn) -> Session:
    """Draw a session of any type, with a module or two, any scales, names and times."""
    shape = (draw(st.integers(1, 4)), draw(st.integers(1, 4)), draw(st.integers(1, 9)))
    dtype = np.dtype(draw(st.sampled_from(TYPES)))
    finite = {"allow_nan": False, "allow_infinity": False} if dtype.kind == "f" else {}
    codes = draw(arrays(dtype, shape, elements=finite or None))
    modules = draw(st.lists(NAME, min_size=1, max_size=2, unique=True))
    names = draw(st.lists(NAME, min_size=shape[1], max_size=shape[1], unique=True))
    size = st.floats(-1e9, 1e9, allow_subnormal=False)
    channels = [
        Channel(
            name, draw(st.sampled_from(modules)), draw(st.sampled_from(UNITS)),
            draw(size.filter(lambda value: abs(value) > 1e-30)), draw(size), draw(st.integers(-(2**53), 0)),
            draw(st.integers(1, 2**53)), draw(st.floats(-1e-3, 1e-3)),
        )
        for name in names
    ]  # fmt: skip
    rate = draw(st.floats(1e-3, 1e12))
    shared = draw(st.booleans())
    columns = (shape[0],) if shared else (shape[0], len(modules))
    times = np.sort(draw(arrays(np.float64, columns, elements=SECONDS)), axis=0)
    parts = draw(arrays(np.float64, columns, elements=st.floats(0, 0.999) | st.just(math.nan)))
    return Session.from_samples(
        codes, channels, rate, draw(st.integers(0, shape[2])), modules=modules, trigger_time=times,
        trigger_offset=parts / rate, title=draw(TEXT), notes=draw(TEXT), origin=draw(NAME),
    )  # fmt: skip


@pytest.mark.parametrize("suffix", WRITTEN)
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(session=sessions())
def test_what_is_written_comes_back(suffix: str, session: Session) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"tank{suffix}"
        write_out(session, path)
        with open_recording(path) as reading:
            again = reading.checked()
            assert again.dtype == session.dtype
            np.testing.assert_array_equal(again.codes(), session.codes())
            assert again.codes().tobytes() == session.codes().tobytes()  # the sign of a zero, too
            assert again.channels == session.channels
            assert again.modules == session.modules
            assert (again.sample_rate, again.pre_trigger) == (session.sample_rate, session.pre_trigger)
            assert again.trigger_time.tobytes() == session.trigger_time.tobytes()
            assert again.trigger_offset.tobytes() == session.trigger_offset.tobytes()
            assert (again.shared_time, again.shared_offset) == (session.shared_time, session.shared_offset)
            texts = (session.title, session.notes, session.origin)
            assert (again.title, again.notes, again.origin) == texts
            assert not reading.assumed


def small(folder: Path) -> Session:
    codes = np.arange(2 * 2 * 6, dtype=np.int16).reshape(2, 2, 6)
    return Session.from_samples(codes, [Channel("H01", "M1"), Channel("H02", "M1")], 1e6, 2)


@pytest.mark.parametrize("suffix", WRITTEN)
def test_writing_that_is_stopped_leaves_nothing(suffix: str, tmp_path: Path) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_out(small(tmp_path), tmp_path / f"tank{suffix}", stop)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("suffix", WRITTEN)
def test_a_file_that_is_there_stays(suffix: str, tmp_path: Path) -> None:
    (tmp_path / f"tank{suffix}").write_text("mine")
    with pytest.raises(PulsewrightError, match="there is a file of that name"):
        write_out(small(tmp_path), tmp_path / f"tank{suffix}")
    assert (tmp_path / f"tank{suffix}").read_text() == "mine"
    assert len(list(tmp_path.iterdir())) == 1


def test_an_ending_that_says_nothing(tmp_path: Path) -> None:
    with pytest.raises(PulsewrightError, match="does not say what to write"):
        write_out(small(tmp_path), tmp_path / "tank.xyz")


def test_text_whose_units_cannot_tell_codes_holds_codes(tmp_path: Path) -> None:
    channel = Channel("H01", "M1", scale=1e-9, offset=1e9)
    session = Session.from_samples(np.array([[[3, -4, 5]]], np.int16), [channel], 1e6)
    write_out(session, tmp_path / "tank.csv")
    assert (tmp_path / "tank.csv").read_text().splitlines()[-1] == "0,2e-06,5"
    with open_recording(tmp_path / "tank.csv") as reading:
        assert reading.session.codes().tolist() == [[[3, -4, 5]]]
