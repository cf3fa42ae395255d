"""Hands sessions to the workers of a Dask cluster, a few ahead of what they do, and takes the outcomes as they come."""

from __future__ import annotations

import logging
import secrets
import time
from collections import deque
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from typing import TYPE_CHECKING, Any

from pulsewright.errors import PulsewrightError
from pulsewright_app.campaign.outcome import Outcome
from pulsewright_app.campaign.worker_checks import LOOK_EVERY_S, Workers, check_scheduler, require_answer

if TYPE_CHECKING:
    from distributed import Client, Future

PATIENCE_S = 20.0
"""How long a scheduler may take to answer."""
AHEAD = 2
"""Sessions handed out for each thread of a worker, so that none waits for the next one."""
_LOOK_AGAIN_S = 0.1
RETRIES = 2
"""How often a session is given to another worker when its own one was lost."""

ENVIRONMENT = {
    "OMP_NUM_THREADS": 1,
    "MKL_NUM_THREADS": 1,
    "OPENBLAS_NUM_THREADS": 1,
    "PULSEWRIGHT_THREADS": 1,
}
"""What a local worker starts with: one thread each, because there is one for each core.

Dask sets these in the process that starts the workers, too, while it does so. Numba's own number is not among them: no
kernel here starts threads, and Numba refuses to go on in a process in which that number changed.

Dask would also have each worker hand freed memory back at once, by MALLOC_TRIM_THRESHOLD_: fetching it anew for every
block makes measuring take 1.6 times as long.
"""

PRELOADED = ("distributed", "distributed.nanny", "pulsewright_app.campaign.loaded_once")
"""What a process loads once that local workers are forked from; each would need a second for it."""

Task = Callable[[str], Outcome]


def require_dask() -> None:
    """See that the optional part of the installation is there.

    Raises
    ------
    PulsewrightError
        If it is not.
    """
    try:
        import distributed  # noqa: F401
    except ImportError as error:
        raise PulsewrightError(
            "a campaign needs Dask, which is not installed", "install it with pip install 'pulsewright[cluster]'"
        ) from error


@contextmanager
def connected(address: str | None, workers: int | None) -> Iterator[Client]:
    """Yield a client of the scheduler at an address, or of a local cluster that ends with the block.

    Parameters
    ----------
    address : str or None
        Such as ``tcp://host:8786``; None for a local cluster.
    workers : int or None
        Processes of the local cluster; None: one for each core.

    Raises
    ------
    PulsewrightError
        If no scheduler answers there.
    """
    require_dask()
    import dask
    from distributed import Client, LocalCluster

    _keep_dask_from_logging()
    quiet = {
        "distributed.logging": {"distributed": "critical", "tornado.application": "critical"},  # of the workers
        "distributed.scheduler.allowed-failures": RETRIES,
        # what nobody looks at here, and takes turns with the measuring
        "distributed.worker.profile.enabled": False,
        "distributed.scheduler.work-stealing": False,
        "distributed.admin.tick.interval": "500ms",
        "distributed.worker.memory.monitor-interval": "1s",
        "distributed.nanny.pre-spawn-environ": ENVIRONMENT,
    }
    with ExitStack() as stack, dask.config.set(quiet):
        if address is None:
            preloaded = {"distributed.worker.preload": ["pulsewright_app.campaign.worker_signals"]}
            stack.enter_context(dask.config.set({**preloaded, **_loaded_once()}))
            # threads would share one lock on the files; a page of the scheduler's state is nobody's wish here, and
            # what it serves all the same must not want the port that another campaign has
            cluster = LocalCluster(
                n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50,
                scheduler_kwargs={"dashboard_address": "127.0.0.1:0"},
            )  # fmt: skip
            stack.enter_context(cluster)
            yield stack.enter_context(Client(cluster, timeout=PATIENCE_S))
            return
        try:
            require_answer(address, PATIENCE_S)
            client = Client(address, timeout=PATIENCE_S)
        except (OSError, ValueError, ImportError, TypeError, RuntimeError) as error:  # as the kind of address has it
            raise PulsewrightError(
                f"{address}: no scheduler answers there ({_short(error)})",
                "start one with dask scheduler, or leave out --cluster for workers on this machine",
            ) from error
        yield stack.enter_context(client)


