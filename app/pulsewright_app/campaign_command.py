"""``pulsewright campaign``: every session under a folder against the same claims, on many cores or machines."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pulsewright.errors import PulsewrightError

if TYPE_CHECKING:
    from pulsewright_app.campaign.results_file import ResultsFile
    from pulsewright_app.campaign.running import Done


def run_campaign_command(
    folder: Path,
    claims_file: Path,
    to: Path,
    *,
    cluster: str | None = None,
    workers: int | None = None,
    csv_folder: Path | None = None,
    trend: Path | None = None,
    as_json: bool = False,
) -> int:
    """Run the campaign, say how it came out, and return the exit code.

    Raises
    ------
    PulsewrightError
        If there is nothing to measure, something cannot be read or written, or the scheduler goes away.
    """
    from pulsewright_app.campaign.results_file import ResultsFile
    from pulsewright_app.campaign.running import run_campaign
    from pulsewright_app.ending import ended_as_by_ctrl_c
    from pulsewright_app.printing import print_json, progress_on_stderr

    if cluster is not None and workers is not None:
        raise PulsewrightError("--workers is for a cluster on this machine", "leave out --workers or --cluster")
    _require_places(csv_folder, trend)
    with ResultsFile(to) as results:
        try:
            with ended_as_by_ctrl_c(), progress_on_stderr("Measuring") as progress:
                done = run_campaign(folder, claims_file, results, cluster, workers, progress)
        except KeyboardInterrupt:
            stored = f"stopped; what was done is in {to}, and the same command goes on from there."
            print(f"pulsewright: {stored}", file=sys.stderr)
            raise
        if csv_folder is not None:
            from pulsewright_app.campaign.tidy_csv import write_tidy_csv

            write_tidy_csv(results, csv_folder)
        if trend is not None:
            from pulsewright_app.campaign.trend_page import write_trend_page

            write_trend_page(results, trend, folder.resolve().name or str(folder))
        counted = _counted(results)
        if as_json:
            print_json({**_body(done), "claims": counted})
        else:
            _print(results, done, counted, to)
        return _exit_code(counted, bool(_failed(results)))


def _require_places(csv_folder: Path | None, trend: Path | None) -> None:
    """Refuse places where nothing can be written before a night's measuring, not after it."""
    if csv_folder is not None and csv_folder.exists() and not csv_folder.is_dir():
        raise PulsewrightError(f"{csv_folder}: is a file, and the tables need a folder", "give another folder")
    if trend is not None and trend.is_dir():
        raise PulsewrightError(f"{trend}: is a folder, and the trend page is a file", "give another name")
    if trend is not None and not trend.absolute().parent.is_dir():
        raise PulsewrightError(f"{trend}: there is no such folder for the trend page", "make it, or give another name")


def _counted(results: ResultsFile) -> dict[str, dict[str, int]]:
    """Return for each claim in how many sessions of the folder it came to what."""
    columns, sessions = results.rows("sessions")
    gone = {row[0] for row in sessions if row[columns.index("gone")]}
    columns, verdicts = results.rows("verdicts")
    claim, verdict = columns.index("claim"), columns.index("verdict")
    counted: dict[str, dict[str, int]] = {}
    for row in verdicts:
        if row[0] not in gone:
            of_claim = counted.setdefault(row[claim], {"holds": 0, "fails": 0, "undecided": 0})
            of_claim[row[verdict]] += 1
    return counted


def _failed(results: ResultsFile) -> list[tuple[str, str]]:
    columns, sessions = results.rows("sessions")
    known = [dict(zip(columns, row, strict=True)) for row in sessions]
    return [(s["session"], s["reason"]) for s in known if s["state"] == "failed" and not s["gone"]]


def _body(done: Done) -> dict[str, Any]:
    return {
        "schema": "pulsewright-campaign/1",
        "measured": done.measured,
        "failed": done.failed,
        "unchanged": done.unchanged,
        "gone": done.gone,
    }


def _print(results: ResultsFile, done: Done, counted: dict[str, dict[str, int]], to: Path) -> None:
    from pulsewright_app.printing import columns, page
    from pulsewright_app.wording import count

    out = page()
    told = [f"{count(done.measured, 'session')} measured"]
    told += [f"{done.failed} could not be"] if done.failed else []
    told += [f"{done.unchanged} as before"] if done.unchanged else []
    told += [f"{done.gone} no longer there"] if done.gone else []
    out.print(f"{to}: {', '.join(told)}.", style="bold")
    if counted:
        rows = [(name, *(str(of[word]) for word in ("holds", "fails", "undecided"))) for name, of in counted.items()]
        out.print()
        out.print(columns(("Claim", "Holds", "Fails", "Undecided"), rows, right=(1, 2, 3)))
    failed = _failed(results)
    if failed:
        out.print()
        out.print(f"{count(len(failed), 'session')} could not be measured:")
        for session, reason in failed:
            # two folders may hold a file of the same name
            out.print(f"  {session}: {reason.removeprefix(f'{Path(session).name}: ')}", soft_wrap=True)


def _exit_code(counted: dict[str, dict[str, int]], failed: bool) -> int:
    """Return 1 where a claim fails in a session, 3 where none does but one is undecided or a session not measured."""
    if any(of["fails"] for of in counted.values()):
        return 1
    return 3 if failed or any(of["undecided"] for of in counted.values()) else 0
