"""Verdicts on what is counted: missed and withheld triggers, slips, triggers sent, polarities, clipped samples."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from pulsewright.claim import Claim
from pulsewright.quantity import coverage_factor
from pulsewright_analysis.claim_estimates import Evidence, NotMeasurable, claimed_channels, why_not
from pulsewright_analysis.results import Findings, Ints
from pulsewright_analysis.trigger_account import TriggerAccount, account
from pulsewright_analysis.verdicts import Decision, Verdict, listed_records
from pulsewright_analysis.witnesses import UNKNOWN

GIVE_SENT = "the number of triggers sent (the setting sent, or a claim of kind triggers_sent) or trigger times"


def _ended(start: Verdict, decision: Decision, seen: str, records: Sequence[int] = (), reason: str = "") -> Verdict:
    return replace(start, verdict=decision, seen=seen, records=listed_records(records), reason=reason)


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _listed(numbers: Sequence[int]) -> str:
    """Write numbers as a sentence does; of many, the first eight."""
    shown = [str(number) for number in numbers[:8]]
    rest = len(numbers) - len(shown)
    if rest > 0:
        return f"{', '.join(shown)} and {rest} more"
    return " and ".join(filter(None, (", ".join(shown[:-1]), *shown[-1:])))


def _numbered(noun: str, numbers: Sequence[int]) -> str:
    return f"{noun}{'s' * (len(numbers) > 1)} {_listed(numbers)}"


def _sent_by_claim(evidence: Evidence) -> int | None:
    """Return the number of triggers sent where a claim tells it."""
    numbers = {claim.limit.number for claim in evidence.claims if claim.kind == "triggers_sent"}
    return numbers.pop() if len(numbers) == 1 else None


def _no_missed_trigger(claim: Claim, evidence: Evidence, start: Verdict) -> Verdict:
    """Judge that every trigger was kept but those withheld, and that those withheld were noticed."""
    told = account(evidence.findings, _sent_by_claim(evidence))
    withheld = claim.withheld
    seen = {trigger for trigger, _ in told.missed}
    unnoticed = [trigger for trigger in withheld if trigger not in seen]
    missed, outside = told.missed_but(withheld), told.outside
    purpose = _purpose([t for t in withheld if t in seen])
    but = f", but for {_listed(withheld)} withheld on purpose" if withheld else ""
    start = replace(start, claimed=f"every trigger was kept{but}")
    if withheld and not told.whole:
        raise NotMeasurable("only a part of the records was measured, and withheld triggers are counted through all")
    if unnoticed:
        was = "was" if len(unnoticed) == 1 else "were"
        text = f"the method did not notice that {_numbered('trigger', unnoticed)} {was} withheld"
        return _ended(start, "fails", text, _kept_at(told, unnoticed))
    if missed:
        after = [record for _, record in missed]
        text = f"{_count(len(missed), 'trigger')} missed, after {_numbered('record', sorted(set(after)))}"
        return _ended(start, "fails", text + purpose, after)
    if outside is not None and outside > 0:
        text = f"{_count(outside, 'trigger')} of {told.sent} lost before the first or after the last"
        return _ended(start, "fails", f"{text} record{purpose}")
    if outside is not None and outside < 0:
        text = f"{_count(-outside, 'record')} more than triggers were sent"
        return _ended(start, "undecided", text + purpose, reason=f"{told.sent} triggers sent, {told.kept} records kept")
    if outside is None and told.blind:
        return _blind_verdict(purpose, told, start)
    ends = "" if outside == 0 else "; losses before the first and after the last record cannot be seen"
    where = _count(told.kept, "record") + ("" if told.whole else " that were measured")
    return _ended(start, "holds", f"none missed in {where}{ends}{purpose}")


def _kept_at(told: TriggerAccount, triggers: Sequence[int]) -> list[int]:
    """Return the records that hold these triggers."""
    return [int(record) for record in np.flatnonzero(np.isin(told.number, triggers))]


def _purpose(noticed: Sequence[int]) -> str:
    if not noticed:
        return ""
    was = "was" if len(noticed) == 1 else "were"
    return f". On purpose {_numbered('trigger', noticed)} {was} withheld and found missing: the method notices"


def _blind_verdict(purpose: str, told: TriggerAccount, start: Verdict) -> Verdict:
    """Return undecided: somewhere a loss would have gone unseen."""
    why = sorted({reason for _, reason in told.blind})
    where = _numbered("record", [record for record, _ in told.blind])
    verdict = _ended(
        start,
        "undecided",
        f"none missed, but a loss could have gone unseen after {where}{purpose}",
        [record for record, _ in told.blind],
        "; ".join(why),
    )
    return replace(verdict, needed=GIVE_SENT)


def _no_slip(claim: Claim, evidence: Evidence, start: Verdict) -> Verdict:
    """Judge that no module lost a trigger that another kept."""
    findings = evidence.findings
    sequence, modules = findings.sequence, findings.session.modules
    start = replace(start, claimed="no module lost a trigger alone")
    if sequence.slips:
        told = "; ".join(
            f"{s.module} is {_count(s.by, 'trigger')} ahead from record {s.from_record} on" for s in sequence.slips
        )
        slipped = min(sequence.slips, key=lambda slip: slip.from_record).module
        channel = next((c for c in findings.channels if findings.session.channels[c][1] == slipped), None)
        return _ended(replace(start, channel=channel), "fails", told, [s.from_record for s in sequence.slips])
    measured = {findings.session.channels[channel][1] for channel in findings.channels}
    if len(measured) < 2:
        raise NotMeasurable("one module alone has nothing to slip against")
    silent = [name for place, name in enumerate(modules) if name in measured and not _spoke(findings, place)]
    if silent:
        verdict = _ended(start, "undecided", "no slip", reason=_silent(silent))
        return replace(verdict, needed="a pulse that walks or alternates on a channel of every module")
    return _ended(start, "holds", f"none, {len(measured)} modules compared record by record")


def _silent(names: Sequence[str]) -> str:
    return f"no witness spoke for {_and(names)}: its own position, polarity or trigger times"


def _and(words: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))


def _spoke(findings: Findings, module: int) -> bool:
    """Return whether a module's own payload, or trigger times of its own, tied most of its records together."""
    said = findings.sequence.said
    names = ("position", "polarity", "time") if findings.session.own_times else ("position", "polarity")
    words = [said[name][:, module] for name in names if name in said]
    if not words or len(words[0]) == 0:
        return False
    return bool(np.mean(np.any(np.stack(words) != UNKNOWN, axis=0)) > 0.5)


