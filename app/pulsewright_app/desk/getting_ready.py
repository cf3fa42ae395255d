"""Loads what measuring and overlaying need while a person still looks for a session. No widgets."""

from __future__ import annotations

import importlib
import threading

import numpy as np

from pulsewright_app.desk.memory import loading, unsearched
from pulsewright_app.desk.views.ink import load_compiled
from pulsewright_app.first_use import few_samples, is_kept, use_once

_WHAT_MEASURES = (
    "scipy.fft", "scipy.special", "pulsewright_analysis.findings", "pulsewright_analysis.pulse_kernels",
    "pulsewright_analysis.sine_kernels",
)  # fmt: skip
_begun = False


def get_ready_soon() -> None:
    """Begin on a thread of its own; does nothing if that was begun before."""
    global _begun
    if not _begun:
        _begun = True
        threading.Thread(target=get_ready, name="getting ready").start()


def get_ready() -> None:
    """Load compiled code by using it once on a few samples; nobody should wait for compiling who closes the desk."""
    load_compiled()
    if not is_kept("pulse_kernels", "overlay_kernels"):
        return
    with loading("pulsewright_analysis.pulse_kernels"):
        for module in _WHAT_MEASURES:
            importlib.import_module(module)
        from pulsewright_analysis.overlay import Raster
        from pulsewright_app.glow import Accumulation, GlowPlan
        from pulsewright_app.glow_alignment import Alignment
    with unsearched():  # what was kept by another version is compiled anew: nobody who imports may wait for that
        use_once()
        session = few_samples()
        raster = Raster(16, 16, 0.0, session.record_duration, -1.0, 1.0)
        accumulation = Accumulation(GlowPlan(session, 0, raster, Alignment(np.zeros(session.records))))
        accumulation.add(np.arange(session.records), lambda: False)
