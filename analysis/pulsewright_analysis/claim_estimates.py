"""The quantities that a claim is about, taken from the findings: one, or one for each channel, pair or pulse."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pulsewright.budget import Term
from pulsewright.claim import Claim
from pulsewright.quantity import Quantity
from pulsewright.review import Marker, Review
from pulsewright_analysis.budgets import pulse_quantity
from pulsewright_analysis.estimates import Estimate
from pulsewright_analysis.results import Findings
from pulsewright_analysis.standing_pairs import standing_in
from pulsewright_analysis.type_b import clock_term


@dataclass(frozen=True)
class Gathered:
    """What there is to compare with a claim's limit.

    Attributes
    ----------
    estimates : tuple of Estimate
    gaps : tuple of str
        A clause for everything that the claim is about and that was not measured.
    compared : int
        How many quantities there are; more than `estimates` where only those nearest to the limits are kept.
    """

    estimates: tuple[Estimate, ...] = ()
    gaps: tuple[str, ...] = ()
    compared: int = 0


@dataclass(frozen=True)
class Evidence:
    """What claims are judged by: the findings of a session, what a person added to it, and all claims made of it.

    Attributes
    ----------
    findings : Findings
        What was measured of the session.
    review : Review or None
        What a person added; None where there is no review.
    claims : tuple of Claim
        All claims made of the session.
    """

    findings: Findings
    review: Review | None = None
    claims: tuple[Claim, ...] = ()


class NotMeasurable(Exception):  # noqa: N818 - it becomes an undecided verdict
    """A claim is about something that the session does not have."""


def gather(claim: Claim, evidence: Evidence) -> Gathered:
    """Return the quantities that a claim is about.

    Parameters
    ----------
    claim : Claim
    evidence : Evidence

    Returns
    -------
    Gathered
        Quantities, each in its own unit, and clauses for what was not measured.

    Raises
    ------
    NotMeasurable
        With the reason, where the session has nothing of the kind.
    """
    return _GATHERERS[claim.kind](claim, evidence)


def claimed_channels(claim: Claim, findings: Findings, default: Sequence[int]) -> list[int]:
    """Return the places of a claim's channels, `default` where it names none.

    Parameters
    ----------
    claim : Claim
    findings : Findings
    default : sequence of int
        Places of the channels meant where the claim names none.

    Returns
    -------
    list of int
        Places among the session's channels, from 0, in the order of the claim.

    Raises
    ------
    NotMeasurable
        If there is no such channel, or it was not measured.
    """
    names = [name for name, _ in findings.session.channels]
    for name in claim.channels:
        if name not in names:
            raise NotMeasurable(f"there is no channel {name} in the session, whose channels are {', '.join(names)}")
        if names.index(name) not in findings.channels:
            raise NotMeasurable(f"{name} was not among the channels measured")
    return [names.index(name) for name in claim.channels] or list(default)


def why_not(findings: Findings, beginning: str, otherwise: str) -> str:
    """Return the findings' reason that begins in this way, as a clause.

    Parameters
    ----------
    findings : Findings
    beginning : str
        The first words of the reason.
    otherwise : str
        The clause returned where no reason begins so.

    Returns
    -------
    str
        With a small first letter and without the full stop.
    """
    for reason in findings.reasons:
        if reason.startswith(beginning):
            return f"{reason[:1].lower()}{reason[1:].rstrip('.')}"
    return otherwise


def _one(
    findings: Findings, quantity: Quantity | None, budget: str, count: int, beginning: str, otherwise: str
) -> Gathered:
    if quantity is None:
        raise NotMeasurable(why_not(findings, beginning, otherwise))
    return Gathered((Estimate(quantity, "", budget, count),))


def _on_lattice(findings: Findings) -> int:
    return int(np.count_nonzero(np.isfinite(findings.sequence.residual)))


def _skew(claim: Claim, evidence: Evidence) -> Gathered:
    findings = evidence.findings
    alignment = findings.alignment
    if alignment.reference is None:
        raise NotMeasurable(why_not(findings, "No alignment", "no skew was measured"))
    wanted = claimed_channels(claim, findings, findings.channels)
    estimates, gaps = [], []
    for entry in alignment.channels:
        if entry.channel not in wanted or entry.channel == alignment.reference:
            continue
        name = findings.channel_name(entry.channel)
        if entry.skew is None:
            gaps.append(why_not(findings, f"No skew of {name}:", f"no skew of {name} was measured"))
        else:
            estimates.append(Estimate(entry.skew, name, f"skew {name}", entry.records))
    if not estimates and not gaps:
        raise NotMeasurable("the reference has no skew against itself")
    return Gathered(tuple(estimates), tuple(gaps))


def _skew_within(claim: Claim, evidence: Evidence) -> Gathered:
    findings = evidence.findings
    alignment = findings.alignment
    records = {entry.channel: entry.records for entry in alignment.channels}
    estimates = []
    for pair in alignment.within_pairs:
        first, second = (findings.channel_name(channel) for channel in pair.channels)
        largest = max(alignment.within_pairs, key=lambda other: abs(other.skew.value)) is pair
        count = min(records.get(channel, 0) for channel in pair.channels)
        estimates.append(Estimate(pair.skew, f"{second} against {first}", "within" if largest else "", count))
    if not estimates:
        raise NotMeasurable(why_not(findings, "No alignment", "no two channels of one module were compared"))
    return Gathered(tuple(estimates), _unmeasured_skews(findings))


def _skew_between(claim: Claim, evidence: Evidence) -> Gathered:
    findings = evidence.findings
    alignment = findings.alignment
    for module in claim.modules:
        if module not in findings.session.modules:
            known = ", ".join(findings.session.modules)
            raise NotMeasurable(f"there is no module {module} in the session, whose modules are {known}")
    records = [entry.records for entry in alignment.channels if entry.records]
    estimates, gaps = [], []
    for pair in alignment.between_modules:
        if claim.modules and set(claim.modules) != set(pair.modules):
            continue
        first, second = pair.modules
        if pair.skew is None:
            gaps.append(f"{second} was not compared with {first}")
        else:
            count = min(records, default=0)
            estimates.append(Estimate(pair.skew, f"{second} against {first}", f"between {first} {second}", count))
    if not estimates and not gaps:
        raise NotMeasurable(why_not(findings, "No alignment", "no two modules were compared"))
    return Gathered(tuple(estimates), tuple(gaps))


def _unmeasured_skews(findings: Findings) -> tuple[str, ...]:
    names = [findings.channel_name(entry.channel) for entry in findings.alignment.channels if entry.skew is None]
    return tuple(why_not(findings, f"No skew of {name}:", f"no skew of {name} was measured") for name in names)


def _increment(claim: Claim, evidence: Evidence) -> Gathered:
    findings = evidence.findings
    return _one(
        findings,
        findings.sequence.increment,
        "increment",
        _on_lattice(findings),
        "No increment",
        "no step of a pulse from record to record was found",
    )


def _extent(claim: Claim, evidence: Evidence) -> Gathered:
    findings = evidence.findings
    step, extent = findings.sequence.increment, findings.sequence.extent
    if claim.intervals is None or step is None or extent is None:
        return _one(findings, extent, "extent", _on_lattice(findings), "No increment", "no walk of a pulse was found")
    seen = int(np.max(findings.sequence.stop))
    if claim.intervals > seen:
        raise NotMeasurable(f"the walk has {seen} intervals, not {claim.intervals}")
    budget = "extent" if claim.intervals == seen else ""
    quantity = step.scaled(float(claim.intervals))
    return Gathered((Estimate(quantity, f"{claim.intervals} intervals", budget, _on_lattice(findings)),))


def _jitter(claim: Claim, evidence: Evidence) -> Gathered:
    findings = evidence.findings
    jitter = findings.jitter
    gathered = _one(
        findings, jitter.std, "jitter", _on_lattice(findings), "No jitter", "no scatter of a pulse was measured"
    )
    (estimate,) = gathered.estimates
    return Gathered((replace(estimate, own=jitter.measurement_std or 0.0),))


def _of_timing(name: str, budget: str) -> Callable[[Claim, Evidence], Gathered]:
    def read(claim: Claim, evidence: Evidence) -> Gathered:
        findings = evidence.findings
        quantity: Quantity | None = getattr(findings.timing, name)
        records = len(findings.records)
        return _one(findings, quantity, budget, records, "No trigger period", "the trigger period is not known")

    return read


def _re_arm_margin(claim: Claim, evidence: Evidence) -> Gathered:
    findings = evidence.findings
    timing, settings = findings.timing, findings.settings
    if timing.shortest_period is None or timing.record_duration is None:
        raise NotMeasurable(why_not(findings, "No trigger period", "the trigger period is not known"))
    if settings.origin("re_arm") == "default":
        raise NotMeasurable("the recorder's re-arm time is not given: it is the setting re_arm")
    dead = timing.shortest_period - timing.record_duration.value
    # the two time stamps of the shortest gap are whole samples
    rounded = Term(
        "rounded time stamps", 1 / findings.session.sample_rate / math.sqrt(6.0), "B", None, "two, to one sample"
    )
    quantity = Quantity.from_terms(dead - settings.re_arm, "s", (rounded, clock_term(dead, settings)))
    return Gathered((Estimate(quantity, "after the shortest period"),))


def _of_pulses(kind: str) -> Callable[[Claim, Evidence], Gathered]:
    def read(claim: Claim, evidence: Evidence) -> Gathered:
        findings = evidence.findings
        channels = claimed_channels(claim, findings, _telling(findings))
        return _pulses_of(findings, kind, channels)

    return read


def _telling(findings: Findings) -> list[int]:
    channel = findings.sequence.channel
    return [findings.channels[0] if channel is None else channel]


MOST_PULSES = 400
"""Of more pulses only those that reach furthest down and furthest up are looked at one by one."""


def _pulses_of(findings: Findings, kind: str, channels: Sequence[int]) -> Gathered:
    """Return the size or the width of every pulse on some channels; records without one are gaps."""
    pulses = findings.pulses
    if len(pulses) == 0:
        raise NotMeasurable("no pulse stands out of the noise")
    value, u = (pulses.amplitude, pulses.amplitude_u) if kind == "amplitude" else (pulses.width, pulses.width_u)
    usable = np.isfinite(value) & np.isfinite(u) & ~pulses.clipped
    gaps: list[str] = []
    for channel in channels:
        name = findings.channel_name(channel)
        own = pulses.where(channel=channel)
        silent = np.setdiff1d(findings.records, pulses.record[own]).tolist()
        unmeasured = np.unique(pulses.record[own[~usable[own]]]).tolist()
        gaps += [f"{name} shows no pulse in {_places(silent)}"] if silent else []
        gaps += [f"the {kind} on {name} could not be measured in {_places(unmeasured)}"] if unmeasured else []
    chosen = np.flatnonzero(usable & np.isin(pulses.channel, channels))
    compared = len(chosen)
    if compared > MOST_PULSES:
        size, reach = np.abs(value[chosen]), 4.0 * u[chosen]
        ends = [np.argsort(size - reach)[: MOST_PULSES // 2], np.argsort(size + reach)[-MOST_PULSES // 2 :]]
        chosen = chosen[np.unique(np.concatenate(ends))]
    estimates = [_pulse(findings, kind, int(i)) for i in chosen]
    return Gathered(tuple(estimate for estimate in estimates if estimate is not None), tuple(gaps), compared)


def _pulse(findings: Findings, kind: str, i: int) -> Estimate | None:
    """Return one pulse's size or width."""
    pulses = findings.pulses
    quantity = pulse_quantity(findings, kind, i)
    if quantity is None:
        return None
    name, record = findings.channel_name(int(pulses.channel[i])), int(pulses.record[i])
    order = f" {pulses.order[i]}" if pulses.order[i] else ""
    size = quantity.scaled(-1.0) if quantity.value < 0 else quantity
    what = f"the pulse on {name} in record {record}"
    return Estimate(size, what, f"{kind} {name} {record}{order}", records=(record,))


