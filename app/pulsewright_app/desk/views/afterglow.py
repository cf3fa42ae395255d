"""Afterglow: many records of the current channel over each other, denser ink where more of them pass."""

from __future__ import annotations

import time as clock
from dataclasses import dataclass, replace

import numpy as np
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QImage, QPainter
from PySide6.QtWidgets import QBoxLayout, QHBoxLayout, QWidget

from pulsewright.quantity import engineering
from pulsewright.session import Session
from pulsewright_analysis.overlay import Raster
from pulsewright_analysis.results import Ints
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.views.glow_controls import GlowControls
from pulsewright_app.desk.views.glow_lines import draw_current, draw_mean
from pulsewright_app.desk.views.passing_list import PassingList
from pulsewright_app.desk.views.view import Desk, View
from pulsewright_app.desk.work import Job
from pulsewright_app.glow import Accumulation, Alignment, GlowPicture, GlowPlan, alignment_of, inked, passing_of
from pulsewright_app.theme import Theme, theme
from pulsewright_app.wording import count

_KEY = "Accumulating the records"
_FINDING = "Finding the passing records"
_MOST_LISTED = 40
_PARTIAL_EVERY = 0.15
"""Seconds between two partial pictures."""


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


def _inked(accumulation: Accumulation, look: _Look) -> _Shown:
    picture = accumulation.picture()
    rows = inked(picture, _ink_colours(theme(look.dark), len(picture.counts)), look.logarithmic)
    height, width = rows.shape[:2]
    image = QImage(rows.data, width, height, 4 * width, QImage.Format.Format_RGBA8888)
    # the conversion also makes a copy, so that the rows may go
    return _Shown(accumulation.plan, picture, image.convertToFormat(QImage.Format.Format_ARGB32_Premultiplied), look)


