"""What stands below the sheet's pictures of the samples says what is drawn, and nothing that is not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from pulsewright.review import Review, SheetView
from pulsewright.session import Channel, Session
from pulsewright_analysis.results import Findings, MissedTrigger
from pulsewright_app.evidence import accumulating
from pulsewright_app.evidence.accumulating import rows_of, whole_window
from pulsewright_app.evidence.captions import map_caption, stacked_caption
from pulsewright_app.evidence.view_pictures import view_picture
from pulsewright_app.map_rows import read_rows


@pytest.fixture
def session(clean_findings: Findings) -> Session:
    """As many records as the findings made by hand have, a pulse of either sign in each."""
    records = clean_findings.session.records
    samples = np.zeros((records, 12, 64), dtype=np.int16)
    samples[:, :, 30] = np.where(np.arange(records) % 2 == 0, 500, -500)[:, None]
    channels = [Channel(name, module, scale=1e-3) for name, module in clean_findings.session.channels]
    return Session.from_samples(samples, channels, 25e6, 20)


@pytest.fixture
def caption_of(clean_findings: Findings, session: Session) -> Callable[..., str]:
    def caption(view: SheetView, findings: Findings = clean_findings) -> str:
        made = view_picture(view, session, findings, Review(), 1)
        assert made.svg, made.caption
        return made.caption

    return caption


def test_the_current_record_is_named_where_it_is_drawn(caption_of: Callable[..., str]) -> None:
    plain = caption_of(SheetView("stacked", 10, "H01", neighbours=5))
    assert plain == "Records 8 to 12 of H01, each offset upward; record 10 strong."
    dropped = caption_of(SheetView("stacked", 11, "H01", neighbours=3, filter="polarity positive"))
    assert dropped == "Records 10, 12, 14 of H01, each offset upward. Filter: polarity positive."
    assert stacked_caption([7], "H01", 7) == "Record 7 of H01, each offset upward."


def test_an_afterglow_says_what_aligns_it_and_what_it_lacks(
    caption_of: Callable[..., str], clean_findings: Findings
) -> None:
    """Two pulses have lost their position, so that two records cannot be laid over the others."""
    pulses = clean_findings.pulses
    time = pulses.times["midpoint"].copy()
    time[(pulses.channel == 0) & (pulses.record < 2)] = np.nan
    findings = replace(clean_findings, pulses=replace(pulses, times={"midpoint": time}))
    text = caption_of(SheetView("afterglow", 0, "H01", aligned_by="pulse", inks="polarity"), findings)
    assert text.startswith("Afterglow of 22 records on H01, aligned by found pulses: ")
    assert "grey where there is none." in text
    assert "2 records could not be aligned." in text
    plain = caption_of(SheetView("afterglow", 0, "H01", logarithmic=False))
    assert plain.startswith(
        "Afterglow of 24 records on H01, aligned by the trigger: the ink gets denser with the number"
    )
    assert "grey" not in plain and "could not" not in plain


def test_a_thinned_out_map_says_so(
    session: Session, clean_findings: Findings, caption_of: Callable[..., str], monkeypatch: pytest.MonkeyPatch
) -> None:
    view = SheetView("map", 0, "H01")
    assert "is shown" not in caption_of(view)
    monkeypatch.setattr(accumulating, "MOST_RECORDS_IN_ROWS", 10)
    assert "Map of H01, 8 records" in caption_of(view) and "records one in 3 is shown." in caption_of(view)
    assert rows_of(session, 0, np.arange(24), whole_window(session, 0)).numbers.tolist() == [0, 3, 6, 9, 12, 15, 18, 21]


def test_hatched_rows_are_told_where_there_are_any(session: Session, altered: Callable[..., Findings]) -> None:
    findings = altered(sequence={"missed": (MissedTrigger(9, 1, ("time",)),)})
    for wanted, told in ((np.arange(24), True), (np.arange(5), False)):
        rows = read_rows(session, 0, whole_window(session, 0), 20, wanted=wanted)
        assert ("A hatched row" in map_caption(rows, "H01", len(wanted), findings)) is told
