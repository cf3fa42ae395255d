"""What is zoomed to, and the zooms before and after it: a history that can be walked both ways."""

from __future__ import annotations

from dataclasses import dataclass

Window = tuple[float, float]

_OLDEST = 50


@dataclass(frozen=True)
class Zoom:
    """A stretch of time and of values; None for everything.

    Attributes
    ----------
    time : (float, float) or None
        Seconds from the trigger.
    value : (float, float) or None
        In the unit of what is shown.
    """

    time: Window | None = None
    value: Window | None = None


class ZoomHistory:
    """The zoom, those that `back` returns to, and those that `forward` returns to.

    A gesture of many small moves is one step: where it began is kept, what lay between is not. Anything but `back` and
    `forward` drops the zooms that lay ahead, as they would follow from what is no longer there.
    """

    def __init__(self) -> None:
        self.now = Zoom()
        self._before: list[Zoom] = []
        self._after: list[Zoom] = []
        self._begun = False

    @property
    def has_before(self) -> bool:
        """Whether there is a zoom to go back to."""
        return bool(self._before)

    @property
    def has_after(self) -> bool:
        """Whether a zoom that was gone back from can be returned to."""
        return bool(self._after)

    def go(self, zoom: Zoom, begins: bool = True) -> bool:
        """Zoom, and return whether that changed anything.

        Parameters
        ----------
        zoom : Zoom
        begins : bool
            False while a gesture goes on.
        """
        self._begun = self._begun or begins
        if zoom == self.now:
            return False  # a gesture may begin at a stop: its step is counted once it moves
        if self._begun:
            self._before = [*self._before[1 - _OLDEST :], self.now]
        self._begun = False
        self._after.clear()
        self.now = zoom
        return True

    def back(self) -> bool:
        """Return to the zoom before, and say whether there was one."""
        return self._walk(self._before, self._after)

    def forward(self) -> bool:
        """Return to the zoom that was gone back from, and say whether there was one."""
        return self._walk(self._after, self._before)

    def _walk(self, source: list[Zoom], target: list[Zoom]) -> bool:
        if not source:
            return False
        target.append(self.now)
        self.now = source.pop()
        self._begun = True  # what follows is a step of its own, even if a gesture still goes on
        return True
