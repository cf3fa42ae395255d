"""A measured value with its standard uncertainty: arithmetic-free, printable, parsable."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import TypedDict

from pulsewright.budget import Term, combined_u, effective_dof
from pulsewright.errors import SettingError
from pulsewright.minus import as_shown, as_typed, quoted

UNIFORM_FACTOR_95 = 0.95 * math.sqrt(3.0)
"""Half-width of the central 95 % of a uniform distribution, in standard deviations (JCGM 100:2008, 4.3.7)."""


class QuantityJson(TypedDict):
    """The form of a quantity in ``measure --json``.

    Attributes
    ----------
    value, u : float
        Best estimate and standard uncertainty, in `unit`.
    unit : str
        SI unit without prefix; empty for a pure number.
    dof : float or None
        Degrees of freedom of `u`; None where they are not limited.
    interval95 : list of float
        Lower and upper end of the 95 % interval, in `unit`.
    """

    value: float
    u: float
    unit: str
    dof: float | None
    interval95: list[float]


@dataclass(frozen=True)
class Quantity:
    """A value in SI units with its standard uncertainty.

    Parameters
    ----------
    value : float
        Best estimate, in `unit`.
    u : float
        Standard uncertainty (k = 1), in `unit`; not negative.
    unit : str
        SI unit without prefix; empty for a pure number.
    dof : float, optional
        Degrees of freedom of `u`; None where they are not limited.
    limits95 : tuple of float, optional
        The 95 % interval, where Student's t is not its source (a χ² interval of a scatter, a uniform term).
    terms : tuple of Term
        The budget of `u`, where it is kept: the squares of the terms' u add up to u². It takes no part in comparing
        two quantities.

    Raises
    ------
    ValueError
        If `value` or `u` is not finite, or `u` is negative.

    Attributes
    ----------
    value, u, unit, dof, limits95, terms
        As given.
    """

    value: float
    u: float
    unit: str = ""
    dof: float | None = None
    limits95: tuple[float, float] | None = None
    terms: tuple[Term, ...] = field(default=(), compare=False, repr=False)

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.u)) or self.u < 0:
            raise ValueError(f"a quantity needs a finite value and u, not {self.value} and {self.u}")

    @classmethod
    def from_terms(cls, value: float, unit: str, terms: Sequence[Term]) -> Quantity:
        """Return a quantity whose u and degrees of freedom are those of independent terms.

        Parameters
        ----------
        value : float
            Best estimate, in `unit`.
        unit : str
            SI unit without prefix.
        terms : sequence of Term
            The budget; u² is the sum of their squares, the degrees of freedom are those of Welch and Satterthwaite
            (JCGM 100:2008, 5.1.2 and G.4).
        """
        return cls(value, combined_u(terms), unit, effective_dof(terms), None, tuple(terms))

    def widened(self, *more: Term) -> Quantity:
        """Return this quantity with further independent terms in its budget.

        An interval that was given keeps its form: each of its two ends moves away from the value by the root of the
        sum of squares of its distance and the normal 95 % half-width of what is added (exact for normal errors,
        checked by simulation for χ²). One that lies above 0 as a whole, a scatter's, goes down to 0 at most. A u that
        has no budget yet becomes the first term, of type A.

        Parameters
        ----------
        *more : Term
            In this quantity's unit.
        """
        terms = self.terms or (Term("measured", self.u, "A", self.dof),)
        added = combined_u(more)
        if added == 0:
            return replace(self, terms=(*terms, *more))
        wider = Quantity.from_terms(self.value, self.unit, (*terms, *more))
        if self.limits95 is None:
            return wider
        half = coverage_factor(effective_dof(more)) * added
        low, high = self.limits95
        lower = self.value - math.hypot(self.value - low, half)
        upper = self.value + math.hypot(high - self.value, half)
        return replace(wider, limits95=(max(lower, 0.0) if low >= 0 else lower, upper))

    @property
    def interval95(self) -> tuple[float, float]:
        """The 95 % interval: given, or from Student's t with `dof` (JCGM 100:2008, G.3)."""
        if self.limits95 is not None:
            return self.limits95
        half = coverage_factor(self.dof) * self.u
        return (self.value - half, self.value + half)

    @property
    def expanded(self) -> float:
        """Half the width of the 95 % interval, U."""
        low, high = self.interval95
        return (high - low) / 2

    def scaled(self, factor: float) -> Quantity:
        """Return this quantity times an exactly known factor, unit kept.

        Parameters
        ----------
        factor : float
            The factor, a pure number; it may be negative.
        """
        limits = self.limits95
        if limits is not None:
            ends = sorted((limits[0] * factor, limits[1] * factor))
            limits = (ends[0], ends[1])
        terms = tuple(term.scaled(factor) for term in self.terms)
        return replace(self, value=self.value * factor, u=self.u * abs(factor), limits95=limits, terms=terms)

    def as_json(self) -> QuantityJson:
        """Return the form that ``measure --json`` writes."""
        low, high = self.interval95
        return {
            "value": self.value,
            "u": self.u,
            "unit": self.unit,
            "dof": self.dof,
            "interval95": [low, high],
        }

    def __str__(self) -> str:
        return with_uncertainty(self.value, self.expanded, self.unit)

    @property
    def in_words(self) -> str:
        """``value ± U``, or with both ends where the 95 % interval is lopsided, or exact."""
        low, high = self.interval95
        if self.expanded == 0:
            return engineering(self.value, self.unit, 7)
        if abs((high - self.value) - (self.value - low)) > 0.05 * self.expanded:
            value, *ends = (engineering(v, self.unit, 3) for v in (self.value, low, high))
            return f"{value} (95 % interval {ends[0]} to {ends[1]})"
        return str(self)


