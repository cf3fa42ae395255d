"""Large blocks of memory go back when they are freed, and garbage is looked for only in what can be garbage."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

FREED = """
import os
import numpy as np
from pulsewright_app.desk.memory import LARGE, give_back_large_blocks

def resident():
    return int(open("/proc/self/statm").read().split()[1]) * os.sysconf("SC_PAGE_SIZE")

told = give_back_large_blocks()
np.ones(30 << 20, np.uint8)  # freed, a block of this size raises the C library's own threshold above the others
before = resident()
kept = []
for number in range(30):
    block = np.ones((8 + number) * LARGE, np.uint8)  # none fits where the one before lay
    kept.append(np.ones(LARGE // 4, np.uint8))  # lies above it, if both come from one heap
    del block
print(told, (resident() - before - sum(map(len, kept))) / LARGE)
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux's C library is told so")
def test_blocks_go_back_when_they_are_freed() -> None:
    done = subprocess.run([sys.executable, "-c", FREED], capture_output=True, text=True, check=True)
    told, held = done.stdout.split()
    assert told == "True"
    assert float(held) < 8.0, "freed blocks are still held: the first alone had 8 of these"


LOADED = """
import gc
import sys
from pulsewright_app.desk.memory import loading

searches = []
gc.callbacks.append(lambda phase, about: searches.append(phase))
with loading("decimal"):
    kept = [[] for _ in range(100_000)]
    import decimal
    meanwhile = len(searches)
print(meanwhile, len(gc.get_objects()) < 1000, gc.isenabled())
later = [[] for _ in range(1000)]
frozen = gc.get_freeze_count()
with loading("decimal"):
    pass
print(gc.get_freeze_count() - frozen)
"""


def test_what_was_loaded_is_looked_through_no_more() -> None:
    done = subprocess.run([sys.executable, "-c", LOADED], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["0", "True", "True", "0"]


LOADED_AT_ONCE = """
import sys, threading
from pathlib import Path
from pulsewright_app.desk.memory import loading
from pulsewright_app.desk.opening import load_what_opens

begun, go_on = threading.Event(), threading.Event()

def another() -> None:
    with loading("decimal"):
        begun.set()
        go_on.wait()

threading.Thread(target=another).start()
begun.wait()
opening = threading.Thread(target=load_what_opens)
opening.start()
opening.join(0.5)
print(opening.is_alive(), "pydantic" in sys.modules)
go_on.set()
opening.join()
print("pydantic.main" in sys.modules)
"""


def test_one_thread_at_a_time_imports() -> None:
    """Two at once got a module that was half loaded, and a session did not open."""
    done = subprocess.run([sys.executable, "-c", LOADED_AT_ONCE], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["True", "False", "True"]


MADE_MEANWHILE = """
import threading
from pulsewright_app.desk import getting_ready
from pulsewright_app.desk.opening import load_what_opens

begun, go_on = threading.Event(), threading.Event()

def compile_for_long() -> None:
    begun.set()
    go_on.wait()

getting_ready.is_kept = lambda *_: True
getting_ready.use_once = compile_for_long
threading.Thread(target=getting_ready.get_ready).start()
begun.wait()
load_what_opens()  # never comes back, if it waits
print("opened")
go_on.set()
"""


def test_nobody_who_opens_waits_for_what_is_compiled() -> None:
    """What another version kept is compiled anew, which takes up to a minute."""
    done = subprocess.run(
        [sys.executable, "-c", MADE_MEANWHILE], capture_output=True, text=True, timeout=300, check=True
    )
    assert done.stdout.split() == ["opened"]


USED_OUTSIDE = """
import sys
from contextlib import contextmanager
from pathlib import Path
from pulsewright_app.desk import getting_ready, opening
from pulsewright_app.desk.views import ink

@contextmanager
def watched():
    before = set(sys.modules)
    yield
    print(sorted(set(sys.modules) - before))

getting_ready.unsearched = ink.unsearched = watched
getting_ready.is_kept = lambda *_: True
getting_ready.get_ready()
opening.load_what_opens()
with watched():
    opening.open_for_desk(Path(sys.argv[1]))
"""


def test_what_threads_use_they_imported_while_no_other_did(faults: Path) -> None:
    """What compiled code, first findings and an opening import by themselves would be imported by several at once."""
    done = subprocess.run([sys.executable, "-c", USED_OUTSIDE, str(faults)], capture_output=True, text=True, check=True)
    drawn, measured, opened = done.stdout.splitlines()
    assert (drawn, measured) == ("[]", "[]")
    assert "pydantic" not in opened