def _triggers_sent(claim: Claim, evidence: Evidence, start: Verdict) -> Verdict:
    """Judge that the triggers sent, those withheld included, are those kept and those known to be missed."""
    number = claim.limit.number or 0
    told = account(evidence.findings, number)
    start = replace(start, claimed=f"{_count(number, 'trigger')} sent, each accounted for")
    if not told.whole:
        raise NotMeasurable("only a part of the records was measured, and the count is of all")
    missed = len(told.missed)
    seen = f"{_count(told.kept, 'record')} kept and {_count(missed, 'trigger')} missed"
    if told.kept + missed == number:
        return _ended(start, "holds", seen)
    off = number - told.kept - missed
    if off < 0:
        text = f"{seen}: {-off} more than were sent"
    else:
        text = f"{seen}: {off} {'is' if off == 1 else 'are'} not accounted for"
    return _ended(start, "fails", text, [record for _, record in told.missed])


def _polarity(claim: Claim, evidence: Evidence, start: Verdict) -> Verdict:
    """Judge that the polarity follows its pattern from trigger to trigger, records without a clear sign apart."""
    findings = evidence.findings
    telling = findings.channels[0] if findings.sequence.channel is None else findings.sequence.channel
    channels = claimed_channels(claim, findings, [telling])
    numbers = account(findings).number
    start = replace(start, channel=channels[0])
    wrong: set[int] = set()
    unclear: set[int] = set()
    for channel in channels:
        bad, doubtful = _off_pattern(findings, channel, numbers, claim.limit.pattern, start.coverage)
        if bad and min(bad) < min(wrong, default=len(numbers)):
            start = replace(start, channel=channel)
        wrong.update(bad)
        unclear.update(doubtful)
    names = _and([findings.channel_name(channel) for channel in channels])
    start = replace(start, claimed=f"the polarity on {names}, {claim.limit.words}")
    circular = _told_by_polarity_alone(findings)
    if wrong:
        text = f"the other sign in {_count(len(wrong), 'record')}, {_listed(sorted(wrong))}"
        return _ended(start, "fails", text, sorted(wrong))
    if unclear:
        text = f"no clear sign in {_count(len(unclear), 'record')}, {_listed(sorted(unclear))}"
        return _ended(start, "undecided", text, sorted(unclear), "a record without a clear sign may be of either")
    if circular:
        reason = "polarity alone told of a missed trigger there: it may as well have broken its pattern"
        verdict = _ended(start, "undecided", "the pattern, but for what was missed", circular, reason)
        return replace(verdict, needed="trigger times")
    return _ended(start, "holds", f"so in all {len(findings.records)} records")


