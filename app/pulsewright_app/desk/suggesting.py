"""How many intervals a marker pair spans, by the pulses that were found between its markers."""

from __future__ import annotations

import math

from pulsewright_analysis.pulse_intervals import intervals_across, intervals_between
from pulsewright_analysis.results import Findings
from pulsewright_app.desk.additions import MarkerPair
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.following import Following
from pulsewright_app.desk.results import Results

_REACH = 6.0 * math.sqrt(12.0)
"""In u: a marker put down by hand has a u of one pixel over √12, and six pixels are how near a hand comes."""


def suggested_n(document: Document, results: Results, pair: MarkerPair, record: int) -> int | str:
    """Return N of a pair by the pulses from one marker to the other in a record, or a sentence why there is none."""
    findings, session = results.findings, document.session
    if findings is None or session is None:
        return "The session is not measured yet: N can be suggested when its pulses are found."
    shown = Following(document, results).shown(pair, record, 0.0)
    here = shown.pair
    reach = max(_REACH * max(here.u1, here.u2), session.sample_interval)
    found = shown.reason or _by_pulses(findings, here, reach)
    return f"No N is suggested for {pair.name}: {found}." if isinstance(found, str) else found


def _by_pulses(findings: Findings, pair: MarkerPair, reach: float) -> int | str:
    """Return N of a pair as it stands, or the reason why there is none, as a clause."""
    (own, channel), (_, other) = pair.places
    for (record, _), end in zip(pair.places, pair.ends, strict=True):
        own = record if end.pulse is not None else own  # a marker that follows is in the record that is looked at
    if not pair.one_channel:
        return intervals_across(findings, own, (channel, other), (pair.t1, pair.t2), reach)
    low, high = sorted((pair.t1, pair.t2))
    intervals = intervals_between(findings, own, channel, low - reach, high + reach)
    if intervals is not None:
        return intervals
    return f"fewer than two pulses of {findings.channel_name(channel)} lie between its markers in record {own}"
