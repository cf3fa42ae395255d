"""The sentences name what is wrong, where, and with which uncertainty, in findings built by hand."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from pulsewright.quantity import Quantity, engineering
from pulsewright.settings import Settings, setting_names
from pulsewright_analysis.results import ChannelSkew, Findings, MissedTrigger, ModuleSkew, Slip
from pulsewright_app.sentences import (
    ALIGNMENT_ROWS,
    IN_DOUBT,
    SETTINGS,
    STANDS_OUT,
    TRIGGERS,
    Sentence,
    excludes_zero,
    sentences,
    shown,
)
from pulsewright_app.setting_words import WORDS, told_settings

Altered = Callable[..., Findings]


def outstanding(findings: Findings) -> list[Sentence]:
    return [sentence for sentence in sentences(findings) if sentence.group == STANDS_OUT]


def texts(told: Iterable[Sentence], group: str) -> list[str]:
    return [sentence.text for sentence in told if sentence.group == group]


def test_nothing_stands_out_in_clean_findings(clean_findings: Findings) -> None:
    told = sentences(clean_findings)
    assert texts(told, STANDS_OUT) == []
    assert texts(told, TRIGGERS) == [
        "24 records kept, no trigger missing between them; witnesses: position, polarity and time"
    ]
    assert not any(sentence.serious for sentence in told)


def test_groups_stand_together(altered: Altered) -> None:
    groups = [s.group for s in sentences(altered(sequence={"missed": (MissedTrigger(3, 1, ("time",)),)}))]
    changes = sum(a != b for a, b in pairwise(groups))
    assert changes == len(set(groups)) - 1
    assert groups[0] == STANDS_OUT


def test_missed_triggers_say_where_how_many_and_who_saw_them(altered: Altered) -> None:
    missed = (MissedTrigger(7, 1, ("position", "polarity", "time")), MissedTrigger(15, 2, ("position", "time")))
    findings = altered(sequence={"missed": missed, "sent": 28})
    first, second = outstanding(findings)
    assert first.text == "1 trigger is missing after record 7, seen by position, polarity and time"
    assert second.text == "2 triggers are missing after record 15, seen by position and time"
    assert (first.record, first.channel, first.view, first.serious) == (7, 0, "map", True)
    sent = texts(sentences(findings), TRIGGERS)[1]
    assert sent.startswith("28 triggers sent, 24 kept, 3 missed: 1 more must have been lost before the first")


def test_many_gaps_are_told_as_a_count(altered: Altered) -> None:
    missed = tuple(MissedTrigger(record, 2, ("time",)) for record in range(20))
    told = outstanding(altered(sequence={"missed": missed}))
    assert len(told) == 13
    assert told[-1].text == "16 more triggers are missing in 8 gaps from record 12 on"


@pytest.mark.parametrize(("by", "words"), [(1, "1 trigger ahead of"), (-2, "2 triggers behind")])
def test_a_slip_names_module_record_and_direction(altered: Altered, by: int, words: str) -> None:
    (told,) = outstanding(altered(sequence={"slips": (Slip("M3", 12, by),)}))
    assert told.text == f"M3 slips: from record 12 on its records are {words} the other modules'"
    assert (told.record, told.channel) == (12, 8)


def test_an_opposite_channel_is_named_with_its_share_of_the_records(altered: Altered, clean_findings: Findings) -> None:
    sign = clean_findings.polarity.sign.copy()
    sign[:, 4] *= -1
    sign[5, 4] *= -1  # agrees with the others once
    sign[9, 4] = 0  # and once it cannot tell
    (told,) = outstanding(altered(polarity={"sign": sign, "opposite": (4,)}))
    assert "H05 (M2) has the opposite sign of the other channels in 22 of 23 records" in told.text
    assert (told.record, told.channel, told.view) == (0, 4, "single")


def with_skews(findings: Findings, skews: dict[int, Quantity | None]) -> tuple[ChannelSkew, ...]:
    return tuple(replace(item, skew=skews.get(item.channel, item.skew)) for item in findings.alignment.channels)


def test_a_late_channel_is_told_as_significant(altered: Altered, clean_findings: Findings) -> None:
    skews = with_skews(clean_findings, {6: Quantity(10.6e-9, 0.2e-9, "s")})
    findings = altered(alignment={"channels": skews})
    (told,) = outstanding(findings)
    assert told.text == "H07 (M2) is 10.60 ± 0.39 ns later than H01: significant, 11 channels compared"
    rows = [s for s in sentences(findings) if s.group == ALIGNMENT_ROWS]
    assert [row.channel for row in rows if row.serious] == [6]
    assert rows[0].text == "H01 (M1): the reference"
    assert rows[6].text == "H07 (M2): 10.60 ± 0.39 ns, 95 % interval excludes 0"


def test_an_early_channel_has_its_size_without_a_sign(altered: Altered, clean_findings: Findings) -> None:
    skews = with_skews(clean_findings, {6: Quantity(-3e-9, 0.2e-9, "s")})
    (told,) = outstanding(altered(alignment={"channels": skews}))
    assert told.text.startswith("H07 (M2) is 3.00 ± 0.39 ns earlier than H01")


def test_many_skewed_channels_are_told_in_one_sentence(altered: Altered, clean_findings: Findings) -> None:
    skews = with_skews(clean_findings, {c: Quantity(c * 1e-9, 0.1e-9, "s") for c in range(1, 12)})
    (told,) = outstanding(altered(alignment={"channels": skews}))
    assert told.text.startswith("11 of 11 channels differ from H01 significantly; the largest: H12 (M3)")


def test_one_of_eleven_just_outside_95_percent_is_marked_but_does_not_stand_out(
    altered: Altered, clean_findings: Findings
) -> None:
    """Eleven 95 % intervals all hold their true value in only 0.95^11 = 57 % of sessions, if independent."""
    skews = with_skews(clean_findings, {6: Quantity(2.2e-9, 1e-9, "s")})
    findings = altered(alignment={"channels": skews})
    assert outstanding(findings) == []
    assert [row.channel for row in sentences(findings) if row.group == ALIGNMENT_ROWS and row.serious] == [6]


def test_the_pair_of_modules_that_differs_most_stands_out(altered: Altered) -> None:
    pairs = (
        ModuleSkew(("M1", "M2"), Quantity(1e-9, 0.1e-9, "s")),
        ModuleSkew(("M1", "M3"), Quantity(-4e-9, 0.1e-9, "s")),
    )
    (told,) = outstanding(altered(alignment={"between_modules": pairs}))
    assert told.text == "M3 is 4.00 ± 0.20 ns earlier than M1: significant, 2 pairs of modules compared"
    assert told.channel == 8


def test_a_channel_that_was_not_measured_says_so(altered: Altered, clean_findings: Findings) -> None:
    skews = with_skews(clean_findings, {6: None})
    findings = altered(alignment={"channels": skews, "between_modules": (ModuleSkew(("M1", "M3"), None),)})
    told = [sentence.text for sentence in sentences(findings)]
    assert "H07 (M2): not measured" in told
    assert "M3 against M1: not measured" in told


def test_clipped_and_noisy_channels_are_named(clean_findings: Findings) -> None:
    health = list(clean_findings.health)
    health[2] = replace(health[2], clipped_samples=5, clipped_records=(17,))
    health[8] = replace(health[8], noisy=True, noise_rms=Quantity(12e-3, 2e-4, "V"))
    clipped, noisy = outstanding(replace(clean_findings, health=tuple(health)))
    assert clipped.text == "H03 (M1) has 5 clipped samples in record 17"
    assert (clipped.record, clipped.channel) == (17, 2)
    assert noisy.text == "H09 (M3) is noisy: 12.00 ± 0.39 mV rms, where the median of the other channels is 3 mV"
    assert noisy.channel == 8


def test_records_without_a_pulse_are_named(altered: Altered, clean_findings: Findings) -> None:
    sign = clean_findings.polarity.sign.copy()
    sign[[3, 11], 0] = 0
    (told,) = outstanding(altered(polarity={"sign": sign}))
    assert told.text == "No pulse was found on H01 in records 3 and 11"
    assert told.record == 3


def test_repeated_records_are_named(altered: Altered) -> None:
    (told,) = outstanding(altered(sequence={"repeated": ((4, 5),)}))
    assert told.text == "Record 5 holds the same samples as record 4"


def test_a_record_that_reaches_past_the_next_trigger_stands_out(altered: Altered) -> None:
    (told,) = outstanding(altered(timing={"dead_time": Quantity(-24e-6, 1e-9, "s")}))
    assert told.text.startswith("A record reaches past the next trigger by 24.0000 ± 0.0020 µs")


def test_settings_say_where_they_came_from(altered: Altered) -> None:
    settings = Settings(
        span=(50e-6, 300e-6), left_out=(4, 7), re_arm=2e-6, origins={"span": "claims", "left_out": "review"}
    )
    told = texts(sentences(altered(settings=settings)), SETTINGS)
    assert "Pulses looked for in: 50 µs .. 300 µs (claims file)" in told
    assert "Records left out: 2, namely 4 and 7 (review)" in told
    assert "Position quoted: midpoint (default)" in told
    assert not any(text.startswith("u of") for text in told)


def test_what_a_person_knows_of_the_set_up_is_told(altered: Altered) -> None:
    settings = Settings(
        clock_ppm=2.0, delay_u=50e-12, splitter_u=20e-12, trigger_offset_u=1e-10, scale_percent=0.5,
        origins={"delay_u": "claims", "scale_percent": "option"},
    )  # fmt: skip
    told = [text for text in texts(sentences(altered(settings=settings)), SETTINGS) if text.startswith("u of")]
    assert told == [
        "u of the sample clock: 2 ppm (default)",
        "u of each cable delay: 50 ps (claims file)",
        "u of each output of the splitter: 20 ps (default)",
        "u of the recorded trigger offsets: 100 ps (default)",
        "u of a channel's scale: 0.5 % (option)",
    ]


def test_every_setting_has_words_and_is_told_where_it_is_not_the_usual_one(altered: Altered) -> None:
    assert told_settings() == tuple(WORDS) and set(WORDS) == set(setting_names())
    settings = Settings(coverage_percent=99.0, polarity_rule="first", asynchronous=True, threshold=0.2, records=(3, 9))
    told = texts(sentences(altered(settings=settings)), SETTINGS)
    for text in (
        "Coverage of the intervals that are compared with limits: 99 % (default)",
        "Polarity by the excursion that is: first (default)",
        "Trigger asynchronous with the sample clock: yes (default)",
        "Threshold, from the base: 200 mV (default)",
        "Records measured: 3 to 8 (default)",
        "Pulses looked for in: the whole record (default)",
    ):
        assert text in told
    assert not any(text.startswith("Coverage") for text in texts(sentences(altered()), SETTINGS))


def test_reasons_are_told(altered: Altered) -> None:
    told = sentences(altered(reasons=("No sine was found.",)))
    assert texts(told, IN_DOUBT) == ["No sine was found"]


def test_quantities_print_with_their_uncertainty() -> None:
    assert shown(None) == "not measured"
    assert shown(Quantity(409.6e-6, 0.0, "s")) == "409.6 µs"
    assert shown(Quantity(4e-9, 0.6e-9, "s", 22, (3e-9, 6e-9))) == "4 ns (95 % interval 3 ns to 6 ns)"
    # U = 1.96·u for unlimited degrees of freedom: JCGM 100:2008, table G.2
    assert shown(Quantity(10.6e-9, 0.2e-9, "s")) == "10.60 ± 0.39 ns"


def test_a_number_that_rounds_up_to_the_next_prefix_is_written_with_it() -> None:
    assert engineering(0.99997, "V", 3) == "1 V"
    assert engineering(-0.99997, "V", 5) == "−999.97 mV"


def test_an_interval_that_holds_zero_is_no_evidence() -> None:
    assert excludes_zero(Quantity(2.0, 1.0))
    assert excludes_zero(Quantity(-2.0, 1.0))
    assert not excludes_zero(Quantity(1.9, 1.0))
    assert not excludes_zero(Quantity(0.0, 0.0))
    assert not excludes_zero(None)


def test_a_session_without_pulses_still_has_its_sentences(altered: Altered, clean_findings: Findings) -> None:
    sequence = {
        "channel": None, "increment": None, "extent": None, "cycle": None, "alternates": None, "period": None,
        "pulse": np.full(24, -1), "stop": np.full(24, -1),
    }  # fmt: skip
    told = sentences(altered(sequence=sequence, alignment={"reference": None, "method": None, "channels": ()}))
    assert texts(told, TRIGGERS) == ["24 records kept; whether a trigger is missing could not be told"]
    assert texts(told, ALIGNMENT_ROWS) == []


def test_records_out_of_place_are_named(altered: Altered) -> None:
    (told,) = outstanding(altered(sequence={"out_of_place": (14,)}))
    assert told.text == "The pulse on H01 in record 14 is out of place in the walk, which goes on after"
    assert (told.record, told.channel, told.view, told.serious) == (14, 0, "map", True)
    (told,) = outstanding(altered(sequence={"out_of_place": (3, 14)}))
    assert told.text == "The pulses on H01 in records 3 and 14 are out of place in the walk, which goes on after"
    (told,) = outstanding(altered(sequence={"out_of_place": tuple(range(20))}))
    assert "in records 0, 1" in told.text
    assert "11 and 8 more are out of place" in told.text.replace("10 and 11", "11")


def test_a_module_that_slips_again_says_where_it_stands_then(altered: Altered) -> None:
    slips = (Slip("M3", 6, 1), Slip("M3", 12, 3), Slip("M2", 15, 1))
    assert [told.text for told in outstanding(altered(sequence={"slips": slips}))] == [
        "M3 slips: from record 6 on its records are 1 trigger ahead of the other modules'",
        "M3 slips again: from record 12 on its records are 3 triggers ahead of the other modules'",
        "M2 slips: from record 15 on its records are 1 trigger ahead of the other modules'",
    ]


def test_many_slips_are_told_as_a_count(altered: Altered) -> None:
    slips = tuple(Slip("M3", record, record + 1) for record in range(20))
    told = outstanding(altered(sequence={"slips": slips}))
    assert len(told) == 13
    assert told[-1].text == "8 more slips of M3 from record 12 on"
