"""What Afterglow and Map share: a picture that a worker makes, shown as far as it has come."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Generic, Protocol, TypeVar

from numpy.typing import NDArray
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QImage, QPainter
from PySide6.QtWidgets import QWidget

from pulsewright.session import Session
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.views.view import Desk, View
from pulsewright_app.desk.work import PARTS_EVERY, Job


class HasImage(Protocol):
    """What a worker makes for a view."""

    @property
    def image(self) -> QImage:
        """The picture itself."""
        ...


Made = TypeVar("Made", bound=HasImage)
MadeHere = TypeVar("MadeHere", bound=HasImage, contravariant=True)


class Publish(Protocol[MadeHere]):
    """Hands over the picture as far as it has come, unless that was done just now."""

    def __call__(self, part: Callable[[], MadeHere], *, at_once: bool = False) -> None:
        """Hand over what `part` makes; with `at_once` whenever the last one was."""
        ...


def image_of(rows: NDArray[Any]) -> QImage:
    """Return an image that owns its pixels, of rows (height, width, 4) of red, green, blue and opacity."""
    height, width = rows.shape[:2]
    image = QImage(rows.data, width, height, 4 * width, QImage.Format.Format_RGBA8888)
    # the conversion also makes a copy, so that the rows may go
    return image.convertToFormat(QImage.Format.Format_ARGB32_Premultiplied)


class PictureView(View, Generic[Made]):
    """A view whose picture is made by one job at a time, and painted below everything else."""

    KEY = ""
    """What the job is called."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self.caption.setTextFormat(Qt.TextFormat.RichText)
        self.made: Made | None = None
        self.making: object = None
        """What is being made; None while no job runs."""
        self.canvas.below.append(self._paint_picture)
        self.canvas.full_of_ink = True
        self.viewing.dark_changed.connect(self.schedule)

    def make(self, wanted: object, work: Callable[[Job, Publish[Made]], Made]) -> None:
        """Let a worker make the picture.

        Parameters
        ----------
        wanted : object
            What is being made: `making` until it is there.
        work : callable
            Gets its job, and what to call with a maker of the picture as far as it has come.
        """
        self.making = wanted

        def work_of(job: Job) -> Made:
            def publish(part: Callable[[], Made], *, at_once: bool = False) -> None:
                job.publish(part, 0.0 if at_once else PARTS_EVERY)

            return work(job, publish)

        self.desk.background.start(self.KEY, work_of, self._take, self._failed, partial=self._take_part, picture=True)

    @property
    def at_rest(self) -> bool:
        """Whether it shows all that the state says, and nothing of it is being made."""
        return super().at_rest and self.making is None

    def leave_off(self) -> None:
        """Give up what is being made."""
        self.desk.background.cancel(self.KEY)
        self.making = None

    def _take_part(self, part: Made) -> None:
        self.made = part
        self._show_picture()

    def _take(self, made: Made) -> None:
        self.made, self.making = made, None
        self._show_picture()
        self.schedule()  # other things may be wanted meanwhile

    def _failed(self, sentence: str) -> None:
        self.making = None
        self.viewing.tell(sentence)
        self._show_picture()

    def _show_picture(self) -> None:
        session = self.document.session
        if session is not None:
            self.tell(session)
            self._repaint()

    def tell(self, session: Session) -> None:
        """Say in the caption what is shown."""
        text = self.caption_text(session)
        self.caption.setText(text)

    def caption_text(self, session: Session) -> str:
        """Return what is shown, as rich text."""
        raise NotImplementedError

    def picture_rect(self, canvas: Canvas, made: Made) -> QRectF:
        """Return where the picture lies, in pixels of the widget."""
        raise NotImplementedError

    def _paint_picture(self, painter: QPainter, canvas: Canvas) -> None:
        if self.made is not None:
            painter.drawImage(self.picture_rect(canvas, self.made), self.made.image)
