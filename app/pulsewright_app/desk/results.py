"""The numbers on the desk, with the generation that they belong to."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtCore import QObject, Signal

from pulsewright_analysis.results import Findings
from pulsewright_analysis.verdicts import Verdict


class Results(QObject):
    """The findings of the session on the desk, and how the measuring of the next ones goes.

    Every measuring has a generation number; what an older generation reports is dropped.
    """

    changed = Signal()
    """Findings, busy, out of date or error are others now."""
    progress_changed = Signal()
    verdicts_changed = Signal()
    measuring_asked = Signal()
    """Somebody wants the session measured anew."""
    cancel_asked = Signal()
    """Somebody wants the measuring that goes on to stop."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._generation = 0
        self._findings: Findings | None = None
        self._findings_generation = 0
        self._partial = False
        self._busy = False
        self._out_of_date = False
        self._outdated_generation = -1
        """The measuring that went on, or was the last, when a setting changed: it rests on older ones."""
        self._progress = 0.0
        self._progress_text = ""
        self._error = ""
        self._verdicts: tuple[Verdict, ...] = ()
        self._judged_generation: int | None = 0
        self._against_by: tuple[Verdict, ...] = ()
        self._against: frozenset[int] = frozenset()

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """What the claims came to by `findings`, in their order; empty until they were judged."""
        return self._verdicts

    @property
    def verdicts_out_of_date(self) -> bool:
        """Whether `verdicts` rest on other numbers, claims or markers than those that count now."""
        return self.out_of_date or self.partial or self._judged_generation != self._findings_generation

    def judge(self, verdicts: tuple[Verdict, ...]) -> None:
        """Hand over what the claims came to by `findings`."""
        changed = verdicts != self._verdicts or self._judged_generation != self._findings_generation
        self._verdicts, self._judged_generation = verdicts, self._findings_generation
        if changed:
            self.verdicts_changed.emit()

    @property
    def against(self) -> frozenset[int]:
        """The records that a claim fails by: the same object until the verdicts are others."""
        if self._against_by is not self._verdicts:
            failing = (verdict for verdict in self._verdicts if verdict.verdict == "fails")
            self._against = frozenset(record for verdict in failing for record in verdict.records)
            self._against_by = self._verdicts
        return self._against

    @property
    def judged(self) -> bool:
        """Whether `verdicts` are what the claims come to by `findings`."""
        return self._findings is not None and not self.partial and self._judged_generation == self._findings_generation

    @property
    def judging_failed(self) -> bool:
        """Whether the last judging came to nothing."""
        return self._judged_generation is None

    def mark_verdicts_out_of_date(self) -> None:
        """Say that claims or markers have changed since `verdicts` were judged."""
        if self._judged_generation == self._findings_generation:
            self._judged_generation = -1
            self.verdicts_changed.emit()

    def fail_to_judge(self) -> None:
        """Forget the verdicts: nothing is known of the claims."""
        self._verdicts, self._judged_generation = (), None
        self.verdicts_changed.emit()

    @property
    def generation(self) -> int:
        """The measuring that was started last."""
        return self._generation

    @property
    def findings(self) -> Findings | None:
        """The last findings, or None."""
        return self._findings

    @property
    def findings_generation(self) -> int:
        """Which findings these are: counts up with all that are taken, partial ones too."""
        return self._findings_generation

    @property
    def partial(self) -> bool:
        """Whether `findings` are of some records only, and the rest is or was being measured."""
        return self._findings is not None and self._partial

    @property
    def part(self) -> str:
        """Which records partial findings are of, in words, and which channels unless all; empty if there are none."""
        findings = self._findings
        if findings is None or not self.partial or not len(findings.records):
            return ""
        first, last = findings.records[[0, -1]].tolist()
        records = f"record {first}" if first == last else f"records {first} … {last}"
        if len(findings.channels) == len(findings.session.channels):
            return records
        return f"{records} on {', '.join(map(findings.channel_name, findings.channels))}"

    @property
    def busy(self) -> bool:
        """Whether a measuring goes on."""
        return self._busy

    @property
    def out_of_date(self) -> bool:
        """Whether `findings` come from older settings than those that count now."""
        return self._findings is not None and self._out_of_date

    @property
    def lacking(self) -> bool:
        """Whether nothing complete and up to date is there, and nobody is measuring it."""
        return not self._busy and (self._findings is None or self._partial or self._out_of_date)

    @property
    def progress(self) -> float:
        """How much of the measuring is done, 0 to 1."""
        return self._progress

    @property
    def progress_text(self) -> str:
        """What is being measured."""
        return self._progress_text

    @property
    def error(self) -> str:
        """Why the last measuring came to nothing; empty if it did not."""
        return self._error

    def clear(self) -> None:
        """Forget everything, as another session comes."""
        self._generation += 1
        self._findings = None
        self._busy = self._out_of_date = self._partial = False
        self._progress, self._progress_text, self._error = 0.0, "", ""
        self.judge(())
        self.changed.emit()

    def start(self) -> int:
        """Begin a measuring, and return its generation."""
        self._generation += 1
        self._busy, self._out_of_date, self._error = True, True, ""
        self._progress, self._progress_text = 0.0, ""
        self.changed.emit()
        return self._generation

    def advance(self, generation: int, fraction: float, text: str) -> None:
        """Say how far a measuring has come."""
        if generation == self._generation and self._busy:
            self._progress, self._progress_text = fraction, text
            self.progress_changed.emit()

    def take_partial(self, generation: int, findings: Findings) -> None:
        """Hand over what was measured of the first records, while the rest is measured."""
        if generation == self._generation and self._busy:
            self._findings, self._partial = findings, True
            self._out_of_date = generation == self._outdated_generation
            self._findings_generation += 1
            self.changed.emit()

    def finish(self, generation: int, findings: Findings) -> None:
        """Hand over what was measured."""
        if generation == self._generation:
            self._findings, self._partial = findings, False
            self._findings_generation += 1
            self._busy, self._out_of_date = False, generation == self._outdated_generation
            self._progress = 1.0
            self.changed.emit()

    def learn_digest(self, sha256: str) -> None:
        """Name the session's file by its digest in findings that were measured before it was known."""
        if self._findings is not None:
            self._findings = named(self._findings, sha256)

    def fail(self, generation: int, sentence: str) -> None:
        """Say why a measuring came to nothing; an empty sentence if a person cancelled it."""
        if generation == self._generation:
            self._busy, self._error = False, sentence
            self.changed.emit()

    def ask_to_measure(self) -> None:
        """Ask for a new measuring by the settings that count now."""
        self.measuring_asked.emit()

    def ask_to_cancel(self) -> None:
        """Ask the measuring that goes on to stop; the findings stay as they are."""
        self.cancel_asked.emit()

    def mark_out_of_date(self) -> None:
        """Say that a setting has changed since `findings` were measured, and since the measuring that goes on began."""
        self._outdated_generation = self._generation
        if not self._out_of_date:
            self._out_of_date = True
            self.changed.emit()


def named(findings: Findings, sha256: str) -> Findings:
    """Return findings that name the session's file by its digest; the same ones where there is nothing to add."""
    if findings.session.sha256 or not sha256:
        return findings
    return replace(findings, session=replace(findings.session, sha256=sha256))
