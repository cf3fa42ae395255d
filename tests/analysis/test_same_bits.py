"""Findings are the same to the last bit whatever the size of the blocks and the number of threads."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numba
import numpy as np
import pytest

from pulsewright import Session
from pulsewright.opening import open_session
from pulsewright.recipe import ChannelPlan, ModulePlan, PulsePlan, Recipe, SinePlan, TriggerPlan
from pulsewright.session import Channel
from pulsewright.settings import Settings, layered
from pulsewright.store import write_session
from pulsewright_analysis import gate_samples, streaming
from pulsewright_analysis.findings import measure
from pulsewright_analysis.simulation import Simulation

RATE, LENGTH, PRE_TRIGGER, RECORDS = 25e6, 3000, 300, 60
WALK = PulsePlan("walk", 40e-6, 0.5, 0.4e-6, 0.6, increment=1e-6, cycle=12, jitter=4e-9, polarity=(1, -1))
DIRECT = PulsePlan("direct", 5e-6, 0.8, 0.3e-6)
KINDS: dict[str, tuple[tuple[PulsePlan, ...], tuple[SinePlan, ...], Settings]] = {
    "pulses": ((WALK,), (), layered(option={"span": "20 us .. 100 us"})),
    "sine": ((), (SinePlan(1.0007e6, 0.7),), layered()),
    "correlation": (
        (DIRECT, WALK),
        (),
        layered(
            option={"span": "20 us .. 100 us", "alignment_span": "2 us .. 8 us", "alignment_method": "correlation"}
        ),
    ),
}
PARTS = ("levels", "pulses", "polarity", "sequence", "alignment", "jitter", "timing", "health", "reasons")
A_RECORD = 6 * LENGTH * 2


def recipe(kind: str) -> Recipe:
    """Three modules of two hydrophones; one module loses a trigger alone, and one trigger is lost by all."""
    modules = (ModulePlan("M1"), ModulePlan("M2", lost=(30,)), ModulePlan("M3", late=7e-9))
    channels = tuple(
        ChannelPlan(
            Channel(f"H{c + 1:02d}", f"M{c // 2 + 1}", scale=5e-5), noise=0.004, gain=1 - 0.1 * c, late=c * 1e-9
        )
        for c in range(6)
    )
    pulses, sines, _ = KINDS[kind]
    trigger = TriggerPlan(1e-3, jitter=1e-7, missed=(11,))
    return Recipe(RECORDS, RATE, LENGTH, PRE_TRIGGER, trigger, modules, channels, pulses, sines, seed=5)


def write_session_of(kind: str, folder: Path) -> Path:
    """Write the session of a kind into a folder."""
    path = folder / f"{kind}.h5"
    simulated = Simulation(recipe(kind)).session
    write_session(
        path,
        simulated.source,
        simulated.channels,
        RATE,
        PRE_TRIGGER,
        modules=simulated.modules,
        trigger_time=simulated.trigger_time,
        trigger_offset=simulated.trigger_offset,
    )
    return path


@pytest.fixture(scope="module", params=sorted(KINDS))
def made(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    """Return a kind of session, and the file of one."""
    return request.param, write_session_of(request.param, tmp_path_factory.mktemp("bits"))


def leaves(value: Any, name: str = "") -> Iterator[tuple[str, bytes]]:
    """Yield every number and text inside a result with its name, as the bytes that it is made of."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        for field in dataclasses.fields(value):
            yield from leaves(getattr(value, field.name), f"{name}.{field.name}")
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, f"{name}[{key}]")
    elif isinstance(value, tuple | list):
        yield f"{name}.length", str(len(value)).encode()
        for place, inner in enumerate(value):
            yield from leaves(inner, f"{name}[{place}]")
    elif isinstance(value, np.ndarray):
        yield name, f"{value.dtype}{value.shape}".encode() + value.tobytes()
    elif isinstance(value, float | np.floating):
        yield name, np.float64(value).tobytes()
    else:
        yield name, repr(value).encode()


def bits(path: Path, kind: str) -> dict[str, str]:
    """Return a digest of every number of a session's findings, by its name."""
    with open_session(path) as session:
        return bits_of(session, kind)


def bits_of(session: Session, kind: str) -> dict[str, str]:
    findings = measure(session, KINDS[kind][2])
    return {
        name: hashlib.sha256(held).hexdigest() for part in PARTS for name, held in leaves(getattr(findings, part), part)
    }


def differing(one: dict[str, str], other: dict[str, str]) -> list[str]:
    return [name for name in one.keys() | other.keys() if one.get(name) != other.get(name)]


@pytest.fixture(scope="module")
def usual(made: tuple[str, Path]) -> dict[str, str]:
    """What is found by one thread, in blocks of the usual size."""
    kind, path = made
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PULSEWRIGHT_THREADS", "1")
        return bits(path, kind)


def test_sessions_show_what_is_compared(made: tuple[str, Path]) -> None:
    # a comparison of findings that hold nothing would prove nothing; the recipe is the source of what must be there
    kind, path = made
    with open_session(path) as session:
        findings = measure(session, KINDS[kind][2])
    assert findings.alignment.method == ("sine" if kind == "sine" else "correlation")
    assert all(channel.skew is not None for channel in findings.alignment.channels)
    assert len(findings.health) == 6
    if kind == "sine":
        assert all(channel.enob is not None for channel in findings.health)
        return
    assert len(findings.pulses) == RECORDS * 6
    assert findings.sequence.missed != ()
    assert findings.sequence.slips != ()
    assert findings.jitter.std is not None


