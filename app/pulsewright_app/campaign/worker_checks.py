"""Sees that a cluster has workers, and that they and its scheduler have this program, in the same version."""

from __future__ import annotations

import asyncio
import math
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from importlib.metadata import version as installed
from typing import TYPE_CHECKING, Any

from pulsewright.errors import PulsewrightError

if TYPE_CHECKING:
    from distributed import Client

ALONE_S = 60.0
"""How long a campaign goes on while there is no worker: one that is started again needs a while to come back."""
LOOK_EVERY_S = 1.0
ANSWER_S = 60.0
"""How long a scheduler may take to answer; one that hangs keeps its connection, and would never be missed."""
_MISSING = "not installed"


class Workers:
    """The workers of a scheduler, looked at every now and then.

    Parameters
    ----------
    client : Client
    """

    def __init__(self, client: Client) -> None:
        self._client = client
        self._known: set[str] = set()
        self._threads = 0
        self._looked = -math.inf
        self._last_there = time.monotonic()

    def threads(self) -> int:
        """Return how many threads all workers have, as of a second ago at most; 0 while there is none.

        Raises
        ------
        PulsewrightError
            If there has been no worker for `ALONE_S`, or a new one does not have this program in the same version.
        ConnectionError
            If the scheduler does not answer.
        """
        now = time.monotonic()
        if now - self._looked < LOOK_EVERY_S:
            return self._threads
        found: dict[str, int] = _answer(self._client.nthreads)
        if found.keys() - self._known:
            self._check(sorted(found.keys() - self._known))
        self._threads, self._looked = sum(found.values()), now
        if found:
            self._last_there = now
        elif now - self._last_there > ALONE_S:
            address = self._client.scheduler.address
            raise PulsewrightError(
                f"{address}: the scheduler has had no worker for {ALONE_S:.0f} s; what was done is stored",
                f"start workers with dask worker {address}, then give the same command again",
            )
        return self._threads

    def _check(self, new: list[str]) -> None:
        answers = _answer(self._client.run, _version_teller(), workers=new, on_error="return")
        for address, told in answers.items():
            if isinstance(told, OSError):
                continue  # it went away just now, and may be back another time
            _require_same(f"the worker {address}", told)
            self._known.add(address)


def require_answer(address: str, patience: float) -> None:
    """See that a scheduler answers at an address: Dask's own client waits for ever for one that takes its call alone.

    Parameters
    ----------
    address : str
    patience : float
        Seconds.

    Raises
    ------
    Exception
        If none does, or the address is none; which one depends on the kind of address.
    """
    from distributed.comm import connect
    from distributed.security import Security

    async def knock() -> None:
        security = Security().get_connection_args("client")
        comm = await asyncio.wait_for(connect(address, timeout=patience, **security), patience)
        comm.abort()

    with ThreadPoolExecutor(1) as apart:  # whoever calls may have a loop of events of its own
        try:
            apart.submit(asyncio.run, knock()).result()
        except TimeoutError as error:
            raise ConnectionError(f"nothing came back for {patience:.0f} s") from error


def check_scheduler(client: Client) -> None:
    """See that the scheduler can hand on what it is given: it reads it too.

    Raises
    ------
    PulsewrightError
        If it does not have this program in the same version.
    ConnectionError
        If it does not answer.
    """
    _require_same(f"the scheduler {client.scheduler.address}", _answer(client.run_on_scheduler, _version_teller()))


def _answer(ask: Callable[..., Any], *given: Any, **more: Any) -> Any:
    try:
        return ask(*given, **more, callback_timeout=ANSWER_S)
    except TimeoutError as error:
        raise ConnectionError(f"it has not answered for {ANSWER_S:.0f} s") from error


def _version_teller() -> Callable[[], str]:
    """Return what tells the version where it runs; it travels by its text, as what is missing there cannot tell it."""

    def version() -> str:
        from importlib.metadata import PackageNotFoundError
        from importlib.metadata import version as recorded
        from importlib.util import find_spec

        if any(find_spec(package) is None for package in ("pulsewright", "pulsewright_analysis", "pulsewright_app")):
            return _MISSING
        try:
            return recorded("pulsewright")
        except PackageNotFoundError:
            return ""

    return version


def _require_same(who: str, told: Any) -> None:
    """Refuse a process with another version; one that was never installed, only put on the path, has none to tell."""
    own = installed("pulsewright")
    if told in ("", own):
        return
    remedy = f"install pulsewright {own} in its environment, start it again, and give the same command again"
    if told == _MISSING:
        raise PulsewrightError(f"{who} does not have pulsewright in its environment", remedy)
    if isinstance(told, str):
        raise PulsewrightError(f"{who} has pulsewright {told}, and this is {own}", remedy)
    reason = " ".join(f"{type(told).__name__}: {told}".split())
    raise PulsewrightError(f"{who} cannot tell which version it has ({reason})", remedy)
