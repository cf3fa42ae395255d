"""What a person adds to a session: saved with it, and undone step by step."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from PySide6.QtCore import QObject, Signal

from pulsewright.claims_file import ClaimsFile
from pulsewright.review import SheetView
from pulsewright.session import Session
from pulsewright.settings import Settings, layered, parse_setting
from pulsewright_app.desk.additions import Additions
from pulsewright_app.desk.pair_edits import PairEdits
from pulsewright_app.desk.record_edits import RecordEdits


class Document(PairEdits, RecordEdits):
    """The session on the desk, with what a person added to it.

    Every method that changes something is one step of `undo`. Changes are announced by one signal for each kind.
    """

    session_changed = Signal()
    claims_changed = Signal()
    """What is claimed of the session, or the settings of its claims file, are others now."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session: Session | None = None
        self._option: Mapping[str, Any] = {}
        self._claims: Mapping[str, Any] = {}
        self._claims_file: ClaimsFile | None = None

    # -- the session ----------------------------------------------------------------------------------------

    def open(
        self,
        session: Session | None,
        option: Mapping[str, Any] | None = None,
        claims: Mapping[str, Any] | None = None,
        additions: Additions | None = None,
        claims_file: ClaimsFile | None = None,
    ) -> None:
        """Put another session on the desk, with nothing to undo yet, and give back the one before.

        Parameters
        ----------
        session : Session or None
            None clears the desk.
        option, claims : mapping of setting name to value
            From the command line, and from the claims file.
        additions : Additions, optional
            What a person added to it earlier.
        claims_file : ClaimsFile, optional
            What is claimed of it.
        """
        before, self._session = self._session, session
        self._claims_file = claims_file
        self._option, self._claims = dict(option or {}), dict(claims or {})
        self._begin(additions or Additions())
        if before is not None and before is not session:
            before.close()
        self.session_changed.emit()
        self._announce(None)

    def forget_additions(self) -> None:
        """Take everything off the desk that was added earlier: it was added to another session."""
        before = self._now
        self._begin(Additions())
        self._announce(before)

    @property
    def session(self) -> Session | None:
        """The session on the desk."""
        return self._session

    @property
    def claims_file(self) -> ClaimsFile | None:
        """What is claimed of the session; None where there is no claims file."""
        return self._claims_file

    def set_claims_file(self, claims_file: ClaimsFile | None) -> None:
        """Take other claims, with the settings of their file; they are judged anew, and measured anew if need be."""
        settings = {} if claims_file is None else dict(claims_file.settings)
        differ = settings != self._claims
        self._claims_file, self._claims = claims_file, settings
        self.claims_changed.emit()
        if differ:
            self.settings_changed.emit()

    def measuring_settings(self) -> Settings:
        """Return the settings to measure by: command-line option, then review, then claims file, then default.

        Raises
        ------
        SettingError
            For a value that cannot be used.
        """
        review = dict(self._now.settings)
        if self._now.left_out:
            review["left_out"] = tuple(sorted(self._now.left_out))
        if self._now.rejected and self._session is not None:
            names = [channel.name for channel in self._session.channels]
            review["rejected_pulses"] = [(record, names[c], sample) for record, c, sample in self._now.rejected]
        return layered(option=self._option, review=review, claims=self._claims)

    @property
    def clock_ppm(self) -> float:
        """The sample clock's standard uncertainty that markers count, parts per million; 0 if it is not known."""
        from pulsewright.errors import PulsewrightError

        try:
            return self.measuring_settings().clock_ppm
        except PulsewrightError:
            return 0.0

    # -- settings -------------------------------------------------------------------------------------------

    @property
    def settings(self) -> Mapping[str, Any]:
        """The settings that a person changed on the desk, as they were written."""
        return self._now.settings

    def set_setting(self, name: str, value: Any) -> None:
        """Change a measuring setting for this session; None gives it back to the claims file or the default.

        Raises
        ------
        SettingError
            For a name that is no setting, or a value that cannot be used; nothing is changed then.
        """
        settings = {key: kept for key, kept in self._now.settings.items() if key != name}
        if value is not None:
            parse_setting(name, value)
            settings[name] = value
        self._change(f"Set {name.replace('_', ' ')}", settings=settings)

    # -- views for the evidence sheet -----------------------------------------------------------------------

    @property
    def sheet_views(self) -> tuple[SheetView, ...]:
        """The views that a person wants in the evidence sheet, in its order."""
        return self._now.sheet_views

    def set_sheet_views(self, views: tuple[SheetView, ...], label: str) -> None:
        """Add, rename, reorder or remove views for the evidence sheet; `label` says which, for undo."""
        self._change(label, sheet_views=views)
