"""How much memory and time it takes to bring in recordings of gigabytes, and to write a session of that size out.

Each conversion runs in a process of its own; what is told is the peak of its resident memory, libraries included.

Run: ``python tests/benchmarks/convert_memory.py [--gigabytes 2] [--folder /tmp]``
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import h5py
import numpy as np

from pulsewright.session import Channel, Session

CHANNELS, LENGTH = 4, 25_000
RUN = """
import sys
from pulsewright_app.cli import app
code = app(sys.argv[1:], standalone_mode=False)
for line in open("/proc/self/status"):
    if line.startswith("VmHWM"):
        print("peak", int(line.split()[1]) // 1024, file=sys.stderr)
sys.exit(code)
"""


def blocks(records: int) -> Iterator[np.ndarray]:
    """Yield int16 samples, (records, channels, samples), of noise, a hundred records at a time."""
    random = np.random.default_rng(1)
    for first in range(0, records, 100):
        yield random.integers(-2000, 2000, (min(100, records - first), CHANNELS, LENGTH)).astype("<i2")


def made(folder: Path, records: int) -> Iterator[tuple[str, Path, list[str]]]:
    """Yield a name, a file and the options to convert it, of each form; each file is removed behind it."""
    cut = ["--record-length", str(LENGTH)]
    rate = ["--sample-rate", "25 MHz"]

    path = folder / "array.npy"
    with path.open("wb") as stream:
        form = {"descr": "<i2", "fortran_order": False, "shape": (records, CHANNELS, LENGTH)}
        np.lib.format.write_array_header_1_0(stream, form)
        for block in blocks(records):
            stream.write(block.tobytes())
    yield "NumPy", path, rate
    yield "one endless record", path, [*rate, "--axes", "channels,records,samples", "--sample-type", "int32"]
    (folder / "raw.toml").write_text(f'type = "int16"\nchannels = {CHANNELS}\nheader_bytes = 128\n')
    yield "raw, one capture", path, [*rate, "--raw", str(folder / "raw.toml")]
    (folder / "tank.sigmf-meta").write_text(
        json.dumps({"global": {"core:datatype": "ri16_le", "core:version": "1.2.0", "core:sample_rate": 25e6,
                               "core:num_channels": CHANNELS}, "captures": [], "annotations": []})
    )  # fmt: skip
    path = path.rename(folder / "tank.sigmf-data")
    yield "SigMF, one capture", folder / "tank.sigmf-meta", []
    path.unlink()

    path = folder / "chunked.h5"
    with h5py.File(path, "w") as file:
        stored = file.create_dataset("waves", (records, CHANNELS, LENGTH), "i2", chunks=(8, 1, LENGTH))
        for number, block in enumerate(blocks(records)):
            stored[number * 100 : number * 100 + len(block)] = block
    yield "HDF5, chunked", path, rate
    path.unlink()

    path = folder / "text.csv"
    rows = next(blocks(10)).transpose(0, 2, 1).reshape(-1, CHANNELS)
    text = "".join(",".join(map(str, row)) + "\n" for row in rows.tolist())
    with path.open("w") as stream:  # the same ten records again and again: writing numbers takes longer than reading
        for _ in range(max(1, round(2 * records * CHANNELS * LENGTH / len(text)))):
            stream.write(text)
    yield "text", path, [*rate, *cut]
    path.unlink()


def measured(name: str, file: Path, to: Path, options: list[str]) -> None:
    """Convert in a process of its own, and print what it took."""
    started = time.monotonic()
    words = [sys.executable, "-c", RUN, "convert", str(file), "--to", str(to), *options]
    run = subprocess.run(words, capture_output=True, text=True, check=False)
    seconds = time.monotonic() - started
    peak = run.stderr.rsplit("peak ", 1)[-1].strip() if run.returncode == 0 else run.stderr.strip()
    size = (file.with_suffix(".sigmf-data") if file.suffix == ".sigmf-meta" else file).stat().st_size
    print(f"{name:28} {size / 1e9:7.2f} GB {seconds:8.1f} s   peak {peak} MiB", flush=True)


def main() -> None:
    """Convert one file of each form into a session, and the last session into each form."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--gigabytes", type=float, default=2.0)
    parser.add_argument("--folder", type=Path, default=None)
    given = parser.parse_args()
    records = max(1, round(given.gigabytes * 1e9 / (2 * CHANNELS * LENGTH)))
    with tempfile.TemporaryDirectory(dir=given.folder) as place:
        folder = Path(place)
        for name, file, options in made(folder, records):
            measured(f"{name} to session", file, folder / "result.h5", options)
            (folder / "result.h5").unlink(missing_ok=True)
        from pulsewright.block_source import ArraySource
        from pulsewright.store import save_session

        class Endless(ArraySource):
            """The same thousand records again and again."""

            @property
            def shape(self) -> tuple[int, int, int]:
                return records, CHANNELS, LENGTH

            def read(self, first: int, stop: int) -> np.ndarray:
                return self._samples[[record % len(self._samples) for record in range(first, stop)]]

        source = Endless(next(blocks(100)))
        channels = [Channel(f"H{place + 1:02d}", "M1") for place in range(CHANNELS)]
        save_session(folder / "tank.h5", Session(source, channels, 25e6, 0))
        for suffix in (".npz", ".wav", ".sigmf-meta"):
            measured(f"session to {suffix}", folder / "tank.h5", folder / f"out{suffix}", [])
            for path in folder.glob("out.*"):
                path.unlink()


if __name__ == "__main__":
    main()
