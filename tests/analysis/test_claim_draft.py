"""A drafted claims file holds what many runs have in common, and nothing that a person did to one of them."""

from __future__ import annotations

import tomllib

import numpy as np

from pulsewright.session import Channel, Session
from pulsewright.settings import layered
from pulsewright_analysis.claim_draft import draft
from pulsewright_analysis.findings import measure


def test_records_and_pulses_that_a_person_took_out_stay_in_the_review() -> None:
    random, at = np.random.default_rng(2), np.arange(400)
    pulse = 8000 * np.exp(-(((at - 200) / 8) ** 2) / 2)
    codes = np.round(pulse + random.normal(0, 20, (10, 1, 400))).astype(np.int16)
    session = Session.from_samples(codes, [Channel("H01", "M1", scale=1e-4)], 1e6, 100)
    review = {"left_out": [3], "rejected_pulses": [[5, "H01", 200]], "threshold": "0.2 V"}
    findings = measure(session, layered(option={"records": "0:9"}, review=review))
    assert tomllib.loads(draft(findings))["settings"].keys() == {"threshold"}
    assert "# seen: 9 kept, 0 missed" in draft(findings)  # of the tenth nothing was looked at
