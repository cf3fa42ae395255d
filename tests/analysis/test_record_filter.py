"""The filter over the record table: what it means, what it refuses and how, and what may stand at the cursor.

The table of these tests is written down by hand, so what must match can be read off it.
"""

from __future__ import annotations

import random
import re
from dataclasses import replace

import numpy as np
import pytest

from pulsewright import Channel, Session
from pulsewright.errors import FilterError
from pulsewright.review import Review
from pulsewright_analysis.filter_completion import completion
from pulsewright_analysis.record_filter import filter_records, parse_filter
from pulsewright_analysis.record_table import RecordTable, record_table
from pulsewright_analysis.record_words import EXAMPLES, MEASURES, STATES, TEXTS

UNKNOWN = np.nan


@pytest.fixture(scope="module")
def table() -> RecordTable:
    """Return eight records: 7 was not measured, 6 has no pulse, 3 comes after two missed triggers."""
    times = np.array([0.0, 1.0, 2.0, 5.0, 6.0, 7.0, 8.0, 9.0]) * 1e-3
    session = Session.from_samples(
        np.zeros((8, 1, 8), np.int16), [Channel("H01", "M1", unit="V")], 1e6, 0, trigger_time=times
    )
    review = Review(flags={1, 4}, notes={2: "the Plate rang", 4: "look"}, left_out={7: "a crane passed"})
    bare = record_table(session, None, 0, review)
    return replace(
        bare,
        measured=np.array([True] * 7 + [False]),
        polarity=np.array([1, -1, 1, -1, 1, -1, 0, 0]),
        confidence=np.array([9.0, 8.0, 7.0, 6.0, 5.0, 4.0, UNKNOWN, UNKNOWN]),
        first_pulse=np.array([10.0, 11, 12, 13, 14, 15, UNKNOWN, UNKNOWN]) * 1e-6,
        first_pulse_u=np.full(8, 1e-9),
        residual=np.array([1.0, -5.0, 2.0, -1.0, 8.0, UNKNOWN, UNKNOWN, UNKNOWN]) * 1e-9,
        residual_u=np.array([1.0, 1.0, 1.0, 1.0, UNKNOWN, 1.0, UNKNOWN, UNKNOWN]) * 1e-9,
        amplitude=np.array([0.5, -0.5, 0.3, -0.3, 0.5, -0.5, UNKNOWN, UNKNOWN]),
        amplitude_u=np.full(8, 0.01),
        width=np.array([1.0, 1.0, 2.0, 2.0, UNKNOWN, 1.0, UNKNOWN, UNKNOWN]) * 1e-6,
        width_u=np.full(8, 1e-9),
        pulses=np.array([1, 2, 1, 2, 1, 1, 0, 0]),
        clipped=np.array([True] + [False] * 7),
        clipped_anywhere=np.array([True, True] + [False] * 6),
        missed_before=np.array([0, 0, 0, 2, 0, 1, 0, 0]),
        slip=np.array([0, 0, 0, 0, -1, 0, 0, 0]),
        repeats=np.array([-1, -1, 0, -1, -1, -1, -1, -1]),
        out_of_place=np.array([False, True] + [False] * 6),
        out_of_step=np.array([False] * 4 + [True] * 2 + [False] * 2),
    )


