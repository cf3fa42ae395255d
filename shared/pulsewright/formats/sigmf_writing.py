"""A session as SigMF: one capture for each record, the session's facts in a field of our own namespace."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

from pulsewright.atomic import replacing
from pulsewright.errors import RecordingError
from pulsewright.formats.session_facts import MOST_BYTES, bounded_text, facts_of
from pulsewright.formats.sigmf import FACTS_FIELD
from pulsewright.formats.writing import Progress, interleaved, pieces_to_write
from pulsewright.session import Session

VERSION = "1.2.0"


def write(session: Session, to: Path, progress: Progress | None = None) -> None:
    """Write a session as metadata and samples beside each other, the metadata last.

    Parameters
    ----------
    session : Session
        Open.
    to : Path
        One of the two files to make; the other has the same stem.
    progress : callable, optional
        As for `writing.write_out`.

    Raises
    ------
    RecordingError
        If the metadata would be too long, or a sample is no finite number.
    OSError
        If they cannot be written.
    """
    facts = facts_of(session)
    bounded_text(facts, to.name)
    digest = hashlib.sha512()
    text = _metadata(session, facts, "0" * 128)  # long metadata are refused before the samples are written
    if len(text) > MOST_BYTES:
        raise RecordingError(f"{to.name}: SigMF has no room for {session.records:,} records", "write .npz")
    with replacing(to.with_suffix(".sigmf-meta")) as meta, replacing(to.with_suffix(".sigmf-data")) as data:
        with data.open("wb") as stream:
            for _, _, codes in pieces_to_write(session, progress):
                piece = interleaved(codes)
                digest.update(piece)
                stream.write(piece)
        meta.write_bytes(_metadata(session, facts, digest.hexdigest()))


def _metadata(session: Session, facts: dict[str, Any], checksum: str) -> bytes:
    kind = {"i": "i", "u": "u", "f": "f"}[session.dtype.kind]
    bits = 8 * session.dtype.itemsize
    told: dict[str, Any] = {
        "core:datatype": f"r{kind}{bits}" + ("" if bits == 8 else "_le"),
        "core:version": VERSION,
        "core:num_channels": len(session.channels),
        "core:sample_rate": session.sample_rate,
        "core:sha512": checksum,
        "core:extensions": [{"name": "pulsewright", "version": "1.0.0", "optional": True}],
        FACTS_FIELD: facts,
    }
    if session.title:
        told["core:description"] = session.title
    captures = [{"core:sample_start": record * session.record_length} for record in range(session.records)]
    meta = {"global": told, "captures": captures, "annotations": []}
    return json.dumps(meta, allow_nan=False, ensure_ascii=False).encode()
