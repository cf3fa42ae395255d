"""Reads an evidence sheet back: HTML with the standard library's parser, PDF with pypdf, JSON by walking it."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any

TOKEN = re.compile(r"\d+(?:[.,]\d+)*")
"""A number as it is written, its prefix, unit and sign left away."""
_SILENT = ("style", "title", "head")
_PREFIX = {"f": 1e-15, "p": 1e-12, "n": 1e-9, "µ": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6, "G": 1e9}


class Reader(HTMLParser):
    """What a person sees of an HTML page, its elements, and the exact numbers behind the rounded ones."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.data: list[tuple[str, str]] = []
        self._silent: list[str] = []
        self._value: str | None = None
        self._inside: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag in _SILENT:
            self._silent.append(tag)
        if tag == "data":
            self._value, self._inside = dict(attrs)["value"], []

    def handle_endtag(self, tag: str) -> None:
        if self._silent and self._silent[-1] == tag:
            self._silent.pop()
        if tag == "data" and self._value is not None:
            self.data.append((self._value, spaced("".join(self._inside))))
            self._value = None

    def handle_data(self, data: str) -> None:
        if self._silent:
            return
        self.words.append(data)
        if self._value is not None:
            self._inside.append(data)

    @property
    def text(self) -> str:
        return spaced(" ".join(self.words))


def spaced(text: str) -> str:
    """Return a text with one ordinary space where there is any."""
    return " ".join(text.split())


def packed(text: str) -> str:
    """Return a text without any space: where lines break in a PDF is nobody's business."""
    return "".join(text.split())


def pdf_text(data: bytes) -> str:
    from pypdf import PdfReader

    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages)


def strings(value: Any) -> Iterator[str]:
    """Yield every text in a JSON document, names left away."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for item in value.values():
            yield from strings(item)
    elif isinstance(value, list):
        for item in value:
            yield from strings(item)


def numbers(value: Any) -> Iterator[dict[str, Any]]:
    """Yield every number that stands on the sheet, with its text."""
    if isinstance(value, dict):
        if "text" in value and ("value" in value or "low" in value):
            yield value
        for item in value.values():
            yield from numbers(item)
    elif isinstance(value, list):
        for item in value:
            yield from numbers(item)


def exact(number: dict[str, Any]) -> str:
    """Return the exact value as the HTML carries it."""
    return str(number["value"]) if "value" in number else f"{number['low']} {number['high']}"


def parsed(text: str) -> list[tuple[float, float]]:
    """Return each number of ``"10.61 ± 0.42 ns"`` in SI units, with half a unit of its last digit."""
    found = re.fullmatch(r"(?P<numbers>−?[\d.,e+−]+(?: ± [\d.,]+)?)(?: (?P<unit>\S+))?", text)
    assert found, text
    unit = found["unit"] or ""
    factor = 1.0
    for base in ("samples", "S/s", "ppm", "Hz", "dB", "s", "V", "%"):
        if unit.endswith(base):
            factor = 0.01 if base == "%" else _PREFIX.get(unit.removesuffix(base), 1.0)
            break
    result = []
    for written in found["numbers"].replace(",", "").replace("−", "-").split(" ± "):
        digits = len(written.partition(".")[2])
        result.append((float(written) * factor, 0.5 * 10.0**-digits * factor))
    return result
