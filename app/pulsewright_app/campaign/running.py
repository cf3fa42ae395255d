"""Runs a campaign: does what is new or changed, and stores each session as soon as it is done."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from importlib.metadata import version as installed
from pathlib import Path

from pulsewright.claims_file import ClaimsFile, claims_text_of, parse_claims
from pulsewright.errors import PulsewrightError
from pulsewright_app.campaign.finding import basis_of, digest_of_text, find_sessions
from pulsewright_app.campaign.measuring import lost, outcome_of
from pulsewright_app.campaign.outcome import Basis, Outcome
from pulsewright_app.campaign.results_file import ResultsFile
from pulsewright_app.campaign.workers import connected, outcomes, require_dask

Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class Done:
    """What one run of a campaign did.

    Attributes
    ----------
    measured, failed, unchanged, gone : int
        Sessions measured now, those that could not be, those that were as before, those no longer there.
    """

    measured: int
    failed: int
    unchanged: int
    gone: int


def run_campaign(
    folder: Path,
    claims_file: Path,
    results: ResultsFile,
    cluster: str | None = None,
    workers: int | None = None,
    progress: Progress = lambda *_: None,
) -> Done:
    """Measure every session below a folder against the same claims, as far as it is new or changed.

    Parameters
    ----------
    folder : Path
        All workers must see it at the same place.
    claims_file : Path
    results : ResultsFile
        Each outcome goes in as it comes: a run that is killed loses only the sessions in flight.
    cluster : str, optional
        Address of a Dask scheduler; a local cluster if left out.
    workers : int, optional
        Processes of the local cluster; one for each core if left out.
    progress : callable, optional
        Told the share done and the session that came last.

    Raises
    ------
    PulsewrightError
        If there is no session, the claims cannot be read, the results cannot be written, or the scheduler goes away.
    """
    require_dask()
    text = claims_text_of(claims_file)
    claims, claims_digest = parse_claims(text, claims_file), digest_of_text(text)
    program = installed("pulsewright")
    there = find_sessions(folder)
    gone = results.mark_gone(there)
    todo = _to_do(folder, there, results.bases(), claims_digest, program)
    counted = {"measured": 0, "failed": 0}
    if todo:
        root = folder.absolute()
        with connected(cluster, workers) as client:
            given = (root, claims, claims_digest, program)
            given_up = partial(lost, claims_digest=claims_digest, version=program)
            for number, outcome in enumerate(outcomes(client, _task, todo, given, given_up), start=1):
                results.store(outcome)
                counted[outcome.state] += 1
                progress(number / len(todo), outcome.session)
    return Done(counted["measured"], counted["failed"], len(there) - len(todo), gone)


def _task(session: str, folder: Path, claims: ClaimsFile, claims_digest: str, version: str) -> Outcome:
    return outcome_of(folder, session, claims, claims_digest, version)


def _to_do(
    folder: Path, sessions: tuple[str, ...], known: Mapping[str, Basis], claims_digest: str, version: str
) -> list[str]:
    """Return the sessions that are new or changed, and those whose outcome rests on no file."""

    def unchanged(session: str) -> bool:
        try:
            return session in known and basis_of(folder / session, claims_digest, version) == known[session]
        except PulsewrightError:
            return False

    return [session for session in sessions if not unchanged(session)]