def coverage_factor(dof: float | None, probability: float = 0.95) -> float:
    """Return Student's two-sided coverage factor.

    Parameters
    ----------
    dof : float or None
        Degrees of freedom; None for the normal distribution.
    probability : float
        Coverage, between 0 and 1.

    Returns
    -------
    float
        The factor k, 1.96 for 95 % and many degrees of freedom (JCGM 100:2008, table G.2).
    """
    from scipy.special import ndtri, stdtrit

    upper = 0.5 + probability / 2
    return float(ndtri(upper) if dof is None else stdtrit(max(dof, 1.0), upper))


_PREFIXES = {
    -15: "f", -12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G", 12: "T",
}  # fmt: skip


def _prefix_exponent(magnitude: float, unit: str) -> int:
    if magnitude == 0 or unit in ("", "%"):
        return 0
    exponent = 3 * math.floor(math.log10(magnitude * (1 + 1e-12)) / 3)
    return min(max(exponent, -15), 12)


def with_uncertainty(value: float, expanded: float, unit: str) -> str:
    """Write a value and its U with one common prefix, U to two significant digits.

    Parameters
    ----------
    value, expanded : float
        Value and half-width of its 95 % interval, in `unit`.
    unit : str
        SI unit without prefix.

    Returns
    -------
    str
        For example ``"10.61 ± 0.42 ns"``; the value is rounded to the last digit of U (JCGM 100:2008, 7.2.6). A
        negative one has a true minus sign.
    """
    exponent = _prefix_exponent(max(abs(value), expanded), unit)
    scale = 10.0**exponent
    # counted on U as it will be shown: 9.96 is written as 10, not as 10.0
    digits = 1 - math.floor(math.log10(float(f"{expanded / scale:.1e}"))) if expanded > 0 else 6
    shown_unit = f" {_PREFIXES[exponent]}{unit}" if unit else ""
    rounded, rounded_u = round(value / scale, digits), round(expanded / scale, digits)
    digits = min(max(digits, 0), 12)
    return f"{as_shown(f'{rounded + 0.0:.{digits}f}')} ± {rounded_u:.{digits}f}{shown_unit}"


def engineering(value: float, unit: str = "", digits: int = 4) -> str:
    """Write a plain number with an engineering prefix and a true minus sign, for example ``"409.6 µs"``.

    Parameters
    ----------
    value : float
        The number, in `unit`; one that is not finite is written as ``not known``.
    unit : str
        SI unit without prefix; a pure number and percent take no prefix.
    digits : int
        Significant digits, without trailing zeros.
    """
    if not math.isfinite(value):
        return "not known"
    rounded = float(f"{value:.{digits}g}") + 0.0  # 999.97 mV to three digits is 1 V, not 1e+03 mV
    exponent = _prefix_exponent(abs(rounded), unit)
    shown_unit = f" {_PREFIXES[exponent]}{unit}" if unit else ""
    return as_shown(f"{rounded / 10.0**exponent:.{digits}g}") + shown_unit


_LONGEST = 200
_RATES = ("samples/s", "Sa/s", "S/s")


def parse_number(text: str | float, unit: str, name: str = "value") -> float:
    """Read ``"60 µs"`` and the like into SI units.

    Parameters
    ----------
    text : str or float
        A number with an optional prefix and unit; a bare number is taken in SI units.
    unit : str
        The unit expected, for example ``"s"``; ``"Hz"`` also accepts samples a second.
    name : str
        What the number is, for the error.

    Returns
    -------
    float
        The number in `unit`.

    Raises
    ------
    SettingError
        If `text` is no finite number, or carries another unit.
    """
    typed = as_typed(str(text))
    if len(typed) > _LONGEST:  # looking for a number in it could take for ever
        raise SettingError(f"{name}: {str(text)[:20]!r} … is too long for a number with a unit")
    own = _in_own_unit(typed, unit)
    if own is not None:  # "5 m" in metres is five of them, not five thousandths
        return own
    from quantiphy import QuantiPhyError
    from quantiphy import Quantity as Reader

    example = {"s": "60 us", "Hz": "25 MHz", "V": "0.5 V"}.get(unit, f"1.5 {unit}".strip())
    try:
        number = Reader(typed.strip())
        found = str(number.units)
        value = float(number)
    except (QuantiPhyError, ValueError) as error:
        raise SettingError(
            f"{name}: {quoted(text)} is not a number with a unit", f'write it like "{example}"'
        ) from error
    if found and not unit:
        raise SettingError(f"{name}: {quoted(text)} is in {found}, and takes no unit", f'write it like "{example}"')
    if found not in {unit, "", *(_RATES if unit == "Hz" else ())}:
        raise SettingError(f"{name}: {quoted(text)} is in {found}, not in {unit}", f'write it like "{example}"')
    if not math.isfinite(value):
        raise SettingError(f"{name}: {quoted(text)} is not a finite number", f'write it like "{example}"')
    return value


