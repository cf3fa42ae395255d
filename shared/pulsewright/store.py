"""Session files: the HDF5 layout, written whole and read with every statement of it checked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.atomic import replacing
from pulsewright.block_source import pieces_of
from pulsewright.errors import SessionFileError
from pulsewright.file_blocks import ChunkedSource, FileSource, PositionedSource, can_read_at
from pulsewright.layout import BRING_IN, LAYOUT, LAYOUT_VERSION, LayoutReader, guarded
from pulsewright.plain_file import look_into
from pulsewright.session import BlockSource, Channel, Floats, Session

Progress = Callable[[float, str], None]
"""Told the share done, 0 … 1, and what is being done."""
SESSION_SUFFIXES = (".h5", ".hdf5")
WRITTEN_AT_ONCE = 32 << 20
"""Bytes of a block, about."""


def write_session(
    path: str | Path,
    samples: NDArray[Any] | BlockSource,
    channels: Sequence[Channel],
    sample_rate: float,
    pre_trigger: int,
    *,
    modules: Sequence[str] | None = None,
    trigger_time: Floats | None = None,
    trigger_offset: Floats | None = None,
    title: str = "",
    notes: str = "",
    origin: str = "",
    created: str = "",
    overwrite: bool = False,
    progress: Progress | None = None,
) -> None:
    """Write a session file: checked before it takes its place, and the same bytes for the same session.

    A block source is read block by block, from its first record to its last: a session may be larger than memory.

    Parameters
    ----------
    path : str or Path
        The file to make.
    samples : array (records, channels, record length), or BlockSource
        int8, uint8, int16, uint16, int32 or float32.
    channels : sequence of Channel
        One for each channel of `samples`.
    sample_rate : float
        Hertz.
    pre_trigger : int
        Samples before the trigger, 0 … record length.
    modules, trigger_time, trigger_offset, title, notes, origin, created
        As for `Session`; `created` in ISO 8601. Trigger times and offsets that are None are written as not known.
    overwrite : bool
        Whether a file of that name may be replaced.
    progress : callable, optional
        Called with (share done 0 … 1, what is being done) after each block of a block source; what it raises ends the
        writing, and no file is made.

    Raises
    ------
    SessionFileError
        If the file is there already, cannot be written, or what it would hold contradicts the layout.
    """
    target = Path(path)
    if not overwrite:
        refuse_existing(target)
    arrays: dict[str, Any] = {"samples": samples, "triggers/time": trigger_time, "triggers/offset": trigger_offset}
    numbers = {"sample_rate": sample_rate, "pre_trigger": pre_trigger}
    texts = {"title": title, "notes": notes, "source": origin, "created": created}
    try:
        with replacing(target) as temporary:
            _write(temporary, arrays, channels, modules, numbers, texts, progress)
            _read(temporary, target.name).close()
    except OSError as error:
        raise SessionFileError(f"{target.name}: cannot be written ({error.strerror or error})") from error
    except (TypeError, ValueError, OverflowError) as error:
        raise SessionFileError(f"{target.name}: cannot be written ({error})") from error


def check_new_session(target: Path) -> None:
    """Refuse a place where no session file can be made, before long work begins.

    Parameters
    ----------
    target : Path
        The file to make.

    Raises
    ------
    SessionFileError
        If its name does not end as a session file's, there is a file of that name, or its folder is not there.
    """
    if target.suffix.lower() not in SESSION_SUFFIXES:
        raise SessionFileError(f"{target.name}: a session file does not end so", "let it end in .h5")
    refuse_existing(target)
    check_folder(target)


def check_folder(target: Path) -> None:
    """Refuse a file to be made in a folder that is not there.

    Parameters
    ----------
    target : Path
        The file to make.

    Raises
    ------
    SessionFileError
    """
    if not target.absolute().parent.is_dir():
        raise SessionFileError(f"{target.name}: there is no folder {target.absolute().parent}", "make it first")


def refuse_existing(target: Path) -> None:
    """Refuse to write over a file, before long work begins.

    Parameters
    ----------
    target : Path
        The file to make.

    Raises
    ------
    SessionFileError
        If there is a file of that name.
    """
    if target.exists():
        raise SessionFileError(f"{target.name}: there is a file of that name", "choose another name")


def _write(
    temporary: Path,
    arrays: dict[str, Any],
    channels: Sequence[Channel],
    modules: Sequence[str] | None,
    numbers: dict[str, Any],
    texts: dict[str, str],
    progress: Progress | None,
) -> None:
    import h5py

    with h5py.File(temporary, "w", libver="earliest", track_order=False) as file:
        file.attrs["layout"] = LAYOUT
        file.attrs["layout_version"] = np.int64(LAYOUT_VERSION)
        file.attrs["sample_rate"] = np.float64(numbers["sample_rate"])
        file.attrs["pre_trigger"] = np.int64(numbers["pre_trigger"])
        for key, text in texts.items():
            file.attrs[key] = str(text)

        def put(name: str, data: Any, dtype: Any) -> None:
            # without times of making, and in one byte order, so that a recipe gives the same bytes everywhere
            file.create_dataset(name, data=np.asarray(data, dtype=dtype), track_times=False)

        samples = arrays["samples"]
        if hasattr(samples, "read_channel"):
            _put_blocks(file, samples, progress)
        else:
            samples = np.asarray(samples)
            put("samples", samples, samples.dtype.newbyteorder("<"))
        for name in ("name", "module", "unit"):
            put(f"channels/{name}", [getattr(c, name) for c in channels], h5py.string_dtype())
        for name in ("scale", "offset", "delay"):
            put(f"channels/{name}", [getattr(c, name) for c in channels], "<f8")
        for name in ("lowest_code", "highest_code"):
            put(f"channels/{name}", [getattr(c, name) for c in channels], "<i8")
        if modules is not None:
            put("modules/name", list(modules), h5py.string_dtype())
        # what nobody timed is not known for each module alone: one column would say that one value serves them all
        unknown = np.full((samples.shape[0], len(modules or {c.module for c in channels})), np.nan)
        for name in ("triggers/time", "triggers/offset"):
            put(name, unknown if arrays[name] is None else arrays[name], "<f8")


def _put_blocks(file: Any, samples: BlockSource, progress: Progress | None) -> None:
    """Write a block source's samples one after another."""
    dtype = samples.dtype.newbyteorder("<")
    stored = file.create_dataset("samples", samples.shape, dtype, track_times=False)
    done, total = 0, samples.shape[0] * samples.shape[2]
    for record, first, codes in pieces_of(samples, WRITTEN_AT_ONCE):
        stored[record : record + len(codes), :, first : first + codes.shape[2]] = codes
        done += codes.shape[0] * codes.shape[2]
        if progress is not None:
            progress(done / total, "Writing")


