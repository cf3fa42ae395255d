"""A Dask scheduler and workers, each a process of its own, as somebody starts them on other machines."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import sysconfig
import time
from pathlib import Path

LONGEST_WAIT = 120.0
LIBRARIES = sysconfig.get_path("purelib")


class DaskProcesses:
    """Starts a scheduler and workers in a folder, and ends them.

    Parameters
    ----------
    folder : Path
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._started: list[subprocess.Popen[bytes]] = []

    def start(self, *arguments: object, bare: bool = False) -> subprocess.Popen[bytes]:
        """Start ``dask`` with arguments; bare: where pulsewright is not installed.

        Without the files that put it on the path (``python -S``), and with the libraries named by themselves.
        """
        environment = os.environ | {"PYTHONPATH": LIBRARIES} if bare else None
        options = ["-S"] if bare else []
        process = subprocess.Popen(
            [sys.executable, *options, "-m", "dask", *map(str, arguments)],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=self._folder, env=environment,
        )  # fmt: skip
        self._started.append(process)
        return process

    def scheduler(self, bare: bool = False) -> tuple[str, subprocess.Popen[bytes]]:
        """Start a scheduler; return its address and its process."""
        about = self._folder / f"scheduler{len(self._started)}.json"
        own_port = ("--host", "127.0.0.1", "--port", "0", "--dashboard-address", ":0", "--no-dashboard")
        process = self.start("scheduler", *own_port, "--scheduler-file", about, bare=bare)
        end = time.monotonic() + LONGEST_WAIT
        while not about.exists() and time.monotonic() < end:
            time.sleep(0.02)
        return str(json.loads(about.read_text())["address"]), process

    def worker(self, address: str, bare: bool = False) -> subprocess.Popen[bytes]:
        """Start a worker of one thread."""
        alone = ("--nthreads", "1", "--no-dashboard", "--no-nanny", "--death-timeout", "60")
        return self.start("worker", address, *alone, bare=bare)

    def end(self) -> None:
        """End all that run."""
        for process in self._started:
            process.kill()
        for process in self._started:
            process.wait()
