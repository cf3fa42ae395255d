"""Every way in which a session file can be wrong: one sentence that names the file and the place, nothing else."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from pulsewright.opening import open_session

Change = Callable[[h5py.File], None]
Refusal = Callable[[Path], str]


def attribute(key: str, value: Any) -> Change:
    def change(file: h5py.File) -> None:
        file.attrs[key] = value

    return change


def no_attribute(key: str) -> Change:
    def change(file: h5py.File) -> None:
        del file.attrs[key]

    return change


def data(path: str, value: Any) -> Change:
    def change(file: h5py.File) -> None:
        if path in file:
            del file[path]
        file[path] = value

    return change


def entry(path: str, place: Any, value: Any) -> Change:
    def change(file: h5py.File) -> None:
        file[path][place] = value

    return change


def missing(path: str) -> Change:
    def change(file: h5py.File) -> None:
        del file[path]

    return change


def group(path: str) -> Change:
    def change(file: h5py.File) -> None:
        del file[path]
        file.create_group(path)

    return change


def link(path: str, target: Any) -> Change:
    def change(file: h5py.File) -> None:
        del file[path]
        file[path] = target

    return change


def never_written(file: h5py.File) -> None:
    del file["samples"]
    file.create_dataset("samples", shape=(5, 4, 30), dtype="i2")


def huge(file: h5py.File) -> None:
    del file["samples"]
    space = h5py.h5s.create_simple((1 << 40, 12, 25_000))
    h5py.h5d.create(file.id, b"samples", h5py.h5t.NATIVE_INT16, space)


def huge_chunked(file: h5py.File) -> None:
    del file["samples"]
    samples = file.create_dataset("samples", (1 << 30, 4, 1 << 20), "i2", chunks=(1, 4, 30), compression="gzip")
    samples[0, :, :30] = 1


def huge_but_packed(file: h5py.File) -> None:
    """One chunk of 400 MB that packs to 400 kB, packed again: whole, and far more than the file explains."""
    import zlib

    del file["samples"]
    samples = file.create_dataset("samples", (5, 4, 10_000_000), "i2", chunks=(5, 4, 10_000_000), compression="gzip")
    packed = zlib.compress(bytes(10_000), 9)
    samples.id.write_direct_chunk((0, 0, 0), packed)


def external_storage(file: h5py.File) -> None:
    elsewhere = Path(file.filename).with_name("elsewhere.bin")
    elsewhere.write_bytes(bytes(1200))
    del file["samples"]
    file.create_dataset("samples", (5, 4, 30), "i2", external=[(str(elsewhere), 0, 1200)])


def virtual(file: h5py.File) -> None:
    file.move("samples", "real")
    layout = h5py.VirtualLayout((5, 4, 30), "i2")
    layout[:] = h5py.VirtualSource(".", "real", (5, 4, 30))
    file.create_virtual_dataset("samples", layout)


def virtual_scale(file: h5py.File) -> None:
    file.move("channels/scale", "real")
    layout = h5py.VirtualLayout((4,), "f8")
    layout[:] = h5py.VirtualSource(".", "real", (4,))
    file.create_virtual_dataset("channels/scale", layout)


def a_chunk_missing(file: h5py.File) -> None:
    del file["samples"]
    samples = file.create_dataset("samples", (5, 4, 30), "i2", chunks=(1, 4, 30))
    samples[:4] = 1


def floating(value: float) -> Change:
    def change(file: h5py.File) -> None:
        samples = file["samples"][()].astype("f4")
        samples[3, 1, 17] = value
        del file["samples"]
        file["samples"] = samples

    return change


def bad_utf8_attribute(file: h5py.File) -> None:
    file.attrs.create("notes", b"\xff\xfe", dtype=h5py.string_dtype("utf-8", 2))


def linked_circle(file: h5py.File) -> None:
    del file["channels/scale"]
    file["channels/scale"] = h5py.SoftLink("/channels/scale")


def linked_out(file: h5py.File) -> None:
    """A soft link that leaves the file through an external one."""
    del file["channels/scale"]
    file["door"] = h5py.ExternalLink("other.h5", "/")
    file["channels/scale"] = h5py.SoftLink("/door/scale")


def committed_type(file: h5py.File) -> None:
    del file["channels/scale"]
    file["channels/scale"] = np.dtype("f8")


COMPOUND = np.zeros(4, dtype=[("a", "f8"), ("b", "f8")])
STRINGS = ["a", "b", "c", "d"]
FOUR = np.arange(4.0)

# what is done to a sound file, and what the sentence must say after the file's name
WRONG: list[tuple[str, Change, str]] = [
    ("layout missing", no_attribute("layout"), "attribute layout is missing, so it is not a Pulsewright session"),
    ("layout another", attribute("layout", "other"), "attribute layout is 'other', so it is not a Pulsewright"),
    ("layout a number", attribute("layout", 1), "attribute layout is not text"),
    ("layout several", attribute("layout", ["a", "b"]), "attribute layout has shape (2,), not one value"),
    ("version missing", no_attribute("layout_version"), "attribute layout_version is missing"),
    ("version later", attribute("layout_version", 2), "attribute layout_version is 2"),
    ("version text", attribute("layout_version", "1"), "attribute layout_version is not a number"),
    ("rate missing", no_attribute("sample_rate"), "attribute sample_rate is missing"),
    ("rate text", attribute("sample_rate", "25 MHz"), "attribute sample_rate is not a number"),
    ("rate whole", attribute("sample_rate", 25_000_000), "attribute sample_rate is int64, not float64"),
    ("rate of a smaller type", attribute("sample_rate", np.float32(1e6)), "attribute sample_rate is float32"),
    ("rate several", attribute("sample_rate", [1.0, 2.0]), "attribute sample_rate has shape (2,), not one value"),
    ("rate 0", attribute("sample_rate", 0.0), "attribute sample_rate is 0 Hz"),
    ("rate negative", attribute("sample_rate", -1.0), "attribute sample_rate is −1 Hz"),
    ("rate NaN", attribute("sample_rate", np.nan), "attribute sample_rate is nan Hz"),
    ("rate infinite", attribute("sample_rate", np.inf), "attribute sample_rate is inf Hz"),
    ("rate empty", attribute("sample_rate", h5py.Empty("f8")), "attribute sample_rate is empty"),
    ("pre-trigger missing", no_attribute("pre_trigger"), "attribute pre_trigger is missing"),
    ("pre-trigger text", attribute("pre_trigger", "10"), "attribute pre_trigger is not a number"),
    ("pre-trigger fraction", attribute("pre_trigger", 10.0), "attribute pre_trigger is float64, not int64"),
    ("pre-trigger negative", attribute("pre_trigger", -1), "attribute pre_trigger is −1"),
    ("pre-trigger too long", attribute("pre_trigger", 31), "attribute pre_trigger is 31, but a record has only 30"),
    ("title a number", attribute("title", 5.0), "attribute title is not text"),
    ("notes a number", attribute("notes", 5), "attribute notes is not text"),
    ("notes not UTF-8", bad_utf8_attribute, "attribute notes is not UTF-8 text"),
    ("source a number", attribute("source", 5), "attribute source is not text"),
    ("created a number", attribute("created", 5), "attribute created is not text"),
    ("created no date", attribute("created", "last Monday"), "attribute created is 'last Monday', no date"),
    ("samples missing", missing("samples"), "/samples is missing"),
    ("samples a group", group("samples"), "/samples is not a data set"),
    ("samples text", data("samples", "abc"), "/samples is text"),
    ("samples float64", data("samples", np.zeros((5, 4, 30))), "/samples is float64"),
    ("samples int64", data("samples", np.zeros((5, 4, 30), "i8")), "/samples is int64"),
    ("samples compound", data("samples", COMPOUND), "/samples is of a compound or other type"),
    ("samples an enumeration", data("samples", np.zeros((5, 4, 30), "?")), "/samples is of a compound or other"),
    ("samples of two axes", data("samples", np.zeros((5, 30), "i2")), "/samples has shape (5, 30), not (records"),
    ("samples without shape", data("samples", h5py.Empty("i2")), "/samples is empty"),
    ("no record", data("samples", np.zeros((0, 4, 30), "i2")), "/samples holds 0 records"),
    ("no channel", data("samples", np.zeros((5, 0, 30), "i2")), "/samples holds 0 channels"),
    ("no sample", data("samples", np.zeros((5, 4, 0), "i2")), "/samples holds 0 samples in a record"),
    ("samples never written", never_written, "/samples was declared but never written"),
    ("samples huge", huge, "/samples was declared but never written"),
    ("samples huge in chunks", huge_chunked, "/samples has 1 of "),
    ("samples huge when unpacked", huge_but_packed, "/samples declares 400,000,000 bytes but holds "),
    ("samples with a hole", a_chunk_missing, "/samples has 4 of 5 chunks"),
    ("samples in another file", external_storage, "/samples keeps its data in another file"),
    ("samples virtual", virtual, "/samples is put together from other data sets"),
    ("samples by external link", link("samples", h5py.ExternalLink("b.h5", "/samples")), "/samples is a link to"),
    ("samples by lost link", link("samples", h5py.SoftLink("/gone")), "/samples is a link to /gone, which is not in"),
    ("sample NaN", floating(np.nan), "/samples holds NaN in record 3, channel H02, sample 17"),
    ("sample infinite", floating(-np.inf), "/samples holds an infinity in record 3, channel H02, sample 17"),
    ("no channels", missing("channels"), "/channels/name is missing"),
    ("channels a data set", data("channels", FOUR), "/channels is not a group"),
    ("channels elsewhere", link("channels", h5py.ExternalLink("b.h5", "/")), "/channels is a link to another file"),
    ("a name twice", data("channels/name", ["a", "b", "a", "c"]), "/channels/name holds 'a' at 0 and at 2"),
    ("a name empty", data("channels/name", ["a", "", "c", "d"]), "/channels/name has no name for channel number 1"),
    ("a name not UTF-8", data("channels/name", np.array([b"a", b"\xff", b"c", b"d"])), "/channels/name[1] is not"),
    ("a scale of 0", entry("channels/scale", 2, 0.0), "/channels/scale is 0 for channel H03"),
    ("end codes equal", entry("channels/highest_code", 1, -2048), "/channels/highest_code is −2048 for channel H02"),
    ("scale never leaves", linked_circle, "/channels/scale is a link that leads in a circle"),
    ("scale out of the file", linked_out, "/door is a link to another file"),
    ("scale virtual", virtual_scale, "/channels/scale is put together from other data sets"),
    ("scale a type", committed_type, "/channels/scale is not a data set"),
    ("unit numbers", data("channels/unit", FOUR), "/channels/unit is float64, not text"),
    ("unit too few", data("channels/unit", ["V"]), "/channels/unit has 1 values for 4 channels"),
    ("module unknown", data("channels/module", ["M1", "M1", "M2", "M9"]), "/channels/module is 'M9' for channel H04"),
    ("modules numbers", data("modules/name", np.arange(2)), "/modules/name is int64, not text"),
    ("modules one value", data("modules/name", "M1"), "/modules/name has shape (), not (modules,)"),
    ("modules twice", data("modules/name", ["M1", "M1"]), "/modules/name holds 'M1' at 0 and at 1"),
    ("modules empty name", data("modules/name", ["M1", " "]), "/modules/name has no name for module number 1"),
    ("modules by the million", data("modules/name", np.full(300_000, b"M")), "/modules/name names 300,000 modules"),
    ("times text", data("triggers/time", ["a"] * 5), "/triggers/time is text, not float64"),
    ("times whole", data("triggers/time", np.arange(5)), "/triggers/time is int64, not float64"),
    ("times too few", data("triggers/time", FOUR), "/triggers/time has shape (4,), not (5,) or (5, 2)"),
    ("times of three modules", data("triggers/time", np.zeros((5, 3))), "/triggers/time has shape (5, 3), not"),
    ("times infinite", entry("triggers/time", (4, 1), np.inf), "/triggers/time is infinite for record 4"),
    ("times negative", entry("triggers/time", (0, 0), -1e-3), "/triggers/time is −0.001 s for record 0"),
    ("times falling", entry("triggers/time", (2, 1), 0.5e-3), "/triggers/time goes back from 0.001001 s in record 1"),
    ("times falling over NaN", data("triggers/time", [0, 2, np.nan, 1, 3.0]), "from 2 s in record 1 to 1 s in"),
    ("offsets text", data("triggers/offset", ["a"] * 5), "/triggers/offset is text, not float64"),
    ("offsets too few", data("triggers/offset", FOUR), "/triggers/offset has shape (4,), not (5,) or (5, 2)"),
    ("offset negative", entry("triggers/offset", (1, 1), -1e-9), "/triggers/offset is −1e−09 s for record 1"),
    ("offset of a sample", entry("triggers/offset", (1, 1), 40.1e-9), "/triggers/offset is 4.01e−08 s for record 1"),
    ("offset infinite", entry("triggers/offset", (1, 1), np.inf), "/triggers/offset is infinite for record 1"),
]  # fmt: skip

for column in ("name", "module"):
    place = f"/channels/{column}"
    WRONG += [
        (f"{column} missing", missing(place), f"{place} is missing"),
        (f"{column} numbers", data(place, FOUR), f"{place} is float64, not text"),
        (f"{column} too few", data(place, STRINGS[:3]), f"{place} has 3 values for 4 channels"),
        (f"{column} one value", data(place, "H01"), f"{place} has shape () for 4 channels"),
        (f"{column} a group", group(place), f"{place} is not a data set"),
    ]
for column, other in (
    ("scale", "int64"), ("offset", "int64"), ("delay", "float32"),
    ("lowest_code", "float64"), ("highest_code", "int32"),
):  # fmt: skip
    place = f"/channels/{column}"
    right = "int64" if "code" in column else "float64"
    WRONG += [
        (f"{column} missing", missing(place), f"{place} is missing"),
        (f"{column} text", data(place, STRINGS), f"{place} is text, not {right}"),
        (f"{column} another type", data(place, np.ones(4, other)), f"{place} is {other}, not {right}"),
        (f"{column} compound", data(place, COMPOUND), f"{place} is of a compound or other type, not {right}"),
        (f"{column} too many", data(place, np.ones(5, right)), f"{place} has 5 values for 4 channels"),
        (f"{column} a table", data(place, np.ones((4, 1), right)), f"{place} has shape (4, 1) for 4 channels"),
        (f"{column} a group", group(place), f"{place} is not a data set"),
    ]
    if right == "float64":
        WRONG += [
            (f"{column} NaN", entry(place, 1, np.nan), f"{place} is nan for channel H02"),
            (f"{column} infinite", entry(place, 3, np.inf), f"{place} is inf for channel H04"),
        ]


@pytest.mark.parametrize(("change", "expected"), [pytest.param(c, e, id=name) for name, c, e in WRONG])
def test_one_wrong_statement(tank_file: Path, refusal: Refusal, change: Change, expected: str) -> None:
    with open_session(tank_file):  # sound before
        pass
    with h5py.File(tank_file, "r+") as file:
        change(file)
    sentence = refusal(tank_file)
    assert sentence.startswith("tank.h5: ")
    assert expected in sentence


def test_the_first_wrong_statement_is_named(tank_file: Path, refusal: Refusal) -> None:
    with h5py.File(tank_file, "r+") as file:
        file["channels/scale"][0] = 0.0
        file["triggers/time"][0] = np.inf
        file.attrs["sample_rate"] = 0.0
    assert "attribute sample_rate" in refusal(tank_file)


def test_a_soft_link_within_the_file_is_followed(tank_file: Path) -> None:
    with h5py.File(tank_file, "r+") as file:
        file.move("channels/scale", "channels/gain")
        file["channels/scale"] = h5py.SoftLink("gain")
        file.move("samples", "codes")
        file["samples"] = h5py.SoftLink("/codes")
    with open_session(tank_file) as session:
        assert session.records == 5
        assert session.channels[0].scale == 1e-3


@pytest.mark.parametrize("offset", [0.0, -1e-20, 39.999e-9, 1 / 25e6 * (1 - 1e-12)])
def test_offsets_at_the_ends_are_allowed(tank_file: Path, offset: float) -> None:
    with h5py.File(tank_file, "r+") as file:
        file["triggers/offset"][0, 0] = offset
    with open_session(tank_file) as session:
        assert session.trigger_offset[0, 0] == offset
