"""Where a key goes: Space presses what has the keyboard, up and down walk in it; elsewhere they are the desk's."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QKeyEvent, QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QAbstractSlider,
    QAbstractSpinBox,
    QApplication,
    QComboBox,
    QLineEdit,
    QPlainTextEdit,
    QTextEdit,
    QWidget,
)
from shiboken6 import isValid

_UP_AND_DOWN = (Qt.Key.Key_Up, Qt.Key.Key_Down)
_WALKED = (QAbstractItemView, QAbstractSlider, QAbstractSpinBox, QComboBox, QPlainTextEdit, QTextEdit)


class OwnKeys(QObject):
    """Lets Space press the button, or tick the box, that has the keyboard, and up and down walk through a list.

    Only the widget that has the keyboard is watched: a filter on everything would slow everything down.
    """

    def __init__(self, parent: QObject) -> None:
        super().__init__(parent)
        application = QApplication.instance()
        if isinstance(application, QApplication):
            application.focusChanged.connect(self._follow)

    def leave(self) -> None:
        """Watch nothing any more."""
        application = QApplication.instance()
        if isinstance(application, QApplication):
            application.focusChanged.disconnect(self._follow)

    def _follow(self, old: QWidget | None, new: QWidget | None) -> None:
        if old is not None and isValid(old):
            old.removeEventFilter(self)
        if new is not None:
            new.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Take a key for the widget that has the keyboard, if that has a use for it."""
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent):
            focus = QApplication.focusWidget()
            wanted = event.key() == Qt.Key.Key_Space and _wants_space(focus)
            walks = event.key() in _UP_AND_DOWN and isinstance(focus, _WALKED)
            if watched is focus and (wanted or walks):
                event.accept()
                return True
        return super().eventFilter(watched, event)


def on_escape(field: QLineEdit, give_up: Callable[[], object]) -> None:
    """Let Escape in a field leave what was typed there undone."""
    shortcut = QShortcut(QKeySequence(Qt.Key.Key_Escape), field)
    shortcut.setContext(Qt.ShortcutContext.WidgetShortcut)
    shortcut.activated.connect(give_up)


def _wants_space(widget: QWidget | None) -> bool:
    if isinstance(widget, QAbstractItemView):
        return bool(widget.currentIndex().flags() & Qt.ItemFlag.ItemIsUserCheckable)
    return isinstance(widget, QAbstractButton | QComboBox)
