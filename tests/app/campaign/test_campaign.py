"""Campaigns: every session under a folder, only what is new, never ended by one that is broken, never mixed up."""

import errno
import json
import os
import resource
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from html.parser import HTMLParser
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pulsewright.errors import PulsewrightError
from pulsewright_app.campaign.measuring import lost
from pulsewright_app.campaign.results_file import ResultsFile
from pulsewright_app.campaign.trend_page import trend_page
from pulsewright_app.cli import app
from pulsewright_app.samples import sample

from .stored import stored

LONGEST_WAIT = 240.0
PROGRAM = [sys.executable, "-c", "from pulsewright_app.cli import run; run()"]


@pytest.fixture
def claims(tmp_path):
    path = tmp_path / "tank.claims.toml"
    shutil.copy(sample("tank_faults.h5").with_suffix(".claims.toml"), path)
    return path


@pytest.fixture
def runs(tmp_path):
    """A folder of three sessions, in two folders."""
    folder = tmp_path / "runs"
    (folder / "march").mkdir(parents=True)
    shutil.copy(sample("tank_walk.h5"), folder / "march" / "clean.h5")
    shutil.copy(sample("tank_faults.h5"), folder / "march" / "faults.h5")
    shutil.copy(sample("tank_slip.h5"), folder / "slip.h5")
    return folder


def campaign(*arguments):
    return CliRunner().invoke(app, ["campaign", *map(str, arguments)])


def table(path, name):
    with ResultsFile(path) as results:
        columns, rows = results.rows(name)
    return [dict(zip(columns, row, strict=True)) for row in rows]


def numbers(path):
    """Everything that was measured and judged, without what the files alone say."""
    return table(path, "quantities"), table(path, "verdicts")


def test_results_are_those_of_measure(runs, claims, tmp_path):
    to = tmp_path / "r.sqlite"
    run = campaign(runs, "--claims", claims, "--to", to, "--workers", 1)
    assert run.exit_code == 1, run.output  # claims fail of the session with faults
    alone = CliRunner().invoke(app, ["measure", str(runs / "march/faults.h5"), "--claims", str(claims), "--json"])
    findings = json.loads(alone.stdout)
    quantities = {q["name"]: q for q in table(to, "quantities") if q["session"] == "march/faults.h5"}
    for name, told in [
        ("increment", findings["sequence"]["increment"]),
        ("jitter", findings["jitter"]["std"]),
        ("period", findings["timing"]["trigger_period"]),
        *((f"skew {c['channel']}", c["skew"]) for c in findings["alignment"]["channels"] if c["channel"] != "H01"),
    ]:
        kept = quantities[name]
        assert [kept["value"], kept["u"], kept["low"], kept["high"]] == [told["value"], told["u"], *told["interval95"]]
    verdicts = [v for v in table(to, "verdicts") if v["session"] == "march/faults.h5"]
    assert [(v["claim"], v["verdict"]) for v in verdicts] == [(c["name"], c["verdict"]) for c in findings["claims"]]


def test_a_broken_session_is_a_row_with_its_reason(runs, claims, tmp_path):
    (runs / "a night.h5").write_bytes(b"the disk was full")
    to = tmp_path / "r.sqlite"
    run = campaign(runs, "--claims", claims, "--to", to, "--workers", 1)
    rows = {row["session"]: row for row in table(to, "sessions")}
    assert sorted(rows) == ["a night.h5", "march/clean.h5", "march/faults.h5", "slip.h5"]
    assert rows["a night.h5"]["state"] == "failed"
    assert "is not HDF5" in rows["a night.h5"]["reason"]
    assert "\n  a night.h5: is not HDF5" in run.output
    assert [row["state"] for row in rows.values()].count("measured") == 3


def test_a_second_run_does_only_what_is_new_or_changed(runs, claims, tmp_path):
    (runs / "broken.h5").write_bytes(b"nothing")
    to = tmp_path / "r.sqlite"
    campaign(runs, "--claims", claims, "--to", to, "--workers", 1)
    body = json.loads(campaign(runs, "--claims", claims, "--to", to, "--json").stdout)
    assert (body["measured"], body["failed"], body["unchanged"]) == (0, 0, 4)

    shutil.copy(sample("tank_slip.h5"), runs / "new.h5")
    shutil.copy(sample("tank_walk.h5"), runs / "broken.h5")
    (runs / "slip.h5").unlink()
    body = json.loads(campaign(runs, "--claims", claims, "--to", to, "--workers", 1, "--json").stdout)
    assert (body["measured"], body["failed"], body["unchanged"], body["gone"]) == (2, 0, 2, 1)
    rows = {row["session"]: row for row in table(to, "sessions")}
    assert rows["slip.h5"]["gone"] == 1
    assert rows["broken.h5"]["state"] == "measured"
    assert any(q["session"] == "slip.h5" for q in table(to, "quantities"))  # what was measured once is kept

    claims.write_text(claims.read_text() + "\n# a remark may be a change: the limits above are not compared\n")
    body = json.loads(campaign(runs, "--claims", claims, "--to", to, "--workers", 1, "--json").stdout)
    assert body["measured"] == 4


