"""Loads what measuring and overlaying need while a person still looks for a session. No widgets."""

from __future__ import annotations

import threading

import numpy as np

from pulsewright.session import Channel, Session
from pulsewright_analysis.compiled import is_compiled
from pulsewright_app.desk.memory import loading
from pulsewright_app.desk.views.ink import load_compiled

_KERNELS = ("pulse_kernels", "overlay_kernels")
_begun = False


def get_ready_soon() -> None:
    """Begin on a thread of its own; does nothing if that was begun before."""
    global _begun
    if not _begun:
        _begun = True
        threading.Thread(target=get_ready, name="getting ready").start()


def get_ready() -> None:
    """Load compiled code by using it once on a few samples; what was never compiled here waits for its first use."""
    load_compiled()
    if not all(map(is_compiled, _KERNELS)):
        return  # it takes up to a minute, which nobody should wait for who closes the desk
    with loading("pulsewright_analysis.pulse_kernels"):
        from pulsewright_analysis.findings import measure
        from pulsewright_analysis.overlay import Raster
        from pulsewright_app.glow import Accumulation, GlowPlan
        from pulsewright_app.glow_alignment import Alignment

        session = _few_samples()
        measure(session)
        raster = Raster(16, 16, 0.0, session.record_duration, -1.0, 1.0)
        accumulation = Accumulation(GlowPlan(session, 0, raster, Alignment(np.zeros(session.records))))
        accumulation.add(np.arange(session.records), lambda: False)


def _few_samples() -> Session:
    """Return a session in memory of the commonest type of sample, a pulse in each record."""
    at = np.arange(256)
    records = [np.round(9000 * np.exp(-(((at - 100 - 5 * n) / 4) ** 2)) + 30 * np.sin(at * (n + 1))) for n in range(4)]
    samples = np.repeat(np.array(records, np.int16)[:, None], 2, axis=1)
    channels = [Channel(f"{n}", "", scale=1e-4) for n in (1, 2)]
    return Session.from_samples(samples, channels, 1e6, 10)
