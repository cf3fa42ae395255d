"""The buttons of the markers panel that do what actions do, and the number of intervals that is suggested."""

from __future__ import annotations

from collections.abc import Mapping

from PySide6.QtCore import Qt
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QLabel, QToolButton, QVBoxLayout, QWidget

from pulsewright_app.desk.document import Document
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.suggesting import suggested_n
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.views.flow import FlowRow

_BUTTONS = (
    ("follow", "Follow"),
    ("follow_one", "One alone"),
    ("pair_series", "All records …"),
    ("pair_ahead", "Move left"),
    ("pair_back", "Move right"),
    ("note_pair", "Write a note"),
    ("threshold", "As threshold"),
)


class PairButtons(QWidget):
    """What can be done to the chosen pair; each button is an action of the desk, with its keys in its tip.

    The buttons stand in a row of the panel, the widget itself holds the number that is suggested.

    Parameters
    ----------
    document, viewing, results
        The state.
    actions : mapping of str to QAction
        The desk's, by name.
    row : FlowRow
        Where the buttons go, after those that are there.
    """

    def __init__(
        self,
        document: Document,
        viewing: Viewing,
        results: Results,
        actions: Mapping[str, QAction],
        row: FlowRow,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._document, self._viewing, self._results = document, viewing, results
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        self.buttons = {name: _button(actions[name], text) for name, text in _BUTTONS}
        for button in self.buttons.values():
            row.addWidget(button)
        self.suggestion = QLabel()
        self.suggestion.setAccessibleName("Suggested number of intervals")
        self.suggestion.setTextFormat(Qt.TextFormat.PlainText)
        self.take = _button(actions["suggested_n"], "Take it")
        suggested = FlowRow(gap=6)
        suggested.addWidget(self.suggestion)
        suggested.addWidget(self.take)
        column.addLayout(suggested)
        for signal in (
            document.pairs_changed, document.levels_changed, viewing.selection_changed, viewing.record_changed,
            results.changed,
        ):  # fmt: skip
            signal.connect(self._suggest)
        self._suggest()

    def _suggest(self) -> None:
        """Say how many intervals the pulses between the chosen markers make; say nothing before there is a pair."""
        there = bool(self._document.pairs or self._document.levels)
        self.setVisible(there)
        for button in self.buttons.values():
            button.setVisible(there)
        selected = self._viewing.selected_marker
        pair = None if selected is None else self._document.pair(selected[0])
        suggested = None if pair is None else suggested_n(self._document, self._results, pair, self._viewing.record)
        known = pair is not None and isinstance(suggested, int)
        self.suggestion.setVisible(known)
        self.take.setVisible(pair is not None and known and suggested != pair.intervals)
        if pair is not None and known:
            agrees = ", as set" if suggested == pair.intervals else ""
            self.suggestion.setText(f"By the pulses between, N = {suggested}{agrees}")


def _button(action: QAction, text: str) -> QToolButton:
    """Return a button of an action under a shorter text."""
    button = QToolButton()
    button.setDefaultAction(action)
    button.setText(text)
    button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
    button.setAccessibleName(action.toolTip())
    action.changed.connect(lambda: button.setText(text))  # a button takes its action's text whenever that changes
    return button
