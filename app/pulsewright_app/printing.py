"""How results reach standard output and progress reaches standard error."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import IO, TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

PLAIN_WIDTH = 100


class ReaderLeft(Exception):  # noqa: N818 - nothing went wrong: ``| head`` has seen enough
    """Whoever read standard output has closed it."""


def print_json(body: dict[str, Any]) -> None:
    """Print one JSON object, and nothing else.

    Raises
    ------
    ReaderLeft
        If standard output was closed at its other end.
    """
    try:
        print(json.dumps(body, allow_nan=False, ensure_ascii=False, indent=1), flush=True)
    except BrokenPipeError as error:
        raise ReaderLeft from error


def page(file: IO[str] | None = None) -> Console:
    """Return where readable results go: standard output, or a text file without colours."""
    from rich.console import Console

    class Page(Console):
        """A console that leaves a reader's early leaving to the command line, which has an exit code for it."""

        def on_broken_pipe(self) -> None:
            raise ReaderLeft

    if file is not None:
        return Page(file=file, width=PLAIN_WIDTH, no_color=True, highlight=False, markup=False, emoji=False)
    width = None if sys.stdout.isatty() else _width_without_terminal()
    return Page(width=width, highlight=False, markup=False, emoji=False)


def _width_without_terminal() -> int:
    """Return COLUMNS where it is set; into a file or a pipe there is no edge to keep to."""
    columns = os.environ.get("COLUMNS", "")
    return int(columns) if columns.isdigit() and int(columns) > 0 else PLAIN_WIDTH


def pairs(rows: Sequence[tuple[str, str]]) -> Table:
    """Return a table of names and values without lines."""
    from rich.table import Table

    table = Table(box=None, show_header=False, padding=(0, 2, 0, 0))
    table.add_column(style="dim", no_wrap=True)
    table.add_column(overflow="fold")
    for name, value in rows:
        table.add_row(name, value)
    return table


def columns(headings: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[int] = ()) -> Table:
    """Return a table with headings; the columns whose numbers are in `right` stand to the right."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for number, heading in enumerate(headings):
        is_number = number in right
        table.add_column(heading, justify="right" if is_number else "left", overflow="fold", no_wrap=is_number)
    for row in rows:
        table.add_row(*row)
    return table


@contextmanager
def progress_on_stderr(what: str) -> Iterator[Callable[[float, str], None]]:
    """Yield a function that is told the share done, 0 to 1, and of what; it draws only on a terminal."""
    if not sys.stderr.isatty():
        yield lambda *_: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=1.0)
        yield lambda share, doing: bar.update(task, completed=share, description=doing)
