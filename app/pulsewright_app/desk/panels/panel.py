"""What the four panels have in common: the state that they show, and the theme's colours."""

from __future__ import annotations

from PySide6.QtGui import QColor, QIcon, QPalette, QPixmap
from PySide6.QtWidgets import QVBoxLayout, QWidget

from pulsewright_app.desk.document import Document
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.theme import Theme, theme


def palette_of(colours: Theme) -> QPalette:
    """Return the palette of a panel in these colours."""
    role, palette = QPalette.ColorRole, QPalette()
    for which, colour in (
        (role.Window, colours.surface),
        (role.WindowText, colours.ink),
        (role.Base, colours.surface),
        (role.AlternateBase, colours.page),
        (role.Text, colours.ink),
        (role.PlaceholderText, colours.muted),
        (role.Button, colours.raised),
        (role.ButtonText, colours.ink),
        (role.Highlight, colours.selection),
        (role.HighlightedText, colours.ink),
        (role.Link, colours.accent),
        (role.LinkVisited, colours.accent),
        (role.ToolTipBase, colours.raised),
        (role.ToolTipText, colours.ink),
        (role.Accent, colours.accent),
        (role.Light, colours.raised),
        (role.Midlight, colours.rule),
        (role.Mid, colours.rule),
        (role.Dark, colours.rule),
        (role.Shadow, colours.rule),
    ):
        palette.setColor(which, QColor(colour))
    disabled = QPalette.ColorGroup.Disabled
    for which in (role.Text, role.ButtonText, role.WindowText):
        palette.setColor(disabled, which, QColor(colours.faint))
    return palette


def swatch(colour: str, side: int) -> QIcon:
    """Return a square of one colour, `side` pixels wide."""
    pixmap = QPixmap(side, side)
    pixmap.fill(QColor(colour))
    return QIcon(pixmap)


class Panel(QWidget):
    """A panel of the desk.

    Parameters
    ----------
    document, viewing, results
        The state that it shows, and calls when a person does something.
    """

    def __init__(self, document: Document, viewing: Viewing, results: Results, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.document, self.viewing, self.results = document, viewing, results
        self.setAutoFillBackground(True)
        self.column = QVBoxLayout(self)
        gap = max(2, self.fontMetrics().height() // 3)
        self.column.setContentsMargins(gap, gap, gap, gap)
        self.column.setSpacing(gap)
        viewing.dark_changed.connect(self.restyle)

    @property
    def colours(self) -> Theme:
        """The theme that the desk follows now."""
        return theme(self.viewing.dark)

    def restyle(self) -> None:
        """Take the theme's colours; panels with colours of their own extend this."""
        self.setPalette(palette_of(self.colours))
