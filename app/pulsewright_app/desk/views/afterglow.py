"""Afterglow: many records of the current channel over each other, denser ink where more of them pass."""

from __future__ import annotations

from dataclasses import dataclass, replace
from html import escape

import numpy as np
from PySide6.QtCore import QRectF
from PySide6.QtGui import QImage, QPainter
from PySide6.QtWidgets import QBoxLayout, QHBoxLayout, QWidget

from pulsewright.quantity import engineering
from pulsewright.session import Session
from pulsewright_analysis.overlay import Raster
from pulsewright_analysis.results import Ints
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.views.glow_controls import GlowControls
from pulsewright_app.desk.views.glow_lines import Columns, draw_current, draw_mean, lines_key
from pulsewright_app.desk.views.glow_room import share_of_ink, share_of_lines
from pulsewright_app.desk.views.level_layer import LevelRow
from pulsewright_app.desk.views.passing_list import PassingList
from pulsewright_app.desk.views.picture_view import PictureView, Publish, image_of
from pulsewright_app.desk.views.rows import Row
from pulsewright_app.desk.views.view import Desk, Spot
from pulsewright_app.desk.work import Job
from pulsewright_app.glow import Accumulation, GlowPicture, GlowPlan, passing_of
from pulsewright_app.glow_alignment import Alignment, alignment_of
from pulsewright_app.glow_ink import inked
from pulsewright_app.theme import Theme, theme
from pulsewright_app.wording import count

_FINDING = "Finding the passing records"
_MOST_LISTED = 40


@dataclass(frozen=True)
class _Look:
    """What the ink of a picture depends on, apart from the counts."""

    dark: bool
    logarithmic: bool


@dataclass(frozen=True)
class _Shown:
    """A picture with its ink, as a worker hands it over."""

    plan: GlowPlan
    picture: GlowPicture
    image: QImage
    look: _Look
    wanted: int
    """How many records were to be in it."""

    @property
    def counted(self) -> int:
        """How many records are in it, those that could not be aligned included."""
        return self.picture.records + self.picture.unplaced

    @property
    def complete(self) -> bool:
        """Whether every record that was to be in it is, and exactly so."""
        return self.exact == self.wanted

    @property
    def exact(self) -> int:
        """How many records are in it exactly, or could not be aligned."""
        return self.counted - self.picture.coarse


def _inked(accumulation: Accumulation, look: _Look, wanted: int) -> _Shown:
    picture = accumulation.picture()
    rows = inked(picture, _ink_colours(theme(look.dark), len(picture.counts)), look.logarithmic)
    return _Shown(accumulation.plan, picture, image_of(rows), look, wanted)


