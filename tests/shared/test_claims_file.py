"""The claims file: what it may say, and where it is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from pulsewright.claims_file import claims_path_for, read_claims
from pulsewright.errors import ClaimsFileError


@pytest.fixture
def claims(tmp_path: Path) -> Path:
    return tmp_path / "tank.claims.toml"


def refused(path: Path) -> str:
    with pytest.raises(ClaimsFileError) as caught:
        read_claims(path)
    sentence = str(caught.value)
    assert "\n" not in sentence
    assert path.name in sentence
    return sentence


def test_it_lies_beside_the_session() -> None:
    assert claims_path_for(Path("runs/tank.walk.h5")) == Path("runs/tank.walk.claims.toml")
    assert claims_path_for("tank") == Path("tank.claims.toml")


@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_what_it_says(claims: Path, mark: str) -> None:
    text = f'{mark}title = "Tänk walk"\n[settings]\nspan = "0.1 ms .. 1.2 ms"\nmin_gap = "60 µs"\ncycle = 12\n'
    claims.write_text(text, encoding="utf-8")
    content = read_claims(claims)
    assert content.path == claims
    assert content.title == "Tänk walk"
    assert content.settings == {"span": "0.1 ms .. 1.2 ms", "min_gap": "60 µs", "cycle": 12}


@pytest.mark.parametrize("text", ["", "\n# nothing yet\n", "[settings]\n"])
def test_it_may_say_nothing(claims: Path, text: str) -> None:
    claims.write_text(text)
    assert read_claims(claims).settings == {}


WRONG = [
    ('[settings]\n\nspam = "1 ms"\n', "tank.claims.toml, line 3: 'spam' is not a setting; the nearest one is 'span'."),
    ('title = "x"\n[settings]\nmin_gap = "60 V"\n', "line 3: min_gap: '60 V' is in V, not in s; write it like"),
    ('[settings]\nposition = "middle"\n', "line 2: position: 'middle' is not one of midpoint, leading, "),
    ("[settings]\ncycle = 0\n", "line 2: cycle: 0 is not a whole number from 1 up"),
    ("[settings]\nasynchronous = 1\n", "line 2: asynchronous: 1 is neither true nor false"),
    ("[settings]\nmin_gap = 2031-04-12\n", "line 2: min_gap: "),
    ("settings.spam = 1\n", "line 1: 'spam' is not a setting"),
    ('title = "spam"\nsettings = {spam = 1}\n', "line 2: 'spam' is not a setting"),
    ("[settings.span]\nx = 1\n", "line 1: span: {'x': 1} is not a stretch"),
    ("\ntitle = 3\n", 'line 2: title is not text, like title = "Tank walk".'),
    ("settings = 3\n", "line 1: settings is not a table, headed [settings]."),
    ("[[settings]]\ncycle = 1\n", "line 1: settings is not a table"),
    ('\n\nspan = "1 ms"\n', "line 3: 'span' has no meaning here; settings belong below a line [settings]."),
    ("[settings]\n[setings]\n", "line 2: 'setings' has no meaning here; what may stand here: title, settings, claims."),
    ('[settings]\nspan = "1 ms\n', "line 2: is not TOML"),
    ("[settings]\ncycle 12\n", "line 2: is not TOML (expected '=' after a key"),
    ("[settings]\ncycle = 1\ncycle = 2\n", "line 3: is not TOML"),
    ('[settings]\ncycle = "', "line 2: is not TOML"),
    (f"a = {'[' * 5000}", "is not TOML"),
    (f"a = {'1' * 5000}", "is not TOML"),
]


@pytest.mark.parametrize(("text", "expected"), WRONG)
def test_what_is_wrong_is_named_with_its_line(claims: Path, text: str, expected: str) -> None:
    claims.write_text(text)
    assert expected in refused(claims)


def test_not_utf8(claims: Path) -> None:
    claims.write_bytes(b'[settings]\nmin_gap = "60 \xb5s"\n')
    assert "line 2: is not UTF-8 text" in refused(claims)


def test_missing(claims: Path) -> None:
    assert "there is no such file" in refused(claims)


def test_a_folder(tmp_path: Path) -> None:
    assert "is not a file" in refused(tmp_path)


def test_a_name_that_no_file_can_have() -> None:
    with pytest.raises(ClaimsFileError, match="is not a file name"):
        read_claims("tank\0.claims.toml")