@pytest.mark.parametrize("block_bytes", [1, A_RECORD, 7 * A_RECORD + 5, 1 << 30])
@pytest.mark.parametrize("threads", [1, 2, 5])
def test_bits_do_not_depend_on_blocks_or_threads(
    made: tuple[str, Path], usual: dict[str, str], block_bytes: int, threads: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    kind, path = made
    monkeypatch.setenv("PULSEWRIGHT_THREADS", str(threads))
    monkeypatch.setattr(streaming, "BLOCK_BYTES", block_bytes)
    monkeypatch.setattr(gate_samples, "BLOCK_BYTES", 4 * block_bytes)
    monkeypatch.setattr(gate_samples, "READ_BYTES", block_bytes)
    assert differing(usual, bits(path, kind)) == []


@pytest.mark.parametrize("whole_record_bytes", [1, 1 << 30])
def test_bits_do_not_depend_on_how_long_records_are_read(
    made: tuple[str, Path], usual: dict[str, str], whole_record_bytes: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    kind, path = made
    monkeypatch.setattr(streaming, "BLOCK_BYTES", 1)
    monkeypatch.setattr(streaming, "WHOLE_RECORD_BYTES", whole_record_bytes)
    assert differing(usual, bits(path, kind)) == []


def test_bits_do_not_depend_on_whether_a_gate_is_held(
    made: tuple[str, Path], usual: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    kind, path = made
    monkeypatch.setattr(gate_samples, "HELD_BYTES", 0)
    assert differing(usual, bits(path, kind)) == []


def test_bits_do_not_depend_on_the_compilers_threads(made: tuple[str, Path]) -> None:
    kind, path = made
    before = numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        one = bits(path, kind)
        numba.set_num_threads(min(2, numba.config.NUMBA_NUM_THREADS))
        assert differing(one, bits(path, kind)) == []
    finally:
        numba.set_num_threads(before)


def test_bits_do_not_depend_on_the_threads_of_linear_algebra(tmp_path: Path) -> None:
    # workers of a campaign start with one such thread, a measurement by hand with one for each core
    files = {kind: write_session_of(kind, tmp_path) for kind in KINDS}
    found = []
    for number in ("1", "2"):
        environment = os.environ | {
            "OPENBLAS_NUM_THREADS": number,
            "OMP_NUM_THREADS": number,
            "MKL_NUM_THREADS": number,
        }
        told = subprocess.run(
            [sys.executable, __file__, *(f"{kind}={path}" for kind, path in files.items())],
            env=environment, capture_output=True, text=True, check=True,
        )  # fmt: skip
        found.append(json.loads(told.stdout))
    one, two = found
    assert list(one) == list(KINDS)
    for kind in KINDS:
        assert differing(one[kind], two[kind]) == []


@pytest.mark.parametrize("dtype", ["int8", "uint8", "uint16", "int32", "float64"])
def test_bits_do_not_depend_on_the_type_of_whole_codes(dtype: str) -> None:
    """Pulses 80 codes high, one of them clipped; narrower codes are handed over in a wider type."""
    random = np.random.default_rng(9)
    place = np.arange(400) - 200 - random.uniform(-0.5, 0.5, (20, 2, 1))
    codes = np.round(20 + 80 * np.exp(-((place / 6) ** 2)) + random.normal(0, 1, place.shape)).clip(0, 120)
    codes[7, 0, 195:205] = 120

    def findings_in(kind: str) -> dict[str, str]:
        channels = [Channel(f"H{c}", "M1", scale=1e-3, lowest_code=0, highest_code=120) for c in (1, 2)]
        times = np.arange(20) * 1e-3
        session = Session.from_samples(
            codes.astype(kind), channels, 1e6, 100, trigger_time=times, trigger_offset=np.zeros(20)
        )
        assert session.dtype == kind
        findings = measure(session)
        assert len(findings.pulses) == 40 and findings.pulses.clipped.sum() == 1
        parts = ("levels", "pulses", "polarity", "sequence", "alignment", "jitter", "timing")
        return {
            name: hashlib.sha256(held).hexdigest()
            for part in parts
            for name, held in leaves(getattr(findings, part), part)
        }

    assert differing(findings_in("int16"), findings_in(dtype)) == []


def test_comparison_sees_one_bit(made: tuple[str, Path]) -> None:
    kind, path = made
    with open_session(path) as session:
        levels = measure(session, KINDS[kind][2]).levels
    nudged = dataclasses.replace(levels, noise=np.nextafter(levels.noise, np.inf))
    one, other = ({name: hashlib.sha256(held).hexdigest() for name, held in leaves(each)} for each in (levels, nudged))
    assert differing(one, other) == [".noise"]


if __name__ == "__main__":
    given = dict(word.split("=", 1) for word in sys.argv[1:])
    print(json.dumps({kind: bits(Path(path), kind) for kind, path in given.items()}))
