"""Writing a session out: as a session file, NumPy archive, WAV, SigMF or delimited text, by the name it is to have."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path

import numpy as np

from pulsewright.block_source import Codes, pieces_of
from pulsewright.errors import RecordingError
from pulsewright.session import Session
from pulsewright.store import SESSION_SUFFIXES, check_folder, refuse_existing, save_session

Progress = Callable[[float, str], None]

_WRITERS = {
    ".npz": "npz_writing",
    ".csv": "csv_writing",
    ".wav": "wav_writing",
    ".sigmf-meta": "sigmf_writing",
    ".sigmf-data": "sigmf_writing",
}
WRITTEN = (".h5", ".npz", ".csv", ".wav", ".sigmf-meta")
"""The endings by which a form is chosen."""


def write_out(session: Session, to: Path, progress: Progress | None = None) -> None:
    """Write a session in the form that its new file's ending names; it comes back the same in codes and in times.

    Parameters
    ----------
    session : Session
        Open; read piece by piece.
    to : Path
        The file to make: it appears whole, or not at all.
    progress : callable, optional
        Called with (share done 0 … 1, what is being done); what it raises ends the writing.

    Raises
    ------
    PulsewrightError
        If the file is there already, its ending is none of `WRITTEN`, or it cannot be written.
    """
    suffix = check_target(to)
    try:
        if suffix in SESSION_SUFFIXES:
            save_session(to, session, progress=progress)
        else:
            import_module(f"pulsewright.formats.{_WRITERS[suffix]}").write(session, to, progress)
    except OSError as error:
        raise RecordingError(
            f"{to.name}: cannot be written ({error.strerror or error})", "give another place"
        ) from error


def check_target(to: Path) -> str:
    """Return the ending of a file to be made, before long work begins.

    Parameters
    ----------
    to : Path
        The file to make.

    Raises
    ------
    PulsewrightError
        If its ending is none that can be written, it is there already, or its folder is not.
    """
    suffix = to.suffix.lower()
    if suffix not in _WRITERS and suffix not in SESSION_SUFFIXES:
        raise RecordingError(f"{to.name}: its ending does not say what to write", f"let it end in {', '.join(WRITTEN)}")
    refuse_existing(to)
    if suffix.startswith(".sigmf"):
        for other in (".sigmf-meta", ".sigmf-data"):
            refuse_existing(to.with_suffix(other))
    check_folder(to)
    return suffix


def pieces_to_write(session: Session, progress: Progress | None) -> Iterator[tuple[int, int, Codes]]:
    """Yield (record, first sample, codes) of all samples in this machine's byte order, none of them NaN or infinite.

    Parameters
    ----------
    session : Session
        Open.
    progress : callable, optional
        As for `write_out`.

    Yields
    ------
    int, int, array (records, channels, samples)
        As `pieces_of` does.

    Raises
    ------
    RecordingError
        If a sample is no finite number.
    """
    done, total = 0, session.records * session.record_length
    for record, first, codes in pieces_of(session.source, 8 << 20):
        if codes.dtype.kind == "f" and not np.isfinite(codes).all():
            raise RecordingError(f"record {record} or one soon after it holds a sample that is no finite number",
                                 "every sample must be one")  # fmt: skip
        yield record, first, codes
        done += codes.shape[0] * codes.shape[2]
        if progress is not None:
            progress(done / total, "Writing")


def interleaved(codes: Codes) -> bytes:
    """Return samples as most formats lay them: little-endian, channels taking turns.

    Parameters
    ----------
    codes : array (records, channels, samples)
        As stored.
    """
    return codes.astype(codes.dtype.newbyteorder("<"), copy=False).transpose(0, 2, 1).tobytes()
