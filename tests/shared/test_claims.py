"""Claims of a claims file: their limits in SI units, and what is wrong with the line that it stands in."""

from __future__ import annotations

from pathlib import Path

import pytest

from pulsewright.claim import Claim, parse_claim
from pulsewright.claim_kinds import KINDS
from pulsewright.claims_file import read_claims
from pulsewright.errors import ClaimsFileError


def read(folder: Path, text: str) -> tuple[Claim, ...]:
    path = folder / "tank.claims.toml"
    path.write_text(text, encoding="utf-8")
    return read_claims(path).claims


def one(folder: Path, text: str) -> Claim:
    (claim,) = read(folder, f'[[claims]]\nname = "a"\n{text}\n')
    return claim


def test_every_kind_takes_its_own_example(tmp_path: Path) -> None:
    for kind in KINDS.values():
        limit = f"limit = {kind.example}" if kind.has_limit else ""
        pair = 'pair = "echo"' if kind.word == "marker_pair" else ""
        claim = one(tmp_path, f'kind = "{kind.word}"\n{limit}\n{pair}')
        assert claim.about is kind
        assert claim.limit.words


LIMITS = [
    ("skew", "5 ns", (None, 5e-9), "at most 5 ns"),
    ("dead_time", "20 µs", (20e-6, None), "at least 20 µs"),
    ("increment", "10.12 us ± 50 ns", (10.07e-6, 10.17e-6), "10.12 µs ± 50 ns"),
    ("increment", "-10.12 us +/- 0.05 us", (-10.17e-6, -10.07e-6), "−10.12 µs ± 50 ns"),
    ("trigger_period", "50ms+-1us", (0.049999, 0.050001), "50 ms ± 1 µs"),
    ("amplitude", "200 mV .. 0.9 V", (0.2, 0.9), "200 mV to 900 mV"),
    ("amplitude", "2 kPa .. 9 kPa", (2e3, 9e3), "2 kPa to 9 kPa"),
    ("noise", "5 Pa", (None, 5.0), "at most 5 Pa"),
    ("noise", "5e-3 kPa", (None, 5.0), "at most 5 Pa"),
    ("noise", "5 psi", (None, 5.0), "at most 5 psi"),
    ("noise", "5 m", (None, 5.0), "at most 5 m"),
    ("amplitude", "2 counts .. 9 counts", (2.0, 9.0), "2 counts to 9 counts"),
    ("noise", "0.2 µbar", (None, 2e-7), "at most 200 nbar"),
    ("enob", "7.5", (7.5, None), "at least 7.5"),
]


@pytest.mark.parametrize(("kind", "limit", "expected", "words"), LIMITS)
def test_limits_are_read_into_si_units(
    tmp_path: Path, kind: str, limit: str, expected: tuple[float | None, float | None], words: str
) -> None:
    claim = one(tmp_path, f'kind = "{kind}"\nlimit = "{limit}"')
    for found, value in zip((claim.limit.low, claim.limit.high), expected, strict=True):
        assert found == (None if value is None else pytest.approx(value, rel=1e-9))
    assert claim.limit.words == words
    assert claim.written == limit


def test_numbers_may_stand_without_quotes(tmp_path: Path) -> None:
    assert one(tmp_path, 'kind = "triggers_sent"\nlimit = 38').limit.number == 38
    assert one(tmp_path, 'kind = "enob"\nlimit = 7.5').limit.low == 7.5


@pytest.mark.parametrize(
    ("written", "pattern"),
    [("alternates", (1, -1)), ("constant", (1,)), ("+ + - -", (1, 1, -1, -1)), ("+−", (1, -1))],
)
def test_patterns_of_polarity(tmp_path: Path, written: str, pattern: tuple[int, ...]) -> None:
    assert one(tmp_path, f'kind = "polarity"\nlimit = "{written}"').limit.pattern == pattern


def test_what_a_kind_takes_besides(tmp_path: Path) -> None:
    claim = one(tmp_path, 'kind = "skew"\nlimit = "5 ns"\nchannels = ["H02", "H03"]')
    assert claim.channels == ("H02", "H03")
    assert one(tmp_path, 'kind = "no_missed_trigger"\nwithheld = [24, 9]').withheld == (9, 24)
    assert one(tmp_path, 'kind = "extent"\nlimit = "1 us ± 1 ns"\nintervals = 11').intervals == 11
    assert one(tmp_path, 'kind = "skew_between_modules"\nlimit = "1 ns"\nmodules = "M1, M3"').modules == ("M1", "M3")


def test_a_claim_knows_its_line(tmp_path: Path) -> None:
    claim = 'name = "{}"\nkind = "no_slip"\n'
    text = f'title = "x"\n[[claims]]\n{claim.format("a")}\n[settings]\ncycle = 3\n\n[[ claims ]]\n{claim.format("b")}'
    assert [found.line for found in read(tmp_path, text)] == [2, 9]


