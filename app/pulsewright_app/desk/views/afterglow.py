"""Afterglow: all records of the current channel accumulated, denser ink where more of them pass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import QRectF, Qt
from PySide6.QtWidgets import QCheckBox, QComboBox, QWidget

from pulsewright.quantity import engineering
from pulsewright.session import Session
from pulsewright_analysis.overlay import Afterglow, Raster, passing_records
from pulsewright_app.desk.viewing import Inks
from pulsewright_app.desk.views.view import Desk, View
from pulsewright_app.desk.work import Job
from pulsewright_app.theme import Theme, components

Counts = NDArray[np.uint32]
Signs = NDArray[np.int64]

_KEY = "Accumulating the records"
_FAINTEST = 0.16
_MOST_LISTED = 40
_BLOCK_BYTES = 4 << 20


@dataclass(frozen=True)
class Picture:
    """What was accumulated: counts for each ink, top row first."""

    raster: Raster
    counts: tuple[Counts, ...]
    records: int


def accumulate(session: Session, channel: int, raster: Raster, signs: Signs | None, job: Job) -> Picture:
    """Accumulate all records of a channel, in one picture or in one for each polarity.

    Parameters
    ----------
    session : Session
    channel : int
    raster : Raster
    signs : int array (records,), optional
        The polarity of each record; records with none go with the positive ones.
    job : Job
        Polled for cancelling.
    """
    starts, about = session.first_sample_time(channel), session.channels[channel]
    glows = [Afterglow(raster)] if signs is None else [Afterglow(raster), Afterglow(raster)]
    for first, block in session.blocks(block_bytes=_BLOCK_BYTES):
        if job.cancelled():
            break
        codes, begin = block[:, channel, :], starts[first : first + len(block)]
        if signs is None:
            glows[0].add(codes, begin, session.sample_interval, about.scale, about.offset)
            continue
        negative = signs[first : first + len(block)] < 0
        for glow, chosen in zip(glows, (~negative, negative), strict=True):
            glow.add(codes[chosen], begin[chosen], session.sample_interval, about.scale, about.offset)
    return Picture(raster, tuple(glow.counts for glow in glows), session.records)


def inked(picture: Picture, colours: tuple[str, ...], logarithmic: bool) -> NDArray[np.uint8]:
    """Return the picture in ink, (height, width, 4), bottom row first; no ink where no record passes.

    Two inks over each other mix by their densities.
    """
    most = max(1, max(int(counts.max(initial=0)) for counts in picture.counts))
    densities = [_density(counts, most, logarithmic) for counts in picture.counts]
    total = np.sum(densities, axis=0)
    image = np.zeros((*total.shape, 4), dtype=np.uint8)
    share = np.where(total > 0, total, 1.0)
    for part in range(3):
        mixed = sum(d * components(c)[part] for d, c in zip(densities, colours, strict=True))
        image[..., part] = np.round(mixed / share)
    image[..., 3] = np.round(255 * (1 - np.prod([1 - d for d in densities], axis=0)))
    return image[::-1]


def _density(counts: Counts, most: int, logarithmic: bool) -> NDArray[np.float64]:
    amount = np.log1p(counts) / np.log1p(most) if logarithmic else counts / most
    density: NDArray[np.float64] = np.where(counts > 0, _FAINTEST + (1 - _FAINTEST) * amount, 0.0)
    return density


class AfterglowView(View):
    """All records at once."""

    NAME = "Afterglow"

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self.caption.setTextFormat(Qt.TextFormat.RichText)
        self._picture: Picture | None = None
        self._made_for: object = None
        self._inked_for: object = None
        self._image = pg.ImageItem(axisOrder="row-major")
        self.canvas.addItem(self._image, ignoreBounds=True)
        self.inks = QComboBox()
        self.inks.addItem("One ink, by count", "count")
        self.inks.addItem("Two inks, by polarity", "polarity")
        self.inks.setAccessibleName("Ink of the Afterglow view")
        self.inks.activated.connect(lambda: self.viewing.set_inks(self.inks.currentData()))
        self.logarithmic = QCheckBox("Logarithmic")
        self.logarithmic.setAccessibleName("Ink follows the logarithm of the count")
        self.logarithmic.toggled.connect(self.viewing.set_logarithmic)
        self.viewing.options_changed.connect(self._show_options)
        self.viewing.dark_changed.connect(self._ink)
        self.options.addWidget(self.inks)
        self.options.addWidget(self.logarithmic)
        self._show_options()

    def _show_options(self) -> None:
        self.inks.setCurrentIndex(self.inks.findData(self.viewing.inks))
        self.logarithmic.setChecked(self.viewing.logarithmic)

    # -- drawing --------------------------------------------------------------------------------------------

    def forget(self) -> None:
        """Drop the picture of the session before."""
        self.desk.background.cancel(_KEY)
        self._picture = self._made_for = self._inked_for = None
        self._image.clear()

    def refresh(self, session: Session) -> None:
        """Show what has been accumulated, and accumulate anew where that was for something else."""
        channel = self.viewing.channel
        values = self.viewing.value_window or self.desk.data.value_range((channel,))
        self.canvas.show_windows(self.time_window(session), values)
        self.canvas.value_axis.setLabel("Value", units=session.channels[channel].unit)
        wanted = (session, channel, self._raster(), self._effective_inks(), self._signs_generation())
        if wanted != self._made_for:
            self._made_for = wanted
            self._accumulate(session, channel, wanted[2])
        self._ink()

    def _effective_inks(self) -> Inks:
        known = self.results.findings is not None and self.viewing.channel in self.results.findings.channels
        return self.viewing.inks if known else "count"

    def _signs_generation(self) -> int:
        return self.results.findings_generation if self._effective_inks() == "polarity" else 0

    def _raster(self) -> Raster:
        time, values = self.canvas.windows()
        plot, density = self.canvas.plot_rect(), self.devicePixelRatioF()
        width, height = max(round(plot.width() * density), 1), max(round(plot.height() * density), 1)
        return Raster(width, height, *time, *values)

    def _accumulate(self, session: Session, channel: int, raster: Raster) -> None:
        findings, signs = self.results.findings, None
        if self._effective_inks() == "polarity" and findings is not None:
            signs = findings.polarity.sign[:, channel]
        self.caption.setText(f"{session.channels[channel].name}&nbsp; · &nbsp;accumulating {session.records} records …")
        self.desk.background.start(
            _KEY,
            lambda job: accumulate(session, channel, raster, signs, job),
            self._take,
            self.viewing.tell,
        )

    def _take(self, picture: Picture) -> None:
        self._picture = picture
        self._ink()

    def _ink(self) -> None:
        picture, session = self._picture, self.document.session
        if picture is None or session is None:
            return
        colours = _ink_colours(self.theme, len(picture.counts))
        wanted = (id(picture), colours, self.viewing.logarithmic)
        if wanted != self._inked_for:  # stepping must not ink it anew
            self._inked_for = wanted
            image = inked(picture, colours, self.viewing.logarithmic)
            self._image.setImage(image, autoLevels=False, levels=(0, 255))
        raster = picture.raster
        size = (raster.time_high - raster.time_low, raster.value_high - raster.value_low)
        self._image.setRect(QRectF(raster.time_low, raster.value_low, *size))
        self.caption.setText(self._caption(session, picture))

    def _caption(self, session: Session, picture: Picture) -> str:
        name = session.channels[self.viewing.channel].name
        most = max(int(counts.max(initial=0)) for counts in picture.counts)
        text = f"{name}&nbsp; · &nbsp;all {picture.records} records&nbsp; · &nbsp;densest spot: {most} records"
        if len(picture.counts) == 2:
            text += (
                f"&nbsp; · &nbsp;<span style='color:{self.theme.positive}'>■</span>&nbsp;positive"
                f"  <span style='color:{self.theme.negative}'>■</span>&nbsp;negative"
            )
        elif self.viewing.inks == "polarity":
            text += "&nbsp; · &nbsp;one ink until this channel's polarity is measured"
        return text

    # -- gestures -------------------------------------------------------------------------------------------

    def clicked(self, time: float, height: float) -> None:
        """List the records that pass through the clicked spot."""
        super().clicked(time, height)
        session, picture = self.document.session, self._picture
        if session is None or picture is None:
            return
        channel, raster = self.viewing.channel, picture.raster
        column, row = raster.column(time), raster.row(height)
        self.desk.background.start(
            "Finding the passing records",
            lambda job: _passing(session, channel, raster, column, row, job),
            self._tell_passing,
            self.viewing.tell,
        )

    def _tell_passing(self, records: list[int]) -> None:
        if not records:
            self.told.emit("No record passes there.")
            return
        listed = ", ".join(str(record) for record in records[:_MOST_LISTED])
        more = f" and {len(records) - _MOST_LISTED} more" if len(records) > _MOST_LISTED else ""
        self.told.emit(f"{len(records)} passing record{'s' if len(records) > 1 else ''}: {listed}{more}")

    def value_text(self, time: float, height: float) -> str:
        """Return the value under the pointer, and how many records pass there."""
        session, picture = self.document.session, self._picture
        if session is None:
            return ""
        text = f"value = {engineering(height, session.channels[self.viewing.channel].unit)}"
        if picture is None:
            return text
        column, row = picture.raster.column(time), picture.raster.row(height)
        if not (0 <= column < picture.raster.width and 0 <= row < picture.raster.height):
            return text
        return f"{text}    {sum(int(counts[row, column]) for counts in picture.counts)} records pass here"


def _ink_colours(theme: Theme, inks: int) -> tuple[str, ...]:
    return (theme.one_ink,) if inks == 1 else (theme.positive, theme.negative)


def _passing(session: Session, channel: int, raster: Raster, column: int, row: int, job: Job) -> list[int]:
    """Return the records whose trace passes within one pixel of a spot."""
    starts, about = session.first_sample_time(channel), session.channels[channel]
    found: list[int] = []
    for first, block in session.blocks(block_bytes=_BLOCK_BYTES):
        if job.cancelled():
            break
        begin = starts[first : first + len(block)]
        passing = passing_records(
            block[:, channel, :], begin, session.sample_interval, raster, column, row,
            scale=about.scale, offset=about.offset,
        )  # fmt: skip
        found += [first + int(i) for i in np.flatnonzero(passing)]
    return found
