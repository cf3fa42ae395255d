"""Ends long work in an orderly way when somebody asks the program to end."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Progress = Callable[[float, str], None]


@contextmanager
def ended_between_steps(progress: Progress) -> Iterator[Progress]:
    """Yield a progress function that ends the work when it is called after Ctrl+C or a request to terminate.

    An interrupt that is raised wherever the program happens to be gets lost in a library's callback, or comes out of it
    as an error of the file. Asked twice, it is raised at once all the same.

    Parameters
    ----------
    progress : callable
        Told the share done and what is being done.

    Raises
    ------
    KeyboardInterrupt
        From the function that is yielded.
    """
    asked = False

    def ask(*_: object) -> None:
        nonlocal asked
        if asked:
            raise KeyboardInterrupt
        asked = True

    def step(share: float, doing: str) -> None:
        if asked:
            raise KeyboardInterrupt
        progress(share, doing)

    with _handled(("SIGINT", "SIGTERM"), ask) as handled:
        yield step if handled else progress


@contextmanager
def ended_as_by_ctrl_c() -> Iterator[None]:
    """Let a request to terminate, and the end of the terminal, raise KeyboardInterrupt as Ctrl+C does.

    What was begun, such as processes of its own, is then ended in order.
    """

    def end(*_: object) -> None:
        raise KeyboardInterrupt

    with _handled(("SIGTERM", "SIGHUP"), end):
        yield


@contextmanager
def _handled(names: tuple[str, ...], handler: Callable[..., None]) -> Iterator[bool]:
    """Handle those of these signals that the system has; yield False on another thread, where whoever called does."""
    signals = [getattr(signal, name) for name in names if hasattr(signal, name)]
    if threading.current_thread() is not threading.main_thread():
        yield False
        return
    before = [signal.signal(one, handler) for one in signals]
    try:
        yield True
    finally:
        for one, usual in zip(signals, before, strict=True):
            signal.signal(one, usual)