@pytest.mark.parametrize(
    ("text", "records"),
    [
        ("", [0, 1, 2, 3, 4, 5, 6, 7]),
        ("record 2", [2]),
        ("record 2 .. 4", [2, 3, 4]),
        ("record 2..4", [2, 3, 4]),
        ("record 2 … 4", [2, 3, 4]),
        ("record >= 6", [6, 7]),
        ("record != 0 and record ≤ 2", [1, 2]),
        ("trigger time below 1.5 ms", [0, 1]),
        ("gap > 1.5 ms", [3]),
        ("gap above 0.0015 s", [3]),
        ("gap > 1500us", [3]),
        ("not gap > 1.5 ms", [1, 2, 4, 5, 6, 7]),
        ("gap known", [1, 2, 3, 4, 5, 6, 7]),
        ("not gap known", [0]),
        ("polarity negative", [1, 3, 5]),
        ("POLARITY  Positive", [0, 2, 4]),
        ("polarity none", [6]),
        ("not polarity none", [0, 1, 2, 3, 4, 5]),
        ("residual > 3 u", [1]),
        ("residual > 3u", [1]),
        ("not residual > 3 u", [0, 2, 3]),
        ("residual 1.5 u .. 6 u", [1, 2]),
        ("residual > 1.5 ns", [1, 2, 4]),
        ("late", [0, 2, 4]),
        ("early and residual > 3 u", [1]),
        ("polarity negative and residual > 3 u", [1]),
        ("amplitude < 0.4 V", [2, 3]),
        ("amplitude at most 400 mV", [2, 3]),
        ("width 0.5 us .. 1.5 µs", [0, 1, 5]),
        ("pulses = 2", [1, 3]),
        ("pulses 0", [6]),
        ("confidence > 6.5", [0, 1, 2]),
        ("first pulse at least 14 µs", [4, 5]),
        ("missed before", [3, 5]),
        ("missed before > 1", [3]),
        ("missed before 1 .. 2 and polarity negative", [3, 5]),
        ("clipped", [0]),
        ("clipped anywhere", [0, 1]),
        ("not clipped", [1, 2, 3, 4, 5, 6]),
        ("slips", [4]),
        ("repeated", [2]),
        ("out of place", [1]),
        ("out of step", [4, 5]),
        ("measured", [0, 1, 2, 3, 4, 5, 6]),
        ("flagged or noted", [1, 2, 4]),
        ("flagged and noted", [4]),
        ("not left out", [0, 1, 2, 3, 4, 5, 6]),
        ("left out or record 0", [0, 7]),
        ('note has "plate"', [2]),
        ("reason has 'CRANE'", [7]),
        ("record 0 or record 1 and flagged", [0, 1]),
        ("(record 0 or record 1) and flagged", [1]),
        ("not (flagged or noted) and record 0 .. 3", [0, 3]),
        ("not not flagged", [1, 4]),
    ],
)
def test_a_filter_matches_what_its_words_say(table: RecordTable, text: str, records: list[int]) -> None:
    assert filter_records(table, text).tolist() == records


def test_what_is_not_known_matches_neither_a_condition_nor_its_opposite(table: RecordTable) -> None:
    everywhere = range(len(table))
    for condition in (
        "residual > 0 ns",
        "amplitude > 0 V",
        "width < 1 s",
        "gap >= 0 s",
        "clipped",
        "early",
        "pulses 1",
    ):
        matching, opposite = (set(filter_records(table, text).tolist()) for text in (condition, f"not {condition}"))
        assert not matching & opposite
        assert matching | opposite < set(everywhere), condition


def test_before_anything_is_measured_only_triggers_and_what_a_person_said_are_known(table: RecordTable) -> None:
    session = Session.from_samples(np.zeros((3, 1, 8), np.int16), [Channel("H01", "M1")], 1e6, 0)
    bare = record_table(session, None, None, Review(flags={2}))
    for word in (*MEASURES, *STATES):
        text = f"{word.phrase} known" if word in MEASURES else word.phrase
        expected = {"record known": [0, 1, 2], "flagged": [2]}.get(text, [])
        assert filter_records(bare, text).tolist() == expected, text


def test_amplitudes_are_compared_in_the_unit_of_the_channel(table: RecordTable) -> None:
    pressure = replace(table, unit="Pa")
    assert filter_records(pressure, "amplitude < 0.4 Pa").tolist() == [2, 3]
    assert filter_records(pressure, "amplitude < 400 mPa").tolist() == [2, 3]
    with pytest.raises(FilterError, match=r"0\.4 V is no amplitude; write it like 0\.4 Pa"):
        filter_records(pressure, "amplitude < 0.4 V")


