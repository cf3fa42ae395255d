"""A session as a NumPy archive: arrays to be used in a notebook, and the session's facts so that it comes back."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import IO, Any

import numpy as np

from pulsewright.atomic import replacing
from pulsewright.formats.numpy_files import FACTS_MEMBER
from pulsewright.formats.session_facts import bounded_text, facts_of
from pulsewright.formats.writing import Progress, pieces_to_write
from pulsewright.session import Session

_DATE = (1980, 1, 1, 0, 0, 0)


def write(session: Session, to: Path, progress: Progress | None = None) -> None:
    """Write a session as ``samples`` (records, channels, record length) with its times, names and scales beside.

    Parameters
    ----------
    session : Session
        Open.
    to : Path
        The file to make.
    progress : callable, optional
        As for `writing.write_out`.

    Raises
    ------
    PulsewrightError
        If a sample is no finite number.
    OSError
        If it cannot be written.
    """
    facts = bounded_text(facts_of(session), to.name)
    beside: dict[str, Any] = {
        FACTS_MEMBER: np.frombuffer(facts.encode(), np.uint8),
        "sample_rate": np.float64(session.sample_rate),
        "pre_trigger": np.int64(session.pre_trigger),
        "trigger_time": session.trigger_time,
        "trigger_offset": session.trigger_offset,
        "channel_names": np.array([channel.name for channel in session.channels]),
        "scale": np.array([channel.scale for channel in session.channels]),
        "offset": np.array([channel.offset for channel in session.channels]),
    }
    with replacing(to) as temporary, zipfile.ZipFile(temporary, "w", zipfile.ZIP_STORED) as archive:
        for name, array in beside.items():
            with _member(archive, name) as stream:
                np.lib.format.write_array(stream, np.asarray(array), allow_pickle=False)
        with _member(archive, "samples") as stream:
            _write_samples(session, stream, progress)


def _member(archive: zipfile.ZipFile, name: str) -> IO[bytes]:
    return archive.open(zipfile.ZipInfo(f"{name}.npy", _DATE), "w", force_zip64=True)


def _write_samples(session: Session, stream: IO[bytes], progress: Progress | None) -> None:
    dtype = session.dtype.newbyteorder("<")
    shape = (session.records, len(session.channels), session.record_length)
    form = {"descr": np.lib.format.dtype_to_descr(dtype), "fortran_order": False, "shape": shape}
    np.lib.format.write_array_header_1_0(stream, form)
    for record, first, codes in in_order(session, progress):
        del record, first
        stream.write(codes.astype(dtype, copy=False).tobytes())


def in_order(session: Session, progress: Progress | None) -> Any:
    """Yield pieces in the order in which samples lie in an array: a record larger than memory channel by channel.

    Parameters
    ----------
    session : Session
        Open.
    progress : callable, optional
        As for `writing.write_out`.

    Yields
    ------
    int, int, array
        Record, first sample, samples as stored.
    """
    a_record = len(session.channels) * session.record_length * session.dtype.itemsize
    if a_record <= 8 << 20 or len(session.channels) == 1:
        yield from pieces_to_write(session, progress)
        return
    for record in range(session.records):
        for channel in range(len(session.channels)):
            for first in range(0, session.record_length, 1 << 20):
                stop = min(first + (1 << 20), session.record_length)
                yield record, first, session.stretch_codes(record, first, stop, slice(channel, channel + 1))
            if progress is not None:
                done = record + (channel + 1) / len(session.channels)
                progress(done / session.records, "Writing")