def test_a_killed_run_is_finished_by_the_next(runs, claims, tmp_path):
    for number in range(4):
        shutil.copy(sample("tank_walk.h5"), runs / f"more{number}.h5")
    whole, broken = tmp_path / "whole.sqlite", tmp_path / "broken.sqlite"
    campaign(runs, "--claims", claims, "--to", whole, "--workers", 1)

    call = [*PROGRAM, "campaign", str(runs), "--claims", str(claims), "--to", str(broken), "--workers", "1"]
    victim = subprocess.Popen(call, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True)
    try:
        end = time.monotonic() + LONGEST_WAIT
        while victim.poll() is None and time.monotonic() < end and not stored(broken):
            time.sleep(0.01)
    finally:
        os.killpg(victim.pid, signal.SIGKILL)
        victim.wait()
    before = stored(broken)
    assert 1 <= before < 7
    body = json.loads(campaign(runs, "--claims", claims, "--to", broken, "--workers", 1, "--json").stdout)
    assert body["unchanged"] == before
    assert body["measured"] == 7 - before
    assert numbers(broken) == numbers(whole)


def test_a_request_to_terminate_ends_it_in_order(runs, claims, tmp_path, monkeypatch):
    store, to = ResultsFile.store, tmp_path / "r.sqlite"

    def store_and_be_asked(results, outcome):
        store(results, outcome)
        os.kill(os.getpid(), signal.SIGTERM)

    monkeypatch.setattr(ResultsFile, "store", store_and_be_asked)
    before = signal.getsignal(signal.SIGTERM)
    run = campaign(runs, "--claims", claims, "--to", to, "--workers", 1)
    told = f"pulsewright: stopped; what was done is in {to}, and the same command goes on from there.\n"
    assert (run.exit_code, run.stdout, run.stderr) == (130, "", told)
    assert stored(to) == 1
    assert signal.getsignal(signal.SIGTERM) is before


class Page(HTMLParser):
    def __init__(self):
        super().__init__()
        self.text, self.tags = [], []

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))

    def handle_data(self, data):
        self.text.append(data)


def test_trend_page_and_tables(runs, claims, tmp_path):
    (runs / "slip.h5").rename(runs / "=<b>&slip.h5")
    to, page, folder = tmp_path / "r.sqlite", tmp_path / "trend.html", tmp_path / "csv"
    campaign(runs, "--claims", claims, "--to", to, "--workers", 1, "--trend", page, "--csv", folder)
    parsed = Page()
    parsed.feed(page.read_text(encoding="utf-8"))
    text = "".join(parsed.text)
    assert "=<b>&slip.h5" in text and not any(tag == "b" for tag, _ in parsed.tags)
    assert not any("http" in str(value) for tag, a in parsed.tags for k, value in a.items() if k in ("src", "href"))
    verdicts = table(to, "verdicts")
    for verdict in verdicts:
        assert verdict["claim"] in text
    figures = sum(tag == "figure" for tag, _ in parsed.tags)
    assert figures == len({v["claim"] for v in verdicts})
    assert "3 sessions, in the order in which they were recorded" in text
    assert "one session" not in text  # that is said of an evidence sheet
    cells = (folder / "sessions.csv").read_text(encoding="utf-8").splitlines()
    assert any(line.startswith("'=<b>&slip.h5,") for line in cells)
    with ResultsFile(to) as results:
        assert trend_page(results, "runs") == page.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (lambda p: p["to"].write_text("a letter, longer than a page\n" * 100), "cannot be read or written"),
        (lambda p: sqlite3.connect(p["to"]).execute("CREATE TABLE t (x)").connection.commit(), "not of a campaign"),
        (lambda p: p["to"].mkdir(), "cannot be read or written"),
        (lambda p: shutil.rmtree(p["runs"]), "no such folder"),
        (lambda p: [path.unlink() for path in p["runs"].rglob("*.h5")], "no session in it"),
        (lambda p: p["claims"].write_text("claims = 3"), "claims is not a list of tables"),
        (lambda p: p["trend"].parent.rmdir(), "there is no such folder for the trend page"),
        (lambda p: p["trend"].mkdir(), "is a folder, and the trend page is a file"),
        (lambda p: p["csv"].touch(), "is a file, and the tables need a folder"),
    ],
)
def test_what_cannot_be_used_is_told_in_a_sentence(spoil, told, runs, claims, tmp_path):
    to = tmp_path / "r.sqlite"
    (tmp_path / "pages").mkdir()
    trend, tables = tmp_path / "pages" / "trend.html", tmp_path / "csv"
    spoil({"runs": runs, "claims": claims, "to": to, "trend": trend, "csv": tables})
    run = campaign(runs, "--claims", claims, "--to", to, "--workers", 1, "--trend", trend, "--csv", tables)
    assert run.exit_code == 2
    assert told in run.stderr
    assert len(run.stderr.strip().splitlines()) == 1


