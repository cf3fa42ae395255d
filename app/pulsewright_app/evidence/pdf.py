"""Writes a sheet as PDF by Typst: texts go in as data, never as markup, and nothing is fetched."""

from __future__ import annotations

import json
import tempfile
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from pulsewright.errors import EvidenceError
from pulsewright_app.evidence.numbers import readable
from pulsewright_app.evidence.sheet import Sheet, as_plain
from pulsewright_app.theme import LIGHT


def pdf_of(sheet: Sheet) -> bytes:
    """Return the sheet as PDF; the same sheet gives the same bytes with the same fonts.

    Raises
    ------
    EvidenceError
        If it cannot be typeset.
    """
    try:
        return _typeset(sheet)
    except OSError as error:
        raise EvidenceError(
            f"the sheet cannot be typeset: {tempfile.gettempdir()} cannot be written ({error.strerror or error})",
            "make room there, or write it as HTML instead",
        ) from error


def _typeset(sheet: Sheet) -> bytes:
    import typst

    package = files("pulsewright_app")
    with as_file(package / "fonts") as fonts, tempfile.TemporaryDirectory(prefix="pulsewright-") as folder:
        room = Path(folder)
        (room / "sheet.typ").write_text((package / "evidence" / "sheet.typ").read_text("utf-8"), "utf-8")
        (room / "sheet.json").write_text(json.dumps(_data(sheet), allow_nan=False), "utf-8")
        for picture in sheet.all_pictures:
            (room / f"figure-{picture.number}.svg").write_text(picture.svg, "utf-8")
        try:
            # an installed font may help out where a name has letters that none of ours carries
            made = typst.compile(room / "sheet.typ", root=room, font_paths=[fonts], format="pdf")
        except typst.TypstError as error:
            raise EvidenceError(f"the sheet cannot be typeset ({error})", "write it as HTML instead") from error
    assert isinstance(made, bytes)
    return made


def _data(sheet: Sheet) -> dict[str, Any]:
    colours = {name: getattr(LIGHT, name) for name in ("ink", "muted", "rule", "holds", "fails", "undecided")}
    return {"sheet": _readable(as_plain(sheet)), "colours": colours}


def _readable(value: Any) -> Any:
    if isinstance(value, str):
        return readable(value)
    if isinstance(value, list):
        return [_readable(item) for item in value]
    return {name: _readable(item) for name, item in value.items()} if isinstance(value, dict) else value
