"""How every test runs: on Qt's offscreen platform, with or without Qt's libraries, and, if told so, with no skips.

Where QtGui cannot be imported, the desk's tests skip and all others run. Where every check must have run
(PULSEWRIGHT_NO_SKIPS=1), a skipped test fails the run.
"""

from __future__ import annotations

import atexit
import functools
import os
import shutil
import tempfile

import pytest
import typer.testing

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
# what a person who also uses the program has added to the samples, and chosen, must decide no test
_HOME = tempfile.mkdtemp(prefix="pulsewright-tests-")
for _folder in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME"):
    os.environ[_folder] = _HOME
atexit.register(shutil.rmtree, _HOME, ignore_errors=True)
os.environ.pop("COLUMNS", None)  # pages of text are as wide as without a terminal, whoever runs the tests

# built anew for every call of a test, the commands take longer than most of them take to run
typer.testing._get_command = functools.cache(typer.testing._get_command)


def pytest_addoption(pluginmanager: pytest.PytestPluginManager) -> None:
    try:
        import PySide6.QtGui  # noqa: F401
    except ImportError:
        # pytest-qt would end the whole run when it cannot import it
        pluginmanager.unregister(name="pytest-qt")


def _skipped(config: pytest.Config) -> int:
    reporter = config.pluginmanager.get_plugin("terminalreporter")
    return len(reporter.stats.get("skipped", [])) if reporter else 0


def _must_run_all() -> bool:
    return os.environ.get("PULSEWRIGHT_NO_SKIPS") == "1"


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    if _must_run_all() and _skipped(session.config):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    count = _skipped(terminalreporter.config)
    if _must_run_all() and count:
        terminalreporter.write_line(f"PULSEWRIGHT_NO_SKIPS=1: {count} skipped tests count as failed", red=True)
