"""Writes a sheet as PDF by Typst: texts go in as data, never as markup, and nothing is fetched."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any, Literal

from pulsewright.errors import EvidenceError
from pulsewright_app.evidence.letters import without_a_font
from pulsewright_app.evidence.numbers import readable
from pulsewright_app.evidence.sheet import AnySheet, as_plain
from pulsewright_app.theme import LIGHT

OWN_FONT = "DejaVuSans.ttf"


SHEET = "sheet.typ"
PARTS = "parts.typ"


def pdf_of(sheet: AnySheet, template: str = SHEET) -> bytes:
    """Return the sheet as PDF; the same sheet gives the same bytes with the same fonts.

    Raises
    ------
    EvidenceError
        If it cannot be typeset.
    """
    with _laid_out(sheet, template) as (room, fonts):
        return _compiled(room / template, fonts)


def pages_of(sheet: AnySheet, pixels_per_inch: float = 100.0, template: str = SHEET) -> list[bytes]:
    """Return the pages of the PDF as PNG, to be looked at.

    Raises
    ------
    EvidenceError
        If it cannot be typeset.
    """
    import typst

    with _laid_out(sheet, template) as (room, fonts):
        made = typst.compile(room / template, root=room, font_paths=[fonts], format="png", ppi=pixels_per_inch)
    return made if isinstance(made, list) else [made or b""]


@contextmanager
def _laid_out(sheet: AnySheet, template: str) -> Iterator[tuple[Path, Path]]:
    """Yield a folder with what Typst needs, and that of the fonts."""
    package = files("pulsewright_app")
    try:
        with as_file(package / "fonts") as fonts, tempfile.TemporaryDirectory(prefix="pulsewright-") as folder:
            room = Path(folder)
            for name in (template, PARTS):
                (room / name).write_text((package / "evidence" / name).read_text("utf-8"), "utf-8")
            (room / "sheet.json").write_text(json.dumps(_data(sheet, fonts / OWN_FONT), allow_nan=False), "utf-8")
            for picture in sheet.all_pictures:
                if picture.svg:
                    (room / f"figure-{picture.number}.svg").write_text(picture.svg, "utf-8")
            yield room, fonts
    except OSError as error:
        raise EvidenceError(
            f"the sheet cannot be typeset: {tempfile.gettempdir()} cannot be written ({error.strerror or error})",
            "make room there, or write it as HTML instead",
        ) from error


def _compiled(document: Path, fonts: Path) -> bytes:
    """Return the PDF, readable aloud (PDF/UA-1) where Typst can promise that; an installed font may help out."""
    import typst

    standards: tuple[list[Literal["ua-1"]], ...] = (["ua-1"], [])
    for standard in standards:
        try:
            made = typst.compile(
                document, root=document.parent, font_paths=[fonts], format="pdf", pdf_standards=[*standard]
            )
            assert isinstance(made, bytes)
            return made
        except typst.TypstError as error:
            failure = error
    raise EvidenceError(f"the sheet cannot be typeset ({failure})", "write it as HTML instead") from failure


def _data(sheet: AnySheet, own_font: Path) -> dict[str, Any]:
    colours = {name: getattr(LIGHT, name) for name in ("ink", "muted", "rule", "holds", "fails", "undecided")}
    plain = _mapped(as_plain(sheet), readable)
    # the text of the JSON document is every text on the sheet, and its names besides
    stand_ins = without_a_font(json.dumps(plain, ensure_ascii=False), own_font)
    return {"sheet": _mapped(plain, lambda text: text.translate(stand_ins)), "colours": colours}


def _mapped(value: Any, change: Callable[[str], str]) -> Any:
    """Return plain data with every text changed."""
    if isinstance(value, str):
        return change(value)
    if isinstance(value, list):
        return [_mapped(item, change) for item in value]
    return {name: _mapped(item, change) for name, item in value.items()} if isinstance(value, dict) else value