BAD = [
    ("polarty negative", 0, 7, 'character 1: "polarty" cannot stand there; the nearest is "polarity'),
    ("polarity", 8, 8, 'something is missing after "polarity"; there may stand positive, negative, none.'),
    (
        "polarity sideways",
        9,
        17,
        'character 10: "sideways" cannot stand there; there may stand positive, negative, none.',
    ),
    (
        "flagged and polarity negativ",
        21,
        28,
        '"negativ" cannot stand there; the nearest is "negative"; there may stand',
    ),
    ("not out of plac", 11, 15, '"plac" cannot stand there; the nearest is "place"; there may stand place, step.'),
    ("gap at 3 ms", 7, 11, '"3 ms" cannot stand there; there may stand least, most.'),
    ("flagged and flaged", 12, 18, 'character 13: "flaged" cannot stand there; the nearest is "flagged"'),
    ("flagged noted", 8, 13, '"noted" cannot stand there; there may stand and, or.'),
    ("flagged and", 11, 11, 'something is missing after "flagged and"'),
    ("not", 3, 3, 'something is missing after "not"'),
    ("gap", 3, 3, 'something is missing after "gap"'),
    ("gap >", 5, 5, "there may stand a number like 1.5 ms"),
    ("gap > 1.5", 6, 9, "the unit of 1.5 is missing; write it like 1.5 ms"),
    ("residual > 3", 11, 12, "write it like 1.5 ms, or a number of u, like 3 u"),
    ("gap > 3 u", 6, 9, "gap has no u to count in"),
    ("gap > 3 V", 6, 9, "3 V is no gap; write it like 1.5 ms"),
    ("gap > 1e999 s", 6, 13, "1e999 s is no gap"),
    ("gap > nan s", 6, 9, '"nan" cannot stand there; there may stand a number'),
    ("gap > 1,5 ms", 7, 8, "write decimals with a point"),
    ("gap = 1 ms", 4, 5, "no gap is measured to be exactly a number"),
    ("gap > > 1 ms", 6, 7, '">" cannot stand there'),
    ("gap 2 ms .. 1 ms", 4, 8, "this range ends before it starts"),
    ("gap 2 ms", 8, 8, "there may stand .."),
    ("gap < 1 ms .. 2 ms", 11, 13, '".." cannot stand there; there may stand and, or'),
    ("residual < -3 ns", 11, 16, "residual is compared without its sign"),
    ("amplitude < -0.3 V", 12, 18, "ask for polarity negative"),
    ("pulses = 1.5", 9, 12, "pulses counts whole numbers"),
    ("record 1e3 V", 7, 12, "1e3 V is no record"),
    ("(flagged", 8, 8, "there may stand and, or, )"),
    ("flagged)", 7, 8, '")" cannot stand there'),
    ("()", 1, 2, '")" cannot stand there'),
    ("[flagged]", 0, 1, "write round brackets"),
    ("note has plate", 9, 14, 'there may stand words in quotes, like "plate"'),
    ('note has "pl', 9, 10, "end the quoted words with another quote"),
    ("'flagged'", 0, 9, '"flagged" cannot stand there'),
    ("flagged & noted", 8, 9, 'write "and"'),
    ("flagged || noted", 8, 9, 'write "or"'),
    ("!flagged", 0, 1, 'write "not"'),
    ("__import__('os').abort()", 0, 1, "use words, numbers with units"),
    ("7", 0, 1, '"7" cannot stand there'),
    ("flagged; noted", 7, 8, '";" cannot stand there'),
    ("flagged\0", 7, 8, "cannot stand there"),
    ("٣ > 2", 0, 1, "cannot stand there"),
    ("record ٣", 7, 8, "cannot stand there"),
    ("(" * 60 + "flagged" + ")" * 60, 40, 41, "more than 40 brackets in one another"),
    ("flagged or " * 400 + "noted", 2000, 4405, "more than 2000"),
]


@pytest.mark.parametrize(("text", "start", "stop", "sentence"), BAD, ids=[text[:20] for text, *_ in BAD])
def test_a_wrong_filter_names_its_place_and_what_may_stand_there(
    text: str, start: int, stop: int, sentence: str
) -> None:
    with pytest.raises(FilterError) as error:
        parse_filter(text)
    assert sentence in error.value.sentence
    assert (error.value.start, error.value.stop) == (start, stop)
    assert "\n" not in error.value.sentence


def test_the_allowed_words_are_named_where_a_condition_is_missing() -> None:
    with pytest.raises(FilterError) as error:
        parse_filter("flagged or")
    for word in (*MEASURES, *STATES, *TEXTS):
        assert word.phrase in error.value.sentence


