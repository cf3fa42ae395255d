"""What the sheet of a comparison says, before it is HTML or PDF: every number of it is taken from the comparison."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pulsewright.claim import NO_LIMIT
from pulsewright.quantity import Quantity, engineering
from pulsewright_analysis.assessment import Assessment
from pulsewright_analysis.comparing import Comparison, Difference
from pulsewright_analysis.swapping import Separated
from pulsewright_analysis.verdicts import Verdict
from pulsewright_app.evidence.numbers import count as whole
from pulsewright_app.evidence.numbers import number
from pulsewright_app.evidence.sheet import Cell, Facts, Picture, Table
from pulsewright_app.evidence.words import CAUTIONS, HOW_TO_READ
from pulsewright_app.setting_words import name_in_words, told_settings, value_in_words, with_origin
from pulsewright_app.theme import VERDICT_SHAPES
from pulsewright_app.wording import capitalised, listed, with_full_stop

SCHEMA = "pulsewright-comparison-sheet/1"
COMPARED_SO = (
    "A difference is the value after less the value before. It is significant if its interval at the coverage told "
    "above does not hold 0. That interval is wider than ± U, wide enough for all quantities of the table together "
    "(Bonferroni's inequality), so that the chance of calling any of them changed by mistake is what the coverage "
    "leaves over. u of a difference is the root of the sum of squares of what the two sessions do not have in common "
    "(JCGM 100:2008, 5.1.2)."
)
SWAPPED_SO = (
    "Where two inputs had their cables exchanged, half of the sum of both skews stays with the recorder, and half of "
    "their difference went with the cables and their outputs of the splitter. How well a plug repeats is not in U."
)


@dataclass(frozen=True)
class ComparisonSheet:
    """Everything on the sheet of a comparison, in its order.

    Attributes
    ----------
    title, date, by, summary : str
        The date and who made it are empty to be filled in by hand.
    sessions : tuple of (str, Facts)
        The session before and the one after.
    quantities, counts : Table
    claims, swapped : Table or None
    remarks : tuple of str
    settings : Table
        In both sessions, with where they came from.
    methods, cautions : tuple of str
    software : str
    """

    title: str
    date: str
    by: str
    summary: str
    sessions: tuple[tuple[str, Facts], ...]
    quantities: Table
    counts: Table
    claims: Table | None
    swapped: Table | None
    remarks: tuple[str, ...]
    settings: Table
    methods: tuple[str, ...]
    cautions: tuple[str, ...]
    software: str

    @property
    def all_pictures(self) -> tuple[Picture, ...]:
        """None: what is compared are numbers."""
        return ()


def comparison_sheet(
    comparison: Comparison, separated: Sequence[Separated] = (), *, date: str = "", by: str = ""
) -> ComparisonSheet:
    """Return the sheet of a comparison.

    Parameters
    ----------
    comparison : Comparison
    separated : sequence of Separated
        What of each exchanged pair's skew is the cables' and what the recorder's.
    date, by : str
        When and by whom it was made; empty ones are left to be filled in by hand.
    """
    from importlib.metadata import version

    old, new = comparison.old, comparison.new
    names = [file_name(one) for one in (old, new)]
    title = new.claims.title if new.claims is not None and new.claims.title else f"{names[0]} and {names[1]}"
    return ComparisonSheet(
        title=title,
        date=date,
        by=by,
        summary=summary(comparison),
        sessions=(("Before", _facts(old)), ("After", _facts(new))),
        quantities=_quantities(comparison),
        counts=Table(
            ("Counted", "Before", "After"),
            tuple((capitalised(name), whole(a), whole(b)) for name, a, b in comparison.counts),
            right=(1, 2),
        ),
        claims=_claims(comparison),
        swapped=_swapped(separated),
        remarks=comparison.remarks,
        settings=_settings(old, new),
        methods=(COMPARED_SO, *((SWAPPED_SO,) if separated else ()), *HOW_TO_READ),
        cautions=CAUTIONS,
        software=f"Pulsewright {version('pulsewright')}",
    )


def file_name(assessment: Assessment) -> str:
    """Return what a session's file is called."""
    file = assessment.findings.session.file
    return "a session in memory" if file is None else file.name


