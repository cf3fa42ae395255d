"""What the desk remembers, without a window: checked, written whole, and never an end when the file is damaged."""

from __future__ import annotations

import configparser
import json
import os
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from typer.testing import CliRunner

from pulsewright_app.cli import app
from pulsewright_app.desk.habits.habits import MOST_RECENT, Habits, Layout
from pulsewright_app.desk.habits.preferences import Preferences
from pulsewright_app.icon.desktop_entry import entry_text

ROOT = Path(__file__).parents[2]


def test_what_is_chosen_is_there_the_next_day(tmp_path: Path) -> None:
    path = tmp_path / "settings" / "desk.json"
    habits = Habits(path)
    assert habits.prefer(Preferences(theme="dark", font_percent=150, pace=20.0)) == ""
    assert habits.arrange(Layout("Z2Vv", "cGFu")) == ""
    again = Habits(path)
    assert again.preferences == Preferences(theme="dark", font_percent=150, pace=20.0)
    assert again.layout == Layout("Z2Vv", "cGFu")
    assert again.told == ""


@pytest.mark.parametrize(
    "text",
    [
        "", "{", "[]", '{"schema": "another"}', '{"schema": "pulsewright-desk/1", "preferences": {"theme": "pink"}}',
        '{"schema": "pulsewright-desk/1", "preferences": {"font_percent": 9000}}',
        '{"schema": "pulsewright-desk/1", "preferences": {"lanes": "yes"}}',
        '{"schema": "pulsewright-desk/1", "recent": [3]}', "[" * 5000,
    ],
)  # fmt: skip
def test_a_damaged_file_is_told_and_set_aside(text: str, tmp_path: Path) -> None:
    path = tmp_path / "desk.json"
    path.write_text(text)
    habits = Habits(path)
    assert habits.preferences == Preferences()
    assert "cannot be read" in habits.told
    assert (tmp_path / "desk.unreadable.json").read_text() == text
    assert habits.prefer(Preferences(loop=True)) == ""
    assert Habits(path).preferences.loop


def test_what_a_newer_version_wrote_besides_is_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "desk.json"
    path.write_text(json.dumps({"schema": "pulsewright-desk/1", "preferences": {"lanes": False, "sound": "loud"}}))
    assert Habits(path).preferences == Preferences(lanes=False)


def test_recent_sessions_are_each_there_once_newest_first_from_every_window(tmp_path: Path) -> None:
    path = tmp_path / "desk.json"
    one, other = Habits(path), Habits(path)
    for number in range(MOST_RECENT + 3):
        (one if number % 2 else other).opened(tmp_path / f"run{number}.h5")
    one.opened(tmp_path / "run5.h5")
    names = [recent.path.name for recent in Habits(path).recent]
    assert names[0] == "run5.h5"
    assert names[1] == f"run{MOST_RECENT + 2}.h5"
    assert len(names) == len(set(names)) == MOST_RECENT
    one.forget_recent()
    assert Habits(path).recent == ()


@pytest.mark.skipif(os.name != "posix", reason="a folder is put in the file's place, which only POSIX names so")
def test_a_file_that_cannot_be_written_is_told_and_changes_nothing_else(tmp_path: Path) -> None:
    (tmp_path / "blocked").write_text("a file where a folder should be")
    habits = Habits(tmp_path / "blocked" / "desk.json")
    assert "cannot be kept" in habits.prefer(replace(Preferences(), loop=True))
    assert habits.preferences.loop


def test_a_place_that_cannot_even_be_looked_at_is_told_and_the_desk_begins(tmp_path: Path) -> None:
    path = tmp_path / f"{'x' * 300}.json"  # longer than any file system's names: asking for it is an error by itself
    habits = Habits(path)
    assert habits.preferences == Preferences()
    assert "cannot be read" in habits.told and "the desk begins as usual" in habits.told
    assert "is kept as" not in habits.told, "it is said to be where it is not"


def test_the_desktop_entry_is_one(tmp_path: Path) -> None:
    run = CliRunner().invoke(app, ["desktop-entry", "--to", str(tmp_path / "apps")])
    assert run.exit_code == 0, run.output
    # an entry is an INI file (freedesktop.org, Desktop Entry Specification); the standard library reads it
    parser = configparser.RawConfigParser()
    parser.optionxform = str  # type: ignore[assignment, method-assign]
    parser.read_string((tmp_path / "apps" / "pulsewright.desktop").read_text(encoding="utf-8"))
    entry = parser["Desktop Entry"]
    assert entry["Type"] == "Application"
    assert entry["Exec"].endswith(" review %f")
    icon = Path(entry["Icon"])
    assert ElementTree.parse(icon).getroot().tag == "{http://www.w3.org/2000/svg}svg"


def test_a_program_with_a_hard_name_is_quoted_as_the_specification_says() -> None:
    line = next(x for x in entry_text('/opt/a "b" $c%/pw', Path("/i.svg")).splitlines() if x.startswith("Exec="))
    assert line == 'Exec="/opt/a \\"b\\" \\$c%%/pw" review %f'


def test_the_entry_into_a_place_that_is_no_folder_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    run = CliRunner().invoke(app, ["desktop-entry", "--to", str(tmp_path / "file" / "apps")])
    assert run.exit_code == 2
    assert "cannot be written" in run.stderr
