"""The review: kept whole, and never lost to a file that cannot be read."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from pulsewright import review as review_module
from pulsewright.errors import ReviewFileError
from pulsewright.review import LevelMarker, Marker, Review, SheetView, read_review, review_path_for, save_review
from pulsewright.settings import layered

WHOLE = Review(
    session_sha256="0123456789abcdef" * 4,
    settings={"span": "0.1 ms .. 1.2 ms", "channels": ["H01", "H02"], "asynchronous": True},
    flags={3, 1},
    notes={5: "echo doubled – look at µ", 0: ""},
    left_out={2: "plate still moving"},
    markers=[Marker(1.5e-4, 1.2e-8, 1, "start", "H01", 3), Marker(-2e-4, 0.0, 1, note="to the wall")],
    level_markers=[
        LevelMarker(0.25, 1e-3, 1, "H01", 3, "ping", "its height", "base", base_u=1e-3),
        LevelMarker(0.5, 2e-3, 1, "H01", 3, "ping", "its height", "50 %", 2, 1e-3),
    ],
    hidden_channels=["H12"],
    sheet_title="Commissioning of the tank’s recorder",
    sheet_views=[
        SheetView("single", 4, "H07", "the late channel", (-1e-5, 3e-4), (-0.2, 0.4), ("H05", "H07"), reference="mean"),
        SheetView("afterglow", 0, "H01", inks="polarity", filter="polarity negative", aligned_by="pulse", reference=3),
    ],
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "tank.review.json"


def refused(path: Path) -> str:
    with pytest.raises(ReviewFileError) as caught:
        read_review(path)
    sentence = str(caught.value)
    assert sentence.startswith(path.name)
    assert "\n" not in sentence
    return sentence


def test_it_lies_beside_the_session() -> None:
    assert review_path_for("runs/tank.walk.h5") == Path("runs/tank.walk.review.json")


@pytest.mark.parametrize("review", [Review(), WHOLE])
def test_everything_comes_back(path: Path, review: Review) -> None:
    assert save_review(review, path) is None
    assert read_review(path) == review
    first = path.read_bytes()
    save_review(read_review(path), path)
    assert path.read_bytes() == first
    assert json.loads(first)["schema"] == "pulsewright-review/3"


def test_a_review_of_the_first_layout_is_read_and_saved_in_the_newest(path: Path) -> None:
    """Written out as the program before level markers wrote it."""
    older = {
        "schema": "pulsewright-review/1", "session_sha256": "", "session_quick_digest": "", "settings": {},
        "flags": [2], "notes": {}, "left_out": {}, "rejected": [], "hidden_channels": [], "sheet_views": [],
        "claims": "",
        "markers": [
            {"time": t, "u": 1e-8, "pair": 4, "name": "echo", "channel": "H01", "record": 2, "intervals": 3, "pulse": p}
            for t, p in ((1e-4, 0), (2e-4, 1))
        ],
    }  # fmt: skip
    path.write_text(json.dumps(older))
    review = read_review(path)
    assert [(marker.pulse, marker.note) for marker in review.markers] == [(0, ""), (1, "")]
    assert review.level_markers == []
    save_review(review, path)
    assert read_review(path) == review


def test_left_out_records_reach_the_measurement() -> None:
    assert layered(review=WHOLE.measuring_settings()).left_out == (2,)
    assert "left_out" not in Review().measuring_settings()


def test_a_save_that_fails_leaves_the_old_one(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    save_review(WHOLE, path)
    before = path.read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(ReviewFileError, match=r"cannot be saved \(No space left on device\)"):
        save_review(Review(), path)
    assert path.read_bytes() == before
    assert list(path.parent.iterdir()) == [path]


def test_a_save_that_is_cut_off_leaves_the_old_one(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As if the power failed once half was written: the name still leads to the old review."""
    save_review(WHOLE, path)

    class PowerFailure(BaseException):
        pass

    def half(target: Path, data: bytes) -> None:
        with target.open("wb") as stream:
            stream.write(data[: len(data) // 2])
        assert read_review(path) == WHOLE
        raise PowerFailure

    monkeypatch.setattr(Path, "write_bytes", half)
    with pytest.raises(PowerFailure):
        save_review(Review(), path)
    assert read_review(path) == WHOLE


def entries(**changed: Any) -> str:
    return json.dumps({"schema": "pulsewright-review/1", **changed})


WRONG = [
    ("", "line 1: is not JSON"),
    ("{", "line 1: is not JSON"),
    ("[1]", "is no review"),
    ("{}", "schema is None, not 'pulsewright-review/3'"),
    ('{"schema": "pulsewright-review/9"}', "schema is 'pulsewright-review/9'"),
    (entries(flags=3), "flags: "),
    (entries(flags=["one"]), "flags.0: "),
    (entries(flags=[-1]), "−1 is not the number of a record"),
    (entries(notes={"x": "text"}), "notes.x"),
    (entries(notes={"1": 3}), "notes.1: "),
    (entries(left_out={"-1": "why"}), "−1 is not the number of a record"),
    (entries(markers=[{"time": 1.0}]), "markers.0.u: "),
    (entries(markers=[{"time": 1.0, "u": -1.0}]), "a marker needs a finite time"),
    (entries(markers=[{"time": float("nan"), "u": 1.0}]), "markers.0.time: "),
    (entries(markers=[{"time": 1.0, "u": 0.0, "record": -2}]), "−2 is not the number of a record"),
    (entries(level_markers=[{"value": 1.0, "u": 0.0, "pair": 1, "channel": "H01"}]), "level_markers.0.record: "),
    (
        entries(level_markers=[{"value": 1.0, "u": 0.1, "pair": 1, "channel": "H01", "record": 0, "base_u": 0.2}]),
        "a u from 0 up that holds its base_u",
    ),
    (entries(settings={"spam": 1}), "'spam' is not a setting; the nearest one is 'span'"),
    (entries(settings={"span": "1 ms"}), "span: '1 ms' is not a stretch"),
    (entries(session_sha256="abc"), "session_sha256 is not 64 hexadecimal digits"),
    (entries(surprise=1), "surprise: "),
    ("[" * 100_000, "is not JSON"),
]


@pytest.mark.parametrize(("text", "expected"), WRONG)
def test_what_is_wrong_is_said_and_never_saved_over(path: Path, text: str, expected: str) -> None:
    path.write_text(text)
    assert expected in refused(path)
    with pytest.raises(ReviewFileError, match="nothing was saved over it"):
        save_review(WHOLE, path)
    assert path.read_text() == text

    copy = save_review(WHOLE, path, keep_copy=True)
    assert copy == path.with_name("tank.review.unreadable-1.json")
    assert copy.read_text() == text
    assert read_review(path) == WHOLE


def test_copies_do_not_replace_each_other(path: Path) -> None:
    copies = []
    for text in ("first", "second"):
        path.write_text(text)
        copies.append(save_review(WHOLE, path, keep_copy=True))
    assert [copy.read_text() for copy in copies if copy] == ["first", "second"]


def test_not_utf8(path: Path) -> None:
    path.write_bytes(b"\xff{}")
    assert "is not JSON" in refused(path)


def test_missing(path: Path) -> None:
    assert "cannot be read (No such file or directory)" in refused(path)


def test_no_folder(tmp_path: Path) -> None:
    with pytest.raises(ReviewFileError, match="cannot be saved"):
        save_review(WHOLE, tmp_path / "gone" / "tank.review.json")


@pytest.mark.parametrize("value", [float("nan"), {1, 2}, "\ud800"])
def test_what_json_cannot_hold_is_not_saved(path: Path, value: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(review_module, "parse_setting", lambda name, raw: raw)
    with pytest.raises(ReviewFileError, match="cannot be saved"):
        save_review(Review(settings={"span": value}), path)
    assert not path.exists()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"view": "spectrum"}, "sheet_views.0.view"),
        ({"time": [1.0, 1.0]}, "from a lower number to a higher one"),
        ({"record": -1}, "−1 is not the number of a record"),
        ({"neighbours": 0}, "at least 1"),
    ],
)
def test_a_view_for_the_sheet_that_cannot_be_drawn_is_refused(path: Path, change: dict[str, Any], words: str) -> None:
    view = {"view": "single", "record": 0, "channel": "H01", **change}
    path.write_text(json.dumps({"schema": "pulsewright-review/1", "sheet_views": [view]}))
    assert words in refused(path)
