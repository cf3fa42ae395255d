"""How long the desk takes from a fresh process to the first painted view of the sample with faults.

Run by hand: ``python tests/benchmarks/desk_start.py``. One run warms the machine's file cache and is not counted; then
the median of five. The clock starts before the process does, on Qt's offscreen platform.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

WANTED_S = 1.5
LONGEST = 60.0
RUNS = 5


def one_start(began: float) -> None:
    """Open the sample on a desk, and print how long ago `began` was when its traces are painted."""
    import numpy as np
    from PySide6.QtGui import QImage
    from PySide6.QtWidgets import QApplication

    from pulsewright_app.desk.style import prepare
    from pulsewright_app.desk.window import DeskWindow
    from pulsewright_app.samples import DEMO_SESSION, sample
    from pulsewright_app.theme import LIGHT

    application = QApplication(["pulsewright"])
    prepare(application)
    window = DeskWindow()
    window.open_path(sample(DEMO_SESSION))
    window.show()
    painted = 0.0
    while not painted:
        application.processEvents()
        if window.document.session is not None:
            plot = window.middle.view.canvas.viewport().grab().toImage().convertToFormat(QImage.Format.Format_RGB32)
            pixels = np.frombuffer(plot.constBits(), np.uint32) & 0xFFFFFF
            if np.any(pixels == int(LIGHT.channel(0)[1:], 16)):
                painted = time.time()
        assert time.time() < began + LONGEST, "no trace of the first channel is ever painted"
    print(painted - began, flush=True)
    os._exit(0)  # what goes on in the background is of no interest


def main() -> None:
    if len(sys.argv) > 1:
        one_start(float(sys.argv[1]))
    with tempfile.TemporaryDirectory() as folder:
        places = {"XDG_DATA_HOME": folder, "XDG_CONFIG_HOME": folder}  # nobody's reviews and settings
        times = []
        for _ in range(1 + RUNS):
            command = [sys.executable, __file__, str(time.time())]
            ended = subprocess.run(command, check=True, capture_output=True, text=True, env=os.environ | places)
            times.append(float(ended.stdout))
    told = ", ".join(f"{seen:.2f}" for seen in times[1:])
    print(f"first painted view: median {statistics.median(times[1:]):.2f} s of {told} (wanted: at most {WANTED_S:g} s)")


if __name__ == "__main__":
    main()
