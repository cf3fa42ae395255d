"""A pulse that a person rejected takes no part in the measuring, however it was found."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from pulsewright import Session, long_columns
from pulsewright.errors import SettingError
from pulsewright.review import RejectedPulse, Review
from pulsewright.settings import Settings, layered
from pulsewright_analysis.assessment import assess
from pulsewright_analysis.findings import measure
from pulsewright_analysis.rejecting import without_rejected

MakeTank = Callable[..., Session]


def _rejecting(session: Session, record: int, channel: int) -> tuple[Settings, int]:
    """Return settings that reject the second pulse of a record and channel, and its sample."""
    pulses = measure(session).pulses
    index = pulses.where(record, channel)[1]
    sample = int(pulses.extreme_sample[index])
    review = Review(rejected=[RejectedPulse(record, session.channels[channel].name, sample, "an echo")])
    return layered(review=review.measuring_settings()), sample


def test_a_rejected_pulse_is_gone_and_the_others_stay(make_tank: MakeTank) -> None:
    session = make_tank([list(range(16))] * 2)
    before = measure(session)
    settings, _ = _rejecting(session, 5, 0)
    after = measure(session, settings)
    assert before.pulses.where(5, 0).size == 2
    assert after.pulses.where(5, 0).size == 1
    assert len(after.pulses) == len(before.pulses) - 1
    assert after.pulses.order[after.pulses.where(5, 0)].tolist() == [0]
    kept = np.delete(np.arange(len(before.pulses)), before.pulses.where(5, 0)[1])
    np.testing.assert_array_equal(after.pulses.time, before.pulses.time[kept])
    np.testing.assert_array_equal(after.pulses.rise, before.pulses.rise[kept])
    assert np.isnan(after.sequence.residual[5])
    assert np.isfinite(before.sequence.residual[5])


def test_it_stays_rejected_by_another_threshold(make_tank: MakeTank) -> None:
    session = make_tank([list(range(16))] * 2)
    settings, sample = _rejecting(session, 5, 0)
    higher = layered(option={"threshold": "0.2 V"}, review={"rejected_pulses": [[5, "H01", sample]]})
    assert measure(session, higher).pulses.where(5, 0).size == 1
    assert settings.rejected_pulses == higher.rejected_pulses


def test_the_json_says_how_many_were_rejected_and_which(make_tank: MakeTank) -> None:
    session = make_tank([list(range(16))] * 2)
    settings, sample = _rejecting(session, 5, 0)
    body = assess(session, settings).as_json()
    assert body["rejected_pulses"] == 1
    assert body["settings"]["rejected_pulses"] == {"value": [[5, "H01", sample]], "from": "review"}
    assert "1 pulse was rejected by hand and took no part: record 5, H01." in body["reasons"]
    assert assess(session, Settings()).as_json()["rejected_pulses"] == 0


def test_a_place_without_a_pulse_rejects_nothing(make_tank: MakeTank) -> None:
    session = make_tank([list(range(16))] * 2)
    nowhere = layered(review={"rejected_pulses": [[5, "H01", 0], [999, "H01", 7]]})
    assert measure(session, nowhere).rejected_pulses == 0


def test_the_sentence_names_a_pulse_that_was_taken_out(make_tank: MakeTank) -> None:
    session = make_tank([list(range(16))] * 2)
    _, sample = _rejecting(session, 5, 0)
    both = layered(review={"rejected_pulses": [[1, "H01", 0], [5, "H01", sample]]})
    assert "1 pulse was rejected by hand and took no part: record 5, H01." in measure(session, both).reasons


def test_a_channel_that_is_not_there_is_told(make_tank: MakeTank) -> None:
    session = make_tank([list(range(16))] * 2)
    with pytest.raises(SettingError, match="H99"):
        measure(session, layered(review={"rejected_pulses": [[5, "H99", 0]]}))


@pytest.mark.parametrize("raw", ["5", [5], [[5, "H01"]], [[-1, "H01", 3]], [[1, "", 3]], [[1, "H01", 1.5]]])
def test_a_list_of_rejected_pulses_that_has_no_meaning_is_refused(raw: object) -> None:
    with pytest.raises(SettingError, match="rejected_pulses"):
        layered(review={"rejected_pulses": raw})


@pytest.mark.parametrize("rows", [7, long_columns.ROWS_AT_ONCE])
def test_many_are_found_as_one_by_one(make_tank: MakeTank, rows: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Against a plain loop over pulses and places."""
    monkeypatch.setattr(long_columns, "ROWS_AT_ONCE", rows)
    session = make_tank([list(range(16))] * 2)
    pulses = measure(session).pulses
    random = np.random.default_rng(3)
    places = {
        (int(random.integers(0, 18)), f"H{random.integers(1, 3):02d}", int(sample))
        for sample in random.choice(pulses.extreme_sample, 40)
    }
    settings = layered(review={"rejected_pulses": sorted(places)})
    names = [channel.name for channel in session.channels]
    gone = [
        any(
            (record, names[channel]) == place[:2] and first <= place[2] <= last
            for place in places
        )
        for record, channel, first, last in zip(
            pulses.record, pulses.channel, pulses.first_sample, pulses.last_sample, strict=True
        )
    ]  # fmt: skip
    assert 0 < sum(gone) < len(gone)
    kept, rejected = without_rejected(pulses, session, settings)
    np.testing.assert_array_equal(rejected.time, pulses.time[gone])
    np.testing.assert_array_equal(kept.time, pulses.time[np.logical_not(gone)])
