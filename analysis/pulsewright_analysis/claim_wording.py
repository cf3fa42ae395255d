"""How each kind of claim was measured, with its source, and which picture shows it."""

from __future__ import annotations

from pulsewright.claim import Claim
from pulsewright_analysis.results import Findings

FIGURES = {
    "skew": "skew",
    "skew_within_modules": "skew",
    "skew_between_modules": "skew",
    "increment": "positions",
    "extent": "positions",
    "no_missed_trigger": "trigger_gaps",
    "no_slip": "positions",
    "triggers_sent": "trigger_gaps",
    "polarity": "pulses",
    "jitter": "jitter",
    "trigger_period": "trigger_gaps",
    "dead_time": "trigger_gaps",
    "re_arm_margin": "trigger_gaps",
    "amplitude": "pulses",
    "width": "pulses",
    "no_clipped_sample": "health",
    "noise": "health",
    "enob": "health",
    "marker_pair": "markers",
}
_SINE = (
    "Phases of one sine of shared frequency, fitted by least squares to all channels and records "
    "(IEEE Std 1057's sine fit); a skew is known modulo the sine's period."
)
_CORRELATION = (
    "Maximum of the band-limited cross-correlation of two channels inside a gate around the event, record by record, "
    "combined by the mean over the records (JCGM 100:2008, 4.2)."
)
_LINE = (
    "Slope of a weighted straight line through the pulse's positions over the trigger numbers (JCGM 100:2008, H.3), "
    "its u with the correlation of the residuals from record to record."
)
_WITNESSES = (
    "Three witnesses, each alone and then together: the pulse's place on its lattice, its polarity, and the gaps "
    "between trigger times, which are whole multiples of the period (common practice, no source)."
)
_PERIOD = "Mean gap between recorded trigger times, or the slope of the times where they scatter about an even beat"
_METHODS = {
    "increment": _LINE,
    "extent": f"{_LINE[:-1]}, times the number of intervals.",
    "no_missed_trigger": _WITNESSES,
    "no_slip": f"{_WITNESSES} The modules' counts are then compared record by record.",
    "triggers_sent": f"Records kept and triggers missed are counted and compared with the number sent. {_WITNESSES}",
    "polarity": "Sign of each pulse's largest excursion (or of the first, where set), trigger by trigger; how sure it "
    "is, is the excess over the opposite excursion in √2·noise.",
    "jitter": "Standard deviation of the positions with the progression taken off, the measurement's own variance "
    "subtracted; interval of χ² (JCGM 100:2008, E.4).",
    "trigger_period": f"{_PERIOD}.",
    "dead_time": f"Trigger period less the record's duration. {_PERIOD}.",
    "re_arm_margin": "Shortest trigger period less the record's duration and the re-arm time that was given.",
    "amplitude": "Distance from base to top of each pulse, without its sign; the top by the histogram's mode or by a "
    "fit around the extreme (IEEE Std 181).",
    "width": "Duration between the 50 % crossings of each pulse (IEEE Std 181).",
    "no_clipped_sample": "Samples at an end code of the converter, counted.",
    "noise": "Standard deviation of the base with the pulses trimmed, or of the residuals of the sine fit; interval "
    "of χ² (JCGM 100:2008, E.4).",
    "enob": "log₂(full scale/(noise and distortion·√12)) from the residuals of the sine fit (IEEE Std 1057).",
    "marker_pair": "Difference of two markers that a person put down, each with the u of how it was put down "
    "(JCGM 100:2008, 5.1.2).",
}


def method_of(claim: Claim, findings: Findings) -> str:
    """Return how the quantity of a claim was measured, with the method's source.

    Parameters
    ----------
    claim : Claim
    findings : Findings
        Tell by which method skews were measured.
    """
    if claim.kind.startswith("skew"):
        return _SINE if findings.alignment.method == "sine" else _CORRELATION
    return _METHODS[claim.kind]
