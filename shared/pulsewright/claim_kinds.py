"""What can be claimed of a session: the kinds of claims, and how the limit of each is written."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Literal

from pulsewright.errors import SettingError
from pulsewright.minus import quoted
from pulsewright.quantity import PREFIXES, engineering, parse_number, parse_with_unit

Form = Literal["at_most", "at_least", "about", "range", "number", "pattern", "nothing"]
OWN_UNIT = "the channel's unit"
"""Amplitude and noise are in whatever unit their channel carries."""


@dataclass(frozen=True)
class ClaimKind:
    """One kind of claim.

    Attributes
    ----------
    word : str
        As ``kind`` in a claims file.
    form : str
        How its limit is written.
    unit : str
        SI unit of the limit; empty for a pure number, `OWN_UNIT` for that of the channel.
    meaning : str
        What is claimed, as a clause.
    example : str
        A limit, as it stands in a claims file.
    takes : tuple of str
        What may stand in the claim besides name, kind and limit.
    """

    word: str
    form: Form
    unit: str
    meaning: str
    example: str
    takes: tuple[str, ...] = ()

    @property
    def has_limit(self) -> bool:
        """Whether a limit must be written."""
        return self.form != "nothing"


_ALL = (
    ClaimKind("skew", "at_most", "s", "every channel's skew against the reference", '"5 ns"', ("channels",)),
    ClaimKind("skew_within_modules", "at_most", "s", "the largest skew between channels of one module", '"2 ns"'),
    ClaimKind("skew_between_modules", "at_most", "s", "the largest skew between two modules", '"3 ns"', ("modules",)),
    ClaimKind("increment", "about", "s", "the pulse's step from trigger to trigger", '"10.12 us ± 50 ns"'),
    ClaimKind("extent", "about", "s", "from the first stop to the last", '"111.3 us ± 0.1 us"', ("intervals",)),
    ClaimKind("no_missed_trigger", "nothing", "", "every trigger was kept", "", ("withheld",)),
    ClaimKind("no_slip", "nothing", "", "no module lost a trigger alone", ""),
    ClaimKind("triggers_sent", "number", "", "so many triggers were sent, and each is accounted for", "38"),
    ClaimKind("polarity", "pattern", "", "the polarity from trigger to trigger", '"alternates"', ("channels",)),
    ClaimKind("jitter", "at_most", "s", "the standard deviation of the pulse's position", '"10 ns"'),
    ClaimKind("trigger_period", "about", "s", "the time from trigger to trigger", '"50 ms ± 1 us"'),
    ClaimKind("dead_time", "at_least", "s", "the time that no record covers", '"20 us"'),
    ClaimKind("re_arm_margin", "at_least", "s", "what the dead time leaves beyond the re-arm time", '"5 us"'),
    ClaimKind("amplitude", "range", OWN_UNIT, "the size of every pulse", '"0.2 V .. 0.9 V"', ("channels",)),
    ClaimKind("width", "range", "s", "the width of every pulse", '"1 us .. 3 us"', ("channels",)),
    ClaimKind("no_clipped_sample", "nothing", "", "no sample at an end code of the converter", "", ("channels",)),
    ClaimKind("noise", "at_most", OWN_UNIT, "the noise of every channel, rms", '"5 mV"', ("channels",)),
    ClaimKind("enob", "at_least", "", "the effective bits of every channel", "7.5", ("channels",)),
    ClaimKind("marker_pair", "about", "s", "the difference of two markers", '"101 us ± 1 us"', ("pair",)),
)
KINDS: dict[str, ClaimKind] = {kind.word: kind for kind in _ALL}
"""Every kind of claim, by its word."""

HOW_TO_WRITE: dict[Form, str] = {
    "at_most": "the largest value that is allowed",
    "at_least": "the smallest value that is allowed",
    "about": "a value ± what it may be off",
    "range": "from the smallest value .. to the largest",
    "number": "a whole number from 1 up",
    "pattern": '"alternates", "constant", or one round of signs like "+ + - -"',
    "nothing": "no limit",
}
ALTERNATES, CONSTANT = "alternates", "constant"


@dataclass(frozen=True)
class Limit:
    """A limit in SI units.

    Attributes
    ----------
    low, high : float or None
        Between these the quantity is to lie; None: open.
    unit : str
        SI unit without prefix.
    words : str
        As a person reads it.
    number : int or None
        Of triggers.
    pattern : tuple of int
        One round of polarities, 1 and −1; ``(1,)`` for a constant one. The round may begin with either sign.
    """

    low: float | None = None
    high: float | None = None
    unit: str = ""
    words: str = ""
    number: int | None = None
    pattern: tuple[int, ...] = ()


def parse_limit(kind: ClaimKind, raw: Any) -> Limit:
    """Read the limit of a claim.

    Parameters
    ----------
    kind : ClaimKind
    raw : object
        As it stands in the file; None where it is missing.

    Returns
    -------
    Limit

    Raises
    ------
    SettingError
        If it is missing, not filled in, has no unit or another one, or makes no sense.
    """
    if kind.form == "nothing":
        if raw is not None:
            raise SettingError(f"a claim of kind {kind.word!r} takes no limit", "take the limit out")
        return Limit(words="none")
    if raw is None:
        raise SettingError(f"a claim of kind {kind.word!r} needs a limit", _write(kind))
    if isinstance(raw, str) and not raw.strip():
        raise SettingError("its limit is not filled in", _write(kind))
    if isinstance(raw, bool) or not isinstance(raw, str | int | float):
        raise SettingError(f"limit: {quoted(raw)} is no limit", _write(kind))
    limit: Limit = _READERS[kind.form](kind, raw)
    return limit


def _write(kind: ClaimKind) -> str:
    return f"write {HOW_TO_WRITE[kind.form]}, as in limit = {kind.example}"


def _with_unit(kind: ClaimKind, text: str, unit: str | None = None) -> tuple[float, str]:
    """Return a number in SI units and its unit, which must be written with it; `unit` is that of the other number."""
    expected = kind.unit if unit is None else unit
    try:
        value, written = parse_with_unit(text, _CHANNEL_UNITS, "limit")
        if not written and expected:
            raise SettingError(f"limit: {text.strip()!r} has no unit")
        alone = text.strip().removesuffix(written).rstrip()[-1:].isdigit()
        bare = alone and written in PREFIXES and (expected != OWN_UNIT or written not in _CHANNEL_UNITS)
        if expected and bare:
            raise SettingError(f"limit: {text.strip()!r} has a prefix and no unit")
        return (value, written) if expected == OWN_UNIT else (parse_number(text, expected, "limit"), expected)
    except SettingError as error:
        raise SettingError(error.cause, _write(kind)) from error


_CHANNEL_UNITS = (
    "V", "A", "Pa", "bar", "psi", "m", "m/s", "m/s²", "g", "N", "T", "K", "W", "°C", "C", "Ω", "s", "Hz",
)  # fmt: skip
"""Units before which a prefix is looked for; ``5 Pa`` is not five peta-a. Others are taken as they are written."""


def _not_negative(kind: ClaimKind, value: float, raw: Any) -> float:
    if value < 0:
        raise SettingError(f"limit: {quoted(raw)} is negative", _write(kind))
    return value


def _at_most(kind: ClaimKind, raw: Any) -> Limit:
    value, unit = _with_unit(kind, str(raw))
    if value <= 0:
        raise SettingError(f"limit: {quoted(raw)} is not above 0, and nothing could hold it", _write(kind))
    return Limit(None, value, unit, f"at most {engineering(value, unit)}")


def _at_least(kind: ClaimKind, raw: Any) -> Limit:
    value, unit = _with_unit(kind, str(raw))
    return Limit(_not_negative(kind, value, raw), None, unit, f"at least {engineering(value, unit)}")


def _about(kind: ClaimKind, raw: Any) -> Limit:
    parts = re.split(r"\s*(?:±|\+/-|\+-)\s*", str(raw).strip())
    if len(parts) != 2 or not all(parts):
        raise SettingError(f"limit: {quoted(raw)} is not a value ± what it may be off", _write(kind))
    off, unit = _with_unit(kind, parts[1])
    value, unit = _with_unit(kind, parts[0], unit)
    if off <= 0:
        raise SettingError(f"limit: {parts[1]!r} is not above 0, and nothing could hold it", _write(kind))
    words = f"{engineering(value, unit, 9)} ± {engineering(off, unit)}"
    return Limit(value - off, value + off, unit, words)


def _range(kind: ClaimKind, raw: Any) -> Limit:
    parts = str(raw).split("..")
    if len(parts) != 2:
        raise SettingError(f"limit: {quoted(raw)} is not a range", _write(kind))
    high, unit = _with_unit(kind, parts[1])
    low, unit = _with_unit(kind, parts[0], unit)
    if not low < high:
        raise SettingError(f"limit: {quoted(raw)} does not end above its start", _write(kind))
    _not_negative(kind, low, raw)
    return Limit(low, high, unit, f"{engineering(low, unit, 6)} to {engineering(high, unit, 6)}")


def _number(kind: ClaimKind, raw: Any) -> Limit:
    text = str(raw).strip()
    if not re.fullmatch(r"\d{1,12}", text, re.ASCII) or int(text) < 1:
        raise SettingError(f"limit: {quoted(raw)} is not a whole number from 1 up", _write(kind))
    return Limit(words=text, number=int(text))


def _pattern(kind: ClaimKind, raw: Any) -> Limit:
    text = str(raw).strip()
    if text == ALTERNATES:
        return Limit(words=ALTERNATES, pattern=(1, -1))
    if text == CONSTANT:
        return Limit(words=CONSTANT, pattern=(1,))
    signs = text.replace(" ", "").replace("−", "-")
    if not re.fullmatch(r"[+-]{2,8}", signs):
        raise SettingError(f"limit: {quoted(raw)} is no pattern of polarity", _write(kind))
    return Limit(words=" ".join(signs), pattern=tuple(1 if sign == "+" else -1 for sign in signs))


_READERS: dict[Form, Any] = {
    "at_most": _at_most,
    "at_least": _at_least,
    "about": _about,
    "range": _range,
    "number": _number,
    "pattern": _pattern,
}


def kind_of(word: str) -> ClaimKind:
    """Return a kind of claim by its word.

    Parameters
    ----------
    word : str
        As ``kind`` in a claims file.

    Raises
    ------
    SettingError
        If there is no such kind; the nearest is offered, and all are listed.
    """
    from difflib import get_close_matches

    if word in KINDS:
        return KINDS[word]
    close = get_close_matches(word.lower().replace(" ", "_"), KINDS, n=1)
    nearest = f"the nearest one is {close[0]!r}; " if close else ""
    raise SettingError(f"{word!r} is no kind of claim", f"{nearest}the kinds are {', '.join(KINDS)}")
