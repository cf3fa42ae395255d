"""What every setting is called, and its value in words: for the findings, the desk and the evidence sheet alike."""

from __future__ import annotations

from typing import Any

from pulsewright.quantity import engineering
from pulsewright.settings import Settings, setting_names
from pulsewright_app.wording import ORIGINS, ranges, rejected_words

WORDS: dict[str, tuple[str, str]] = {
    "channel": ("Sequence from channel", "the first one measured"),
    "reference": ("Skews against", "the first channel measured"),
    "channels": ("Channels measured", "all"),
    "records": ("Records measured", "all"),
    "left_out": ("Records left out", "none"),
    "rejected_pulses": ("Pulses rejected", "none"),
    "span": ("Pulses looked for in", "the whole record"),
    "alignment_span": ("Alignment measured in", "the whole record"),
    "reference_pulse": ("Sequence counted from the pulse in", "the recorded trigger"),
    "position": ("Position quoted", ""),
    "polarity_rule": ("Polarity by the excursion that is", ""),
    "threshold": ("Threshold, from the base", "six times the noise"),
    "min_width": ("Shortest pulse kept", ""),
    "min_gap": ("Pulses are one if closer than", "found from the pulses' own length"),
    "increment": ("Increment given", "found from the data"),
    "cycle": ("Cycle given, records", "found from the data"),
    "sent": ("Triggers sent", "not told"),
    "alignment_method": ("Alignment by", ""),
    "re_arm": ("Re-arm time", ""),
    "asynchronous": ("Trigger asynchronous with the sample clock", ""),
    "clock_ppm": ("u of the sample clock", ""),
    "delays": ("Cable delays given", "as the session's file says"),
    "delay_u": ("u of each cable delay", ""),
    "splitter_u": ("u of each output of the splitter", ""),
    "trigger_offset_u": ("u of the recorded trigger offsets", ""),
    "scale_percent": ("u of a channel's scale", ""),
    "coverage_percent": ("Coverage of the intervals that are compared with limits", ""),
}
"""What each setting is called, and what holds where it is not given; in the order in which they are told."""

NUMBERS: dict[str, str] = {
    "threshold": "V", "min_width": "s", "min_gap": "s", "increment": "s", "cycle": "", "sent": "", "re_arm": "s",
    "clock_ppm": "ppm", "delay_u": "s", "splitter_u": "s", "trigger_offset_u": "s", "scale_percent": "%",
    "coverage_percent": "%",
}  # fmt: skip
"""The settings that are one number, with its unit."""

_STRETCHES = ("span", "alignment_span", "reference_pulse")
_USUAL = Settings()


def told_settings() -> tuple[str, ...]:
    """Return the names of all settings in the order in which they are told; one without words yet stands last."""
    return (*WORDS, *(name for name in setting_names() if name not in WORDS))


def name_in_words(name: str) -> str:
    """Return what a setting is called."""
    return WORDS.get(name, (name, ""))[0]


def value_in_words(settings: Settings, name: str) -> str:
    """Return the value of a setting, or what holds where it is not given."""
    value: Any = getattr(settings, name)
    if value is None or value == ():
        return WORDS.get(name, ("", ""))[1] or "not given"
    if name in NUMBERS:
        # ppm takes no prefix of its own
        return f"{value:.6g} ppm" if NUMBERS[name] == "ppm" else engineering(float(value), NUMBERS[name], 6)
    if name in _STRETCHES:
        return f"{engineering(value[0], 's', 6)} .. {engineering(value[1], 's', 6)}"
    if name == "records":
        return f"{value[0]} to {value[1] - 1}"
    if name == "left_out":
        return ranges(value)
    if name == "delays":
        return _delays_in_words(settings)
    if name == "rejected_pulses":
        return rejected_words(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return ", ".join(value) if isinstance(value, tuple) else str(value)


def origin_in_words(settings: Settings, name: str) -> str:
    """Return where the value of a setting came from: the layer, or several where each gave a part of it."""
    if name != "delays" or not settings.delays:
        return ORIGINS[settings.origin(name)]
    return " and ".join(dict.fromkeys(ORIGINS[settings.delay_origin(channel)] for channel, _ in settings.delays))


def with_origin(settings: Settings, name: str, value: str) -> str:
    """Return the words of a value, followed by where it came from unless each part of it says so itself."""
    return (
        value if name == "delays" and _of_several_layers(settings) else f"{value} ({origin_in_words(settings, name)})"
    )


def _of_several_layers(settings: Settings) -> bool:
    return len({settings.delay_origin(channel) for channel, _ in settings.delays}) > 1


def _delays_in_words(settings: Settings) -> str:
    """Return each delay that was given; with its origin, where the origins differ."""
    several, told = _of_several_layers(settings), []
    for channel, delay in settings.delays:
        origin = f" ({ORIGINS[settings.delay_origin(channel)]})" if several else ""
        told.append(f"{channel} {engineering(delay, 's', 6)}{origin}")
    return ", ".join(told)


def is_usual(settings: Settings, name: str) -> bool:
    """Return whether a setting has the value that it has where nobody gives one."""
    return bool(getattr(settings, name) == getattr(_USUAL, name))
