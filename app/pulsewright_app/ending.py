"""Ends long work in an orderly way when somebody asks the program to end."""

from __future__ import annotations

import signal
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

    signals = (signal.SIGINT, signal.SIGTERM)
    try:
        before = [signal.signal(one, ask) for one in signals]
    except ValueError:  # not on the main thread: whoever called sees to it
        yield progress
        return
    try:
        yield step
    finally:
        for one, handler in zip(signals, before, strict=True):
            signal.signal(one, handler)


@contextmanager
def ended_as_by_ctrl_c() -> Iterator[None]:
    """Let a request to terminate, and the end of the terminal, raise KeyboardInterrupt as Ctrl+C does.

    What was begun, such as processes of its own, is then ended in order.
    """

    def end(*_: object) -> None:
        raise KeyboardInterrupt

    signals = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    try:
        before = [signal.signal(one, end) for one in signals]
    except ValueError:  # not on the main thread: whoever called sees to it
        yield
        return
    try:
        yield
    finally:
        for one, handler in zip(signals, before, strict=True):
            signal.signal(one, handler)
