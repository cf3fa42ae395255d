"""Draws the view that is looked at in colours that the desk is not in: it wears them for a moment, and then its own."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QObject, QTimer

from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.views.view import View

_LOOK_EVERY_MS = 20


class OtherColours(QObject):
    """Lets the desk be light or dark until its view is drawn so.

    Parameters
    ----------
    viewing : Viewing
    shown : callable
        Returns the view that is on the screen.
    """

    def __init__(self, viewing: Viewing, shown: Callable[[], View], parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._viewing, self._shown = viewing, shown
        self._before = False
        self._draw: Callable[[View], None] | None = None
        self._look = QTimer(self)
        self._look.setSingleShot(True)
        self._look.setInterval(_LOOK_EVERY_MS)
        self._look.timeout.connect(self._draw_if_ready)

    @property
    def waiting(self) -> bool:
        """Whether the desk wears colours that are not its own."""
        return self._draw is not None

    def draw(self, dark: bool, draw: Callable[[View], None]) -> None:
        """Call `draw` with the view as soon as it is light or dark; at once where the desk is so."""
        if dark == self._viewing.dark:
            draw(self._shown())
            return
        self._before, self._draw = self._viewing.dark, draw
        self._viewing.set_dark(dark)
        self._look.start()

    def give_up(self) -> None:
        """Let the desk have its colours again, whatever was drawn."""
        if self._draw is not None:
            self._draw = None
            self._look.stop()
            self._viewing.set_dark(self._before)

    def _draw_if_ready(self) -> None:
        view, draw = self._shown(), self._draw
        if draw is None:
            return
        if not view.at_rest:
            self._look.start()
            return
        try:
            draw(view)
        finally:
            self.give_up()
