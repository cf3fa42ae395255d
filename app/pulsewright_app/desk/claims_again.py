"""Reads the claims file beside the session anew, after a person has written in it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pulsewright.claims_file import claims_path_for, claims_text_of, parse_claims

if TYPE_CHECKING:
    from pulsewright.claims_file import ClaimsFile
    from pulsewright_app.desk.window import DeskWindow

_KEY = "Reading the claims"


def read_claims_again(window: DeskWindow) -> None:
    """Judge by the claims file as it is now; what is wrong with it is told, and the claims before it stay."""
    path, session = window.reviewing.path, window.document.session
    if path is None:
        window.viewing.tell("This session came from no file, so that no claims file can lie beside it.")
        return
    claims_path = claims_path_for(path)

    def read() -> tuple[ClaimsFile, str] | None:
        if not claims_path.exists():
            return None
        text = claims_text_of(claims_path)
        return parse_claims(text, claims_path), text

    def take(read: tuple[ClaimsFile, str] | None) -> None:
        if window.document.session is not session:
            return
        window.viewing.tell("" if read else f"There is no claims file: {claims_path.name} would lie beside it.")
        window.document.set_claims_file(*(read or (None, "")))

    window.background.start(_KEY, lambda _: read(), take, window.viewing.tell)
