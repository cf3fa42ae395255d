"""Writing a session file by streaming: a source larger than memory becomes a file piece by piece."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from pulsewright.atomic import replacing
from pulsewright.errors import SessionFileError
from pulsewright.layout import SAMPLE_TYPES
from pulsewright.session import Codes, Session

Progress = Callable[[float, str], None]
"""Told the share done, 0 to 1, and what is being done."""


class WritingCancelled(Exception):  # noqa: N818 - nothing went wrong: it was asked for
    """Writing was stopped because `cancelled` said so; no file was made or changed."""


def write_streamed(
    path: str | Path,
    session: Session,
    *,
    overwrite: bool = False,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> None:
    """Write a session file from any open session, in pieces, whole or not at all.

    Parameters
    ----------
    path : str or Path
        The file to make.
    session : Session
        What it will hold; its samples are read in pieces of some 32 MB, never all at once.
    overwrite : bool
        Whether a file of that name may be replaced.
    progress : callable, optional
        Called with (share done 0 … 1, what is being done).
    cancelled : callable, optional
        Asked before every piece; writing ends when it returns True.

    Raises
    ------
    SessionFileError
        If the file is there already, cannot be written, or what it would hold contradicts the layout.
    WritingCancelled
        If `cancelled` returned True.
    """
    from pulsewright.store import read_checked

    target = Path(path)
    check_target(target, session, overwrite=overwrite)
    try:
        with replacing(target) as temporary:
            _write(temporary, session, target.name, progress, cancelled)
            read_checked(temporary, target.name, samples_seen=True).close()
    except OSError as error:
        raise SessionFileError(f"{target.name}: cannot be written ({error.strerror or error})") from error
    except (TypeError, ValueError, OverflowError) as error:
        raise SessionFileError(f"{target.name}: cannot be written ({error})") from error


def check_target(target: Path, session: Session | None = None, *, overwrite: bool = False) -> None:
    """Refuse a target that is there already, or that is the session's own file.

    Parameters
    ----------
    target : Path
        The file to make.
    session : Session, optional
        Where its samples come from.
    overwrite : bool
        Whether a file of that name may be replaced.

    Raises
    ------
    SessionFileError
        With what to do instead.
    """
    if not target.exists():
        return
    if session is not None and session.file is not None and session.file.exists() and target.samefile(session.file):
        raise SessionFileError(f"{target.name}: is the file that is read", "choose another name")
    if not overwrite:
        raise SessionFileError(f"{target.name}: there is a file of that name", "choose another name")


def pieces_of(session: Session, name: str, progress: Progress | None, cancelled: Callable[[], bool] | None) -> Any:
    """Yield (record, first sample, codes) of the whole session, every sample a finite number.

    Parameters
    ----------
    session : Session
        Open.
    name : str
        Of the file that is written, for errors.
    progress, cancelled
        As for `write_streamed`.

    Yields
    ------
    int, int, array (records, channels, samples)
        As `Session.pieces` does.

    Raises
    ------
    SessionFileError
        If a sample is NaN or infinite.
    WritingCancelled
        If `cancelled` returned True.
    """
    total = session.records * session.record_length
    done = 0
    for record, first, codes in session.pieces():
        if cancelled is not None and cancelled():
            raise WritingCancelled
        check_finite(codes, session, name, record, first)
        yield record, first, codes
        done += codes.shape[0] * codes.shape[2]
        if progress is not None:
            progress(done / total, f"Writing {name}")


def check_finite(codes: Codes, session: Session, name: str, record: int, first_sample: int = 0) -> None:
    """Refuse NaN and infinity, which only samples of a floating type can hold.

    Parameters
    ----------
    codes : array (records, channels, samples)
        As stored.
    session : Session
        Whose channels they belong to.
    name : str
        The file's name, for the error.
    record, first_sample : int
        Where the piece begins.

    Raises
    ------
    SessionFileError
        With the place of the first that is not finite.
    """
    if codes.dtype.kind != "f" or np.isfinite(codes).all():
        return
    at, channel, sample = (int(place[0]) for place in np.nonzero(~np.isfinite(codes)))
    value = codes[at, channel, sample]
    raise SessionFileError(
        f"{name}: /samples holds {'NaN' if np.isnan(value) else 'an infinity'} in record {record + at}, "
        f"channel {session.channels[channel].name}, sample {first_sample + sample}",
        "every sample must be a finite number",
    )


def _write(
    temporary: Path,
    session: Session,
    name: str,
    progress: Progress | None,
    cancelled: Callable[[], bool] | None,
) -> None:
    import h5py

    from pulsewright.store import write_attributes, write_tables

    if session.dtype.name not in SAMPLE_TYPES:
        raise SessionFileError(f"{name}: samples cannot be {session.dtype.name}", f"use {', '.join(SAMPLE_TYPES)}")
    numbers = {"sample_rate": session.sample_rate, "pre_trigger": session.pre_trigger}
    texts = {"title": session.title, "notes": session.notes, "source": session.origin, "created": session.created}
    with h5py.File(temporary, "w", libver="earliest", track_order=False) as file:
        write_attributes(file, numbers, texts)
        shape = (session.records, len(session.channels), session.record_length)
        samples = file.create_dataset("samples", shape=shape, dtype=session.dtype.newbyteorder("<"), track_times=False)
        for record, first, codes in pieces_of(session, name, progress, cancelled):
            samples[record : record + len(codes), :, first : first + codes.shape[2]] = codes
        time = session.trigger_time[:, 0] if session.shared_time else session.trigger_time
        offset = session.trigger_offset[:, 0] if session.shared_offset else session.trigger_offset
        write_tables(file, session.channels, session.modules, time, offset)
