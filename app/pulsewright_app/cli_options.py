"""What the commands have in common: how an option is declared, and what they take."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

File = Annotated[Path, typer.Argument(metavar="FILE", help="A session file.", show_default=False)]
Text = str | None


def option(metavar: str, text: str, *names: str) -> Any:
    """Return the declaration of an option that takes a value and shows no default."""
    return typer.Option(*names, metavar=metavar, help=text, show_default=False)
