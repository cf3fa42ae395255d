"""Two sessions side by side, before and after a change: each difference with its u, and whether it is significant."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from pulsewright.budget import Term
from pulsewright.errors import SettingError
from pulsewright.quantity import Quantity, coverage_factor
from pulsewright_analysis.assessment import Assessment
from pulsewright_analysis.budgets import ONE_WORD
from pulsewright_analysis.estimates import Estimate
from pulsewright_analysis.findings_json import session_json
from pulsewright_analysis.jitter import scatter_quantity
from pulsewright_analysis.results import Findings
from pulsewright_analysis.trigger_account import account

SAME: dict[str, tuple[str, str]] = {
    "clock": ("sample clock", "clock_ppm"),
    "cables": ("cable delay", "delay_u"),
    "splitter": ("splitter", "splitter_u"),
    "offsets": ("recorded trigger offset", "trigger_offset_u"),
    "scales": ("scale of the channel", "scale_percent"),
}
"""What may have stayed the same in both sessions: the beginning of its term's name, and its setting."""
PROPORTIONAL = ("clock", "scales")
"""Errors that are a share of the value: what is left in a difference is that share of the difference."""
COMPARED_ONCE = ("increment", "extent", "frequency", "jitter", "drift", "period", "dead", "wait")
"""The largest skews are left out: the largest before and the largest after may be of different channels."""


@dataclass(frozen=True)
class Difference:
    """One quantity in both sessions.

    Attributes
    ----------
    name, meaning : str
        As `budgets.budget_of` takes it, and in words.
    old, new : Quantity or None
        None: not measured.
    difference : Quantity or None
        New less old.
    interval : (float, float) or None
        Of the difference, wide enough for all that are compared at once.
    significant : bool or None
        Whether `interval` excludes 0; None where there is no difference.
    reason : str
        Why there is none.
    """

    name: str
    meaning: str
    old: Quantity | None
    new: Quantity | None
    difference: Quantity | None = None
    interval: tuple[float, float] | None = None
    significant: bool | None = None
    reason: str = ""


@dataclass(frozen=True)
class Comparison:
    """What changed from one session to another.

    Attributes
    ----------
    old, new : Assessment
    same : tuple of str
        What stayed the same, as a person says; words of `SAME`.
    coverage : float
        Of the intervals, all compared quantities together.
    differences : tuple of Difference
    counts : tuple of (str, int, int)
        What is counted: its name, before and after.
    remarks : tuple of str
        Sentences about what makes the sessions hard to compare, and what u rests on.
    """

    old: Assessment
    new: Assessment
    same: tuple[str, ...]
    coverage: float
    differences: tuple[Difference, ...]
    counts: tuple[tuple[str, int, int], ...]
    remarks: tuple[str, ...]

    @property
    def compared(self) -> int:
        """How many quantities have a difference with a u."""
        return sum(found.difference is not None for found in self.differences)

    def as_json(self) -> dict[str, Any]:
        """Return the form that ``compare --json`` prints."""
        claims = [
            {"name": new.name, "kind": new.kind, "limit": new.limit, "old": old.as_json(), "new": new.as_json()}
            for old, new in zip(self.old.verdicts, self.new.verdicts, strict=True)
        ]
        return {
            "schema": "pulsewright-comparison/1",
            "old": session_json(self.old.findings.session),
            "new": session_json(self.new.findings.session),
            "same": list(self.same),
            "coverage": self.coverage,
            "compared": self.compared,
            "quantities": [_difference_json(found) for found in self.differences],
            "counts": [{"name": name, "old": old, "new": new} for name, old, new in self.counts],
            "claims": claims,
            "remarks": list(self.remarks),
        }


def _difference_json(found: Difference) -> dict[str, Any]:
    quantities = {"old": found.old, "new": found.new, "difference": found.difference}
    return {
        "name": found.name,
        "meaning": found.meaning,
        **{key: None if quantity is None else dict(quantity.as_json()) for key, quantity in quantities.items()},
        "interval": None if found.interval is None else list(found.interval),
        "significant": found.significant,
        "reason": found.reason,
    }


def compare(old: Assessment, new: Assessment, same: Sequence[str] = ()) -> Comparison:
    """Compare two sessions, quantity by quantity.

    Parameters
    ----------
    old, new : Assessment
        Of the session before and of that after the change, judged by the same claims or by none.
    same : sequence of str
        What stayed the same in both, as only a person can know: words of `SAME`. Such a Type B error is common to both
        sessions and cancels in the difference, as far as the error has the same effect in both. What is not named
        counts as independent.

    Returns
    -------
    Comparison
        u of a difference is the root of the sum of squares (JCGM 100:2008, 5.1.2) of what is not common. Of n
        quantities each gets the share (1 − coverage)/n of a wrong "significant" (Bonferroni's inequality).

    Raises
    ------
    SettingError
        If a word of `same` has no meaning.
    """
    require_same(same)
    first, second = old.findings, new.findings
    coverage = second.settings.coverage_percent / 100
    pairs = list(_paired(first, second))
    number = sum(a is not None and b is not None for _, _, a, b, _ in pairs)
    share = 1 - (1 - coverage) / max(number, 1)
    cancelling = tuple(word for word in same if _alike(first, second, SAME[word][1]))
    found = tuple(_difference(*pair, cancelling, share) for pair in pairs)
    remarks = (*_remarks(first, second), *_told_of_u(first, second, same, cancelling))
    return Comparison(old, new, tuple(same), coverage, found, _counts(first, second), remarks)


