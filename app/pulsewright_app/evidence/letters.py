"""Finds the letters that no font at hand carries, so that none vanishes from the PDF without a trace."""

from __future__ import annotations

from pathlib import Path


def without_a_font(text: str, own: Path) -> dict[int, str]:
    """Return what stands in for each letter that cannot be drawn: its code, for example ``[U+8A66]``.

    Parameters
    ----------
    text : str
        Everything that is to be typeset.
    own : Path
        The font that always travels with the program; installed ones help out.

    Returns
    -------
    dict
        As `str.translate` takes it; empty where every letter can be drawn.
    """
    missing = {ord(letter) for letter in set(text) if letter.isprintable()}
    missing -= _carried(own)
    for font in _installed() if missing else ():
        missing -= _carried(font)
        if not missing:
            break
    return {code: f"[U+{code:04X}]" for code in missing}


def _carried(font: Path) -> set[int]:
    from matplotlib.font_manager import get_font

    try:
        return set(get_font(str(font)).get_charmap())
    except (OSError, RuntimeError):  # a file that is no font any more
        return set()


def _installed() -> list[Path]:
    import typst

    return sorted({Path(font.path) for font in typst.Fonts().fonts() if font.path is not None})
