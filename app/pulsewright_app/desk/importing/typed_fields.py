"""Fields that show what counts, and keep what a person is typing while that stays the same."""

from __future__ import annotations

from PySide6.QtWidgets import QLineEdit


def show_text(line: QLineEdit, text: str, before: str) -> None:
    """Show a text in a field, its beginning in sight.

    Parameters
    ----------
    line : QLineEdit
    text : str
        What counts now.
    before : str
        What counted when it was shown last: where it is the same still, and another is being typed in its place, that
        one stays.
    """
    typing = line.hasFocus() and line.isModified() and text == before
    if line.text() != text and not typing:
        line.setText(text)
        line.setCursorPosition(0)
