"""Session files: the HDF5 layout, written whole and read with every statement of it checked."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.atomic import replacing
from pulsewright.errors import SessionFileError
from pulsewright.file_blocks import ChunkedSource, FileSource, PositionedSource, can_read_at
from pulsewright.layout import BRING_IN, LAYOUT, LAYOUT_VERSION, LayoutReader, guarded
from pulsewright.session import Channel, Floats, Session
from pulsewright.session_writing import check_finite


def write_session(
    path: str | Path,
    samples: NDArray[Any],
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
) -> None:
    """Write a session file: checked before it takes its place, and the same bytes for the same session.

    Parameters
    ----------
    path : str or Path
        The file to make.
    samples : array (records, channels, record length)
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

    Raises
    ------
    SessionFileError
        If the file is there already, cannot be written, or what it would hold contradicts the layout.
    """
    target = Path(path)
    if not overwrite and target.exists():
        raise SessionFileError(f"{target.name}: there is a file of that name", "choose another name")
    arrays: dict[str, Any] = {"samples": samples, "triggers/time": trigger_time, "triggers/offset": trigger_offset}
    numbers = {"sample_rate": sample_rate, "pre_trigger": pre_trigger}
    texts = {"title": title, "notes": notes, "source": origin, "created": created}
    try:
        with replacing(target) as temporary:
            _write(temporary, arrays, channels, modules, numbers, texts)
            read_checked(temporary, target.name).close()
    except OSError as error:
        raise SessionFileError(f"{target.name}: cannot be written ({error.strerror or error})") from error
    except (TypeError, ValueError, OverflowError) as error:
        raise SessionFileError(f"{target.name}: cannot be written ({error})") from error


def _write(
    temporary: Path,
    arrays: dict[str, Any],
    channels: Sequence[Channel],
    modules: Sequence[str] | None,
    numbers: dict[str, Any],
    texts: dict[str, str],
) -> None:
    import h5py

    with h5py.File(temporary, "w", libver="earliest", track_order=False) as file:
        write_attributes(file, numbers, texts)
        samples = np.asarray(arrays["samples"])
        _put(file, "samples", samples, samples.dtype.newbyteorder("<"))
        # what nobody timed is not known for each module alone: one column would say that one value serves them all
        unknown = np.full((len(samples), len(modules or {c.module for c in channels})), np.nan)
        triggers = [unknown if arrays[f"triggers/{name}"] is None else arrays[f"triggers/{name}"]
                    for name in ("time", "offset")]  # fmt: skip
        write_tables(file, channels, modules, *triggers)


def _put(file: Any, name: str, data: Any, dtype: Any) -> None:
    # without times of making, and in one byte order, so that a recipe gives the same bytes everywhere
    file.create_dataset(name, data=np.asarray(data, dtype=dtype), track_times=False)


def write_attributes(file: Any, numbers: dict[str, Any], texts: dict[str, str]) -> None:
    """Write a session file's attributes.

    Parameters
    ----------
    file : h5py.File
        Open for writing.
    numbers, texts : dict
        ``sample_rate`` (Hz) and ``pre_trigger``; ``title``, ``notes``, ``source`` and ``created``.
    """
    file.attrs["layout"] = LAYOUT
    file.attrs["layout_version"] = np.int64(LAYOUT_VERSION)
    file.attrs["sample_rate"] = np.float64(numbers["sample_rate"])
    file.attrs["pre_trigger"] = np.int64(numbers["pre_trigger"])
    for key, text in texts.items():
        file.attrs[key] = str(text)


def write_tables(
    file: Any, channels: Sequence[Channel], modules: Sequence[str] | None, time: Floats, offset: Floats
) -> None:
    """Write everything of a session file that is neither an attribute nor a sample.

    Parameters
    ----------
    file : h5py.File
        Open for writing.
    channels, modules
        As for `write_session`.
    time, offset : array (records,) or (records, modules)
        Seconds, NaN where not known.
    """
    import h5py

    for name in ("name", "module", "unit"):
        _put(file, f"channels/{name}", [getattr(c, name) for c in channels], h5py.string_dtype())
    for name in ("scale", "offset", "delay"):
        _put(file, f"channels/{name}", [getattr(c, name) for c in channels], "<f8")
    for name in ("lowest_code", "highest_code"):
        _put(file, f"channels/{name}", [getattr(c, name) for c in channels], "<i8")
    if modules is not None:
        _put(file, "modules/name", list(modules), h5py.string_dtype())
    _put(file, "triggers/time", time, "<f8")
    _put(file, "triggers/offset", offset, "<f8")


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
    return read_checked(Path(path), Path(path).name)


def read_checked(path: Path, name: str, *, samples_seen: bool = False) -> Session:
    """Open a session file as `read_session` does, under a name of its own.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        What it is called in errors.
    samples_seen : bool
        Whether the samples have been found finite already: they are not read again.

    Raises
    ------
    SessionFileError
        With the first thing that is wrong, and its place in the file.
    """
    length = _usable_length(path, name)
    file = _open_hdf5(path, name)
    try:
        with guarded(name, "the file"):
            return _session(LayoutReader(file, path, name, length), path, samples_seen)
    except BaseException:
        with guarded(name, "the file"):
            file.close()
        raise


def _session(reader: LayoutReader, path: Path, samples_seen: bool) -> Session:
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
        if session.dtype.kind == "f" and not samples_seen:
            for record, first, codes in session.pieces():
                check_finite(codes, session, reader.name, record, first)
    except BaseException:
        session.close()
        raise
    return session


def _usable_length(path: Path, name: str) -> int:
    """Return the file's length in bytes, or say why it cannot be opened at all."""
    try:
        path.stat()  # says of a NUL in the path what the questions below pass over
        if path.is_dir():
            raise SessionFileError(f"{name}: is a folder", "give a session file")
        # opening a pipe or a device would wait, perhaps for ever
        if not path.is_file():
            raise SessionFileError(f"{name}: is not a file that holds data", "give a session file")
        with path.open("rb") as stream:
            stream.read(1)
        length = path.stat().st_size
    except FileNotFoundError as error:
        raise SessionFileError(f"{name}: there is no such file", f"looked in {path.absolute().parent}") from error
    except OSError as error:
        raise SessionFileError(f"{name}: cannot be opened ({error.strerror})", "see whether you may read it") from error
    except ValueError as error:  # a NUL in the path
        raise SessionFileError(f"{name!r}: is not a file name", "give a session file") from error
    if length == 0:
        raise SessionFileError(f"{name}: is empty", "copy the file again")
    return length


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