def _keep_dask_from_logging() -> None:
    """Keep Dask from writing in this process what is told in a sentence, also while it ends.

    It sets the levels of its loggers when it is loaded, so that its configuration is of no use here any more.
    """
    own = ("distributed", "tornado", "asyncio")
    for name in (*own, *logging.root.manager.loggerDict):
        if name.startswith(own):
            logging.getLogger(name).setLevel(logging.CRITICAL)


def _loaded_once() -> dict[str, str]:
    """Return the settings by which local workers are forked from one process that has loaded what they need.

    That process has no threads of its own (`ENVIRONMENT` leaves linear algebra one), so that forking it is safe.
    """
    import multiprocessing

    if "forkserver" not in multiprocessing.get_all_start_methods():
        return {}
    multiprocessing.get_context("forkserver").set_forkserver_preload(list(PRELOADED))
    return {"distributed.worker.multiprocessing-method": "forkserver"}


def outcomes(
    client: Client, task: Callable[..., Outcome], sessions: Sequence[str], shared: Sequence[Any], lost: Task
) -> Iterator[Outcome]:
    """Yield the outcome of every session, in the order in which they are done.

    Parameters
    ----------
    client : Client
    task : callable
        Runs on a worker: ``task(session, *shared)``.
    sessions : sequence of str
    shared : sequence
        What all have in common; sent to each worker once.
    lost : callable
        Gives the outcome of a session whose workers were lost one after another.

    Raises
    ------
    PulsewrightError
        If the scheduler goes away, there is no worker for long, or one does not have this program.
    """
    run = secrets.token_hex(4)
    waiting, running = deque(sessions), dict[Any, str]()
    workers = Workers(client)
    with _scheduler_stays():
        check_scheduler(client)
        while waiting or running:
            places = AHEAD * workers.threads()
            while waiting and len(running) < places:
                session = waiting.popleft()
                future = client.submit(task, session, *shared, key=f"pulsewright-{run}-{session}", pure=False)
                running[future] = session
            for future in _done(running):
                yield _taken(client, future, running.pop(future), lost)


def _done(running: Mapping[Future, str]) -> Collection[Future]:
    """Return what is done, once something is; nothing if that takes so long that workers should be looked at."""
    from distributed import wait

    if not running:
        time.sleep(_LOOK_AGAIN_S)
        return ()
    try:
        done: Collection[Future] = wait(list(running), timeout=LOOK_EVERY_S, return_when="FIRST_COMPLETED").done
    except TimeoutError:
        return ()
    return done


def _taken(client: Client, future: Future, session: str, lost: Task) -> Outcome:
    from distributed import KilledWorker
    from distributed.comm import CommClosedError

    if future.status == "cancelled" or client.status not in ("running", "connecting"):
        raise CommClosedError
    if future.status == "error":
        error = future.exception()
        if isinstance(error, KilledWorker):
            return lost(session)
        raise PulsewrightError(
            f"{session}: the workers cannot run it ({type(error).__name__}: {error})",
            "see whether they have the same version of this program installed",
        )
    outcome: Outcome = future.result()
    return outcome


@contextmanager
def _scheduler_stays() -> Iterator[None]:
    from concurrent.futures import CancelledError

    from distributed.comm import CommClosedError

    try:
        yield
    except (CommClosedError, CancelledError, OSError) as error:
        own = isinstance(error, ConnectionError)
        reason = _short(error) if own else "the connection to it was lost"  # the library's words are of its insides
        raise PulsewrightError(
            f"the scheduler went away ({reason}); what was done is stored",
            "give the same command again: only what is missing will be done",
        ) from error


def _short(error: BaseException) -> str:
    return " ".join(str(error).split())[:120] or type(error).__name__
