"""The process that local workers are forked from has what they need, and no threads that a fork would lose."""

from __future__ import annotations

import os
import subprocess
import sys

LOADED = """
import importlib, sys, threading
from pulsewright_app.campaign.workers import PRELOADED
for module in PRELOADED:
    importlib.import_module(module)  # what cannot be imported is passed over in silence when workers start
print(threading.active_count(), "pulsewright_analysis.pulses" in sys.modules, "h5py" in sys.modules)
"""


def test_it_has_no_threads_and_what_measures() -> None:
    from pulsewright_app.campaign.workers import ENVIRONMENT

    given = {**os.environ, **{name: str(value) for name, value in ENVIRONMENT.items()}}
    done = subprocess.run([sys.executable, "-c", LOADED], capture_output=True, text=True, env=given, check=True)
    assert done.stdout.split() == ["1", "True", "True"]
