"""What a person adds to a session: saved with it, and undone step by step."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from operator import is_
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, Signal

from pulsewright.claims_file import ClaimsFile, claims_path_for
from pulsewright.claims_text import WrittenClaims, look_at
from pulsewright.errors import PulsewrightError
from pulsewright.review import SheetView
from pulsewright.session import Session
from pulsewright.settings import Origin, Settings, layered, parse_setting
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
    delays_changed = Signal()
    """Other cable delays count: the times of the session on the desk are others now."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._recorded: Session | None = None
        self._session: Session | None = None
        self._option: Mapping[str, Any] = {}
        self._claims: Mapping[str, Any] = {}
        self._claims_file: ClaimsFile | None = None
        self._claims_text = ""
        self._written: tuple[str, WrittenClaims] = ("", WrittenClaims())
        self._announced_settings: Mapping[str, Any] = {}
        self._combined: tuple[tuple[Any, ...], Mapping[str, Any], Settings] | None = None
        """What the plain settings were last combined from, and what came out: cells of tables ask again and again."""
        self.claims_text_changed.connect(self._announce_claims)
        self.settings_changed.connect(self._take_delays)  # before anybody else: they find the session as it counts

    # -- the session ----------------------------------------------------------------------------------------

    def open(
        self,
        session: Session | None,
        option: Mapping[str, Any] | None = None,
        claims: Mapping[str, Any] | None = None,
        additions: Additions | None = None,
        claims_file: ClaimsFile | None = None,
        claims_text: str = "",
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
        claims_text : str
            The text of that file.
        """
        before, self._recorded = self._recorded, session
        self._claims_file, self._claims_text = claims_file, claims_text
        self._option, self._claims = dict(option or {}), dict(claims or {})
        self._begin(additions or Additions())
        self._announced_settings = self._claims_settings()
        self._session = self._by_delays()
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
        """The session on the desk, its times less the cable delays that count."""
        return self._session

    @property
    def recorded(self) -> Session | None:
        """The session on the desk with the cable delays of its file: the same object as long as it is there."""
        return self._recorded

    def _by_delays(self) -> Session | None:
        if self._recorded is None:
            return None
        try:
            return self._recorded.with_delays(self.plain_settings().delays)
        except PulsewrightError:  # told where it is measured
            return self._recorded

    def _take_delays(self) -> None:
        session = self._by_delays()
        if session is not None and self._session is not None and session.channels != self._session.channels:
            self._session = session
            self.delays_changed.emit()

    # -- the claims -----------------------------------------------------------------------------------------

    @property
    def claims_file(self) -> ClaimsFile | None:
        """What is claimed of the session and complete; None where nothing was ever claimed."""
        if not self._now.claims_text:
            return self._claims_file
        return self.written_claims.complete(self.claims_path)

    @property
    def claims_path(self) -> Path:
        """The file that the claims are for, whether it is there or not."""
        if self._claims_file is not None:
            return self._claims_file.path
        file = None if self._session is None else self._session.file
        return claims_path_for(file) if file is not None else Path("session.claims.toml")

    @property
    def claims_text(self) -> str:
        """The text of the claims that count: as edited here, or as in the file."""
        return self._now.claims_text or self._claims_text

    @property
    def claims_text_of_file(self) -> str:
        """The text of the claims file when it was read or saved last; empty where there was none."""
        return self._claims_text

    @property
    def claims_edited(self) -> bool:
        """Whether the claims that count are others than those in the file."""
        return bool(self._now.claims_text)

    @property
    def written_claims(self) -> WrittenClaims:
        """What the text of the claims says, as far as it makes sense."""
        text = self.claims_text
        if self._written[0] != text:
            self._written = text, look_at(text)
        return self._written[1]

    def set_claims_text(self, text: str, label: str, merge_key: tuple[Any, ...] | None = None) -> None:
        """Edit the claims; `label` says how, for undo, and steps with one `merge_key` are one.

        Raises
        ------
        ClaimsFileError
            If the text is no TOML; nothing is changed then.
        """
        look_at(text)
        self._change(label, merge_key, claims_text="" if text == self._claims_text else text)

    def set_claims_file(self, claims_file: ClaimsFile | None, text: str = "") -> None:
        """Take the claims as they are in their file now, in place of what was edited here; undo brings that back."""
        self._claims_file, self._claims_text = claims_file, text
        self._claims = {} if claims_file is None else dict(claims_file.settings)
        if self._now.claims_text:
            self._change("Take the claims of the file", claims_text="")
        else:
            self._announce_claims()

    def claims_saved(self, text: str) -> None:
        """Say that the claims file holds this text now; undo goes back to it as edited here."""
        self._claims_text = text
        self._claims_file = look_at(text).complete(self.claims_path, edited=False)
        self._claims = dict(self._claims_file.settings)
        if self._now.claims_text == text:
            self._change("Save the claims", claims_text="")
        else:
            self._announce_claims()

    def _claims_settings(self) -> Mapping[str, Any]:
        if not self._now.claims_text:
            return self._claims
        return self.written_claims.complete(self.claims_path).settings

    def _announce_claims(self) -> None:
        """Say that other claims count; they are judged anew, and the session is measured anew if need be."""
        settings = self._claims_settings()
        differ, self._announced_settings = settings != self._announced_settings, settings
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
        return self.settings_to_come()()

    def settings_to_come(self) -> Callable[[], Settings]:
        """Return what makes `measuring_settings` as they are now, on any thread: very many pulses may be rejected.

        Raises
        ------
        SettingError
            For a value that cannot be used; what is returned raises nothing.
        """
        plain, rejected = self.plain_settings(), self._now.rejected
        if self._session is None or not rejected or plain.origin("rejected_pulses") == "option":
            return lambda: plain
        names = [channel.name for channel in self._session.channels]
        origins: dict[str, Origin] = {**plain.origins, "rejected_pulses": "review"}
        return lambda: replace(
            plain,
            rejected_pulses=tuple(sorted((record, names[c], sample) for record, c, sample in rejected)),
            origins=origins,
        )

    def plain_settings(self) -> Settings:
        """Return the same less the pulses that were rejected here, for whoever asks on the window's thread.

        Raises
        ------
        SettingError
            For a value that cannot be used.
        """
        claims = self._claims_settings()
        # the pieces that count, not the whole: a flag or a marker changes no setting
        given = (self._now.settings, self._now.left_out, self._recorded, self._option)
        if self._combined is not None:
            before, claims_before, settings = self._combined
            if claims == claims_before and all(map(is_, given, before)):
                return settings
        settings = self._combine(claims)
        self._combined = given, claims, settings
        return settings

    def _combine(self, claims: Mapping[str, Any]) -> Settings:
        review = dict(self._now.settings)
        if self._now.left_out:
            review["left_out"] = tuple(sorted(self._now.left_out))
        return layered(option=self._option, review=review, claims=claims)

    @property
    def clock_ppm(self) -> float:
        """The sample clock's standard uncertainty that markers count, parts per million; 0 if it is not known."""
        try:
            return self.plain_settings().clock_ppm
        except PulsewrightError:
            return 0.0

    @property
    def scale_percent(self) -> float:
        """The standard uncertainty of a channel's scale that levels count, percent; 0 if it is not known."""
        try:
            return self.plain_settings().scale_percent
        except PulsewrightError:
            return 0.0

    # -- settings -------------------------------------------------------------------------------------------

    @property
    def settings(self) -> Mapping[str, Any]:
        """The settings that a person changed on the desk, as they were written."""
        return self._now.settings

    def set_setting(self, name: str, value: Any, label: str = "") -> None:
        """Change a measuring setting for this session; None gives it back to the claims file or the default.

        `label` says what was done, for undo, where the setting's name alone would not.

        Raises
        ------
        SettingError
            For a name that is no setting, or a value that cannot be used; nothing is changed then.
        """
        settings = {key: kept for key, kept in self._now.settings.items() if key != name}
        if value is not None:
            parse_setting(name, value)
            settings[name] = value
        self._change(label or f"Set {name.replace('_', ' ')}", settings=settings)

    # -- the evidence sheet ---------------------------------------------------------------------------------

    @property
    def sheet_views(self) -> tuple[SheetView, ...]:
        """The views that a person wants in the evidence sheet, in its order."""
        return self._now.sheet_views

    def set_sheet_views(self, views: tuple[SheetView, ...], label: str) -> None:
        """Add, rename, reorder or remove views for the evidence sheet; `label` says which, for undo."""
        self._change(label, sheet_views=views)

    @property
    def sheet_title(self) -> str:
        """What a person calls the evidence sheet; empty where the claims file or the session says it."""
        return self._now.sheet_title

    def set_sheet_title(self, title: str) -> None:
        """Call the evidence sheet by another title; the empty one leaves it to the claims file and the session."""
        self._change("Title of the sheet", sheet_title=title.strip())