def _places(records: Sequence[int]) -> str:
    """Return the first few of some records in words."""
    if len(records) == 1:
        return f"record {records[0]}"
    shown = ", ".join(str(record) for record in records[:5])
    return f"records {shown}" if len(records) <= 5 else f"{len(records)} records, the first {shown}"


def _noise(claim: Claim, evidence: Evidence) -> Gathered:
    findings = evidence.findings
    wanted = claimed_channels(claim, findings, findings.channels)
    estimates, gaps = [], []
    for health in findings.health:
        name = findings.channel_name(health.channel)
        if health.channel not in wanted:
            continue
        noise = health.noise_rms
        if noise is None:
            gaps.append(f"the noise of {name} was not measured")
        elif claim.limit.unit != noise.unit:
            gaps.append(f"the limit is in {claim.limit.unit}, and {name} is in {noise.unit or 'no unit'}")
        else:
            estimates.append(Estimate(noise, name, f"noise {name}", len(findings.records), own=0.0))
    return Gathered(tuple(estimates), tuple(gaps))


def _enob(claim: Claim, evidence: Evidence) -> Gathered:
    findings = evidence.findings
    wanted = claimed_channels(claim, findings, findings.channels)
    estimates: list[Estimate] = []
    without: list[str] = []
    for health in findings.health:
        name = findings.channel_name(health.channel)
        if health.channel not in wanted:
            continue
        if health.enob is None or health.noise_rms is None:
            without.append(name)
            continue
        # log₂ of a ratio to full scale: the scale's own error cancels, the finite number of samples is left
        dof = next((term.dof for term in health.noise_rms.terms if term.kind == "A"), health.noise_rms.dof)
        u = 1.0 / (math.log(2.0) * math.sqrt(2.0 * (dof or 1.0)))
        term = Term("finite number of samples", u, "A", None, "residuals of the sine fit")
        quantity = Quantity.from_terms(health.enob, "", (term,))
        estimates.append(Estimate(quantity, name, "", len(findings.records)))
    gap = f"no sine, from which effective bits could be told, on {', '.join(without)}"
    return Gathered(tuple(estimates), (gap,) if without else ())


