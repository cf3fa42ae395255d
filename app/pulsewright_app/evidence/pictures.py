"""The figures of one sheet: each is drawn once, numbered in the order in which it is first asked for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from pulsewright.review import LevelMarker, Marker, Review, level_pairs, marker_pairs
from pulsewright.session import Session
from pulsewright_analysis.assessment import Assessment
from pulsewright_analysis.findings import Watch
from pulsewright_app.evidence.accumulating import (
    UNWATCHED,
    glow_of,
    rows_of,
    value_window,
    whole_window,
)
from pulsewright_app.evidence.captions import PAIR_MM, glow_caption, glow_height, map_caption, map_height
from pulsewright_app.evidence.dimensions import dimensions_of
from pulsewright_app.evidence.drawing import Limits, drawn, short
from pulsewright_app.evidence.finding_pictures import (
    jitter_picture,
    positions_picture,
    skew_picture,
    trigger_gaps_picture,
)
from pulsewright_app.evidence.health_pictures import health_picture, pulses_picture
from pulsewright_app.evidence.session_pictures import draw_glow, draw_map, draw_single
from pulsewright_app.evidence.sheet import Picture
from pulsewright_app.wording import count

if TYPE_CHECKING:
    from matplotlib.figure import Figure

KINDS = ("afterglow", "map", "positions", "trigger_gaps", "jitter", "skew", "health", "pulses")
"""Figures of the findings, in the order in which the sheet shows those that no claim asks for."""


class Pictures:
    """Draws the figures of one session when they are asked for.

    Parameters
    ----------
    session : Session
        Open.
    assessment : Assessment
        Its findings are drawn, with the limits of its claims.
    review : Review
        For its markers.
    watch : Watch, optional
        Told of each figure; stops the drawing when it is called off.
    """

    def __init__(self, session: Session, assessment: Assessment, review: Review, watch: Watch = UNWATCHED) -> None:
        self._watch = watch
        self._session, self._findings, self._assessment = session, assessment.findings, assessment
        self._review = review
        self._units = {channel.name: channel.unit for channel in session.channels}
        self._drawn: dict[str, Picture | None] = {}
        self._number = 0

    def next_number(self) -> int:
        """Return the number of the next figure, and count on."""
        self._number += 1
        return self._number

    def has(self, kind: str) -> bool:
        """Return whether a figure was drawn already, or found not to be possible."""
        return kind in self._drawn

    def of(self, kind: str) -> Picture | None:
        """Return a figure by its kind; None where it cannot be drawn, or where there is no such kind."""
        if kind not in self._drawn:
            self._watch.at(len(self._drawn) / (len(KINDS) + 2), f"figure {self._number + 1}")
            made = self._draw(kind, self._number + 1)
            self._number += made is not None
            self._drawn[kind] = made
        return self._drawn[kind]

    def _draw(self, kind: str, number: int) -> Picture | None:
        findings = self._findings
        makers: dict[str, Callable[[], Picture | None]] = {
            "positions": lambda: positions_picture(findings, number),
            "skew": lambda: skew_picture(findings, number, self._limits("skew")),
            "jitter": lambda: jitter_picture(findings, number),
            "trigger_gaps": lambda: trigger_gaps_picture(findings, number),
            "health": lambda: health_picture(findings, number, (self._limits("noise"), self._limits("enob"))),
            "pulses": lambda: self._pulses(number),
            "afterglow": lambda: self._afterglow(number),
            "markers": lambda: self._markers(number),
            "map": lambda: self._map(number),
            "slip": lambda: self._slip(number),
        }
        return makers[kind]() if kind in makers else None

    def _limits(self, kind: str, channel: str | None = None) -> list[Limits]:
        """Return the limits of the claims of one kind that are about all channels, or about one that is shown."""
        claims = () if self._assessment.claims is None else self._assessment.claims.claims
        return [
            Limits(place, verdict.low, verdict.high)
            for place, (verdict, claim) in enumerate(zip(self._assessment.verdicts, claims, strict=False), start=1)
            if verdict.kind == kind and (not claim.channels or channel in claim.channels)
        ]

    def _pulses(self, number: int) -> Picture | None:
        about = self._session.channels[self._channel]
        limits = (self._limits("amplitude", about.name), self._limits("width", about.name))
        return pulses_picture(self._findings, about.unit, number, limits)

    @property
    def _channel(self) -> int:
        """The channel whose samples are shown: the one that tells the sequence, else the first one measured."""
        channel = self._findings.sequence.channel
        return self._findings.channels[0] if channel is None else channel

    def _afterglow(self, number: int) -> Picture:
        session, records, channel = self._session, self._findings.records, self._channel
        name, unit = session.channels[channel].name, session.channels[channel].unit
        glow = glow_of(
            session,
            channel,
            records,
            whole_window(session, channel),
            value_window(session, channel, records, self._watch),
            watch=self._watch,
        )
        shown = dimensions_of(self._review, self._findings, self._units, (name,))
        caption = glow_caption(glow, short(name, 40), shown=shown)
        svg = drawn(number, glow_height(shown), lambda figure: draw_glow(figure, glow, unit, shown, channel=name))
        return Picture(number, svg, caption, f"all traces of {short(name, 40)} laid over each other")

    def _markers(self, number: int) -> Picture | None:
        """Return the record and channel on which the first pair was put down, with all pairs that belong there."""
        firsts: list[Marker | LevelMarker] = [pair[0] for pair in marker_pairs(self._review)]
        firsts += [pair[0] for pair in level_pairs(self._review)]
        if not firsts:
            return None
        session, first = self._session, firsts[0]
        names = [channel.name for channel in session.channels]
        channel = names.index(first.channel) if first.channel in names else 0
        record = min(first.record or 0, session.records - 1)
        here = replace(
            self._review,
            markers=[
                marker
                for pair in marker_pairs(self._review)
                if pair[0].channel == first.channel and (pair[0].record or 0) == record
                for marker in pair
            ],
            level_markers=[
                level
                for pair in level_pairs(self._review)
                if (pair[0].channel, pair[0].record) == (names[channel], record)
                for level in pair
            ],
        )
        shown = dimensions_of(here, self._findings, self._units, (names[channel],), record)
        caption = f"Record {record} on {short(names[channel], 40)} with the pairs put down there.{shown.sentence}"

        def draw(figure: Figure) -> None:
            draw_single(figure, session, record, [channel], None, shown)

        height = 60 + PAIR_MM * len(shown.pairs)
        svg = drawn(number, height, draw)
        return Picture(number, svg, caption, "a trace with dimension lines between the markers of each pair")

    def _map(self, number: int) -> Picture:
        session, records, channel = self._session, self._findings.records, self._channel
        name, unit = session.channels[channel].name, session.channels[channel].unit
        rows = rows_of(session, channel, records, whole_window(session, channel), self._watch)
        caption, height = map_caption(rows, short(name, 40), len(records), self._findings), map_height(rows)
        svg = drawn(number, height, lambda figure: draw_map(figure.subplots(), rows, unit, self._findings))
        return Picture(number, svg, caption, f"{count(len(rows.numbers), 'record')} as rows of one image")

    def _slip(self, number: int) -> Picture | None:
        """Return two maps side by side, of a channel that stays in step and of one that does not."""
        session, findings = self._session, self._findings
        slipped = {slip.module for slip in findings.sequence.slips}
        modules = [session.channels[channel].module for channel in findings.channels]
        pair = [
            next((c for c, m in zip(findings.channels, modules, strict=True) if (m in slipped) == aside), None)
            for aside in (False, True)
        ]
        steady, aside = pair
        if steady is None or aside is None:
            return None
        if session.channels[self._channel].module not in slipped:
            steady = self._channel
        maps = [
            (c, rows_of(session, c, findings.records, whole_window(session, c), self._watch)) for c in (steady, aside)
        ]

        def draw(figure: Figure) -> None:
            for axes, (channel, rows) in zip(figure.subplots(1, 2, sharey=True), maps, strict=True):
                draw_map(axes, rows, session.channels[channel].unit, findings)
                axes.set_title(short(session.channels[channel].name), loc="left", pad=12)

        told = [f"{short(session.channels[c].name, 40)} ({short(session.channels[c].module, 40)})" for c, _ in maps]
        caption = (
            f"Maps of {told[0]}, which stays in step, and of {told[1]}, which does not: from the dashed line on, its "
            f"records belong to other triggers. Dark above the base, light below it."
        )
        height = map_height(maps[0][1]) + 4  # their titles
        return Picture(number, drawn(number, height, draw), caption, "two maps side by side")