class AfterglowView(View):
    """Many records at once."""

    NAME = "Afterglow"

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self.caption.setTextFormat(Qt.TextFormat.RichText)
        self._shown: _Shown | None = None
        self._accumulation: Accumulation | None = None
        self._made_for: object = None
        self._handed_over: Ints = np.zeros(0, dtype=np.int64)
        self._complete = True
        self._running = False
        self._why_not_aligned = ""
        self._partial: list[_Shown] = []
        self.controls = GlowControls(self.viewing)
        self.passing = PassingList(self.document, self.viewing, self.results)
        self._place_around_canvas()
        self.canvas.below.append(self._paint_picture)
        self.viewing.glow.changed.connect(self.schedule)
        self.viewing.filter_changed.connect(self.schedule)
        self.viewing.dark_changed.connect(self.schedule)
        self.viewing.channel_changed.connect(self._leave_spot)

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
        self._shown = self._made_for = None
        self.passing.forget()

    def _drop(self) -> None:
        self.desk.background.cancel(_KEY)
        self._running = False
        self._accumulation, self._complete = None, True
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
            if self._shown is not None and self._shown.plan.channel != channel:
                self._shown = None  # another channel's picture would be taken for this one's
        self._add(records)
        self._label_axis()
        self._tell(session)

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
        return GlowPlan(session, channel, raster, alignment, signs, glow.half_life, glow.mean)

    # -- accumulating ---------------------------------------------------------------------------------------

    def _add(self, records: Ints) -> None:
        """Let a worker add the records that are not in yet, or ink the picture anew; one job at a time."""
        accumulation = self._accumulation
        look = _Look(self.viewing.dark, self.viewing.logarithmic)
        added = records[len(self._handed_over) :]
        as_wanted = self._is_current and self._shown is not None and self._shown.look == look
        if accumulation is None or self._running or (not len(added) and as_wanted):
            return
        self._handed_over, self._running = records, True
        self._partial.clear()
        partial = self._partial

        def work(job: Job) -> _Shown:
            last = clock.monotonic() - _PARTIAL_EVERY / 2  # the first one soon

            def publish() -> None:
                nonlocal last
                if clock.monotonic() - last >= _PARTIAL_EVERY:
                    partial.append(_inked(accumulation, look))
                    job.progress(0.0, "")
                    last = clock.monotonic()

            accumulation.add(added, job.cancelled, publish)
            return _inked(accumulation, look)

        self.desk.background.start(_KEY, work, self._take, self._failed, self._take_partial)

    @property
    def _is_current(self) -> bool:
        """Whether the picture that is shown is of what is being accumulated now."""
        return (
            self._shown is not None and self._accumulation is not None and self._shown.plan is self._accumulation.plan
        )

    def _take_partial(self, _fraction: float, _text: str) -> None:
        if self._partial:
            self._shown, self._complete = self._partial[-1], False
            self._partial.clear()
            self._show_picture()

    def _take(self, shown: _Shown) -> None:
        self._shown, self._running, self._complete = shown, False, True
        self._show_picture()
        self.schedule()  # more may have been stepped through meanwhile

    def _failed(self, sentence: str) -> None:
        self._running, self._complete = False, False
        self.viewing.tell(sentence)

    def _tell(self, session: Session) -> None:
        text = self._caption(session)
        self.caption.setText(text)
        self.caption.setToolTip(text)  # where there is no room for all of it

    def _show_picture(self) -> None:
        session = self.document.session
        if session is not None:
            self._tell(session)
            self.canvas.viewport().update()

    # -- drawing --------------------------------------------------------------------------------------------

    @property
    def _aligned(self) -> str:
        """What the picture's records are aligned by, in words; empty for the trigger."""
        return self._accumulation.plan.alignment.about if self._accumulation is not None else ""

    def _label_axis(self) -> None:
        about = self._aligned
        self.canvas.time_axis.setLabel(
            f"Time, {about} brought to their median" if about else "Time from the trigger", units="s"
        )

    def _paint_picture(self, painter: QPainter, canvas: Canvas) -> None:
        if self._shown is None:
            return
        raster = self._shown.picture.raster
        left, right = canvas.x_of(raster.time_low), canvas.x_of(raster.time_high)
        top, bottom = canvas.y_of(raster.value_high), canvas.y_of(raster.value_low)
        painter.drawImage(QRectF(left, top, right - left, bottom - top), self._shown.image)

    def _paint_before_trigger(self, painter: QPainter, canvas: Canvas) -> None:
        if not self._aligned:  # moved records have their triggers in many places
            super()._paint_before_trigger(painter, canvas)

    def _paint_trigger(self, painter: QPainter, canvas: Canvas) -> None:
        if not self._aligned:
            super()._paint_trigger(painter, canvas)

    def paint_above(self, painter: QPainter, canvas: Canvas) -> None:
        """Draw the mean, and the current record where the records are over each other."""
        session, shown = self.document.session, self._shown
        if session is None or shown is None or shown.plan.session is not session:
            return
        if shown.picture.mean is not None:
            draw_mean(painter, canvas, self.theme, shown.picture.mean)
        codes = self.desk.data.codes(self.viewing.record) if self._with_current else None
        if codes is None:
            return
        channel = self.viewing.channel
        about, shift = session.channels[channel], shown.plan.alignment.shift[self.viewing.record]
        start = float(session.first_sample_time(channel)[self.viewing.record] - shift)
        if np.isfinite(start):
            values = codes[channel] * about.scale + about.offset
            draw_current(painter, canvas, self.theme, values, start, session.sample_interval)

    @property
    def _with_current(self) -> bool:
        """Whether the current record is drawn: on request, and while passing records are stepped through."""
        return self.viewing.glow.current or self.viewing.passing is not None

    # -- words ----------------------------------------------------------------------------------------------

    def _caption(self, session: Session) -> str:
        parts = [_escaped(session.channels[self.viewing.channel].name)]
        shown = self._shown
        if shown is None or not self._is_current:
            return f"{parts[0]}&nbsp; · &nbsp;accumulating {count(len(self._handed_over), 'record')} …"
        picture = shown.picture
        if len(picture.counts) == 3:
            parts.append(self._legend(picture))
        parts.append(self._how_many(session, picture))
        parts.append(f"densest spot: {count(picture.most, 'record')}")
        if picture.unplaced:
            parts.append(f"{count(picture.unplaced, 'record')} without {self._aligned[:-1]} left away")
        if len(picture.counts) == 1 and self.viewing.inks == "polarity":
            parts.append("one ink until this channel's polarity is measured")
        if self._why_not_aligned:
            parts.append(f"aligned by trigger: {self._why_not_aligned}")
        if len(picture.counts) == 3 or self._aligned:
            parts += ["pulses out of date"] if self.results.out_of_date else []
            parts += ["pulses of the first records only so far"] if self.results.partial else []
        return "&nbsp; · &nbsp;".join(parts)

    def _how_many(self, session: Session, picture: GlowPicture) -> str:
        of, counted = self.viewing.glow.of, picture.records + picture.unplaced
        if not self._complete:
            return f"<i>{counted} of {len(self._handed_over)} records so far …</i>"
        if of == "stepped":
            return f"{count(counted, 'record')} stepped through"
        if of == "matching" and self.viewing.matches is not None:
            return f"{count(counted, 'record')} that match {_escaped(self.viewing.filter_text)}"
        text = f"all {session.records} records"
        return f"{text} (there is no filter)" if of == "matching" else text

    def _legend(self, picture: GlowPicture) -> str:
        colours = _ink_colours(self.theme, 3)
        words = ("positive", "negative", "without a pulse")
        seen = [ink for ink in range(3) if picture.counts[ink].any()]
        return "  ".join(f"<span style='color:{colours[ink]}'>■</span>&nbsp;{words[ink]}" for ink in seen)

    def value_text(self, time: float, height: float) -> str:
        """Return the value under the pointer, and how many records pass there."""
        session, shown = self.document.session, self._shown
        if session is None:
            return ""
        text = f"value = {engineering(height, session.channels[self.viewing.channel].unit)}"
        counts = None if shown is None else shown.picture.at(time, height)
        if counts is None:
            return text
        pass_here = "passes" if sum(counts) == 1 else "pass"
        told = f"{text}    {count(sum(counts), 'record')} {pass_here} here"
        if len(counts) == 3:
            told += f" ({counts[0]} positive, {counts[1]} negative)"
        return told if self._complete and self._is_current else f"{told} so far"

    # -- passing records ------------------------------------------------------------------------------------

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


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
