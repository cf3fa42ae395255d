"""What the trend page shows: every claim over the sessions, in the order in which they were recorded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from pulsewright.quantity import Quantity
from pulsewright_app.campaign.results_file import ResultsFile
from pulsewright_app.theme import VERDICT_SHAPES, Verdict
from pulsewright_app.wording import shown

NOT_MEASURED = "–"


@dataclass(frozen=True)
class Row:
    """A session of the page.

    Attributes
    ----------
    number : int
        From 1, in the order of the page; it stands along the axis of every figure.
    session, created, reason : str
        Its path in the campaign's folder, when it was recorded, and why it was not measured.
    failed, gone : bool
        Whether it could not be measured, and whether it is no longer in the folder.
    verdicts : dict of str to str
        What each claim came to, by the claim's name.
    """

    number: int
    session: str
    created: str
    reason: str
    failed: bool
    gone: bool
    verdicts: dict[str, str]

    @property
    def instant(self) -> datetime | None:
        """When it was recorded; None where its file does not say so in ISO 8601. What names no zone counts as UTC."""
        try:
            told = datetime.fromisoformat(self.created)
        except ValueError:
            return None
        return told if told.tzinfo else told.replace(tzinfo=UTC)

    @property
    def recorded(self) -> str:
        """When it was recorded, as a person reads it."""
        return self.created if self.instant is None else self.created.replace("T", " ").replace("+00:00", " UTC")


@dataclass(frozen=True)
class Point:
    """What one claim came to in one session.

    Attributes
    ----------
    row : Row
    verdict : str
    text : str
        Value ± U, or what was seen.
    reason : str
    value, low, high : float or None
        What was measured, and the ends of its 95 % interval.
    """

    row: Row
    verdict: Verdict
    text: str
    reason: str
    value: float | None
    low: float | None
    high: float | None

    @property
    def shape(self) -> str:
        """The sign of the verdict, so that colour is never the only one."""
        return VERDICT_SHAPES[self.verdict]


@dataclass(frozen=True)
class Trend:
    """One claim over all sessions.

    Attributes
    ----------
    claim, kind, limit, unit : str
    limit_low, limit_high : float or None
    points : tuple of Point
        In the order of the page.
    """

    claim: str
    kind: str
    limit: str
    unit: str
    limit_low: float | None
    limit_high: float | None
    points: tuple[Point, ...]

    @property
    def measured(self) -> tuple[Point, ...]:
        """The sessions in which there is a value to draw."""
        return tuple(point for point in self.points if point.value is not None)

    def number_of(self, verdict: str) -> int:
        """Return in how many sessions the claim came to this."""
        return sum(point.verdict == verdict for point in self.points)


def rows_of(results: ResultsFile) -> tuple[Row, ...]:
    """Return the sessions by when they were recorded, or by path where one that was measured does not say."""
    columns, found = results.rows("sessions")
    verdicts = _verdicts(results)
    rows = [_row(dict(zip(columns, session, strict=True)), verdicts) for session in found]
    if in_time(rows):
        last = datetime.max.replace(tzinfo=UTC)  # of those that could not be measured it is not known
        rows.sort(key=lambda row: (row.instant or last, row.session))
    return tuple(replace(row, number=number) for number, row in enumerate(rows, start=1))


def in_time(rows: Sequence[Row]) -> bool:
    """Say whether every session that was measured says when it was recorded."""
    return all(row.instant is not None for row in rows if not row.failed)


def _row(session: dict[str, Any], verdicts: dict[str, list[dict[str, Any]]]) -> Row:
    return Row(
        0,
        session["session"],
        session["created"],
        session["reason"],
        session["state"] == "failed",
        bool(session["gone"]),
        {v["claim"]: v["verdict"] for v in verdicts.get(session["session"], ())},
    )


def _verdicts(results: ResultsFile) -> dict[str, list[dict[str, Any]]]:
    columns, found = results.rows("verdicts")
    by_session: dict[str, list[dict[str, Any]]] = {}
    for row in found:
        verdict = dict(zip(columns, row, strict=True))
        by_session.setdefault(verdict["session"], []).append(verdict)
    return by_session


def trends_of(results: ResultsFile, rows: tuple[Row, ...]) -> tuple[Trend, ...]:
    """Return the trend of each claim, in the order of the claims file.

    Sessions whose results are from other claims keep those until the next run; a claim with another limit or unit is
    a trend of its own, so that nothing is drawn against a limit that it was not judged by.
    """
    by_session = _verdicts(results)
    found: dict[tuple[Any, ...], list[Point]] = {}
    for row in rows:
        for verdict in by_session.get(row.session, ()):
            head = tuple(verdict[key] for key in ("claim", "kind", "limits"))
            found.setdefault(head, []).append(_point(row, verdict))
    return tuple(_trend(head, points, by_session) for head, points in found.items())


def _trend(head: tuple[Any, ...], points: list[Point], by_session: dict[str, list[dict[str, Any]]]) -> Trend:
    judged = [v for p in points for v in by_session[p.row.session] if (v["claim"], v["kind"], v["limits"]) == head]
    told = next((v for v in judged if v["value"] is not None), judged[0])
    claim, kind, limit = head
    return Trend(claim, kind, limit, told["unit"], told["limit_low"], told["limit_high"], tuple(points))


def _point(row: Row, verdict: dict[str, Any]) -> Point:
    value, u, low, high = (verdict[key] for key in ("value", "u", "low", "high"))
    text = verdict["sentence"].partition("Seen: ")[2] or NOT_MEASURED
    if value is not None:
        text = shown(Quantity(value, u, verdict["unit"], None, (low, high)))
    return Point(row, verdict["verdict"], text, verdict["reason"], value, low, high)