def summary(comparison: Comparison) -> str:
    """Say how many differences are significant, and which."""
    changed = [found.meaning for found in comparison.differences if found.significant]
    level = engineering(100 * comparison.coverage, "", 4)
    compared = comparison.compared
    of = f"of {compared} {'quantity' if compared == 1 else 'quantities'} compared at once ({level} %)"
    if not changed:
        return f"No difference is significant, {of}."
    verb = "difference is" if len(changed) == 1 else "differences are"
    return f"{len(changed)} {verb} significant, {of}: {listed(changed)}."


def _facts(assessment: Assessment) -> Facts:
    session = assessment.findings.session
    facts: list[tuple[str, Cell]] = [
        ("File", file_name(assessment)),
        ("SHA-256", session.sha256 or "none: a session in memory"),
        ("Records", whole(session.records)),
        ("Channels", whole(len(session.channels))),
        ("Modules", listed(session.modules)),
    ]
    if assessment.claims is not None:
        facts.append(("Claims", assessment.claims.path.name))
    return tuple(facts)


def _quantities(comparison: Comparison) -> Table:
    rows = tuple(_quantity(found) for found in comparison.differences)
    return Table(("Quantity", "Before ± U", "After ± U", "Difference ± U", ""), rows, right=(1, 2, 3), wide=(0,))


def _quantity(found: Difference) -> tuple[Cell, ...]:
    told = found.reason if found.significant is None else "significant" if found.significant else ""
    return capitalised(found.meaning), *map(_shown, (found.old, found.new, found.difference)), told


def _shown(quantity: Quantity | None) -> Cell:
    """Return a value with U; of a lopsided interval the ends stand in brackets, without a word, to save room."""
    if quantity is None:
        return ""
    cell = number(quantity)
    return replace(cell, text=cell.text.replace("95 % interval ", ""))


def _claims(comparison: Comparison) -> Table | None:
    pairs = list(zip(comparison.old.verdicts, comparison.new.verdicts, strict=True))
    rows = tuple((new.name, _limit(new), _verdict(old), _verdict(new), _why(old, new)) for old, new in pairs)
    return Table(("Claim", "Limit", "Before", "After", "What was seen"), rows, wide=(4,)) if rows else None


def _limit(verdict: Verdict) -> str:
    return "" if verdict.limit == NO_LIMIT.words else verdict.limit


def _verdict(verdict: Verdict) -> str:
    return f"{VERDICT_SHAPES[verdict.verdict]} {verdict.verdict}"


def _why(old: Verdict, new: Verdict) -> str:
    told = [(when, v.seen or v.reason) for when, v in (("before", old), ("after", new)) if v.verdict != "holds"]
    return " ".join(with_full_stop(f"{capitalised(when)}: {text}") for when, text in told if text)


def _swapped(separated: Sequence[Separated]) -> Table | None:
    rows = tuple(
        (f"{s.second} against {s.first}", *(_shown(q) for q in (s.old, s.new, s.recorder, s.cable))) for s in separated
    )
    headings = ("Exchanged", "Before ± U", "After ± U", "Recorder's ± U", "Cables' ± U")
    return Table(headings, rows, right=(1, 2, 3, 4)) if rows else None


def _settings(old: Assessment, new: Assessment) -> Table:
    rows = []
    for name in told_settings():
        sides = [
            with_origin(settings, name, value_in_words(settings, name))
            for settings in (old.findings.settings, new.findings.settings)
        ]
        rows.append((name_in_words(name), sides[0], "as before" if sides[1] == sides[0] else sides[1]))
    return Table(("Setting", "Before", "After"), tuple(rows), wide=(1, 2))
