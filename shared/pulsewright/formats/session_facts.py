"""Everything of a session but its samples, as plain values that JSON can hold to the last bit.

A format that has no place of its own for channels' scales or for trigger times carries them in this form, so that a
session that is written out and brought in again is the same session. Not known is null.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from pulsewright.block_source import BlockSource
from pulsewright.errors import RecordingError
from pulsewright.formats.concluding import Found
from pulsewright.layout import SAMPLE_TYPES
from pulsewright.session import Floats, Session

FACTS = "pulsewright-facts/1"
MOST_BYTES = 12 << 20
"""Of facts as text: what is made of them in memory is some twenty times as large at worst."""

_LISTS = {"names": str, "modules": str, "units": str, "scales": float, "offsets": float, "delays": float}


def facts_of(session: Session) -> dict[str, Any]:
    """Return everything of a session but its samples.

    Parameters
    ----------
    session : Session
        Open or closed.
    """
    channels = session.channels
    return {
        "facts": FACTS,
        "sample_type": session.dtype.name,
        "sample_rate": session.sample_rate,
        "pre_trigger": session.pre_trigger,
        "record_length": session.record_length,
        "title": session.title,
        "notes": session.notes,
        "origin": session.origin,
        "created": session.created,
        "module_order": list(session.modules),
        "names": [c.name for c in channels],
        "modules": [c.module for c in channels],
        "units": [c.unit for c in channels],
        "scales": [c.scale for c in channels],
        "offsets": [c.offset for c in channels],
        "delays": [c.delay for c in channels],
        "end_codes": [[c.lowest_code, c.highest_code] for c in channels],
        "trigger_time": _listed(session.trigger_time, session.shared_time),
        "trigger_offset": _listed(session.trigger_offset, session.shared_offset),
    }


def _listed(table: Floats, shared: bool) -> list[Any]:
    """Return a table of times with null for what is not known; one column where it serves all modules."""
    chosen = table[:, 0] if shared else table
    as_objects = chosen.astype(object)
    as_objects[~np.isfinite(chosen)] = None
    result: list[Any] = as_objects.tolist()
    return result


def bounded_text(facts: dict[str, Any], name: str) -> str:
    """Return facts as one line of JSON, if they are short enough to be read back.

    Parameters
    ----------
    facts : dict
        As `facts_of` returns them.
    name : str
        Of the file that will carry them, for the error.

    Raises
    ------
    RecordingError
        If there are more of them than a reader would take.
    """
    text = json.dumps(facts, allow_nan=False, ensure_ascii=True)
    if len(text) > MOST_BYTES:
        raise RecordingError(f"{name}: times and texts of so many records have no room in it", "write a session file")
    return text


def read_facts(text: str | bytes, name: str) -> dict[str, Any]:
    """Read facts, every one of them checked for its kind.

    Parameters
    ----------
    text : str or bytes
        JSON.
    name : str
        Of the file that carries them, for errors.

    Raises
    ------
    RecordingError
        With the first that is wrong.
    """
    if len(text) > MOST_BYTES:
        raise _wrong(name, "they are too long")
    try:
        facts = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise _wrong(name, "they are no JSON") from error
    return checked_facts(facts, name)


def checked_facts(facts: Any, name: str) -> dict[str, Any]:
    """Return facts, every one of them checked for its kind.

    Parameters
    ----------
    facts : object
        As JSON gave them.
    name : str
        Of the file that carries them, for errors.

    Raises
    ------
    RecordingError
        With the first that is wrong.
    """
    if not isinstance(facts, dict) or facts.get("facts") != FACTS:
        raise _wrong(name, "they are of another kind")
    for key in ("title", "notes", "origin", "created"):
        if not isinstance(facts.get(key), str):
            raise _wrong(name, f"{key} is no text")
    for key in ("pre_trigger", "record_length"):
        if not _is_whole(facts.get(key)) or facts[key] < 0:
            raise _wrong(name, f"{key} is no count")
    if not _is_number(facts.get("sample_rate")) or facts["sample_rate"] <= 0:
        raise _wrong(name, "sample_rate is no number above 0")
    if facts.get("sample_type") not in SAMPLE_TYPES:
        raise _wrong(name, "sample_type is none that a session has")
    _check_channels(facts, name)
    for key in ("trigger_time", "trigger_offset"):
        _table(facts.get(key), len(facts["module_order"]), name, key)
    return facts


def _check_channels(facts: dict[str, Any], name: str) -> None:
    count = len(facts["names"]) if isinstance(facts.get("names"), list) else 0
    for key, kind in _LISTS.items():
        values = facts.get(key)
        right = _is_number if kind is float else _is_text
        if not isinstance(values, list) or len(values) != count or not count or not all(map(right, values)):
            raise _wrong(name, f"{key} is not one for each channel")
    order = facts.get("module_order")
    if not isinstance(order, list) or not all(map(_is_text, order)) or not set(facts["modules"]) <= set(order):
        raise _wrong(name, "module_order does not name the channels' modules")
    ends = facts.get("end_codes")
    if (
        not isinstance(ends, list)
        or len(ends) != count
        or not all(
            isinstance(pair, list) and len(pair) == 2 and all(_is_whole(end) and abs(end) < 1 << 63 for end in pair)
            for pair in ends
        )
    ):
        raise _wrong(name, "end_codes is not a pair for each channel")


def _table(values: Any, modules: int, name: str, key: str) -> Floats:
    if not isinstance(values, list):
        raise _wrong(name, f"{key} is no list")
    rows = [row if isinstance(row, list) else [row] for row in values]
    widths = {len(row) for row in rows}
    if (
        not widths <= {1, modules}
        or len(widths) > 1
        or not all(cell is None or _is_number(cell) for row in rows for cell in row)
    ):
        raise _wrong(name, f"{key} is no table of numbers")
    table = np.array([[np.nan if cell is None else cell for cell in row] for row in rows], dtype=np.float64)
    return table[:, 0] if rows and not isinstance(values[0], list) else table.reshape(len(rows), -1)


def found_by(facts: dict[str, Any], source: BlockSource, name: str) -> Found:
    """Return what checked facts say about samples.

    Parameters
    ----------
    facts : dict
        As `read_facts` returns them.
    source : BlockSource
        The samples.
    name : str
        Of the file that carries them, for errors.

    Raises
    ------
    RecordingError
        If they are about other samples.
    """
    records, channels, length = source.shape
    if channels != len(facts["names"]) or length != facts["record_length"]:
        raise _wrong(name, f"they are about {len(facts['names'])} channels and records of {facts['record_length']}")
    tables = [_table(facts[key], len(facts["module_order"]), name, key) for key in ("trigger_time", "trigger_offset")]
    for table in tables:
        if len(table) != records:
            raise _wrong(name, f"they have {len(table)} trigger times or offsets for {records} records")
    return Found(
        source,
        names=facts["names"],
        modules=facts["modules"],
        units=facts["units"],
        scales=[float(value) for value in facts["scales"]],
        offsets=[float(value) for value in facts["offsets"]],
        delays=[float(value) for value in facts["delays"]],
        end_codes=[(low, high) for low, high in facts["end_codes"]],
        module_order=facts["module_order"],
        sample_rate=float(facts["sample_rate"]),
        pre_trigger=facts["pre_trigger"],
        title=facts["title"],
        notes=facts["notes"],
        origin=facts["origin"],
        created=facts["created"],
        complete=True,
        trigger_time=tables[0],
        trigger_offset=tables[1],
    )


def _is_text(value: Any) -> bool:
    return isinstance(value, str)


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _is_number(value: Any) -> bool:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return abs(value) < 1e308 if isinstance(value, int) else bool(np.isfinite(value))


def _wrong(name: str, what: str) -> RecordingError:
    return RecordingError(f"{name}: carries the facts of a session, but {what}", "write it out again")