class AfterglowView(PictureView[_Shown]):
    """Many records at once."""

    NAME = "Afterglow"
    KEY = "Accumulating the records"

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self._accumulation: Accumulation | None = None
        self._made_for: object = None
        self._handed_over: Ints = np.zeros(0, dtype=np.int64)
        self._why_not_aligned = ""
        self._lines: list[Columns] = []
        """Where the mean and the current record were drawn."""
        self._taken.traces = self._share_of
        self.controls = GlowControls(self.viewing)
        self.passing = PassingList(self.document, self.viewing, self.results)
        self._place_around_canvas()
        self.viewing.glow.changed.connect(self.schedule)
        self.viewing.filter_changed.connect(self.schedule)
        self.viewing.channel_changed.connect(self._leave_spot)
        desk.overviews.misled.connect(self._draw_anew)

    def _place_around_canvas(self) -> None:
        """Put the controls above the plot and the list of passing records beside it."""
        column = self.layout()
        assert isinstance(column, QBoxLayout)
        column.removeWidget(self.canvas)
        row = QHBoxLayout()
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.canvas, 1)
        row.addWidget(self.passing)
        column.addWidget(self.controls)
        column.addLayout(row, 1)

    # -- what is wanted -------------------------------------------------------------------------------------

    def forget(self) -> None:
        """Drop the picture of the session before."""
        self._drop()
        self.desk.background.cancel(_FINDING)
        self.made = self._made_for = None
        self.passing.forget()

    def _draw_anew(self) -> None:
        self._made_for = None
        self.schedule()

    def _drop(self) -> None:
        self.leave_off()
        self._accumulation = None
        self._handed_over = np.zeros(0, dtype=np.int64)

    def refresh(self, session: Session) -> None:
        """Show what has been accumulated; add what is missing; begin anew where that was for something else."""
        channel = self.viewing.channel
        values = self.viewing.value_window or self.desk.data.value_range((channel,))
        self.canvas.show_windows(self.time_window(session), values)
        self.canvas.value_axis.setLabel("Value", units=session.channels[channel].unit)
        records = self._records(session)
        raster, kept = self._raster(), self._handed_over
        wanted = (session, channel, raster, self._choices())
        if wanted != self._made_for or not np.array_equal(records[: len(kept)], kept):
            self._made_for = wanted
            self._drop()
            self._accumulation = Accumulation(self._plan(session, channel, raster))
            if self.made is not None and self.made.plan.channel != channel:
                self.made = None  # another channel's picture would be taken for this one's
        self._add(records)
        self._label_axis()
        self.tell(session)

    def _records(self, session: Session) -> Ints:
        """Return the records that are wanted, the newest last."""
        of, matches = self.viewing.glow.of, self.viewing.matches
        if of == "stepped":
            return self.viewing.glow.stepped
        if of == "matching" and matches is not None:
            return matches
        return np.arange(session.records)

    def _choices(self) -> tuple[object, ...]:
        """Return what else the picture depends on, with the generation of the findings where it rests on those."""
        glow, findings = self.viewing.glow, self.results.findings
        rests = glow.aligned_by != "trigger" or self.viewing.inks == "polarity"
        generation = self.results.findings_generation if rests and findings is not None else 0
        return self.viewing.inks, glow.aligned_by, generation, glow.half_life, glow.mean

    def _raster(self) -> Raster:
        time, values = self.canvas.windows()
        plot, density = self.canvas.plot_rect(), self.devicePixelRatioF()
        width, height = max(round(plot.width() * density), 1), max(round(plot.height() * density), 1)
        return Raster(width, height, *time, *values)

    def _plan(self, session: Session, channel: int, raster: Raster) -> GlowPlan:
        findings, glow = self.results.findings, self.viewing.glow
        alignment = alignment_of(session, findings, channel, glow.aligned_by)
        self._why_not_aligned = alignment if isinstance(alignment, str) else ""
        if isinstance(alignment, str):
            alignment = Alignment(np.zeros(session.records))
        signs = None
        known = findings is not None and findings.session.records == session.records
        if self.viewing.inks == "polarity" and findings is not None and known and channel in findings.channels:
            signs = findings.polarity.sign[:, channel]
        overview = self.desk.overviews.finder(session, channel)
        return GlowPlan(session, channel, raster, alignment, signs, glow.half_life, glow.mean, overview)

    # -- accumulating ---------------------------------------------------------------------------------------

    def _add(self, records: Ints) -> None:
        """Let a worker add the records that are not in yet, or ink the picture anew; one job at a time."""
        accumulation = self._accumulation
        look = _Look(self.viewing.dark, self.viewing.logarithmic)
        added = records[len(self._handed_over) :]
        as_wanted = self._is_current and self.made is not None and self.made.look == look
        if accumulation is None or self.making is not None:
            return
        if not len(added) and as_wanted:
            self.desk.overviews.prepare(accumulation.plan.session, accumulation.plan.channel)
            return
        self._handed_over, wanted = records, len(records)

        def shown() -> _Shown:
            return _inked(accumulation, look, wanted)

        def work(job: Job, publish: Publish[_Shown]) -> _Shown:
            accumulation.add(added, job.cancelled, lambda: publish(shown), lambda: publish(shown, at_once=True))
            return shown()

        self.make(look, work)

    @property
    def _is_current(self) -> bool:
        """Whether the picture that is shown is of what is being accumulated now."""
        made, accumulation = self.made, self._accumulation
        return made is not None and accumulation is not None and made.plan is accumulation.plan

    # -- drawing --------------------------------------------------------------------------------------------

    @property
    def time_refused(self) -> str:
        """Why markers and spans have no place here: each record is moved by a time of its own."""
        if not self._aligned:
            return ""
        return f"Records aligned by {self._aligned} share no time: align them by trigger for markers and spans."

    @property
    def _aligned(self) -> str:
        """What the picture's records are aligned by, in words; empty for the trigger."""
        return self._accumulation.plan.alignment.about if self._accumulation is not None else ""

    def shown_time(self, record: int, time: float) -> float:
        """Return where along the axis a time of a record lies; NaN where the record could not be aligned."""
        return time if self._accumulation is None else time - float(self._accumulation.plan.alignment.shift[record])

    def _label_axis(self) -> None:
        about = self._aligned
        self.canvas.time_axis.setLabel(
            f"Time, {about} brought to their median" if about else "Time from the trigger", units="s"
        )

    def picture_rect(self, canvas: Canvas, made: _Shown) -> QRectF:
        """Return where what was accumulated lies."""
        raster = made.picture.raster
        left, right = canvas.x_of(raster.time_low), canvas.x_of(raster.time_high)
        top, bottom = canvas.y_of(raster.value_high), canvas.y_of(raster.value_low)
        return QRectF(left, top, right - left, bottom - top)

    def _paint_before_trigger(self, painter: QPainter, canvas: Canvas) -> None:
        if not self._aligned:  # moved records have their triggers in many places
            super()._paint_before_trigger(painter, canvas)

    def paint_above(self, painter: QPainter, canvas: Canvas) -> None:
        """Draw the mean, and the current record where the records are over each other."""
        session, shown = self.document.session, self.made
        self._lines = []
        if session is None or shown is None or shown.plan.session is not session:
            return
        if shown.picture.mean is not None:
            self._lines += draw_mean(painter, canvas, self.theme, shown.picture.mean)
        codes = self.desk.data.codes(self.viewing.record) if self._with_current else None
        if codes is None:
            return
        channel = self.viewing.channel
        about, shift = session.channels[channel], shown.plan.alignment.shift[self.viewing.record]
        start = float(session.first_sample_times(self.viewing.record)[channel] - shift)
        if np.isfinite(start):
            values = codes[channel] * about.scale + about.offset
            self._lines.append(draw_current(painter, canvas, self.theme, values, start, session.sample_interval))

    def _share_of(self, box: QRectF) -> float:
        """Return in how much of a box's width something is drawn."""
        if self.made is None:
            return 0.0
        place = self.picture_rect(self.canvas, self.made)
        return max(share_of_ink(self.made.picture, place, box), share_of_lines(self._lines, box))

    @property
    def _with_current(self) -> bool:
        """Whether the current record is drawn: on request, and while passing records are stepped through."""
        return self.viewing.glow.current or self.viewing.passing is not None

    # -- words ----------------------------------------------------------------------------------------------

    def caption_text(self, session: Session) -> str:
        """Return which records are shown, how dense they lie, and what to know about them."""
        parts = [escape(session.channels[self.viewing.channel].name)]
        shown = self.made
        if shown is None or not self._is_current:
            waiting = f"accumulating {count(len(self._handed_over), 'record')} …"
            return f"{parts[0]}&nbsp; · &nbsp;{waiting if self.making else 'the records could not be accumulated'}"
        picture = shown.picture
        if len(picture.counts) == 3:
            parts.append(self._legend(picture))
        key = lines_key(self.theme, picture.mean is not None, self.viewing.record if self._with_current else None)
        parts += ["  ".join(key)] if key else []
        parts.append(self._how_many(session, shown))
        parts.append(f"densest spot: {'at most ' if picture.coarse else ''}{count(picture.most, 'record')}")
        if picture.unplaced:
            parts.append(f"{count(picture.unplaced, 'record')} without {self._aligned[:-1]} left away")
        if len(picture.counts) == 1 and self.viewing.inks == "polarity":
            parts.append("one ink until this channel's polarity is measured")
        if self._why_not_aligned:
            parts.append(f"aligned by trigger: {escape(self._why_not_aligned)}")
        if len(picture.counts) == 3 or self._aligned:
            parts += ["pulses out of date"] if self.results.out_of_date else []
            parts += [f"pulses of {self.results.part} only so far"] if self.results.partial else []
        return "&nbsp; · &nbsp;".join(parts)

    def _how_many(self, session: Session, shown: _Shown) -> str:
        of, counted = self.viewing.glow.of, shown.counted
        if shown.picture.coarse and self.making is None:
            return f"<i>coarse: the samples of {shown.wanted - shown.exact} of {shown.wanted} records were not read</i>"
        if shown.picture.coarse:
            return f"<i>coarse, {shown.exact} of {shown.wanted} records exact so far …</i>"
        if not shown.complete and self.making is None:
            return f"<i>{counted} of {shown.wanted} records only: the others could not be accumulated</i>"
        if not shown.complete:
            return f"<i>{counted} of {shown.wanted} records so far …</i>"
        if of == "stepped":
            return f"{count(counted, 'record')} stepped through"
        if of == "matching" and self.viewing.matches is not None:
            return f"{count(counted, 'record')} that match {escape(self.viewing.filter_text)}"
        left_out = len(self.document.left_out)
        text = f"all {session.records} records" + (f" (with {left_out} left out)" if left_out else "")
        return f"{text} (there is no filter)" if of == "matching" else text

    def _legend(self, picture: GlowPicture) -> str:
        colours = _ink_colours(self.theme, 3)
        words = ("positive", "negative", "without a pulse")
        seen = [ink for ink in range(3) if picture.counts[ink].any()]
        return "  ".join(f"<span style='color:{colours[ink]}'>■</span>&nbsp;{words[ink]}" for ink in seen)

    def value_text(self, time: float, height: float) -> str:
        """Return the value under the pointer, and how many records pass there."""
        session, shown = self.document.session, self.made
        if session is None:
            return ""
        text = f"value = {engineering(height, session.channels[self.viewing.channel].unit)}"
        counts = None if shown is None else shown.picture.at(time, height)
        if counts is None:
            return text
        pass_here = "passes" if sum(counts) == 1 else "pass"
        at_most = "at most " if shown is not None and shown.picture.coarse else ""
        told = f"{text}    {at_most}{count(sum(counts), 'record')} {pass_here} here"
        if len(counts) == 3:
            told += f" ({counts[0]} positive, {counts[1]} negative)"
        return told if shown is not None and shown.complete and self._is_current else f"{told} so far"

    def spot(self, time: float, height: float) -> Spot | str:
        """Return the place in the current record, where that is drawn: which of the others is meant, nobody knows."""
        shown, record = self.made, self.viewing.record
        if not self._with_current or shown is None:
            return 'Many records lie here: tick "Current record" to point at one of its pulses.'
        shift = float(shown.plan.alignment.shift[record])
        if not np.isfinite(shift):
            return f"Record {record} is not drawn here: it has none of the {self._aligned}."
        return Spot(record, self.viewing.channel, time + shift)

    # -- passing records ------------------------------------------------------------------------------------

    def level_row(self, channel: int) -> LevelRow | None:
        """Return where the current channel's values lie: heights are values here."""
        return LevelRow(Row(), *self.canvas.windows()[1]) if channel == self.viewing.channel else None

    def clicked(self, time: float, height: float) -> None:
        """List the records that pass through the clicked spot."""
        super().clicked(time, height)
        if self.document.session is None or self._accumulation is None:
            return
        plan, records = self._accumulation.plan, self._handed_over
        plan = replace(plan, raster=self._raster())
        about = plan.session.channels[plan.channel]
        spot = f"{engineering(time, 's', 4)}, {engineering(height, about.unit, 3)} on {about.name}"
        self.desk.background.start(
            _FINDING,
            lambda job: passing_of(plan, records, time, height, job.cancelled),
            lambda found: self._tell_passing(found, spot),
            self.viewing.tell,
        )

    def _leave_spot(self) -> None:
        """Put the list of another channel's spot away, unless its records are being stepped through."""
        self.desk.background.cancel(_FINDING)
        if self.viewing.passing is None:
            self.passing.forget()

    def _tell_passing(self, records: list[int], spot: str) -> None:
        if not records:
            self.told.emit("No record passes there.")
            return
        listed = ", ".join(str(record) for record in records[:_MOST_LISTED])
        more = f" and {len(records) - _MOST_LISTED} more" if len(records) > _MOST_LISTED else ""
        self.told.emit(f"{len(records)} passing record{'s' if len(records) > 1 else ''}: {listed}{more}")
        self.passing.show_records(records, spot)


def _ink_colours(colours: Theme, inks: int) -> tuple[str, ...]:
    return (colours.one_ink,) if inks == 1 else (colours.positive, colours.negative, colours.muted)