def save_session(
    path: str | Path, session: Session, *, overwrite: bool = False, progress: Progress | None = None
) -> None:
    """Write what a session holds as a session file, wherever its samples come from.

    Parameters
    ----------
    path : str or Path
        The file to make.
    session : Session
        Open; read block by block. What served all its modules is written once.
    overwrite, progress
        As for `write_session`.

    Raises
    ------
    SessionFileError
        As `write_session` does.
    """
    write_session(
        path,
        session.source,
        session.channels,
        session.sample_rate,
        session.pre_trigger,
        modules=session.modules,
        trigger_time=session.trigger_time[:, 0] if session.shared_time else session.trigger_time,
        trigger_offset=session.trigger_offset[:, 0] if session.shared_offset else session.trigger_offset,
        title=session.title,
        notes=session.notes,
        origin=session.origin,
        created=session.created,
        overwrite=overwrite,
        progress=progress,
    )


def read_session(path: str | Path) -> Session:
    """Open a session file for reading only, after checking every statement of its layout.

    Parameters
    ----------
    path : str or Path
        The file. It is never changed; samples are read when they are asked for.

    Returns
    -------
    Session
        Close it, or use it in a ``with`` block.

    Raises
    ------
    SessionFileError
        With the first thing that is wrong, and its place in the file.
    """
    return _read(Path(path), Path(path).name)


def _read(path: Path, name: str) -> Session:
    length = look_into(path, SessionFileError, "a session file", 1)[1]
    file = _open_hdf5(path, name)
    try:
        with guarded(name, "the file"):
            return _session(LayoutReader(file, path, name, length), path)
    except BaseException:
        with guarded(name, "the file"):
            file.close()
        raise


def _session(reader: LayoutReader, path: Path) -> Session:
    content = reader.content()
    source: FileSource
    if can_read_at() and content.samples_at is not None:
        source = PositionedSource(path, reader.name, content.samples_at, content.shape, content.stored_dtype)
        reader.file.close()
    else:
        source = ChunkedSource(reader.file, content.samples, reader.name, content.shape)
    session = Session(
        source,
        content.channels,
        content.sample_rate,
        content.pre_trigger,
        modules=content.modules,
        trigger_time=content.trigger_time,
        trigger_offset=content.trigger_offset,
        **content.texts,
        file=path,
    )
    try:
        _check_finite(session, reader.name)
    except BaseException:
        session.close()
        raise
    return session


def _check_finite(session: Session, name: str) -> None:
    """Refuse NaN and infinity, which only samples of a floating type can hold."""
    if session.dtype.kind != "f":
        return
    for first, start, block in pieces_of(session.source):
        if not np.isfinite(block).all():
            record, channel, sample = (int(place[0]) for place in np.nonzero(~np.isfinite(block)))
            value = block[record, channel, sample]
            raise SessionFileError(
                f"{name}: /samples holds {'NaN' if np.isnan(value) else 'an infinity'} in record {first + record}, "
                f"channel {session.channels[channel].name}, sample {start + sample}",
                "every sample must be a finite number",
            )


def _open_hdf5(path: Path, name: str) -> Any:
    import h5py

    with guarded(name, "the file"):
        if not h5py.is_hdf5(path):
            raise SessionFileError(f"{name}: is not HDF5, so it is not a Pulsewright session file", BRING_IN)
        try:
            # a chunk may be larger than HDF5's own cache: without room it is unpacked again for every record
            return h5py.File(path, "r", locking="best-effort", rdcc_nbytes=64 << 20)
        except OSError as error:
            if "truncated file:" in str(error):
                raise SessionFileError(f"{name}: the file is cut short", "copy the file again") from error
            if "unable to lock file" in str(error) or "already open for write" in str(error):
                raise SessionFileError(
                    f"{name}: another program has the file open for writing", "wait until it has finished"
                ) from error
            raise
