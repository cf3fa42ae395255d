"""What is looked at: record, channel, view, zoom, playing. Never saved as evidence, never undone."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from PySide6.QtCore import QObject, Signal

from pulsewright_app.desk.additions import Which
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.glow_options import GlowOptions
from pulsewright_app.desk.reference_options import ReferenceOptions
from pulsewright_app.desk.spans import SpanDrawing
from pulsewright_app.desk.trims import Trims
from pulsewright_app.desk.walk import PACES as PACES
from pulsewright_app.desk.walk import Walk
from pulsewright_app.desk.zooming import Zoom, ZoomHistory
from pulsewright_app.stacked_run import CLOSEST, FARTHEST, SPACING

View = Literal["single", "stacked", "afterglow", "map"]
Inks = Literal["count", "polarity"]
Snap = Literal["nothing", "samples", "crossings", "pulses"]
Window = tuple[float, float]

MOST_NEIGHBOURS = 200
VIEWS: tuple[View, ...] = ("single", "stacked", "afterglow", "map")


class Viewing(Walk):
    """What the desk shows of its session.

    Records and channels count from 0 and are kept inside the session; without a session every gesture does nothing.
    """

    channel_changed = Signal(int)
    view_changed = Signal(str)
    shown_changed = Signal()
    """The visible channels, or lanes against one axis."""
    zoom_changed = Signal()
    selection_changed = Signal()
    """The selected marker."""
    options_changed = Signal()
    """Inks, logarithmic counts, neighbours in Stacked and their spacing, snapping."""
    dark_changed = Signal(bool)
    told = Signal(str)
    """A sentence for the bar at the top."""

    def __init__(self, document: Document, parent: QObject | None = None) -> None:
        super().__init__(document, parent)
        self._dark = False
        self._view: View = "single"
        self._lanes = True
        self._inks: Inks = "count"
        self._logarithmic = True
        self._neighbours = 12
        self._spacing = SPACING
        self._snap: Snap = "pulses"
        self.glow = GlowOptions(self)
        self.reference = ReferenceOptions(self)
        self.spans = SpanDrawing(document, self)
        self.trims = Trims(self)
        self._reset()
        document.session_changed.connect(self._session_changed)
        for changed in (document.pairs_changed, document.levels_changed):
            changed.connect(self._drop_lost_selection)

    def _reset(self) -> None:
        self._begin_walk()
        self.glow.start_over()
        self.reference.start_over()
        self.trims.start_over()
        self._channel = 0
        session = self._document.session
        self._hidden: frozenset[int] = frozenset()
        self._channels = 0 if session is None else len(session.channels)
        self.zooms = ZoomHistory()
        self._selected: tuple[int, Which] | None = None

    def _session_changed(self) -> None:
        self._reset()
        self.shown_changed.emit()
        self.zoom_changed.emit()
        self.selection_changed.emit()
        self.channel_changed.emit(self._channel)
        self._announce_walk()

    # -- channels -------------------------------------------------------------------------------------------

    @property
    def channel(self) -> int:
        """The current channel."""
        return self._channel

    def set_channel(self, channel: int) -> None:
        """Make a channel the current one, and show it."""
        if not 0 <= channel < self._channels:
            return
        if channel in self._hidden:
            self.show_channel(channel)
        if channel != self._channel:
            self._channel = channel
            self.channel_changed.emit(channel)

    @property
    def visible_channels(self) -> tuple[int, ...]:
        """The channels that are shown, in order."""
        return tuple(c for c in range(self._channels) if c not in self._hidden)

    def show_channel(self, channel: int, on: bool = True) -> None:
        """Show a channel, or hide it."""
        self._set_hidden(self._hidden - {channel} if on else self._hidden | {channel})

    def show_only(self, channel: int) -> None:
        """Show this channel alone, and make it the current one."""
        self._set_hidden(frozenset(range(self._channels)) - {channel})
        self.set_channel(channel)

    def show_these(self, channels: Iterable[int], on: bool = True) -> None:
        """Show some channels, or hide them."""
        self._set_hidden(self._hidden - set(channels) if on else self._hidden | set(channels))

    def show_only_these(self, channels: Iterable[int]) -> None:
        """Show these channels alone; the current one becomes the first of them, if it is none."""
        wanted = sorted(set(channels))
        if wanted:
            self._set_hidden(frozenset(range(self._channels)).difference(wanted))
            self.set_channel(self._channel if self._channel in wanted else wanted[0])

    def show_all(self) -> None:
        """Show every channel."""
        self._set_hidden(frozenset())

    def _set_hidden(self, hidden: frozenset[int]) -> None:
        if hidden != self._hidden:
            self._hidden = hidden
            self.shown_changed.emit()

    @property
    def lanes(self) -> bool:
        """Whether each channel has a lane of its own in Single, rather than all sharing one axis."""
        return self._lanes

    def set_lanes(self, on: bool) -> None:
        """Give each channel a lane of its own, or put all on one axis."""
        if on != self._lanes:
            self._lanes = on
            self.shown_changed.emit()

    # -- view -----------------------------------------------------------------------------------------------

    @property
    def view(self) -> View:
        """Which of the four views is shown."""
        return self._view

    def set_view(self, view: View) -> None:
        """Show another view."""
        if view != self._view:
            self._view = view
            self.view_changed.emit(view)

    @property
    def inks(self) -> Inks:
        """Afterglow in one ink by count, or in two by polarity."""
        return self._inks

    def set_inks(self, inks: Inks) -> None:
        """Choose one ink by count, or two by polarity."""
        self._set_option("_inks", inks)

    @property
    def logarithmic(self) -> bool:
        """Whether the ink of Afterglow follows the logarithm of the count."""
        return self._logarithmic

    def set_logarithmic(self, on: bool) -> None:
        """Let the ink follow the logarithm of the count, or the count."""
        self._set_option("_logarithmic", on)

    @property
    def neighbours(self) -> int:
        """How many records Stacked shows at once, the current one included."""
        return self._neighbours

    def set_neighbours(self, count: int) -> None:
        """Choose how many records Stacked shows at once; 1 to `MOST_NEIGHBOURS`."""
        self._set_option("_neighbours", min(max(count, 1), MOST_NEIGHBOURS))

    @property
    def spacing(self) -> float:
        """Distance of two records in Stacked, as a share of a trace's full height."""
        return self._spacing

    def set_spacing(self, spacing: float) -> None:
        """Choose how far apart the records lie in Stacked; `CLOSEST` to `FARTHEST`."""
        self._set_option("_spacing", min(max(spacing, CLOSEST), FARTHEST))

    @property
    def snap(self) -> Snap:
        """What a marker snaps to when it is dropped."""
        return self._snap

    def set_snap(self, snap: Snap) -> None:
        """Choose what a marker snaps to."""
        self._set_option("_snap", snap)

    def _set_option(self, name: str, value: object) -> None:
        if getattr(self, name) != value:
            setattr(self, name, value)
            self.options_changed.emit()

    # -- zoom -----------------------------------------------------------------------------------------------

    @property
    def time_window(self) -> Window | None:
        """Seconds from the trigger that are shown; None for the whole record."""
        return self.zooms.now.time

    @property
    def value_window(self) -> Window | None:
        """Values that are shown; None for all of them."""
        return self.zooms.now.value

    def zoom(self, time: Window | None, value: Window | None, *, remember: bool = True) -> None:
        """Show another stretch of time and of values, in all views that have them.

        Parameters
        ----------
        time, value : (float, float) or None
            Seconds from the trigger, and values; None for everything.
        remember : bool
            False while a gesture goes on, so that `zoom_back` returns to where it began.
        """
        if self.zooms.go(Zoom(time, value), remember):
            self.zoom_changed.emit()

    def zoom_time(self, time: Window | None) -> None:
        """Show another stretch of time."""
        self.zoom(time, self.value_window)

    def fit(self) -> None:
        """Show everything."""
        self.zoom(None, None)

    def zoom_back(self) -> None:
        """Return to the zoom before this one."""
        if self.zooms.back():
            self.zoom_changed.emit()

    def zoom_forward(self) -> None:
        """Return to the zoom that was gone back from."""
        if self.zooms.forward():
            self.zoom_changed.emit()

    # -- selected marker ------------------------------------------------------------------------------------

    @property
    def selected_marker(self) -> tuple[int, Which] | None:
        """The selected marker, or level marker: the number of its pair, and 1 or 2."""
        return self._selected

    def select_marker(self, pair_id: int | None, which: Which = 1) -> None:
        """Select a marker, or none."""
        selected = None if pair_id is None else (pair_id, which)
        if selected != self._selected:
            self._selected = selected
            self.selection_changed.emit()

    def _drop_lost_selection(self) -> None:
        if self._selected is not None and self._document.either_pair(self._selected[0]) is None:
            self.select_marker(None)

    # -- appearance -----------------------------------------------------------------------------------------

    @property
    def dark(self) -> bool:
        """Whether the desk is dark."""
        return self._dark

    def set_dark(self, on: bool) -> None:
        """Make the desk dark or light."""
        if on != self._dark:
            self._dark = on
            self.dark_changed.emit(on)

    # -- messages -------------------------------------------------------------------------------------------

    def tell(self, sentence: str) -> None:
        """Show a sentence in the bar at the top: what is wrong, and what to do."""
        self.told.emit(sentence)