def parse_with_unit(text: str, units: Sequence[str], name: str = "value") -> tuple[float, str]:
    """Read a number whose unit is not known beforehand, ``"5 kPa"``.

    Parameters
    ----------
    text : str
        A number, and behind it a unit with or without a prefix.
    units : sequence of str
        SI units that may carry a prefix. Any other unit is taken as it is written: no letter of ``psi`` is a prefix.
    name : str
        What the number is, for the error.

    Returns
    -------
    float, str
        The number, and the unit that it is in; empty where none is written.

    Raises
    ------
    SettingError
        If `text` is no finite number with a unit of one word.
    """
    typed = as_typed(text.strip())
    written = _WRITTEN_NUMBER.fullmatch(typed)
    if written is None or re.search(r"\s", written["suffix"]) or not math.isfinite(float(written["number"])):
        raise SettingError(f"{name}: {text.strip()!r} is not a number with a unit")
    for unit in sorted(units, key=len, reverse=True):
        if (value := _in_own_unit(typed, unit)) is not None:
            return value, unit
    return float(written["number"]), written["suffix"]


def exact(text: str | float | Fraction, unit: str, name: str = "value") -> Fraction:
    """Read ``"25 MS/s"`` or ``"1.024 ms"`` exactly as it is written, in SI units.

    Parameters
    ----------
    text : str, float or Fraction
        As for `parse_number`; a float stands for the shortest decimal that names it.
    unit, name : str
        As for `parse_number`.

    Returns
    -------
    Fraction
        The number in `unit`, free of binary rounding.

    Raises
    ------
    SettingError
        As `parse_number` does.
    """
    if isinstance(text, Fraction):
        return text
    nearest = parse_number(text, unit, name)
    written = _WRITTEN_NUMBER.fullmatch(as_typed(str(text).strip()))
    exponent = _EXPONENTS.get(_without_unit(written["suffix"], unit)) if written else None
    if written is not None and exponent is not None:
        number = Fraction(written["number"]) * Fraction(10) ** exponent
        if math.isclose(float(number), nearest, rel_tol=1e-12):
            return number
    return Fraction(repr(nearest))


_WRITTEN_NUMBER = re.compile(
    r"(?P<number>[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*(?P<suffix>(?:[^\W\d_]|[°%]).*|)"
)
_EXPONENTS = {prefix: exponent for exponent, prefix in _PREFIXES.items()} | {"u": -6, "μ": -6, "K": 3}
PREFIXES = frozenset(_EXPONENTS) - {""}
"""Every way in which a prefix is written."""


def _in_own_unit(text: str, unit: str) -> float | None:
    """Read a number whose unit ends its text, a prefix before it or none; None where it does not, or has no unit.

    The unit may begin like a prefix, or be one: ``"0.4 Pa"`` is in pascal, not in peta-a.
    """
    written = _WRITTEN_NUMBER.fullmatch(text.strip())
    if written is None or not unit or not written["suffix"].endswith(unit):
        return None
    exponent = _EXPONENTS.get(written["suffix"].removesuffix(unit))
    if exponent is None:
        return None
    try:
        return float(Fraction(written["number"]) * Fraction(10) ** exponent)
    except OverflowError:
        return None


def _without_unit(suffix: str, unit: str) -> str:
    """Return what is left of ``"MS/s"`` when the unit is taken off its end."""
    for written in (*_RATES, unit) if unit == "Hz" else (unit,):
        if written and suffix.endswith(written):
            return suffix.removesuffix(written)
    return suffix


def parse_span(text: str, unit: str = "s", name: str = "span") -> tuple[float, float]:
    """Read ``"0.1 ms .. 1.2 ms"`` into two numbers in SI units.

    Parameters
    ----------
    text : str
        Two numbers with ``..`` between them, each as for `parse_number`.
    unit, name : str
        As for `parse_number`.

    Returns
    -------
    tuple of float
        Start and end, in `unit`.

    Raises
    ------
    SettingError
        If there are not two numbers, or the second is not above the first.
    """
    parts = str(text).split("..")
    if len(parts) != 2:
        raise SettingError(f"{name}: {quoted(text)} is not a stretch", 'write it like "0.1 ms .. 1.2 ms"')
    low, high = (parse_number(part, unit, name) for part in parts)
    if not low < high:
        raise SettingError(f"{name}: {quoted(text)} does not end after it starts", 'write it like "0.1 ms .. 1.2 ms"')
    return (low, high)
