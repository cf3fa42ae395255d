"""The program as a process of its own that stops before a chosen call, for a test to alter a file, and then goes on."""

from __future__ import annotations

import os
import signal
import subprocess
import sys

LONGEST_WAIT = 120.0
_PROGRAM = """
import importlib, os, signal, sys

module, name, number = sys.argv.pop(1).split(":")
place, calls = importlib.import_module(module), 0
called = getattr(place, name)

def stopping(*positional, **named):
    global calls
    calls += 1
    if calls == int(number):
        os.kill(os.getpid(), signal.SIGSTOP)
    return called(*positional, **named)

setattr(place, name, stopping)
from pulsewright_app.cli import run
run()
"""


def stopped(call: str, *arguments: object) -> subprocess.Popen[str]:
    """Start the program with arguments, and return it once it has stopped.

    Parameters
    ----------
    call : str
        Where it is to stop: ``module:function:number``, before that call of the function.
    """
    process = subprocess.Popen(
        [sys.executable, "-c", _PROGRAM, call, *map(str, arguments)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=os.environ | {"PULSEWRIGHT_THREADS": "1"},
    )  # fmt: skip
    told = os.waitid(os.P_PID, process.pid, os.WSTOPPED | os.WEXITED | os.WNOWAIT)
    assert told is not None and told.si_code == os.CLD_STOPPED, f"it never came so far: {process.communicate()}"
    return process


def gone_on(process: subprocess.Popen[str]) -> tuple[int, str, str]:
    """Let a stopped process go on to its end; return its exit code, and what it wrote as output and as errors."""
    os.kill(process.pid, signal.SIGCONT)
    printed, errors = process.communicate(timeout=LONGEST_WAIT)
    return process.returncode, printed, errors
