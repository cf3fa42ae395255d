"""The text of a claims file changed piece by piece: what was not touched stays, remarks and all."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from pulsewright.claims_file import parse_claims
from pulsewright.claims_text import look_at, with_claim, with_moved_claim, with_setting, with_title, without_claim
from pulsewright.errors import ClaimsFileError

TEXT = """\
# written by hand, in the tank hall
title = "Walk"

[settings]
channel = "H01"  # the one nearest to the plate

[[claims]]
name = "Even steps"
kind = "increment"
limit = "10 us ± 1 ns"  # from the drive's data sheet

[[claims]]
name = "Kept"
kind = "no_missed_trigger"
withheld = [9]
"""


def remarks(text: str) -> list[str]:
    return [line.partition("#")[2] for line in text.splitlines() if "#" in line]


def test_a_claim_written_as_it_was_leaves_the_text_as_it_was():
    for place, written in enumerate(look_at(TEXT).claims):
        assert with_claim(TEXT, place, written.raw) == TEXT


def test_only_the_piece_that_changed_is_another_one():
    raw = {**look_at(TEXT).claims[0].raw, "limit": "11 us ± 1 ns"}
    changed = with_claim(TEXT, 0, raw)
    differ = [(a, b) for a, b in zip(TEXT.splitlines(), changed.splitlines(), strict=True) if a != b]
    assert differ == [
        (
            'limit = "10 us ± 1 ns"  # from the drive\'s data sheet',
            'limit = "11 us ± 1 ns"  # from the drive\'s data sheet',
        )
    ]


# the standard library's reader says what a text means, whoever wrote it
@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (lambda t: with_moved_claim(t, 1, -1), lambda d: d["claims"].reverse()),
        (lambda t: without_claim(t, 0), lambda d: d["claims"].pop(0)),
        (lambda t: without_claim(without_claim(t, 0), 0), lambda d: d.pop("claims")),
        (lambda t: with_setting(t, "re_arm", "3 us"), lambda d: d["settings"].update(re_arm="3 us")),
        (lambda t: with_setting(t, "channel", None), lambda d: d["settings"].pop("channel")),
        (lambda t: with_title(t, 'A "walk"'), lambda d: d.update(title='A "walk"')),
        (
            lambda t: with_claim(t, None, {"limit": "5 ns", "name": "New", "kind": "skew"}),
            lambda d: d["claims"].append({"name": "New", "kind": "skew", "limit": "5 ns"}),
        ),
        (
            lambda t: with_claim(t, 1, {"name": "Kept", "kind": "no_missed_trigger"}),
            lambda d: d["claims"][1].pop("withheld"),
        ),
    ],
)
def test_a_change_means_what_it_says(change, expected):
    wanted = tomllib.loads(TEXT)
    expected(wanted)
    changed = change(TEXT)
    assert tomllib.loads(changed) == wanted
    assert "written by hand, in the tank hall" in changed


def test_a_text_can_begin_from_nothing():
    text = with_title(with_claim("", None, {"name": "A", "kind": "jitter", "limit": "1 ns"}), "T")
    text = with_setting(text, "sent", 38)
    read = parse_claims(text, Path("new.claims.toml"))
    assert (read.title, read.settings, [claim.name for claim in read.claims]) == ("T", {"sent": 38}, ["A"])


def test_what_is_not_complete_is_kept_with_its_reason():
    text = with_claim(TEXT, None, {"name": "Even steps", "kind": "skew", "limit": "5 ns"})
    text = with_claim(text, None, {"name": "Later", "kind": "skew", "limit": ""})
    text = with_claim(text, None, {"name": "Wrong", "kind": "skew", "limit": "5 m"})
    written = look_at(text)
    assert [one.claim is None for one in written.claims] == [False, False, True, True, True]
    assert [one.error.key for one in written.incomplete] == ["name", "limit", "limit"]
    assert [claim.name for claim in written.complete(Path("x")).claims] == ["Even steps", "Kept"]
    assert written.complete(Path("x")).edited


def test_a_setting_that_cannot_be_used_is_told_and_does_not_count():
    written = look_at(with_setting(TEXT, "span", "soon"))
    assert set(written.setting_errors) == {"span"}
    assert written.complete(Path("x")).settings == {"channel": "H01"}


def test_what_is_no_toml_is_refused():
    with pytest.raises(ClaimsFileError, match="not TOML"):
        look_at("claims = [")
