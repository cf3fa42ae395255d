"""What the actions do that zoom to something by its name: a span, or the current record's pulse."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pulsewright_app.desk.spans import SpanName, span_of
from pulsewright_app.desk.views.found import found_pulses

if TYPE_CHECKING:
    from pulsewright_app.desk.window import DeskWindow

_LENGTHS_BESIDE = 3.0
"""Lengths of the pulse that are shown to each side of its position."""
_LEAST_BESIDE = 20
"""Samples shown to each side of a very short one."""
_MARGIN = 0.05
_WHOLE = {
    "span": "Pulses are looked for in the whole record: no span is set.",
    "alignment_span": "Alignment is measured in the whole record: no span of its own is set.",
}


def zoom_to_span(window: DeskWindow, name: SpanName) -> None:
    """Show a span with a little beside it; say so where it is the whole record."""
    span = span_of(window.document, name).window
    if span is None:
        window.viewing.tell(_WHOLE[name])
        window.viewing.zoom_time(None)
        return
    beside = _MARGIN * (span[1] - span[0])
    window.middle.view.show_time((span[0] - beside, span[1] + beside))


def zoom_to_pulse(window: DeskWindow) -> None:
    """Show the pulse found in the current record on the current channel; of several the one that reaches farthest."""
    session, findings, viewing = window.document.session, window.results.findings, window.viewing
    if session is None:
        return
    name, view = session.channels[viewing.channel].name, window.middle.view
    if findings is None:
        viewing.tell("The pulses are not measured yet: zoom to one as soon as they are.")
        return
    found = found_pulses(session, findings, viewing.record, (viewing.channel,))
    if not len(found):
        viewing.tell(f"No pulse was found in record {viewing.record} on {name}.")
        return
    largest = int(np.argmax(np.nan_to_num(np.abs(found.amplitude), nan=0.0)))
    pulses, i = findings.pulses, int(found.index[largest])
    length = int(pulses.last_sample[i] - pulses.first_sample[i]) + 1
    beside = max(_LENGTHS_BESIDE * length, _LEAST_BESIDE) * session.sample_interval
    centre = view.shown_time(viewing.record, float(found.time[largest]))
    if not np.isfinite(centre):
        viewing.tell(f"Record {viewing.record} is not drawn here: it could not be aligned.")
        return
    view.show_time((centre - beside, centre + beside))
