"""``pulsewright rearm``: brackets the recorder's re-arm time by sessions at several trigger rates."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from pulsewright.errors import SettingError
from pulsewright.quantity import engineering, parse_number
from pulsewright_app.wording import shown

if TYPE_CHECKING:
    from rich.console import Console

    from pulsewright_analysis.re_arm import Rate, ReArm


def run_rearm(files: Sequence[Path], periods: str | None, as_json: bool) -> int:
    """Measure each session, and print between which dead times the re-arm time lies.

    Raises
    ------
    PulsewrightError
        If a file cannot be read, or the periods are not one for each session.
    """
    from pulsewright_analysis.re_arm import bracket
    from pulsewright_app.printing import page, print_json

    given = _periods(periods, len(files))
    rates = [_rate(file, period) for file, period in zip(files, given, strict=True)]
    found = bracket(rates, periods_given=periods is not None)
    if as_json:
        print_json(found.as_json())
    else:
        print_rearm(found, page())
    return 0


def _periods(text: str | None, number: int) -> list[float | None]:
    if text is None:
        return [None] * number
    periods: list[float | None] = [parse_number(part, "s", "periods") for part in text.split(",")]
    if len(periods) != number:
        raise SettingError(
            f"periods: {len(periods)} for {number} sessions", "give one for each session, in their order"
        )
    if any(period is not None and period <= 0 for period in periods):
        raise SettingError(f"periods: {text!r} holds one that is not above 0", 'write them like "1 ms, 0.9 ms"')
    return periods


def _rate(file: Path, period: float | None) -> Rate:
    from pulsewright_analysis.findings import measure
    from pulsewright_analysis.re_arm import rate_of
    from pulsewright_app.inputs import open_with_settings
    from pulsewright_app.printing import progress_on_stderr

    given = open_with_settings(file)
    claims = () if given.claims is None else given.claims.claims
    withheld = tuple(sorted({number for claim in claims for number in claim.withheld}))
    with given.session as session, progress_on_stderr(f"Measuring {file.name}") as progress:
        return rate_of(measure(session, given.settings, progress), withheld, period)


def print_rearm(found: ReArm, out: Console) -> None:
    """Print every session from the longest dead time to the shortest, and the answer."""
    from pulsewright_app.printing import columns

    out.print(_answer(found), style="bold")
    out.print()
    rows = [
        (rate.name, shown(rate.period), shown(rate.dead_time), str(rate.missed), rate.kept, rate.reason)
        for rate in found.rates
    ]
    heading = ("Session", "Trigger period ± U", "Dead time ± U", "Lost", "", "")
    out.print(columns(heading, rows, right=(1, 2, 3)))
    if found.reasons:
        out.print()
        for reason in found.reasons:
            out.print(reason)


def _answer(found: ReArm) -> str:
    low, high = found.interval95
    if low is not None and high is not None:
        return f"The re-arm time lies between {_rounded(low, ROUND_FLOOR)} and {_rounded(high, ROUND_CEILING)} (95 %)."
    if high is not None:
        return f"The re-arm time is at most {_rounded(high, ROUND_CEILING)} (95 %)."
    if low is not None:
        return f"The re-arm time is more than {_rounded(low, ROUND_FLOOR)} (95 %)."
    return "The re-arm time is not known."


def _rounded(bound: float, outward: str) -> str:
    """Write a bound with four digits, away from what it bounds: rounded inward it would promise more than was seen."""
    exact = Decimal(f"{bound:.12g}")  # what is behind is the machine's rounding
    return engineering(float(exact.quantize(Decimal(1).scaleb(exact.adjusted() - 3), outward)), "s")
