"""A session as delimited text: a row for each sample of each record, the session's facts as remarks above."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from typing import Any

import numpy as np

from pulsewright.atomic import replacing
from pulsewright.block_source import Codes
from pulsewright.formats.delimited_own import CODES, MARK, UNITS
from pulsewright.formats.session_facts import bounded_text, facts_of
from pulsewright.formats.writing import Progress, pieces_to_write
from pulsewright.session import Session

_REMARK = 4000
_ROOM = 2.0**50
"""Units whose offset is more than so many codes could not tell neighbouring codes apart in 64 bits."""


def write(session: Session, to: Path, progress: Progress | None = None) -> None:
    """Write a session as text: values in units where those tell every code, else codes.

    The time of a row is its sample's, counted from sample number `pre_trigger`.

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
    in_units = _units_tell_codes(session)
    facts = {**facts_of(session), "values": UNITS if in_units else CODES}
    text = bounded_text(facts, to.name)
    with replacing(to) as temporary, temporary.open("w", encoding="utf-8", newline="") as stream:
        for start in range(0, len(text), _REMARK):
            stream.write(MARK.decode() + text[start : start + _REMARK] + "\n")
        stream.write(_headings(session, in_units))
        for record, first, codes in pieces_to_write(session, progress):
            for row, block in enumerate(codes):
                stream.writelines(_rows(session, record + row, first, _values(session, block, in_units)))


def _units_tell_codes(session: Session) -> bool:
    if session.dtype.kind == "f":
        return all(channel.scale == 1.0 and channel.offset == 0.0 for channel in session.channels)
    return all(
        abs(channel.offset) < _ROOM * abs(channel.scale) and 1e-250 < abs(channel.scale) < 1e250
        for channel in session.channels
    )


def _values(session: Session, block: Codes, in_units: bool) -> Any:
    """Return the values of one piece of a record, (samples, channels)."""
    if not in_units or session.dtype.kind == "f":
        return block.T
    scales = np.array([channel.scale for channel in session.channels])
    offsets = np.array([channel.offset for channel in session.channels])
    return block.T.astype(np.float64) * scales + offsets


def _headings(session: Session, in_units: bool) -> str:
    stream = StringIO()
    names = [f"{channel.name} / {channel.unit if in_units else 'code'}" for channel in session.channels]
    safe = [f"'{name}" if name.startswith(("=", "+", "-", "@", "\t")) else name for name in names]
    csv.writer(stream, lineterminator="\n").writerow(["record", "time / s", *(" ".join(name.split()) for name in safe)])
    return stream.getvalue()


def _rows(session: Session, record: int, first: int, values: Any) -> Iterator[str]:
    times = (np.arange(first, first + len(values)) - session.pre_trigger) / session.sample_rate
    if values.dtype == np.float32:  # nine digits tell every one of them
        cells = [[f"{value:.9g}" for value in row] for row in values.tolist()]
    else:
        cells = [[repr(value) for value in row] for row in values.tolist()]
    for time, row in zip(times.tolist(), cells, strict=True):
        yield f"{record},{time!r},{','.join(row)}\n"
