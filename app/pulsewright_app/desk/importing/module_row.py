"""Where several files are imported: the module of each, how their records are matched, and what came of it."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QComboBox, QFormLayout, QHBoxLayout, QLabel, QLineEdit, QWidget

from pulsewright_app.desk.importing.importing import Importing
from pulsewright_app.desk.importing.typed_fields import show_text
from pulsewright_app.wording import capitalised, with_full_stop

BY_NUMBER, BY_TIME = "their number", "trigger time, within"
USUAL_TOLERANCE = "10 us"


class ModuleRow(QWidget):
    """Shows the chosen file's module and says what a person gives instead; it changes nothing by itself."""

    named = Signal(str)
    matched = Signal(str)
    """How far apart trigger times may be; empty: records are matched by number."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._shown = ("", "")
        """Module and tolerance as they were shown last."""
        self.module, self.tolerance = QLineEdit(), QLineEdit()
        self.module.setAccessibleName("Module of the chosen file")
        self.module.setToolTip("All channels of the chosen file belong to this module")
        self.tolerance.setAccessibleName("How far apart trigger times may be")
        self.tolerance.setPlaceholderText(USUAL_TOLERANCE)
        self.by = QComboBox()
        self.by.addItems([BY_NUMBER, BY_TIME])
        self.by.setAccessibleName("What records are matched by")
        self.outcome = QLabel()
        self.outcome.setWordWrap(True)
        self.outcome.setTextFormat(Qt.TextFormat.PlainText)
        self.outcome.setAccessibleName("How the files go together")
        match = QHBoxLayout()
        match.addWidget(self.by, 1)
        match.addWidget(self.tolerance)
        form = QFormLayout(self)
        form.setContentsMargins(0, 0, 0, 0)
        form.addRow("Module", self.module)
        form.addRow("Records match by", match)
        form.addRow(self.outcome)
        self.module.editingFinished.connect(lambda: self.named.emit(self.module.text()))
        self.by.activated.connect(self._match)
        self.tolerance.editingFinished.connect(self._match)
        self.hide()

    def show_module(self, module: str | None, importing: Importing) -> None:
        """Show the chosen file's module, and how all files go together; None hides all of it."""
        self.setVisible(module is not None)
        if module is None:
            return
        before, self._shown = self._shown, (module, importing.tolerance)
        show_text(self.module, module, before[0])
        by_time = bool(importing.tolerance)
        self.by.setCurrentText(BY_TIME if by_time else BY_NUMBER)
        self.tolerance.setVisible(by_time)
        if by_time:
            show_text(self.tolerance, importing.tolerance, before[1])
        lines = [importing.apart] if importing.apart else [with_full_stop(capitalised(c)) for c in importing.told]
        self.outcome.setText("\n".join(f"! {line}" for line in lines))
        self.outcome.setVisible(bool(lines))

    def _match(self) -> None:
        by_time = self.by.currentText() == BY_TIME
        self.matched.emit((self.tolerance.text().strip() or USUAL_TOLERANCE) if by_time else "")
