"""Puts the theme and a font on the whole application."""

from __future__ import annotations

import sys
from pathlib import Path

from PySide6.QtGui import QColor, QFont, QFontDatabase, QFontMetrics, QGuiApplication, QPalette
from PySide6.QtWidgets import QApplication

from pulsewright_app.desk.memory import give_back_large_blocks
from pulsewright_app.desk.panels.panel import palette_of
from pulsewright_app.theme import DARK, Theme
from pulsewright_app.theme import theme as theme_of

_FONTS = Path(__file__).resolve().parent.parent / "fonts"
_ARROWS = Path(__file__).resolve().parent / "arrows"
_WITHOUT_A_SCREEN = ("offscreen", "minimal")

_PREPARED, _WORN = "pulsewright_prepared", "pulsewright_theme"
_EDGE_DARKER = 127
"""By how many percent the style's edge is darker than the window's colour: first by 140, then lighter by 110."""
_SWITCH_SECONDS = 5e-4
"""How long a thread may keep the interpreter while another waits: the desk waits anew after each call into Qt."""


def prepare(application: QApplication) -> None:
    """Set style and memory, and the bundled font where the platform brings none of its own; once is enough."""
    if application.property(_PREPARED):
        return
    application.setProperty(_PREPARED, True)
    give_back_large_blocks()
    sys.setswitchinterval(_SWITCH_SECONDS)
    application.setStyle("Fusion")
    application.setApplicationName("Pulsewright")
    application.setApplicationDisplayName("Pulsewright")
    if QGuiApplication.platformName() in _WITHOUT_A_SCREEN or not QFontDatabase.families():
        families = []
        for file in sorted(_FONTS.glob("*.ttf")):
            families += QFontDatabase.applicationFontFamilies(QFontDatabase.addApplicationFont(str(file)))
        if families:
            application.setFont(QFont(families[0], 9))


def _palette_of_menus(theme: Theme) -> QPalette:
    """Return the palette of the menus: the style takes a darker shade of the window's colour for the edge of a box."""
    palette, edge = palette_of(theme), QColor(theme.muted)
    palette.setColor(QPalette.ColorRole.Window, edge.lighter(_EDGE_DARKER))
    return palette


def dress(application: QApplication, theme: Theme) -> None:
    """Put a theme on the application, unless it wears it already: every widget there is would be dressed anew."""
    if application.property(_WORN) == theme.name and application.styleSheet():
        return
    application.setProperty(_WORN, theme.name)
    application.setPalette(palette_of(theme))
    # the declared type is bytes, and PySide refuses bytes
    application.setPalette(_palette_of_menus(theme), "QMenu")  # type: ignore[arg-type]
    application.setStyleSheet(_sheet(application, theme))


def wear_again(application: QApplication) -> None:
    """Put the theme on the application once more, where it wears one: in letters of another size."""
    if application.styleSheet():
        application.setStyleSheet("")  # what wears a style sheet keeps its letters until it puts on another
        application.setStyleSheet(_sheet(application, theme_of(application.property(_WORN) == DARK.name)))


def _sheet(application: QApplication, theme: Theme) -> str:
    """Return the style sheet; tick boxes and arrows follow the letters, as no unit of a style sheet does reliably."""
    letters = QFontMetrics(application.font()).height()
    air, inner = round(letters / 7), round(letters * 9 / 14)
    return f"""{_boxes_with_arrows(theme, letters)}
        QMenu {{ menu-scrollable: 1; }}
        QMainWindow::separator {{ background: {theme.page}; width: 5px; height: 5px; }}
        QMainWindow, QMenuBar {{ background: {theme.page}; }}
        DockTitle {{ background: {theme.page}; }}
        QToolButton {{
            background: {theme.raised}; color: {theme.ink};
            border: 1px solid {theme.rule}; border-radius: 4px; padding: 3px 10px;
        }}
        QSplitter {{ qproperty-handleWidth: 5; }}
        QTabBar QToolButton {{ padding: 0px; border-radius: 0px; }}
        QToolButton[room="narrow"] {{ padding: 3px 5px; }}
        QToolButton[room="least"] {{ padding: 3px 0px; }}
        QToolButton:hover {{ border-color: {theme.accent}; }}
        QToolButton:focus {{ border: 2px solid {theme.accent}; }}
        QToolButton:checked {{ background: {theme.accent}; color: {theme.on_accent}; border-color: {theme.accent}; }}
        QToolButton:disabled {{ color: {theme.faint}; }}
        QCheckBox::indicator {{
            width: {inner}px; height: {inner}px; padding: {air}px;
            background-clip: content; background-origin: content;
            border: 1px solid {theme.muted}; border-radius: 1px;
        }}
        QCheckBox::indicator:checked {{ background-color: {theme.accent}; }}
        QCheckBox::indicator:hover, QCheckBox::indicator:focus {{ border-color: {theme.accent}; }}
        QAbstractItemView::indicator {{ width: {letters}px; height: {letters}px; }}
        QCheckBox:focus {{ color: {theme.accent}; }}
        QLineEdit {{
            background: {theme.raised}; color: {theme.ink};
            border: 1px solid {theme.rule}; border-radius: 3px; padding: 2px 4px;
        }}
        QLineEdit:focus {{ border-color: {theme.accent}; }}
        QFrame[frameShape="4"] {{ color: {theme.rule}; }}
        """


def _boxes_with_arrows(theme: Theme, letters: int) -> str:
    """Return the rules of what drops down or counts: the style's own arrows keep their size in larger letters."""
    arrow = f"{round(letters * 0.6)}px"

    def image(pointing: str) -> str:
        return f"image: url({(_ARROWS / pointing).as_posix()}_{theme.name}.svg)"

    def off(pointing: str) -> str:
        return f"image: url({(_ARROWS / pointing).as_posix()}_{theme.name}_off.svg)"

    return f"""
        QComboBox {{ padding: 1px 0px 1px 4px; }}
        QComboBox::drop-down {{ width: {letters + 4}px; border: none; background: transparent; }}
        QComboBox::down-arrow {{ {image("down")}; width: {arrow}; height: {arrow}; }}
        QComboBox::down-arrow:disabled {{ {off("down")}; }}
        QSpinBox {{
            background: {theme.raised}; color: {theme.ink};
            border: 1px solid {theme.rule}; border-radius: 3px; padding: 1px 2px 1px 4px;
        }}
        QSpinBox:focus {{ border-color: {theme.accent}; }}
        QSpinBox:disabled {{ color: {theme.faint}; }}
        QSpinBox::up-button, QSpinBox::down-button {{ width: {letters}px; border: none; border-radius: 2px; }}
        QSpinBox::up-button {{ subcontrol-position: top right; }}
        QSpinBox::down-button {{ subcontrol-position: bottom right; }}
        QSpinBox::up-button:hover, QSpinBox::down-button:hover {{ background: {theme.selection}; }}
        QSpinBox::up-arrow {{ {image("up")}; }}
        QSpinBox::down-arrow {{ {image("down")}; }}
        QSpinBox::up-arrow, QSpinBox::down-arrow {{ width: {arrow}; height: {arrow}; }}
        QSpinBox::up-arrow:disabled, QSpinBox::up-arrow:off {{ {off("up")}; }}
        QSpinBox::down-arrow:disabled, QSpinBox::down-arrow:off {{ {off("down")}; }}
        """
