"""Finding out what format a file has, by what is in it first and by its suffix second, and opening it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from pathlib import Path
from typing import Protocol

from pulsewright.errors import PulsewrightError, RecordingError
from pulsewright.formats.understanding import Ledger, Reading, unreadable
from pulsewright.plain_file import look_into
from pulsewright.watched_file import WatchedFile

HEAD_BYTES = 64 << 10
"""How much of a file's beginning is looked at to tell its format."""

_MODULES = ("session_file", "hdf5_datasets", "wav", "numpy_files", "matlab5", "sigmf", "raw_binary", "delimited")
"""The formats' modules, those first whose files can be told for certain."""


class Format(Protocol):
    """What a format's module has.

    Attributes
    ----------
    NAME : str
        What a person calls the format.
    SUFFIXES : tuple of str
        The endings that its files usually have.
    """

    NAME: str
    SUFFIXES: tuple[str, ...]

    def recognises(self, head: bytes, path: Path) -> bool:
        """Say whether the first bytes of a file are this format's.

        Parameters
        ----------
        head : bytes
            The file's first bytes.
        path : Path
            The file.
        """

    def read(self, path: Path, ledger: Ledger) -> Reading:
        """Return the file as it is understood.

        Parameters
        ----------
        path : Path
            The file.
        ledger : Ledger
            Asked for what the file does not say.
        """


def formats() -> tuple[Format, ...]:
    """Return every format that can be read."""
    return tuple(import_module(f"pulsewright.formats.{name}") for name in _MODULES)


def open_recording(
    path: str | Path,
    options: Mapping[str, str] | None = None,
    *,
    progress: Callable[[float, str], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
    channels: Mapping[str, Mapping[str, str]] | None = None,
) -> Reading:
    """Open a file of any format but the session file's, for reading only.

    Parameters
    ----------
    path : str or Path
        The file. It is never changed; samples are read when they are asked for.
    options : mapping of str to str
        How it is to be understood, by the names of `option_words.OPTIONS`; what is not given is found in the file or
        guessed.
    progress : callable, optional
        Told (share done 0 … 1, what is being done) while a file must be looked through, as text must.
    cancelled : callable, optional
        Asked meanwhile; opening ends when it returns True.
    channels : mapping of str to mapping of str to str, optional
        Options for single channels, by the names that they have without: ``{"left": {"scale": "2 mV"}}``.

    Returns
    -------
    Reading
        Close it, or use it in a ``with`` block.

    Raises
    ------
    RecordingError
        One sentence: what is wrong, where, and in which option if it is in one.
    ReadingCancelled
        If `cancelled` returned True.
    """
    file = Path(path)
    ledger = Ledger(file.name, options, progress, cancelled, channels)
    head = _head(file)
    chosen = _format_of(file, head, ledger)
    try:
        watched = WatchedFile(file)
        reading = chosen.read(file, ledger)
    except (PulsewrightError, MemoryError):
        raise
    except (OSError, ValueError, TypeError, KeyError, IndexError, OverflowError, EOFError, ArithmeticError) as error:
        raise unreadable(file.name, error) from error
    source = reading.session.source
    source.watched = (watched, *source.watched)
    try:
        ledger.check_all_used(chosen.NAME)
    except PulsewrightError:
        reading.close()
        raise
    return reading


def is_session_file(path: str | Path) -> bool:
    """Say whether a file is a session file, or calls itself one.

    Parameters
    ----------
    path : str or Path
        The file.

    Raises
    ------
    RecordingError
        If it cannot be opened at all.
    """
    from pulsewright.formats import session_file

    return session_file.recognises(_head(Path(path)), Path(path))


def _head(path: Path) -> bytes:
    return look_into(path, RecordingError, "a file", HEAD_BYTES)[0]


def _format_of(path: Path, head: bytes, ledger: Ledger) -> Format:
    known = formats()
    if "raw" in ledger.options:  # whoever describes a file's bytes wants them read so, whatever they look like
        return next(entry for entry in known if entry.NAME == "raw binary")
    for entry in known:
        if entry.recognises(head, path):
            return entry
    for entry in known:
        if path.suffix.lower() in entry.SUFFIXES:
            raise RecordingError(
                f"{path.name}: is called like {entry.NAME}, but its content is not", "copy the file again"
            )
    raise RecordingError(
        f"{path.name}: is of no format that is known here",
        "describe its bytes in a TOML file and give that with --raw, or export it as CSV",
        "raw",
    )
