"""Loads compiled code by using it once on a few samples, before anybody waits for it. No Qt."""

from __future__ import annotations

import numpy as np

from pulsewright.session import Channel, Session
from pulsewright_analysis.compiled import is_compiled


def is_kept(*kernels: str) -> bool:
    """Return whether the compiled code of these modules is kept from an earlier start.

    What was never compiled waits for its first use: it takes up to a minute.
    """
    return all(map(is_compiled, kernels))


def load_what_compiles() -> None:
    """Import what Numba else imports as it is first used, so that the first use imports nothing."""
    from numba.core.registry import cpu_target

    cpu_target.typing_context.refresh()
    cpu_target.target_context.refresh()


def few_samples(dtype: str = "int16") -> Session:
    """Return a session in memory with a pulse in each of four records of two channels; invented.

    Parameters
    ----------
    dtype : str
        Type of the samples, the commonest if left out.
    """
    at = np.arange(256)
    records = [np.round(9000 * np.exp(-(((at - 100 - 5 * n) / 4) ** 2)) + 30 * np.sin(at * (n + 1))) for n in range(4)]
    samples = np.repeat(np.array(records, dtype)[:, None], 2, axis=1)
    channels = [Channel(f"{n}", "", scale=1e-4) for n in (1, 2)]
    return Session.from_samples(samples, channels, 1e6, 10)


def use_once(dtype: str = "int16") -> None:
    """Measure a few samples of a type."""
    from pulsewright_analysis.findings import measure

    measure(few_samples(dtype))
