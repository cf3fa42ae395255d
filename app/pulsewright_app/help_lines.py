"""Lines of help that break between words, and never inside one that is typed as it stands, such as --record-length."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import typer
from typer.core import TyperCommand

_TYPED = re.compile(r"(?<!\S)[-.\"']\S*")
"""What is typed as it stands: an option, the ending of a file's name, a value in quotes."""
_HELD = "\u2011"
"""Stands for a hyphen at which no line may break; typer breaks lines at the others."""


_Formatter: Any = TyperCommand.context_class.formatter_class  # typer gives it no public name


class HelpLines(_Formatter):  # type: ignore[misc]
    """Writes help, with the words whole that are typed as they stand."""

    def write_text(self, text: str) -> None:
        """Write a paragraph."""
        super().write_text(_held(text))

    def write_dl(self, rows: Sequence[tuple[str, str]], col_max: int = 30, col_spacing: int = 2) -> None:
        """Write a list of options with what they mean."""
        super().write_dl([(name, _held(about)) for name, about in rows], col_max, col_spacing)

    def write(self, string: str) -> None:
        """Write a line as it is read."""
        super().write(string.replace(_HELD, "-"))


class HelpfulContext(typer.Context):
    """The context of a command whose help is written so."""

    formatter_class = HelpLines


def _held(text: str) -> str:
    return _TYPED.sub(lambda typed: typed[0].replace("-", _HELD), text)
