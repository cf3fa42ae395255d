"""Damages recordings of every format, thousands of times, and counts what comes of it.

Each damaged file must give a session that passes the layout's checks, or one clear error: no other exception, no hang,
no crash, no more memory than three times the file and 300 MiB, no file left or written elsewhere.

Run: ``python tests/benchmarks/fuzz_formats.py [--files 24000] [--seed 1] [--workers 2]``
"""

from __future__ import annotations

import argparse
import json
import os
import random
import resource
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "shared"))
from recording_damage import VICTIMS, damaged, judged, laid_out, write_own

SECONDS = 10
"""A file that takes longer counts as a hang; whole ones take some milliseconds."""
ROOM = 300 << 20


def main() -> None:
    """Share the files out among workers, restart those that are lost, and print the counts."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--files", type=int, default=24_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--work", nargs=3, type=int, metavar=("FIRST", "STEP", "SEED"), help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.work:
        work(*given.work, given.files)
        return
    started = time.monotonic()
    counts: Counter[tuple[str, str]] = Counter()
    faults: list[str] = []
    with tempfile.TemporaryDirectory(dir=_quick_folder()) as elsewhere:
        running = [_start(number, given.workers, given, elsewhere) for number in range(given.workers)]
        while running:
            worker, next_file = running.pop(0)
            done = _listen(worker, next_file, counts, faults)
            if done < given.files:  # the worker was lost over this one: go on behind it
                victim = VICTIMS[done % len(VICTIMS)][0]
                kind = "hang" if worker.returncode == -signal.SIGALRM else f"crash ({worker.returncode})"
                counts[victim, kind.split()[0]] += 1
                faults.append(f"file {done} ({victim}): {kind}")
                running.append(_start(done + given.workers, given.workers, given, elsewhere))
        faults += [f"written elsewhere: {path.name}" for path in Path(elsewhere).iterdir()]
    _print(counts, faults, time.monotonic() - started)
    sys.exit(1 if faults else 0)


def _quick_folder() -> str | None:
    return "/dev/shm" if os.access("/dev/shm", os.W_OK) else None


def _start(first: int, step: int, given: argparse.Namespace, elsewhere: str) -> tuple[subprocess.Popen[str], int]:
    words = [sys.executable, __file__, "--files", str(given.files), "--work", str(first), str(step), str(given.seed)]
    worker = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, cwd=elsewhere)
    return worker, first


def _listen(worker: subprocess.Popen[str], next_file: int, counts: Counter[tuple[str, str]], faults: list[str]) -> int:
    """Take in what a worker says until it ends, and return the file that it would have done next."""
    assert worker.stdout is not None
    for line in worker.stdout:
        told = json.loads(line)
        counts[told["victim"], told["outcome"]] += 1
        if told.get("fault"):
            faults.append(f"file {told['file']} ({told['victim']}): {told['fault']}")
        next_file = told["next"]
    worker.wait()
    return next_file


def work(first: int, step: int, seed: int, files: int) -> None:
    """Damage and judge every `step`-th file from `first` on, saying of each what came of it."""
    import h5py
    import numpy as np

    import pulsewright.formats.recognising as recognising

    recognising.formats()
    np.linalg.norm([1.0])
    h5py.get_config()
    # far above what is allowed: it only keeps the machine alive, the peak is measured
    resource.setrlimit(resource.RLIMIT_DATA, (4 << 30, 4 << 30))
    with tempfile.TemporaryDirectory(dir=_quick_folder()) as place:
        own, folder = Path(place) / "own", Path(place) / "folder"
        own.mkdir()
        write_own(own)
        for number in range(first, files, step):
            victim, beside, opened, options = VICTIMS[number % len(VICTIMS)]
            folder.mkdir()
            laid_out(victim, beside, own, folder)
            choose = random.Random(f"{seed}/{number}")
            (folder / victim).write_bytes(damaged((folder / victim).read_bytes(), choose))
            size = (folder / victim).stat().st_size
            before = _begin_peak()
            signal.alarm(SECONDS)  # ends the process, wherever it is
            told = {"victim": victim, "file": number, "next": number + step}
            try:
                told["outcome"] = judged(folder, opened, options)
            except BaseException as error:
                told["outcome"] = "fault"
                at = traceback.extract_tb(error.__traceback__)[-1]
                told["fault"] = f"{type(error).__name__}: {error} ({Path(at.filename).name}:{at.lineno})"[:300]
            signal.alarm(0)
            taken = _status("VmHWM") - before
            if taken > 3 * size + ROOM:
                told["outcome"], told["fault"] = "fault", f"took {taken >> 20} MiB for {size:,} bytes"
            print(json.dumps(told), flush=True)
            for path in folder.iterdir():
                path.unlink()
            folder.rmdir()


def _begin_peak() -> int:
    """Let the peak of resident memory be counted anew, and return what is held now, bytes."""
    Path("/proc/self/clear_refs").write_text("5")
    return _status("VmRSS")


def _status(key: str) -> int:
    """Return a number of bytes that Linux tells of this process."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith(f"{key}:"):
            return int(line.split()[1]) * 1024
    raise RuntimeError("this system does not say how much memory a process holds")


def _print(counts: Counter[tuple[str, str]], faults: list[str], seconds: float) -> None:
    outcomes = ("session", "refused", "fault", "hang", "crash")
    print(f"{'damaged':22}{''.join(f'{outcome:>9}' for outcome in outcomes)}")
    for victim in [entry[0] for entry in VICTIMS]:
        print(f"{victim:22}{''.join(f'{counts[victim, outcome]:9,}' for outcome in outcomes)}")
    totals = [sum(counts[victim[0], outcome] for victim in VICTIMS) for outcome in outcomes]
    print(f"{'all':22}{''.join(f'{total:9,}' for total in totals)}")
    print(f"{sum(totals):,} files in {seconds:.0f} s; {len(faults)} faults")
    for fault in faults[:40]:
        print(f"  {fault}")


if __name__ == "__main__":
    main()
