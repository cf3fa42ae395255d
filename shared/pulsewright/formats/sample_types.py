"""The types in which formats store samples, and how they become those of a session."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pulsewright.block_source import Codes
from pulsewright.errors import RecordingError
from pulsewright.formats.understanding import Ledger
from pulsewright.layout import SAMPLE_TYPES

NO_END_CODE = 1 << 53
"""Stands, with its negative, for the end codes of a converter that has none, or that nobody knows."""


@dataclass(frozen=True)
class StoredType:
    """How one sample lies in a file.

    Attributes
    ----------
    dtype : dtype
        Of the bytes, with their order; three single bytes for 24-bit integers.
    packed : str
        ``little`` or ``big`` for 24-bit integers, else empty.
    """

    dtype: np.dtype[Any]
    packed: str = ""

    @property
    def size(self) -> int:
        """Bytes of a sample."""
        return 3 if self.packed else self.dtype.itemsize

    @property
    def natural(self) -> np.dtype[Any]:
        """The type that holds it in this machine."""
        return np.dtype(np.int32) if self.packed else self.dtype.newbyteorder("=")

    def unpacked(self, raw: Codes) -> Codes:
        """Return samples in their natural type; for 24-bit ones `raw` has a last axis of three bytes.

        Parameters
        ----------
        raw : array
            As it lies in the file.
        """
        if not self.packed:
            return raw.astype(self.natural, copy=False)
        low, middle, high = (0, 1, 2) if self.packed == "little" else (2, 1, 0)
        wide = raw.astype(np.int32)
        codes: Codes = (wide[..., low] << 8 | wide[..., middle] << 16 | wide[..., high] << 24) >> 8
        return codes


INT24 = StoredType(np.dtype(np.uint8), "little")
INT24_BIG = StoredType(np.dtype(np.uint8), "big")


def sample_type(ledger: Ledger, stored: StoredType) -> np.dtype[Any]:
    """Return the type in which the session keeps the samples.

    Parameters
    ----------
    ledger : Ledger
        Asked for an option.
    stored : StoredType
        The type in the file.

    Raises
    ------
    RecordingError
        If samples of that type cannot be taken, such as complex numbers.
    """
    natural = stored.natural
    name = natural.name
    if natural.kind not in "biuf":
        what = "complex numbers" if natural.kind == "c" else f"of type {name}"
        raise RecordingError(
            f"{ledger.file_name}: its samples are {what}, not real numbers", "export real numbers of up to 32 bits"
        )
    if name in SAMPLE_TYPES:
        chosen = ledger.decide("sample_type", _parse_type, in_file=name, choices=SAMPLE_TYPES)
    elif natural.kind == "f":
        why = "exact" if natural.itemsize < 4 else f"rounded to 24 bits from {name}"
        chosen = ledger.decide("sample_type", _parse_type, guess="float32", why=why, choices=SAMPLE_TYPES)
    else:
        guess = "uint8" if natural.kind == "b" else "int32"
        chosen = ledger.decide(
            "sample_type", _parse_type, guess=guess, why=f"the file has {name}", choices=SAMPLE_TYPES
        )
    return np.dtype(chosen)


def _parse_type(text: str) -> str:
    if text not in SAMPLE_TYPES:
        raise ValueError(text)
    return text


def as_type(codes: Codes, target: np.dtype[Any], name: str) -> Codes:
    """Return samples in the session's type, none of them changed but by rounding to float32.

    Parameters
    ----------
    codes : array
        In their natural type.
    target : dtype
        The session's.
    name : str
        The file's name, for errors.

    Raises
    ------
    RecordingError
        If a sample does not fit.
    """
    if codes.dtype == target:
        return codes
    if target.kind == "f":
        with np.errstate(over="ignore"):  # too large becomes infinite, which no session may hold
            return codes.astype(target)
    room = np.iinfo(target)
    if codes.dtype.kind == "f" and not bool(np.all(np.isfinite(codes) & (codes == np.rint(codes)))):
        raise RecordingError(
            f"{name}: holds samples that are no whole numbers, not {target.name}", "use float32", "sample_type"
        )
    if codes.size and (codes.min() < room.min or codes.max() > room.max):
        raise RecordingError(
            f"{name}: holds samples from {codes.min()} to {codes.max()}, too large for {target.name}",
            "use a wider type, or float32",
            "sample_type",
        )
    return codes.astype(target)


def usual_end_codes(stored: np.dtype[Any], kept: np.dtype[Any]) -> tuple[int, int]:
    """Return the extreme codes of a type: what end codes are if nobody says.

    Parameters
    ----------
    stored, kept : dtype
        The type in the file, and that in the session.

    Returns
    -------
    int, int
        Lowest and highest; plus and minus `NO_END_CODE` for floating numbers.
    """
    for dtype in (kept, stored):
        if dtype.kind not in "iu":
            return -NO_END_CODE, NO_END_CODE
    room = np.iinfo(stored if stored.itemsize < kept.itemsize else kept)
    return int(room.min), int(room.max)
