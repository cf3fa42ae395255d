"""The results of a campaign in one SQLite file: sessions, quantities, verdicts. A session goes in whole or not."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import fields
from pathlib import Path
from typing import Any

from pulsewright.errors import PulsewrightError
from pulsewright_app.campaign.outcome import Basis, Judged, Measured, Outcome

APPLICATION_ID = 0x50575243
"""Written into the file's head, so that another program's SQLite file is not mistaken for results."""
LAYOUT = 1
LONGEST_WAIT_S = 30.0
"""How long to wait for another campaign that writes into the same file."""

_SCHEMA = """
CREATE TABLE sessions (
    session TEXT PRIMARY KEY, state TEXT NOT NULL, reason TEXT NOT NULL, gone INTEGER NOT NULL DEFAULT 0,
    created TEXT NOT NULL, records INTEGER NOT NULL, channels INTEGER NOT NULL, sha256 TEXT NOT NULL,
    size INTEGER NOT NULL, modified_ns INTEGER NOT NULL, quick_digest TEXT NOT NULL, review_digest TEXT NOT NULL,
    claims_digest TEXT NOT NULL, version TEXT NOT NULL
) STRICT;
CREATE TABLE quantities (
    session TEXT NOT NULL REFERENCES sessions ON DELETE CASCADE, name TEXT NOT NULL, meaning TEXT NOT NULL,
    unit TEXT NOT NULL, value REAL NOT NULL, u REAL NOT NULL, dof REAL, low REAL NOT NULL, high REAL NOT NULL,
    PRIMARY KEY (session, name)
) STRICT;
CREATE TABLE verdicts (
    session TEXT NOT NULL REFERENCES sessions ON DELETE CASCADE, place INTEGER NOT NULL, claim TEXT NOT NULL,
    kind TEXT NOT NULL, limits TEXT NOT NULL, verdict TEXT NOT NULL, sentence TEXT NOT NULL, reason TEXT NOT NULL,
    unit TEXT NOT NULL, value REAL, u REAL, low REAL, high REAL, limit_low REAL, limit_high REAL, probability REAL,
    against TEXT NOT NULL, PRIMARY KEY (session, place)
) STRICT;
"""

_SESSION = ("session", "state", "reason", "gone", "created", "records", "channels", "sha256")
_BASIS = tuple(field.name for field in fields(Basis))
_VERDICT = tuple("limits" if field.name == "limit" else field.name for field in fields(Judged))


class ResultsFile:
    """Results, open for reading and writing. Use it in a ``with`` block.

    Parameters
    ----------
    path : Path
        Made where it is missing.

    Raises
    ------
    PulsewrightError
        If it cannot be opened, is damaged, or is no file of results.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        with self._told():
            self._base = sqlite3.connect(path, timeout=LONGEST_WAIT_S, isolation_level=None)
        try:
            with self._told():
                self._base.execute("PRAGMA foreign_keys = ON")
                self._prepare()
        except BaseException:
            self._base.close()
            raise

    def _prepare(self) -> None:
        with self._transaction():
            (kept,) = self._base.execute("PRAGMA application_id").fetchone()
            (layout,) = self._base.execute("PRAGMA user_version").fetchone()
            (tables,) = self._base.execute("SELECT count(*) FROM sqlite_master").fetchone()
            if kept == 0 and tables == 0:
                for statement in _SCHEMA.split(";\n"):
                    self._base.execute(statement)
                self._base.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                self._base.execute(f"PRAGMA user_version = {LAYOUT}")
            elif kept != APPLICATION_ID:
                raise PulsewrightError(
                    f"{self.path}: is a file, but not of a campaign's results", "give another name for the results"
                )
            elif layout != LAYOUT:
                raise PulsewrightError(
                    f"{self.path}: is of layout {layout}, and this program knows layout {LAYOUT}",
                    "give another name, or the version of the program that made it",
                )

    def __enter__(self) -> ResultsFile:
        return self

    def __exit__(self, *_: object) -> None:
        self._base.close()

    # -- writing --------------------------------------------------------------------------------------------

    def store(self, outcome: Outcome) -> None:
        """Put a session's outcome in the place of what was known of it, all in one transaction.

        Raises
        ------
        PulsewrightError
            If the file cannot be written to; it stays as it was.
        """
        session = (
            outcome.session, outcome.state, outcome.reason, 0, outcome.created, outcome.records, outcome.channels,
            outcome.sha256,
        )  # fmt: skip
        with self._told(), self._transaction():
            self._base.execute("DELETE FROM sessions WHERE session = ?", (outcome.session,))
            # `astuple` would copy every value deeply, beside workers that need the core
            self._insert("sessions", (*_SESSION, *_BASIS), [(*session, *vars(outcome.basis).values())])
            columns = ("session", *(field.name for field in fields(Measured)))
            self._insert("quantities", columns, [(outcome.session, *vars(q).values()) for q in outcome.quantities])
            verdicts = [(outcome.session, place, *vars(v).values()) for place, v in enumerate(outcome.verdicts)]
            self._insert("verdicts", ("session", "place", *_VERDICT), verdicts)

    def mark_gone(self, there: Iterable[str]) -> int:
        """Mark the sessions that are no longer in the folder, and say how many; their results stay.

        Raises
        ------
        PulsewrightError
            If the file cannot be written to.
        """
        present = set(there)
        with self._told(), self._transaction():
            known = [session for (session,) in self._base.execute("SELECT session FROM sessions")]
            marks = [(session not in present, session) for session in known]
            self._base.executemany("UPDATE sessions SET gone = ? WHERE session = ?", marks)
        return sum(gone for gone, _ in marks)

    def _insert(self, table: str, columns: tuple[str, ...], rows: list[tuple[Any, ...]]) -> None:
        places = ", ".join("?" * len(columns))
        self._base.executemany(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({places})", rows)

    # -- reading --------------------------------------------------------------------------------------------

    def bases(self) -> dict[str, Basis]:
        """Return for each session that is known what its outcome rests on."""
        with self._told():
            rows = self._base.execute(f"SELECT session, {', '.join(_BASIS)} FROM sessions").fetchall()
        return {session: Basis(*rest) for session, *rest in rows}

    def rows(self, table: str) -> tuple[tuple[str, ...], list[tuple[Any, ...]]]:
        """Return the columns and the rows of ``sessions``, ``quantities`` or ``verdicts``, in a fixed order."""
        order = {"sessions": "session", "quantities": "session, rowid", "verdicts": "session, place"}[table]
        with self._told():
            found = self._base.execute(f"SELECT * FROM {table} ORDER BY {order}")
            return tuple(column[0] for column in found.description), found.fetchall()

    # -- what can go wrong ----------------------------------------------------------------------------------

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        self._base.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            if self._base.in_transaction:  # a full disk has ended it already
                self._base.execute("ROLLBACK")
            raise
        self._base.execute("COMMIT")

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.DatabaseError as error:
            raise PulsewrightError(
                f"{self.path}: the results cannot be read or written ({error})",
                "see whether the folder is there, has room and may be written to, and whether the file is whole; "
                "what was stored before is kept",
            ) from error