def _off_pattern(
    findings: Findings, channel: int, numbers: Ints, pattern: tuple[int, ...], coverage: float
) -> tuple[list[int], list[int]]:
    """Return the records with the wrong sign, and those whose sign is not clear.

    Raises
    ------
    NotMeasurable
        If no record has a sign.
    """
    sign = findings.polarity.sign[findings.records, channel]
    confidence = findings.polarity.confidence[findings.records, channel]
    if not np.any(sign):
        name = findings.channel_name(channel)
        raise NotMeasurable(why_not(findings, "No pulse", f"{name} shows no pulse"))
    # the sign of each of many records is to be sure at once (Bonferroni's inequality)
    sure = np.nan_to_num(confidence) >= coverage_factor(None, 1 - (1 - coverage) / len(sign))
    trigger = numbers[findings.records] + _ahead(findings, channel)
    rounds = [np.array(pattern)[(trigger + shift) % len(pattern)] for shift in range(len(pattern))]
    rounds += [-expected for expected in rounds]
    expected = max(rounds, key=lambda signs: int(np.count_nonzero((signs == sign) & sure)))
    wrong = (sign != 0) & sure & (sign != expected)
    unclear = (sign == 0) | ~sure
    return findings.records[wrong].tolist(), findings.records[unclear].tolist()


def _ahead(findings: Findings, channel: int) -> Ints:
    """Return how many triggers ahead of the others a channel's module is in each measured record."""
    module = findings.session.channels[channel][1]
    ahead = np.zeros(len(findings.records), dtype=np.int64)
    for slip in findings.sequence.slips:
        if slip.module == module:
            ahead[findings.records >= slip.from_record] = slip.by
    return ahead


def _told_by_polarity_alone(findings: Findings) -> list[int]:
    return [gap.after_record for gap in findings.sequence.missed if gap.seen_in == ("polarity",)]


def _no_clipped_sample(claim: Claim, evidence: Evidence, start: Verdict) -> Verdict:
    """Judge that no sample is at an end code."""
    findings = evidence.findings
    wanted = claimed_channels(claim, findings, findings.channels)
    clipped = [health for health in findings.health if health.channel in wanted and health.clipped_samples]
    start = replace(start, claimed="no sample at an end code")
    if not clipped:
        return _ended(start, "holds", f"none, on {_count(len(wanted), 'channel')}")
    told = "; ".join(
        f"{findings.channel_name(h.channel)} {_count(h.clipped_samples, 'sample')} in "
        f"{_numbered('record', h.clipped_records)}"
        for h in clipped
    )
    records = [record for health in clipped for record in health.clipped_records]
    first = min(clipped, key=lambda health: min(health.clipped_records))
    start = replace(start, channel=first.channel)
    return _ended(start, "fails", told, records)


COUNTED: dict[str, Callable[[Claim, Evidence, Verdict], Verdict]] = {
    "no_missed_trigger": _no_missed_trigger,
    "no_slip": _no_slip,
    "triggers_sent": _triggers_sent,
    "polarity": _polarity,
    "no_clipped_sample": _no_clipped_sample,
}