def require_same(words: Sequence[str]) -> None:
    """See that every word of what stayed the same has a meaning.

    Parameters
    ----------
    words : sequence of str

    Raises
    ------
    SettingError
        If one is not in `SAME`.
    """
    for word in words:
        if word not in SAME:
            raise SettingError(f"same: {word!r} is not one of {', '.join(SAME)}", "name what stayed as it was")


def _alike(first: Findings, second: Findings, setting: str) -> bool:
    return bool(getattr(first.settings, setting) == getattr(second.settings, setting))


Pair = tuple[str, str, Estimate | None, Estimate | None, str]


def _paired(first: Findings, second: Findings) -> Iterator[Pair]:
    """Return every quantity that either session has, matched by the names of channels and modules."""
    for word in COMPARED_ONCE:
        meaning, where = ONE_WORD[word]
        a, b = where(first), where(second)
        if a is not None or b is not None:
            yield word, meaning, _once(word, first, a), _once(word, second, b), ""
    yield from _paired_skews(first, second)
    for kind in ("noise", "offset"):
        ours, theirs = _of_channels(first, kind), _of_channels(second, kind)
        for name in dict.fromkeys((*ours, *theirs)):
            yield f"{kind} {name}", f"{kind} of {name}", ours.get(name), theirs.get(name), ""


def _once(word: str, findings: Findings, quantity: Quantity | None) -> Estimate | None:
    if quantity is None:
        return None
    if word == "jitter":
        return Estimate(quantity, own=findings.jitter.measurement_std or 0.0)
    return Estimate(quantity)


def _paired_skews(first: Findings, second: Findings) -> Iterator[Pair]:
    names = [None if f.alignment.reference is None else f.channel_name(f.alignment.reference) for f in (first, second)]
    against = "" if names[0] == names[1] else f"skews are against {names[0]} before and against {names[1]} after"
    ours, theirs = _skews(first), _skews(second)
    for name in dict.fromkeys((*ours, *theirs)):
        if name != names[0] or name != names[1]:
            yield f"skew {name}", f"skew of {name} against {names[1]}", ours.get(name), theirs.get(name), against
    before, after = _between(first), _between(second)
    for pair in dict.fromkeys((*before, *after)):
        meaning = f"{pair[1]} against {pair[0]}"
        yield f"between {pair[0]} {pair[1]}", meaning, before.get(pair), after.get(pair), ""


def _skews(findings: Findings) -> dict[str, Estimate]:
    entries = findings.alignment.channels
    return {findings.channel_name(e.channel): Estimate(e.skew) for e in entries if e.skew is not None}


def _between(findings: Findings) -> dict[tuple[str, str], Estimate]:
    return {pair.modules: Estimate(pair.skew) for pair in findings.alignment.between_modules if pair.skew is not None}


def _of_channels(findings: Findings, kind: str) -> dict[str, Estimate]:
    found = {}
    for health in findings.health:
        quantity = health.noise_rms if kind == "noise" else health.offset
        if quantity is not None:
            found[findings.channel_name(health.channel)] = Estimate(quantity, own=0.0 if kind == "noise" else None)
    return found


def _difference(
    name: str,
    meaning: str,
    old: Estimate | None,
    new: Estimate | None,
    against: str,
    same: Sequence[str],
    share: float,
) -> Difference:
    before, after = (None if e is None else e.quantity for e in (old, new))
    if old is None or new is None or before is None or after is None:
        return Difference(name, meaning, before, after, reason=f"not measured {'before' if old is None else 'after'}")
    if against:
        return Difference(name, meaning, before, after, reason=against)
    if before.unit != after.unit:
        units = f"in {before.unit or 'no unit'} before and in {after.unit or 'no unit'} after"
        return Difference(name, meaning, before, after, reason=units)
    value = after.value - before.value
    terms = _independent(before, after, value, same)
    quantity = Quantity.from_terms(value, after.unit, terms)
    if old.own is not None and new.own is not None:
        ends, interval = (_scatter_interval(old, new, terms, level) for level in (0.95, share))
        quantity = Quantity(value, quantity.u, quantity.unit, quantity.dof, ends, quantity.terms)
    else:
        half = coverage_factor(quantity.dof, share) * quantity.u
        interval = (value - half, value + half)
    # nothing is told from two values that are exact by definition
    significant = bool(interval[0] > 0 or interval[1] < 0) if quantity.u > 0 else value != 0
    return Difference(name, meaning, before, after, quantity, interval, significant)


