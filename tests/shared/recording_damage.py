"""Damages recordings in the ways in which files get damaged, or are made to harm, and judges what comes of it."""

from __future__ import annotations

import random
import shutil
import struct
from collections.abc import Callable
from pathlib import Path

from pulsewright.errors import PulsewrightError
from pulsewright.formats.recognising import open_recording
from pulsewright.opening import open_session
from pulsewright.store import save_session

HERE = Path(__file__).resolve().parent / "recordings"
OPTIONS = {"sample_rate": "1 MHz"}
"""What most samples need to be converted; nothing else stands in the way of a whole one."""

# file that is damaged, those that lie beside it, the file that is opened, options
VICTIMS: list[tuple[str, tuple[str, ...], str, dict[str, str]]] = [
    *((name, (), name, OPTIONS) for name in (
        "int16.wav", "uint8.wav", "int24.wav", "int32.wav", "float32.wav", "array.npy", "stored.npz", "packed.npz",
        "plain.mat", "packed.mat", "chunked.h5", "level73.mat", "captures.sigmf", "wide.csv", "comma.csv",
        "tabs.tsv.xz", "headerless.csv", "long.csv.gz", "blanks.txt",
    )),
    ("captures.sigmf-meta", ("captures.sigmf-data",), "captures.sigmf-meta", {}),
    ("captures.sigmf-data", ("captures.sigmf-meta",), "captures.sigmf-meta", {}),
    ("ticks.bin", ("ticks.toml",), "ticks.bin", {"raw": "ticks.toml"}),
    ("ticks.toml", ("ticks.bin",), "ticks.bin", {"raw": "ticks.toml"}),
    *((f"own{suffix}", (), f"own{suffix}", {}) for suffix in (".h5", ".npz", ".csv", ".wav")),
    ("own.sigmf-meta", ("own.sigmf-data",), "own.sigmf-meta", {}),
]  # fmt: skip


def write_own(folder: Path) -> None:
    """Write a small session in every form that Pulsewright writes."""
    from pulsewright.formats.writing import WRITTEN, write_out

    with open_recording(HERE / "stored.npz") as reading:
        for suffix in WRITTEN:
            write_out(reading.checked(), folder / f"own{suffix}")


def laid_out(victim: str, beside: tuple[str, ...], own: Path, folder: Path) -> None:
    """Copy a file and those beside it into an empty folder."""
    for name in (victim, *beside):
        shutil.copyfile((own if name.startswith("own") else HERE) / name, folder / name)


def _cut(content: bytearray, choose: random.Random) -> bytearray:
    return content[: choose.randrange(len(content) + 1)]


def _flip(content: bytearray, choose: random.Random) -> bytearray:
    for _ in range(choose.choice((1, 1, 2, 8, 64))):
        content[_place(content, choose)] ^= 1 << choose.randrange(8)
    return content


def _overwrite(content: bytearray, choose: random.Random) -> bytearray:
    for _ in range(choose.choice((1, 2, 8))):
        content[_place(content, choose)] = choose.choice((0, 1, 0x2C, 0x2D, 0x39, 0x7F, 0x80, 0xFF, 0x22, 0x7B))
    return content


def _lie(content: bytearray, choose: random.Random) -> bytearray:
    """Write a size that cannot be true, or that makes another one wrap around."""
    size = choose.choice((2, 4, 8))
    value = choose.choice((0, 1, 0x7F, 0xFF, 1 << 15, 1 << 24, 1 << 30, (1 << 31) - 1, 1 << 31, (1 << 32) - 1,
                           1 << 40, (1 << 63) - 1, (1 << 64) - 1)) & ((1 << 8 * size) - 1)  # fmt: skip
    place = _place(content, choose)
    lie = struct.pack({2: "<H", 4: "<I", 8: "<Q"}[size], value)
    return content[:place] + lie[:: choose.choice((1, -1))] + content[place + size :]


def _move(content: bytearray, choose: random.Random) -> bytearray:
    first, second, to = (choose.randrange(len(content) + 1) for _ in range(3))
    return content[:to] + content[min(first, second) : max(first, second)] + content[to:]


def _drop(content: bytearray, choose: random.Random) -> bytearray:
    place = _place(content, choose)
    return content[:place] + content[place + choose.choice((1, 2, 7, 100)) :]


def _blank(content: bytearray, choose: random.Random) -> bytearray:
    place, count = _place(content, choose), choose.choice((4, 16, 512))
    content[place : place + count] = bytes(len(content[place : place + count]))
    return content


def _digits(content: bytearray, choose: random.Random) -> bytearray:
    """Put another number, or what is none, where a digit stands."""
    places = [place for place, byte in enumerate(content) if 48 <= byte <= 57]
    if not places:
        return _flip(content, choose)
    place = choose.choice(places)
    new = choose.choice((b"-1", b"99999999999999999999", b"1e999", b"nan", b'"', b"[", b"null", b"0", b"-0.0", b"../x",
                         b"{}", b"\xff", b"\n", b",", b"true"))  # fmt: skip
    return content[:place] + new + content[place + choose.choice((0, 1, 3)) :]


def _place(content: bytearray, choose: random.Random) -> int:
    """Return a place, as often in the first kilobyte, where sizes stand, as anywhere."""
    return choose.randrange(max(1, min(len(content), choose.choice((64, 1024, len(content))))))


DAMAGES: tuple[Callable[[bytearray, random.Random], bytearray], ...] = (
    _cut, _flip, _overwrite, _lie, _lie, _move, _drop, _blank, _digits,
)  # fmt: skip


def damaged(content: bytes, choose: random.Random) -> bytes:
    """Return bytes with one to three damages."""
    result = bytearray(content)
    for _ in range(choose.choice((1, 1, 2, 3))):
        if result:
            result = choose.choice(DAMAGES)(result, choose)
    return bytes(result)


def judged(folder: Path, opened: str, options: dict[str, str]) -> str:
    """Bring a damaged file in, and return what came of it: ``session`` or ``refused``; anything else is raised."""
    there = {path.name for path in folder.iterdir()}
    told = {key: str(folder / value) if key == "raw" else value for key, value in options.items()}
    outcome = "session"
    try:
        with open_recording(folder / opened, told) as reading:
            save_session(folder / "result.h5", reading.checked())
        with open_session(folder / "result.h5") as session:
            assert session.codes(0, 1).shape == (1, len(session.channels), session.record_length)
    except PulsewrightError as error:
        outcome = "refused"
        assert "\n" not in error.sentence, error.sentence
        assert error.sentence.endswith("."), error.sentence
    left = {path.name for path in folder.iterdir()} - there
    assert left == ({"result.h5"} if outcome == "session" else set()), left
    return outcome
