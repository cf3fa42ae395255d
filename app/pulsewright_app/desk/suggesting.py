"""How many intervals a marker pair spans, by the pulses that were found between its markers."""

from __future__ import annotations

import math

from pulsewright_analysis.marker_series import intervals_between
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
    if not here.one_channel:
        return f"No N is suggested for {pair.name}: its markers stand on two channels."
    times, reach = sorted((here.t1, here.t2)), max(_REACH * max(here.u1, here.u2), session.sample_interval)
    intervals = intervals_between(findings, here.record, here.channel, times[0] - reach, times[1] + reach)
    if intervals is not None and not shown.reason:
        return intervals
    name = session.channels[here.channel].name
    why = shown.reason or f"fewer than two pulses of {name} lie between its markers in record {here.record}"
    return f"No N is suggested for {pair.name}: {why}."