def _marker_pair(claim: Claim, evidence: Evidence) -> Gathered:
    markers = [] if evidence.review is None else evidence.review.markers
    named = [marker for marker in markers if marker.name == claim.pair]
    numbers = {marker.pair for marker in named}
    pair = [marker for marker in markers if marker.pair in numbers]
    if not named:
        known = ", ".join(dict.fromkeys(marker.name for marker in markers if marker.name)) or "none"
        raise NotMeasurable(f"the review has no marker pair called {claim.pair!r}; those it has: {known}")
    if len(numbers) != 1 or len(pair) != 2:
        raise NotMeasurable(f"{claim.pair!r} does not name one pair of two markers")
    return Gathered((Estimate(_difference((pair[0], pair[1]), evidence.findings), claim.pair),))


def _difference(pair: tuple[Marker, Marker], findings: Findings) -> Quantity:
    """Return Δ of a pair in the record that it names, with its budget (see `standing_pairs.standing`)."""
    there = standing_in(findings, pair)
    if there.told is None:
        raise NotMeasurable(f"{pair[0].name!r} follows its pulses: {there.reason}")
    follows = [pulse is not None for pulse in there.pulses]
    sources = ["its pulse's position" if moves else "as it was put down" for moves in follows]
    terms = (
        Term("first marker", there.parts[0], "B", None, sources[0]),
        Term("second marker", there.parts[1], "B", None, sources[1]),
        clock_term(there.told.delta.value, findings.settings),
    )
    return Quantity.from_terms(there.told.delta.value, "s", terms)


_GATHERERS: dict[str, Callable[[Claim, Evidence], Gathered]] = {
    "skew": _skew,
    "skew_within_modules": _skew_within,
    "skew_between_modules": _skew_between,
    "increment": _increment,
    "extent": _extent,
    "jitter": _jitter,
    "trigger_period": _of_timing("trigger_period", "period"),
    "dead_time": _of_timing("dead_time", "dead"),
    "re_arm_margin": _re_arm_margin,
    "amplitude": _of_pulses("amplitude"),
    "width": _of_pulses("width"),
    "noise": _noise,
    "enob": _enob,
    "marker_pair": _marker_pair,
}