def test_every_word_and_every_example_is_understood(table: RecordTable) -> None:
    for text in EXAMPLES:
        parse_filter(text)
    for state in STATES:
        parse_filter(f"not ({state.phrase}) and {state.phrase}")
    for measure in MEASURES:
        unit = {"": "", "s": "ms"}.get(measure.unit, "V")
        parse_filter(f"{measure.phrase} > 2 {unit} or {measure.phrase} 1 {unit} .. 2 {unit} or {measure.phrase} known")


def test_no_text_whatever_does_more_than_match_or_be_refused(table: RecordTable) -> None:
    """Seeded: words of the language and stray characters, shuffled; nothing but a FilterError may come out."""
    rng = random.Random(20)
    words = [word.phrase for word in (*MEASURES, *STATES, *TEXTS)]
    pieces = [*words, "and", "or", "not", "(", ")", "known", "> 1", "< 2 ms", "3 u", "..", "=", '"x"', "'", "at least"]
    pieces += ["−1 V", "1e5 s", "µ", "é", "\t", "\u2028", "0x10", "1_0", "%", "¬", "1..2", "𝟙", "5 u .. 6 u"]
    understood = 0
    for _ in range(4000):
        text = " ".join(rng.choice(pieces) for _ in range(rng.randint(1, 7)))
        cut = rng.randint(0, len(text))
        for offer in completion(text, cut).offers:
            assert offer.text
        try:
            matching = filter_records(table, text)
        except FilterError as error:
            assert 0 <= error.start <= error.stop <= len(text)
            continue
        understood += 1
        assert set(matching.tolist()) <= set(range(8))
    assert understood > 50


@pytest.mark.parametrize(
    ("text", "start", "first"),
    [
        ("", 0, "not"),
        ("pol", 0, "polarity positive"),
        ("not left o", 4, "left out"),
        ("left ", 0, "left out"),
        ("flagged ", 8, "and"),
        ("flagged o", 8, "or"),
        ("(flagged ", 9, "and"),
        ("(POLARITY n", 1, "polarity negative"),
        ("gap ", 4, "known"),
        ("gap > ", 6, "a number like 1.5 ms"),
        ("gap > 1.5 ", 10, "ms"),
        ("gap > 1.5n", 9, "ns"),
        ("residual > 3 u", 13, "u"),
        ("amplitude at l", 10, "at least"),
        ("note h", 0, "note has"),
    ],
)
def test_what_may_stand_at_the_cursor_goes_on_from_what_is_written(text: str, start: int, first: str) -> None:
    found = completion(text)
    assert (found.start, found.stop, found.offers[0].text) == (start, len(text), first)


@pytest.mark.parametrize("text", ["polarty ", "gap > 1.5 V", "flagged noted o", "note has 'pl", "gap = "])
def test_nothing_is_offered_behind_a_mistake(text: str) -> None:
    assert completion(text).offers == ()


def test_an_offer_taken_in_the_middle_leaves_the_rest_alone() -> None:
    text = "not left and clipped"
    found = completion(text, 8)
    assert found.taken(text, found.offers[0]) == ("not left out and clipped", 12)
    assert completion("gap > 1.5m").taken("gap > 1.5m", completion("gap > 1.5m").offers[0]) == ("gap > 1.5 ms ", 13)


def test_every_offer_is_accepted_where_it_was_offered() -> None:
    """Seeded walks through the offers: each one must be accepted by the reader where it was offered."""
    rng = random.Random(4)
    for _ in range(300):
        text = ""
        for _ in range(8):
            found = completion(text)
            if not found.offers:  # a range of two numbers that were chosen here, the larger one first
                with pytest.raises(FilterError, match="ends before it starts"):
                    parse_filter(text)
                break
            offer = rng.choice(found.offers)
            if offer.hint:
                text += "1" if "number" in offer.text else '"x"'
                continue
            text, _ = found.taken(text, offer)
            try:
                parse_filter(text)
            except FilterError as error:
                assert re.search("something is missing|ends before|unit of 1 is missing", error.cause), error.sentence