def _independent(before: Quantity, after: Quantity, value: float, same: Sequence[str]) -> tuple[Term, ...]:
    """Return the terms of a difference: both sessions' own, and what is left of those that they have in common."""
    common = {SAME[word][0]: word for word in same}
    terms = []
    ours = {term.name: term for term in before.terms}
    cancelled = set()
    for term in after.terms:
        word = next((w for start, w in common.items() if term.name.startswith(start)), None)
        twin = ours.get(term.name)
        if term.kind != "B" or word is None or twin is None:
            continue
        if word in PROPORTIONAL:
            relative = term.u / abs(after.value) if after.value else 0.0
            cancelled.add(term.name)
            terms.append(Term(term.name, relative * abs(value), "B", None, f"common to both: {term.source}"))
        elif math.isclose(term.u, twin.u, rel_tol=1e-9):
            cancelled.add(term.name)
            terms.append(Term(term.name, 0.0, "B", None, f"common to both, and cancels: {term.source}"))
    for when, quantity in (("before", before), ("after", after)):
        own = quantity.terms or (Term("measured", quantity.u, "A", quantity.dof),)
        terms += [
            Term(f"{term.name}, {when}", term.u, term.kind, term.dof, term.source, term.uniform)
            for term in own
            if term.name not in cancelled
        ]
    return tuple(terms)


def _scatter_interval(old: Estimate, new: Estimate, terms: Sequence[Term], coverage: float) -> tuple[float, float]:
    """Return the interval of the difference of two scatters, whose own intervals are those of χ².

    Each end combines the distances of the two intervals' ends from their values by the root of the sum of squares (the
    method of variance estimates recovery, Zou and Donner 2008, from memory; coverage checked by simulation).
    """
    a, b = (_type_a(estimate) for estimate in (old, new))
    (low_a, high_a), (low_b, high_b) = a.interval(coverage), b.interval(coverage)
    value_a, value_b = a.quantity.value, b.quantity.value
    lasting = coverage_factor(None, coverage) * math.hypot(*(term.u for term in terms if term.kind == "B"))
    value = value_b - value_a
    low = value - math.hypot(value_b - low_b, high_a - value_a, lasting)
    return low, value + math.hypot(high_b - value_b, value_a - low_a, lasting)


def _type_a(estimate: Estimate) -> Estimate:
    """Return a scatter without its Type B parts."""
    own, dof = estimate.own or 0.0, estimate.scatter_dof or 1.0
    value = estimate.quantity.value
    seen = math.hypot(value, own) if value > 0 else math.sqrt(estimate.observed_variance)
    return Estimate(scatter_quantity(seen, int(dof), own), own=own)


def _counts(first: Findings, second: Findings) -> tuple[tuple[str, int, int], ...]:
    def clipped(findings: Findings) -> int:
        return sum(health.clipped_samples for health in findings.health)

    told = [account(findings) for findings in (first, second)]
    return (
        ("records", told[0].kept, told[1].kept),
        ("missed triggers", len(told[0].missed), len(told[1].missed)),
        ("slips", len(first.sequence.slips), len(second.sequence.slips)),
        ("clipped samples", clipped(first), clipped(second)),
    )


MEASURED_BY = ("channel", "position", "polarity_rule", "span", "alignment_span", "reference_pulse", "threshold")


def _remarks(first: Findings, second: Findings) -> list[str]:
    """Return sentences about what makes the two hard to compare."""
    remarks = []
    if first.session.sha256 and first.session.sha256 == second.session.sha256:
        remarks.append("Both files hold the same session.")
    differ = [name for name in MEASURED_BY if not _alike(first, second, name)]
    if differ:
        remarks.append(f"The sessions were measured by different settings: {', '.join(differ)}.")
    if first.session.sample_rate != second.session.sample_rate:
        remarks.append("The sample rates differ.")
    methods = (first.alignment.method, second.alignment.method)
    if methods[0] != methods[1] and all(methods):
        remarks.append(f"Alignment is by {methods[0]} before and by {methods[1]} after.")
    if "sine" in methods:
        remarks.append("Skews of a sine are known modulo its period, and so are their differences.")
    for one, other, when in ((first, second, "before"), (second, first, "after")):
        only = sorted({name for name, _ in one.session.channels} - {name for name, _ in other.session.channels})
        if only:
            remarks.append(f"Only {when} there {'is' if len(only) == 1 else 'are'} {', '.join(only)}.")
    return remarks


def _told_of_u(first: Findings, second: Findings, same: Sequence[str], cancelling: Sequence[str]) -> Iterator[str]:
    """Return sentences about which Type B parts were taken as common."""
    for word in same:
        if word not in cancelling:
            yield f"The {word} were said to be the same, but {SAME[word][1]} differs: their parts count as independent."
    given = [word for word, (_, setting) in SAME.items() if getattr(second.settings, setting) > 0]
    kept = [word for word in given if word not in cancelling]
    if cancelling:
        yield (
            f"Taken as the same in both sessions: {', '.join(cancelling)}; their Type B parts cancel as far as "
            f"they are common."
        )
    if kept:
        yield (
            f"Not said to be the same: {', '.join(kept)}; their Type B parts count as independent, which is too "
            f"careful if nothing of them was changed."
        )