def test_results_of_another_layout_are_left_alone(runs, claims, tmp_path):
    to = tmp_path / "r.sqlite"
    with ResultsFile(to):
        pass
    base = sqlite3.connect(to)
    base.execute("PRAGMA user_version = 99")
    base.commit()
    base.close()
    before = to.read_bytes()
    run = campaign(runs, "--claims", claims, "--to", to)
    assert run.exit_code == 2
    assert "layout 99" in run.stderr
    assert to.read_bytes() == before


def test_of_a_folder_that_cannot_be_looked_into_nothing_counts_as_gone(runs, claims, tmp_path, monkeypatch):
    """The system refuses it; who runs the tests may be allowed everything."""
    look = os.scandir

    def refusing(path):
        if Path(path).name == "march":
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))
        return look(path)

    to = tmp_path / "r.sqlite"
    with ResultsFile(to) as results:
        results.store(lost("march/clean.h5", "", ""))
    monkeypatch.setattr(os, "scandir", refusing)
    run = campaign(runs, "--claims", claims, "--to", to)
    assert run.exit_code == 2
    assert f"{runs / 'march'}: cannot be looked into (Permission denied)" in run.stderr
    assert [row["gone"] for row in table(to, "sessions")] == [0]


def test_without_dask_it_says_what_to_install(runs, claims, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    run = campaign(runs, "--claims", claims, "--to", tmp_path / "r.sqlite")
    assert run.exit_code == 2
    assert "pulsewright[cluster]" in run.stderr


@pytest.mark.parametrize(
    "address",
    ["tcp://127.0.0.1:9", "tls://127.0.0.1:9", "ucx://127.0.0.1:9", "inproc://9", "nowhere", "", "silent"],
)
def test_no_scheduler_answers(address, runs, claims, tmp_path, monkeypatch):
    """Nobody listens, the address is none, or somebody listens who never says a word."""
    monkeypatch.setattr("pulsewright_app.campaign.workers.PATIENCE_S", 0.3)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        if address == "silent":
            address = f"tcp://127.0.0.1:{silent.getsockname()[1]}"
        run = campaign(runs, "--claims", claims, "--to", tmp_path / "r.sqlite", "--cluster", address)
    assert run.exit_code == 2
    (sentence,) = run.stderr.strip().splitlines()
    assert f"{address}: no scheduler answers there" in sentence
    assert Path(tmp_path / "r.sqlite").exists()


def test_results_that_are_removed_meanwhile_are_told(tmp_path):
    path = tmp_path / "results.sqlite"
    with ResultsFile(path) as results:
        results.store(lost("a.h5", "", ""))
        path.rename(tmp_path / "elsewhere.sqlite")
        with pytest.raises(PulsewrightError, match=r"results\.sqlite: the results cannot be read or written"):
            results.store(lost("b.h5", "", ""))
    assert stored(tmp_path / "elsewhere.sqlite") == 1


def test_a_disk_without_room_for_results_is_told_and_what_was_stored_is_kept(tmp_path):
    """The system itself refuses to let the file grow (RLIMIT_FSIZE)."""
    path = tmp_path / "results.sqlite"
    with ResultsFile(path) as results:
        results.store(lost("a.h5", "", ""))
        limits = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (512, limits[1]))
        try:
            with pytest.raises(PulsewrightError, match=r"cannot be read or written \((disk I/O error|.* is full)\)"):
                results.store(lost("b.h5", "", ""))
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        results.store(lost("c.h5", "", ""))
    assert stored(path) == 2
