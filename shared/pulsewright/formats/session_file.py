"""Session files, as one more format: so that they can be described, renamed and written out as all others are."""

from __future__ import annotations

from pathlib import Path

from pulsewright.formats.concluding import Found, conclude
from pulsewright.formats.understanding import Ledger, Reading
from pulsewright.layout import LAYOUT
from pulsewright.session import Session

NAME = "session file"
SUFFIXES: tuple[str, ...] = ()


def recognises(head: bytes, path: Path) -> bool:
    """Say whether a file is HDF5 and calls itself a session file.

    Parameters
    ----------
    head : bytes
        The file's first bytes.
    path : Path
        The file.
    """
    if not head.startswith(b"\x89HDF\r\n\x1a\n"):
        return False
    import h5py
    from h5py import h5a, h5t

    try:
        with h5py.File(path, "r", locking="best-effort") as file:
            if not h5a.exists(file.id, b"layout"):
                return False
            # the text itself is read by the layout's own reader, which looks at its storage before it trusts it
            return bool(h5a.open(file.id, b"layout").get_type().get_class() == h5t.STRING)
    except Exception:  # h5py answers damage with nearly any type of exception; the other HDF5 reader tells of it
        return LAYOUT.encode() in head


def read(path: Path, ledger: Ledger) -> Reading:
    """Open a session file; options may change what it says of its channels and times.

    Parameters
    ----------
    path : Path
        The file.
    ledger : Ledger
        Asked for what a person wants changed.

    Raises
    ------
    SessionFileError
        With the first thing that is wrong, and its place in the file.
    """
    from pulsewright.store import read_session

    session = read_session(path)
    try:
        reading = conclude(ledger, path, NAME, _found(session))
    except BaseException:
        session.close()
        raise
    return reading


def _found(session: Session) -> Found:
    channels = session.channels
    return Found(
        session.source,
        names=[c.name for c in channels],
        modules=[c.module for c in channels],
        units=[c.unit for c in channels],
        scales=[c.scale for c in channels],
        offsets=[c.offset for c in channels],
        delays=[c.delay for c in channels],
        end_codes=[(c.lowest_code, c.highest_code) for c in channels],
        module_order=session.modules,
        sample_rate=session.sample_rate,
        pre_trigger=session.pre_trigger,
        trigger_time=session.trigger_time[:, 0] if session.shared_time else session.trigger_time,
        trigger_offset=session.trigger_offset[:, 0] if session.shared_offset else session.trigger_offset,
        title=session.title,
        notes=session.notes,
        origin=session.origin,
        created=session.created,
        complete=True,
    )
