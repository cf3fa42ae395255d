"""Wrote the recordings in this folder, each with another library than the one that is tested.

Run: ``python tests/shared/recordings/make.py``. Three hydrophones, four records of 50 samples, 10 MHz, ten samples
before the trigger, a trigger each millisecond; invented. `CODES` is what must come back.
"""

from __future__ import annotations

import gzip
import wave
from pathlib import Path

import numpy as np

FOLDER = Path(__file__).resolve().parent
RECORDS, CHANNELS, LENGTH = 4, 3, 50
RATE, PRE_TRIGGER, PERIOD = 10e6, 10, 1e-3
NAMES = ("H01", "H02", "H03")
CODES = np.random.default_rng(20261127).integers(-2000, 2000, (RECORDS, CHANNELS, LENGTH)).astype(np.int16)
STREAM = CODES.transpose(0, 2, 1).reshape(-1, CHANNELS)
"""The same as one continuous stretch, (samples, channels)."""
TIMES = (np.arange(LENGTH) - PRE_TRIGGER) / RATE


def wav_files() -> None:
    """16 bit and float by SciPy; 8 and 24 bit by the standard library."""
    import scipy.io.wavfile

    scipy.io.wavfile.write(FOLDER / "int16.wav", int(RATE), STREAM)
    scipy.io.wavfile.write(FOLDER / "float32.wav", int(RATE), STREAM.astype(np.float32) / 2048)
    scipy.io.wavfile.write(FOLDER / "int32.wav", int(RATE), STREAM.astype(np.int32) << 12)
    for name, width, content in (
        ("uint8.wav", 1, (STREAM // 16 + 128).astype(np.uint8).tobytes()),
        ("int24.wav", 3, (STREAM.astype("<i4") << 8).view(np.uint8).reshape(-1, 4)[:, :3].tobytes()),
    ):
        with wave.open(str(FOLDER / name), "wb") as stream:
            stream.setnchannels(CHANNELS)
            stream.setsampwidth(width)
            stream.setframerate(int(RATE))
            stream.writeframes(content)


def arrays() -> None:
    """NumPy, SciPy and h5py."""
    import h5py
    import scipy.io

    beside = {"sample_rate": RATE, "trigger_time": np.arange(RECORDS) * PERIOD, "t": TIMES}
    np.save(FOLDER / "array.npy", CODES)
    np.savez(FOLDER / "stored.npz", samples=CODES, **beside)
    np.savez_compressed(FOLDER / "packed.npz", samples=np.asfortranarray(CODES.astype(">i4")), **beside)
    scipy.io.savemat(FOLDER / "plain.mat", {"samples": CODES, **beside}, do_compression=False)
    scipy.io.savemat(FOLDER / "packed.mat", {"samples": CODES.astype(float), **beside}, do_compression=True)
    with h5py.File(FOLDER / "chunked.h5", "w") as file:
        run = file.create_group("run3")
        run.attrs["fs"] = RATE
        run.create_dataset("waves", data=CODES, chunks=(3, 2, 20), compression="gzip")
    with h5py.File(FOLDER / "level73.mat", "w", userblock_size=512) as file:
        file.create_dataset("samples", data=CODES.transpose(2, 1, 0).astype(np.float64))
        file.create_dataset("fs", data=np.array([[RATE]]))
    head = b"MATLAB 7.3 MAT-file, made by h5py".ljust(124) + b"\x00\x02IM"
    with (FOLDER / "level73.mat").open("r+b") as stream:
        stream.write(head.ljust(512, b"\0"))


def sigmf_files() -> None:
    """By SigMF's own package: a capture for each record."""
    import sigmf

    STREAM.astype("<i2").tofile(FOLDER / "captures.sigmf-data")
    told = {
        sigmf.DATATYPE_KEY: "ri16_le",
        sigmf.SAMPLE_RATE_KEY: RATE,
        sigmf.NUM_CHANNELS_KEY: CHANNELS,
        sigmf.DESCRIPTION_KEY: "Inspection tank",
    }
    meta = sigmf.SigMFFile(data_file=str(FOLDER / "captures.sigmf-data"), global_info=told)
    for record in range(RECORDS):
        when = f"2031-04-12T09:30:00.{round(record * PERIOD * 1e9):09d}Z"
        meta.add_capture(record * LENGTH, metadata={sigmf.DATETIME_KEY: when})
    meta.add_annotation(60, 5, metadata={sigmf.LABEL_KEY: "echo"})
    meta.tofile(str(FOLDER / "captures.sigmf-meta"), overwrite=True)
    meta.archive(str(FOLDER / "captures.sigmf"), overwrite=True)


def texts() -> None:
    """By pandas, in several countries' ways."""
    import pandas as pd

    wide = pd.DataFrame(STREAM, columns=[f"{name} (mV)" for name in NAMES])
    wide.insert(0, "Time (us)", np.tile(np.round(TIMES * 1e6, 1), RECORDS))
    wide.to_csv(FOLDER / "wide.csv", index=False)
    wide.to_csv(FOLDER / "comma.csv", index=False, sep=";", decimal=",", encoding="utf-16")
    wide.to_csv(FOLDER / "tabs.tsv.xz", index=False, sep="\t")
    milliseconds = wide.assign(**{"Time (us)": np.round(wide["Time (us)"] * 1e-3, 4)})
    milliseconds.to_csv(FOLDER / "headerless.csv", index=False, header=False, sep=";", decimal=",")
    rows = [
        (record, NAMES[channel], round(TIMES[sample], 9), CODES[record, channel, sample])
        for record in range(RECORDS) for channel in range(CHANNELS) for sample in range(LENGTH)
    ]  # fmt: skip
    long = pd.DataFrame(rows, columns=["record", "channel", "time", "value"])
    with gzip.GzipFile(FOLDER / "long.csv.gz", "wb", mtime=0) as stream:
        stream.write(long.to_csv(index=False).encode())
    np.savetxt(FOLDER / "blanks.txt", STREAM, fmt="%d", header="Sample rate: 10 MHz\nH01 H02 H03")


def raw() -> None:
    """By NumPy: a header, then for each record a header with a trigger time in ticks, and a gap."""
    with (FOLDER / "ticks.bin").open("wb") as stream:
        stream.write(b"TANK".ljust(64, b"\0"))
        for record in range(RECORDS):
            stream.write(np.array([7, 500 + round(record * PERIOD / 10e-9)], ">u8").tobytes())
            stream.write(CODES[record].astype(">i2").tobytes() + b"\xff" * 6)


if __name__ == "__main__":
    wav_files()
    arrays()
    sigmf_files()
    texts()
    raw()