WRONG = [
    ('kind = "skews"\nlimit = "5 ns"', "line 3: claim 'a': 'skews' is no kind of claim; the nearest one is 'skew'"),
    ('kind = "skews"\nlimit = "5 ns"', "no_missed_trigger, no_slip"),  # all the words that are allowed
    ('kind = "skew"\nlimit = "5"', "line 4: claim 'a': limit: '5' has no unit; write the largest value"),
    ('kind = "skew"\nlimit = 5', "limit: '5' has no unit"),
    ('kind = "skew"\nlimit = "5 n"', "limit: '5 n' has a prefix and no unit"),
    ('kind = "skew"\nlimit = "5 mT"', "is in T, not in s"),
    ('kind = "noise"\nlimit = "5 µ"', "limit: '5 µ' has a prefix and no unit"),
    ('kind = "skew"\nlimit = "5 mV"', "line 4: claim 'a': limit: '5 mV' is in V, not in s; write"),
    ('kind = "skew"\nlimit = "five ns"', "line 4: claim 'a': limit: 'five ns' is not a number with a unit"),
    ('kind = "skew"\nlimit = ""', "line 4: claim 'a': its limit is not filled in; write the largest value that is"),
    ('kind = "skew"\nlimit = "  "', "line 4: claim 'a': its limit is not filled in"),
    ('kind = "skew"', "line 1: claim 'a': a claim of kind 'skew' needs a limit"),
    ('kind = "skew"\nlimit = "0 ns"', "is not above 0"),
    ('kind = "skew"\nlimit = ["5 ns"]', "is no limit"),
    ('kind = "skew"\nlimit = true', "is no limit"),
    ('kind = "dead_time"\nlimit = "-1 us"', "limit: '-1 us' is negative"),
    ('kind = "increment"\nlimit = "10 us"', "is not a value ± what it may be off; write a value ± what it may be"),
    ('kind = "increment"\nlimit = "10 ± 5 us"', "limit: '10' has no unit"),
    ('kind = "increment"\nlimit = "10 us ± 5"', "limit: '5' has no unit"),
    ('kind = "increment"\nlimit = "10 us ± 0 us"', "is not above 0"),
    ('kind = "width"\nlimit = "3 us .. 1 us"', "does not end above its start"),
    ('kind = "amplitude"\nlimit = "1 V .. 2 us"', "is in V, not in s"),
    ('kind = "no_slip"\nlimit = "1 us"', "a claim of kind 'no_slip' takes no limit"),
    ('kind = "triggers_sent"\nlimit = 3.5', "limit: 3.5 is not a whole number from 1 up"),
    ('kind = "enob"\nlimit = "7.5 V"', "'7.5 V' is in V, and takes no unit; write the smallest value"),
    ('kind = "amplitude"\nlimit = "1 .. 2"', "limit: '2' has no unit"),
    ('kind = "polarity"\nlimit = "up and down"', "is no pattern of polarity"),
    ('kind = "skew"\nlimit = "5 ns"\nwithheld = [1]', "line 5: claim 'a': a claim of kind 'skew' takes no withheld"),
    ('kind = "skew"\nlimit = "5 ns"\nlimits = "5 ns"', "line 5: claim 'a': 'limits' has no meaning in a claim of kind"),
    ('kind = "skew"\nlimit = "5 ns"\nchannels = []', "is not a list of names"),
    ('kind = "no_missed_trigger"\nwithheld = 9', "line 4: claim 'a': withheld: 9 is not a list of trigger numbers"),
    ('kind = "no_missed_trigger"\nwithheld = [-1]', "withheld: −1 is not a whole number from 0 up"),
    ('kind = "skew_between_modules"\nlimit = "1 ns"\nmodules = "M1"', "is no pair of modules"),
    ('kind = "marker_pair"\nlimit = "1 us ± 1 ns"', "needs a pair"),
    ('kind = ""', "line 3: claim 'a': its kind is not filled in"),
    ("", "line 1: claim 'a': a claim needs a kind"),
]


@pytest.mark.parametrize(("text", "expected"), WRONG)
def test_what_is_wrong_is_named_with_its_line(tmp_path: Path, text: str, expected: str) -> None:
    with pytest.raises(ClaimsFileError) as caught:
        one(tmp_path, text)
    sentence = str(caught.value)
    assert expected in sentence
    assert sentence.startswith("tank.claims.toml, line ")
    assert "\n" not in sentence


def test_two_claims_of_one_name(tmp_path: Path) -> None:
    claim = '[[claims]]\nname = "a"\nkind = "no_slip"\n'
    with pytest.raises(ClaimsFileError, match=r"line 4: there is a claim called 'a' in line 1 already"):
        read(tmp_path, claim + claim)


def test_a_claim_without_a_name(tmp_path: Path) -> None:
    with pytest.raises(ClaimsFileError, match=r"line 1: a claim needs a name"):
        read(tmp_path, '[[claims]]\nkind = "no_slip"\n')


def test_claims_that_are_no_list(tmp_path: Path) -> None:
    with pytest.raises(ClaimsFileError, match=r"line 2: claims is not a list of tables, each headed \[\[claims\]\]"):
        read(tmp_path, '\n[claims]\nkind = "no_slip"\n')


def test_a_limit_outside_a_claim_is_told_where_it_belongs(tmp_path: Path) -> None:
    with pytest.raises(ClaimsFileError, match=r"claims belong below a line \[\[claims\]\]"):
        read(tmp_path, 'limit = "5 ns"\n')


def test_a_claim_without_a_file_has_no_line() -> None:
    assert parse_claim({"name": "a", "kind": "no_slip"}).line == 0
