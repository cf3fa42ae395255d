"""Drafts and saves claims in the background; a file that somebody else has changed is never written over."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QObject, Signal

from pulsewright.errors import ClaimsFileError
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.reviewing import Reviewing
from pulsewright_app.desk.work import Background

_DRAFTING, _SAVING = "Drafting claims", "Saving the claims"


class ClaimsWork(QObject):
    """What takes a while, or touches files."""

    told = Signal(str)
    """How it went, in a sentence."""

    def __init__(
        self,
        document: Document,
        results: Results,
        reviewing: Reviewing,
        background: Background,
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self._document, self._results = document, results
        self._reviewing, self._background = reviewing, background

    def draft(self) -> None:
        """Put a draft from what the session shows in the place of the claims; undo brings them back."""
        findings, session, review = self._results.findings, self._document.recorded, self._reviewing.as_it_stands()
        if findings is None or self._results.partial:
            self.told.emit("The session is not measured yet: claims can be drafted from it when it is.")
            return

        def work() -> str:
            from pulsewright_analysis.claim_draft import draft

            return draft(findings, review())

        def done(text: str) -> None:
            if self._document.recorded is session:
                self._document.set_claims_text(text, "Draft the claims")
                self.told.emit(
                    "Drafted from what the session shows. Fill in each limit from what the experiment needs."
                )

        self._background.start(_DRAFTING, lambda _: work(), done, self.told.emit)

    def save(self) -> None:
        """Save the claims into their file, as long as it is as it was read."""
        from pulsewright_app.samples import samples_folder

        path = self._document.claims_path
        file = None if self._document.session is None else self._document.session.file
        if file is None:
            self.told.emit("The session came from no file: save the claims under a name of your own.")
        elif path.resolve().parent == samples_folder():
            self.told.emit("The samples stay as they came: save the claims under another name.")
        else:
            self._write(path, self._document.claims_text_of_file)

    def save_as(self, path: Path) -> None:
        """Save the claims under a name that was chosen."""
        if path == self._document.claims_path:
            self.save()
        else:
            self._write(path, None)

    def _write(self, path: Path, expected: str | None) -> None:
        """Write the claims; `expected` is what the file must hold, and None if it does not matter."""
        session, text = self._document.recorded, self._document.claims_text

        def done(_: None) -> None:
            own = self._document.recorded is session and path == self._document.claims_path
            if own:
                self._document.claims_saved(text)
            self.told.emit(f"Saved: {path}.")

        self._background.start(_SAVING, lambda _: _replace(path, text, expected), done, self.told.emit)


def _replace(path: Path, text: str, expected: str | None) -> None:
    from pulsewright.atomic import replacing
    from pulsewright.claims_file import claims_text_of

    if expected is not None:
        there = claims_text_of(path) if path.exists() else ""
        if there != expected:
            raise ClaimsFileError(
                f"{path.name} was changed by somebody else since it was read, so nothing was saved over it",
                "save under another name, or read the claims again (Shift+F5), which gives up what you edited",
            )
    try:
        with replacing(path) as temporary:
            temporary.write_text(text, encoding="utf-8", newline="\n")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise ClaimsFileError(
            f"{path}: cannot be written ({reason}); what was there before is untouched", "save under another name"
        ) from error
