"""The recordings that are being imported: how each is understood, and the session that is made of them."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from PySide6.QtCore import QObject, Signal

from pulsewright_app.desk.importing.making import Part, Plan, how_they_go_together, make_session
from pulsewright_app.desk.importing.previewing import Understood, understand
from pulsewright_app.desk.work import Background, Job

WRITING, JOINING = "Importing", "Matching the records"
SUFFIX = ".h5"


@dataclass
class Recording:
    """One file, what a person gave for it, and how it is understood.

    Attributes
    ----------
    path : Path
    module : str
        The module whose channels it holds, where there are several files.
    given : dict of str to str
        Options, by name.
    understood : Understood or None
        None until it was looked at for the first time.
    looking : bool
        Whether it is being looked at, so that `understood` is older than `given`.
    """

    path: Path
    module: str = ""
    given: dict[str, str] = field(default_factory=dict)
    understood: Understood | None = None
    looking: bool = False


class Importing(QObject):
    """What is imported and into which file; looked at and written away from the main thread."""

    changed = Signal()
    progress = Signal(float, str)
    imported = Signal(object)
    """The session file that was made, a Path."""
    failed = Signal(str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        # its own threads: opening another session meanwhile stops the desk's work, not this
        self._background = Background(self, threads=2)
        self.recordings: list[Recording] = []
        self.target = ""
        self.tolerance = ""
        """How far apart the trigger times of records that belong together may be; empty: they are matched by number."""
        self.told: tuple[str, ...] = ()
        """What was matched, cut off and left out where there are several files, each a clause."""
        self.apart = ""
        """Why the files do not go together, in a sentence; empty if they do."""
        self.joining = False
        self.writing = False

    # -- what is imported -----------------------------------------------------------------------------------

    def begin(self, paths: Sequence[Path]) -> None:
        """Import these files, and none of those before; not while a session is written."""
        for recording in self.recordings:
            self._background.cancel(_key(recording))
        self.recordings.clear()
        self._join()
        self.target = self.tolerance = ""
        self.add(paths)

    def add(self, paths: Sequence[Path]) -> None:
        """Import these files too, each once; not while a session is written."""
        if self.writing:
            if paths:
                self.failed.emit("A session is being written: wait for it, or cancel it.")
            return
        known = {recording.path for recording in self.recordings}
        new = [Recording(path.absolute()) for path in dict.fromkeys(paths) if path.absolute() not in known]
        for recording in new:
            recording.module = self._free_module()
            self.recordings.append(recording)
        if not self.target and self.recordings:
            self.target = str(free_target(self.recordings[0].path))
        for recording in new:
            self._look(recording)
        self.changed.emit()

    def remove(self, recording: Recording) -> None:
        """Leave a file out."""
        self._background.cancel(_key(recording))
        self.recordings.remove(recording)
        if not self.recordings:
            self.target = ""
        self._join()
        self.changed.emit()

    def _free_module(self) -> str:
        number = 1
        while f"M{number}" in [recording.module for recording in self.recordings]:
            number += 1
        return f"M{number}"

    def name_module(self, recording: Recording, name: str) -> None:
        """Say which module a file holds."""
        recording.module = name.strip()
        self._join()
        self.changed.emit()

    def match_within(self, tolerance: str) -> None:
        """Match records whose trigger times are no further apart than that, ``"10 us"``; empty: match by number."""
        self.tolerance = tolerance.strip()
        self._join()
        self.changed.emit()

    def give(self, recording: Recording, name: str, text: str) -> None:
        """Say how a file is to be understood; an empty text leaves it to the file."""
        if text:
            recording.given[name] = text
        else:
            recording.given.pop(name, None)
        self._look(recording)
        self.changed.emit()

    def set_target(self, text: str) -> None:
        """Say into which file the session is to be written."""
        self.target = text.strip()
        self.changed.emit()

    # -- looking --------------------------------------------------------------------------------------------

    def _look(self, recording: Recording) -> None:
        path, given = recording.path, dict(recording.given)
        recording.looking = True

        def done(understood: Understood) -> None:
            before = recording.understood
            if before is not None and not understood.assumptions:  # the fields stay for whoever mends one of them
                understood = replace(understood, format=before.format, assumptions=before.assumptions)
            recording.understood, recording.looking = understood, False
            self._join()
            self.changed.emit()

        def failed(sentence: str) -> None:
            done(Understood(problems={"": sentence}))

        def work(job: Job) -> Understood:
            return understand(path, given, job.progress, job.cancelled)

        self._background.start(_key(recording), work, done, failed, self.progress.emit)

    @property
    def _plan(self) -> Plan:
        parts = {one.module: Part(one.path, dict(one.given)) for one in self.recordings}
        return Plan(parts, self.tolerance)

    def _join(self) -> None:
        """Find out whether several files go together, once each is understood by itself."""
        self._background.cancel(JOINING)
        self.told, self.apart, self.joining = (), "", False
        if len(self.recordings) < 2 or self._not_understood:
            return
        modules = [recording.module for recording in self.recordings]
        if "" in modules or len(set(modules)) < len(modules):
            self.apart = "Two files have one module, or one has none; name every module differently."
            return
        plan = self._plan
        self.joining = True

        def done(found: tuple[str, tuple[str, ...]]) -> None:
            self.joining = False
            self.apart, self.told = found
            self.changed.emit()

        self._background.start(
            JOINING,
            lambda job: how_they_go_together(plan, job.progress, job.cancelled),
            done,
            lambda sentence: done((sentence, ())),
            self.progress.emit,
        )

    @property
    def _not_understood(self) -> list[str]:
        """The names of the files that are still looked at, or cannot be imported as they are understood."""
        return [
            one.path.name for one in self.recordings if one.looking or one.understood is None or one.understood.problems
        ]

    # -- writing --------------------------------------------------------------------------------------------

    @property
    def refused(self) -> str:
        """Why nothing can be written now, in a sentence; empty where it can."""
        if not self.recordings:
            return "Choose the files to import, or drop them here."
        if self.writing:
            return "The session is being written."
        if self.joining or any(recording.looking for recording in self.recordings):
            return "The files are being looked at."
        if self._not_understood:
            return f"Not understood yet: {', '.join(self._not_understood)}. See what is wrong beside the fields."
        if self.apart:
            return "The files do not go together. See what is wrong below their list."
        return "" if not self.target_error else "See what is wrong with the file to write."

    @property
    def target_error(self) -> str:
        """What is wrong with the file that is to be written, in a sentence; empty where nothing is."""
        if not self.target:
            return "Give the session file to make." if self.recordings else ""
        path = Path(self.target)
        try:
            if path.suffix.lower() != SUFFIX:
                return f"{path.name}: a session file ends in {SUFFIX}."
            if path.exists() or any(path == recording.path for recording in self.recordings):
                return f"{path.name}: there is a file of that name; choose another name."
            if not path.parent.is_dir():
                return f"{path.parent}: there is no such folder."
            if not os.access(path.parent, os.W_OK):
                return f"{path.parent}: this folder cannot be written to; choose another one."
        except (OSError, ValueError) as error:
            return f"{self.target!r} is not a file name ({error})."
        return ""

    def write(self) -> None:
        """Write the session in the background."""
        if self.refused:
            self.failed.emit(self.refused)
            return
        target = Path(self.target)
        plan = self._plan
        self.writing = True
        self._background.start(
            WRITING,
            lambda job: make_session(plan, target, job.progress, job.cancelled),
            lambda _: self._written(target),
            self._not_written,
            self.progress.emit,
        )
        self.changed.emit()

    def _written(self, target: Path) -> None:
        self.writing = False
        self.begin(())
        self.imported.emit(target)

    def _not_written(self, sentence: str) -> None:
        self.writing = False
        self.changed.emit()
        self.failed.emit(sentence)

    def cancel(self) -> None:
        """Leave off writing; no file is made."""
        if self.writing:
            self._background.cancel(WRITING)
            self._not_written("It was called off, and no file was made.")

    def close(self) -> None:
        """End whatever goes on, and the threads."""
        self._background.close()


def _key(recording: Recording) -> str:
    return f"Looking at {recording.path}"


def free_target(path: Path) -> Path:
    """Return the session file to make of a recording: beside it, under its name, with a number if that is taken."""
    stem = path.name.split(".")[0] or "recording"
    if path.name.count(".") <= 1:
        stem = path.stem
    number = 1
    while (target := path.with_name(f"{stem}{SUFFIX}" if number == 1 else f"{stem} {number}{SUFFIX}")).exists():
        number += 1
    return target
