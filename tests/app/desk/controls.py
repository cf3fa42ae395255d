"""What a person can use of a window, and which of it the Tab key reaches: shared by the desk's tests."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QAbstractScrollArea,
    QAbstractSlider,
    QAbstractSpinBox,
    QApplication,
    QComboBox,
    QHeaderView,
    QLineEdit,
    QMenu,
    QMenuBar,
    QScrollBar,
    QTabBar,
    QTabWidget,
    QWidget,
)

KINDS = (QAbstractButton, QComboBox, QLineEdit, QAbstractSpinBox, QAbstractSlider, QAbstractItemView, QTabBar)
_COMPOUND = (QComboBox, QLineEdit, QAbstractSpinBox, QTabBar)
_MOST_STOPS = 400


def controls_of(window: QWidget) -> list[QWidget]:
    """Everything seen of a window that answers to mouse or keyboard; what Qt puts inside another is not."""
    return [widget for widget in (window, *window.findChildren(QWidget)) if _is_control(widget, window)]


def _is_control(widget: QWidget, window: QWidget) -> bool:
    if not widget.isVisible() or widget.window() is not window or _is_qts_own(widget):
        return False
    if isinstance(widget, KINDS) or widget.focusPolicy() & Qt.FocusPolicy.TabFocus:
        return True
    return any("mousePressEvent" in kind.__dict__ for kind in _our_kinds(widget))


def _our_kinds(widget: QWidget) -> list[type]:
    return [kind for kind in type(widget).__mro__ if kind.__module__.startswith("pulsewright")]


def _is_qts_own(widget: QWidget) -> bool:
    """Whether it is a part of another control, which answers for it."""
    above = widget.parentWidget()
    if isinstance(widget, QHeaderView | QScrollBar | QMenu | QMenuBar):
        return True  # the columns and bars of a view; menus open with Alt, and their actions have keys
    if isinstance(above, QAbstractScrollArea) and widget is above.viewport():
        return True
    if isinstance(widget, QTabBar) and isinstance(above, QTabWidget):
        return True  # the tab widget hands it the keyboard
    if type(widget) is QAbstractButton and isinstance(above, QAbstractItemView):
        return True  # the corner between two headers
    return any(isinstance(outer, _COMPOUND) for outer in _all_above(widget))


def _all_above(widget: QWidget) -> Iterator[QWidget]:
    above = widget.parentWidget()
    while above is not None:
        yield above
        above = above.parentWidget()


def tab_stops(window: QWidget, qtbot: Any) -> list[QWidget]:
    """Press Tab until it comes round, and return what had the keyboard on the way."""
    stops: list[QWidget] = []
    for _ in range(_MOST_STOPS):
        qtbot.keyClick(QApplication.focusWidget() or window, Qt.Key.Key_Tab)
        stop = QApplication.focusWidget()
        assert stop is not None
        if stop in stops:
            return stops
        stops.append(stop)
    raise AssertionError(f"Tab does not come round within {_MOST_STOPS} presses")


def answers_for(control: QWidget, stops: list[QWidget]) -> bool:
    """Whether the keyboard reaches a control: itself, or the part of it that takes the keyboard."""
    return any(stop is control or (isinstance(control, QTabWidget) and stop is control.tabBar()) for stop in stops)


def spoken(control: QWidget) -> str:
    """What assistive technology says of a control."""
    text = control.text() if isinstance(control, QAbstractButton) else ""
    return control.accessibleName() or text


def described(control: QWidget) -> str:
    """A control in a failing test's words."""
    above = control.parentWidget()
    inside = type(above).__name__ if above is not None else "nothing"
    return f"{type(control).__name__} {spoken(control) or control.objectName() or 'without a name'!r} in {inside}"
