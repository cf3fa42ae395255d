"""The sheet's fixed words: how to read it, and what to be careful about."""

from __future__ import annotations

HOW_TO_READ: tuple[str, ...] = (
    "A value is followed by ± U, the expanded uncertainty: half of its 95 % interval. u is the standard uncertainty, "
    "k = U/u (JCGM 100:2008, 6.2). Where an interval is lopsided, both of its ends are given.",
    "A claim holds if the whole interval of what was measured lies inside its limits, fails if all of it lies "
    "outside, and is undecided in between (JCGM 106:2012, with guard bands of U; the coverage is among the settings). "
    "Where many values must conform at once, the interval is wide enough for all of them. ● holds, ▲ fails, ◇ is "
    "undecided.",
    "In a budget, type A is from repeated observations, type B from what is known otherwise (JCGM 100:2008, 4.2 and "
    "4.3); dof are degrees of freedom, combined by Welch and Satterthwaite (G.4), ∞ where they are not limited.",
    "Pulses, their levels, widths and polarity are those of IEEE Std 181; sine fits, SINAD, THD and ENOB those of IEEE "
    "Std 1057.",
    "Records and samples count from 0. Times are seconds from the record's trigger. A skew is the channel's time minus "
    "the reference's for the same event: positive is later. An increment is positive when the pulse moves later.",
)

CAUTIONS: tuple[str, ...] = (
    "Pulsewright reads files; it switches nothing. What it is used on can hurt: mains and high-voltage pulsers, "
    "lasers, pressure vessels, ultrasound at high intensity. Have the set-up checked and operated by those who are "
    "licensed for it, under the local rules, which come before anything written here.",
    "No finding is a statement that a set-up is safe to approach. Leave interlocks in place while "
    "recording, and discharge before touching a connection to find out why a channel is late.",
    "The sheet speaks of the one session whose SHA-256 it names, measured with the settings it lists, and of nothing "
    "recorded before or after.",
)
