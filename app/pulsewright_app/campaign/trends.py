"""What the trend page shows: every claim over the sessions, in the order in which they were recorded."""

from __future__ import annotations

from dataclasses import dataclass
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
    gone : bool
        Whether it is no longer in the folder.
    verdicts : dict of str to str
        What each claim came to, by the claim's name.
    """

    number: int
    session: str
    created: str
    reason: str
    gone: bool
    verdicts: dict[str, str]


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
    """Return the sessions by when they were recorded, or by path where one of them does not say."""
    columns, found = results.rows("sessions")
    sessions = [dict(zip(columns, row, strict=True)) for row in found]
    verdicts = _verdicts(results)
    if all(session["created"] for session in sessions if session["state"] == "measured"):
        sessions.sort(key=lambda s: (s["created"] == "", s["created"], s["session"]))
    return tuple(
        Row(
            number,
            s["session"],
            s["created"],
            s["reason"],
            bool(s["gone"]),
            {v["claim"]: v["verdict"] for v in verdicts.get(s["session"], ())},
        )
        for number, s in enumerate(sessions, start=1)
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
