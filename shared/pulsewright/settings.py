"""Every measuring setting, in one frozen dataclass, with where each value came from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any, Literal, get_args

from pulsewright.delays import Delays, combined, read_delays
from pulsewright.errors import SettingError
from pulsewright.minus import quoted
from pulsewright.quantity import parse_number, parse_span

Origin = Literal["option", "review", "claims", "default"]
Position = Literal["midpoint", "leading", "centroid", "peak"]
PolarityRule = Literal["largest", "first"]
Method = Literal["auto", "sine", "correlation"]

POSITIONS: tuple[Position, ...] = get_args(Position)


@dataclass(frozen=True)
class Settings:
    """How a session is measured; SI units throughout.

    Attributes
    ----------
    channel : str or None
        The channel whose pulses tell the sequence; the first one measured if None.
    reference : str or None
        The channel against which skews are given; the first one measured if None.
    channels : tuple of str, or None
        The channels that take part; all if None.
    records : (int, int) or None
        First record and the one after the last, all if None.
    left_out : tuple of int
        Records that a person took out.
    rejected_pulses : tuple of (int, str, int)
        Record, channel and a sample of each pulse that a person rejected: what is found there takes no part.
    span, alignment_span : (float, float) or None
        Seconds from the trigger: where pulses are looked for, and where alignment is measured;
        the whole record if None.
    reference_pulse : (float, float) or None
        Seconds from the trigger: where each record holds a pulse (usually the one that triggered) from which the
        sequence's positions are counted, on the same channel; from the recorded trigger if None.
    position : str
        Which of the four pulse positions is quoted.
    polarity_rule : str
        The sign of the largest excursion, or of the first past the threshold.
    threshold : float or None
        Volts from the base; never below six times the noise.
    min_width : float
        Seconds: shorter pulses are dropped.
    min_gap : float or None
        Seconds: excursions closer than this are one pulse. None: an excursion joins the one before it where it has
        the opposite sign and follows within that one's own length, so that an echo of several cycles is one pulse.
    increment : float or None
        Seconds that the pulse moves from record to record, if known.
    cycle : int or None
        Records after which it starts over, if known.
    sent : int or None
        How many triggers were sent, if known.
    alignment_method : str
        ``auto``, ``sine`` or ``correlation``.
    re_arm : float
        Seconds that the recorder needs between two records.
    asynchronous : bool
        Whether the trigger is asynchronous with the sample clock.
    clock_ppm : float
        Standard uncertainty of the sample clock's rate, parts per million; one clock for all modules.
    delays : tuple of (str, float)
        Channel and seconds: the cable and front-end delay that is taken off that channel's times, in place of the
        one in the session's file. Of two layers that give one for the same channel the higher one counts; a channel
        that none names keeps the file's.
    delay_u : float
        Standard uncertainty of each channel's cable delay, seconds; independent from channel to channel, the same in
        every record.
    splitter_u : float
        Standard uncertainty of each output of the splitter that feeds the channels, seconds: how equal they are. It
        enters where channels are compared, and is the same in every record.
    scale_percent : float
        Standard uncertainty of a channel's scale, percent of what it reads.
    trigger_offset_u : float
        Standard uncertainty of the recorded trigger offsets, seconds; independent from module to module, and taken as
        the same in every record. A trigger whose offset was not recorded has its own, a sample interval over √12.
    coverage_percent : float
        Coverage of the interval that decides claims, percent.
    origins : mapping
        For each name, where its value came from; of several layers the one that counts first.
    delay_origins : mapping
        For each channel that `delays` names, where its delay came from.
    """

    channel: str | None = None
    reference: str | None = None
    channels: tuple[str, ...] | None = None
    records: tuple[int, int] | None = None
    left_out: tuple[int, ...] = ()
    rejected_pulses: tuple[tuple[int, str, int], ...] = ()
    span: tuple[float, float] | None = None
    alignment_span: tuple[float, float] | None = None
    reference_pulse: tuple[float, float] | None = None
    position: Position = "midpoint"
    polarity_rule: PolarityRule = "largest"
    threshold: float | None = None
    min_width: float = 0.0
    min_gap: float | None = None
    increment: float | None = None
    cycle: int | None = None
    sent: int | None = None
    alignment_method: Method = "auto"
    re_arm: float = 0.0
    asynchronous: bool = False
    clock_ppm: float = 0.0
    delays: Delays = ()
    delay_u: float = 0.0
    splitter_u: float = 0.0
    scale_percent: float = 0.0
    trigger_offset_u: float = 0.0
    coverage_percent: float = 95.0
    origins: Mapping[str, Origin] = field(default_factory=dict, compare=False, repr=False)
    delay_origins: Mapping[str, Origin] = field(default_factory=dict, compare=False, repr=False)

    def origin(self, name: str) -> Origin:
        """Return where the value of setting `name` came from.

        Parameters
        ----------
        name : str
            Name of a setting.
        """
        return self.origins.get(name, "default")

    def delay_origin(self, channel: str) -> Origin:
        """Return where a channel's cable delay came from: ``default`` is the session's file.

        Parameters
        ----------
        channel : str
            Name of a channel.
        """
        return self.delay_origins.get(channel, "default")

    def as_json(self) -> dict[str, dict[str, Any]]:
        """Return ``{name: {"value", "from"}}`` for every setting; `delays` say it for each channel, ``"from_each"``."""
        told: dict[str, dict[str, Any]] = {
            name: {"value": _plain(getattr(self, name)), "from": self.origin(name)} for name in setting_names()
        }
        told["delays"]["value"] = dict(self.delays)
        told["delays"]["from_each"] = {channel: self.delay_origin(channel) for channel, _ in self.delays}
        return told


_NO_SETTINGS = ("origins", "delay_origins")


def _plain(value: Any) -> Any:
    return [_plain(part) for part in value] if isinstance(value, tuple) else value


def setting_names() -> tuple[str, ...]:
    """Return the names of all settings, in order."""
    return tuple(f.name for f in fields(Settings) if f.name not in _NO_SETTINGS)


def layered(
    option: Mapping[str, Any] | None = None,
    review: Mapping[str, Any] | None = None,
    claims: Mapping[str, Any] | None = None,
) -> Settings:
    """Combine settings: a command-line option counts before the review, that before the claims file.

    Parameters
    ----------
    option, review, claims : mapping of name to raw value
        Values as a person wrote them (``"60 us"``), or already in SI units. None values are passed over.

    Raises
    ------
    SettingError
        For a name that is no setting, or a value that cannot be used.
    """
    values: dict[str, Any] = {}
    origins: dict[str, Origin] = {}
    delay_origins: dict[str, Origin] = {}
    layers: tuple[tuple[Origin, Mapping[str, Any] | None], ...] = (
        ("claims", claims),
        ("review", review),
        ("option", option),
    )
    for origin, layer in layers:
        for name, raw in (layer or {}).items():
            if raw is None:
                continue
            value = parse_setting(name, raw)
            if name == "delays":  # channel by channel: each one's delay is a setting of its own
                delay_origins |= dict.fromkeys(dict(value), origin)
                value = combined(values.get(name, ()), value)
            values[name] = value
            origins[name] = origin
    return Settings(**values, origins=origins, delay_origins=delay_origins)


def parse_setting(name: str, raw: Any) -> Any:
    """Return one setting's value in SI units from what a person wrote.

    Parameters
    ----------
    name : str
        Name of a setting.
    raw : object
        As a person wrote it (``"60 us"``), or already in SI units.

    Returns
    -------
    object
        Of the type that `Settings` states for that name.

    Raises
    ------
    SettingError
        For a name that is no setting (the nearest name is offered), or a value that cannot be used.
    """
    reader = _READERS.get(name)
    if reader is None:
        raise SettingError(f"{name!r} is not a setting", _nearest(name))
    return reader(name, raw)


def _nearest(name: str) -> str:
    from difflib import get_close_matches

    close = get_close_matches(name, setting_names(), n=1)
    return f"the nearest one is {close[0]!r}" if close else f"the settings are {', '.join(setting_names())}"


def _text(name: str, raw: Any) -> str:
    if not isinstance(raw, str) or not raw.strip():
        raise SettingError(f"{name}: {quoted(raw)} is not a name", 'write it like "A1"')
    return raw.strip()


def _names(name: str, raw: Any) -> tuple[str, ...]:
    parts = raw.split(",") if isinstance(raw, str) else raw
    if not isinstance(parts, list | tuple) or not parts:
        raise SettingError(f"{name}: {quoted(raw)} is not a list of channel names", 'write it like "A1,A2"')
    return tuple(_text(name, part) for part in parts)


def _whole(name: str, raw: Any) -> int:
    try:
        value = int(str(raw))
    except ValueError as error:
        raise SettingError(f"{name}: {quoted(raw)} is not a whole number") from error
    if isinstance(raw, bool) or value < 0:
        raise SettingError(f"{name}: {quoted(raw)} is not a whole number from 0 up")
    return value


def _positive_whole(name: str, raw: Any) -> int:
    value = _whole(name, raw)
    if value < 1:
        raise SettingError(f"{name}: {quoted(raw)} is not a whole number from 1 up")
    return value


def _record_range(name: str, raw: Any) -> tuple[int, int]:
    parts = raw.split(":") if isinstance(raw, str) else raw
    if not isinstance(parts, list | tuple) or len(parts) != 2:
        raise SettingError(f"{name}: {quoted(raw)} is not a range of records", 'write it like "0:100"')
    first, stop = (_whole(name, part) for part in parts)
    if stop <= first:
        raise SettingError(f"{name}: {quoted(raw)} holds no record", 'write it like "0:100", the end not included')
    return (first, stop)


def _record_list(name: str, raw: Any) -> tuple[int, ...]:
    if not isinstance(raw, list | tuple):
        raise SettingError(f"{name}: {quoted(raw)} is not a list of record numbers")
    if _all_whole(raw):  # there may be very many
        return tuple(sorted(set(raw)))
    return tuple(sorted({_whole(name, part) for part in raw}))


def _all_whole(numbers: Sequence[Any]) -> bool:
    """Return whether all of some numbers are whole and from 0 up, without asking each one what it is."""
    return set(map(type, numbers)) <= {int} and min(numbers, default=0) >= 0


def _is_name(text: Any) -> bool:
    return isinstance(text, str) and text == text.strip() != ""


def _pulse_list(name: str, raw: Any) -> tuple[tuple[int, str, int], ...]:
    if not isinstance(raw, list | tuple):
        raise SettingError(f"{name}: {quoted(raw)} is not a list of pulses")
    if set(map(type, raw)) == {tuple} and set(map(len, raw)) == {3}:  # there may be very many
        records, names, samples = zip(*raw, strict=True)
        if _all_whole(records) and _all_whole(samples) and all(_is_name(one) for one in set(names)):
            return tuple(dict.fromkeys(sorted(raw)))  # they are in order, or nearly so: a set would mix them up
    pulses = set()
    for part in raw:
        if not isinstance(part, list | tuple) or len(part) != 3:
            raise SettingError(f"{name}: {part!r} is not a pulse", 'write it like [2, "H01", 345]')
        pulses.add((_whole(name, part[0]), _text(name, part[1]), _whole(name, part[2])))
    return tuple(sorted(pulses))


def _seconds(name: str, raw: Any) -> float:
    value = parse_number(raw, "s", name)
    if value < 0:
        raise SettingError(f"{name}: {quoted(raw)} is negative", "give a time from 0 up")
    return value


def _seconds_of_doubt(name: str, raw: Any) -> float:
    value = _seconds(name, raw)
    if value >= 1.0:
        raise SettingError(f"{name}: {quoted(raw)} is a second or more", 'write the unit with it, like "50 ps"')
    return value


def _volts(name: str, raw: Any) -> float:
    value = parse_number(raw, "V", name)
    if value <= 0:
        raise SettingError(f"{name}: {quoted(raw)} is not above 0", "give the distance from the base")
    return value


def _signed_seconds(name: str, raw: Any) -> float:
    value = parse_number(raw, "s", name)
    if value == 0:
        raise SettingError(f"{name}: a step of 0 is no step", "leave the setting out")
    return value


def _ppm(name: str, raw: Any) -> float:
    value = parse_number(raw, "", name)
    if value < 0:
        raise SettingError(f"{name}: {quoted(raw)} is negative", "give parts per million from 0 up")
    if value > 1e6:
        raise SettingError(f"{name}: {quoted(raw)} is more than the rate itself", "give parts per million")
    return value


def _percent(name: str, raw: Any) -> float:
    text = raw.strip().removesuffix("%") if isinstance(raw, str) else raw
    value = parse_number(text, "", name)
    if value < 0:
        raise SettingError(f"{name}: {quoted(raw)} is negative", "give percent from 0 up")
    if value > 100:
        raise SettingError(f"{name}: {quoted(raw)} is more than the scale itself", "give percent from 0 to 100")
    return value


def _coverage(name: str, raw: Any) -> float:
    value = _percent(name, raw)
    if not 50 <= value <= 99.99:
        raise SettingError(f"{name}: {quoted(raw)} is no usual coverage", "give percent from 50 to 99.99, like 95")
    return value


def _stretch(name: str, raw: Any) -> tuple[float, float]:
    if isinstance(raw, str):
        return parse_span(raw, "s", name)
    if not isinstance(raw, list | tuple) or len(raw) != 2:
        raise SettingError(f"{name}: {quoted(raw)} is not a stretch", 'write it like "0.1 ms .. 1.2 ms"')
    low, high = (parse_number(part, "s", name) for part in raw)
    if not low < high:
        raise SettingError(f"{name}: {quoted(raw)} does not end after it starts", 'write it like "0.1 ms .. 1.2 ms"')
    return (low, high)


def _choice(*words: str) -> Any:
    def read(name: str, raw: Any) -> str:
        if raw not in words:
            raise SettingError(f"{name}: {quoted(raw)} is not one of {', '.join(words)}")
        return str(raw)

    return read


def _yes_or_no(name: str, raw: Any) -> bool:
    if not isinstance(raw, bool):
        raise SettingError(f"{name}: {quoted(raw)} is neither true nor false")
    return raw


_READERS: dict[str, Any] = {
    "channel": _text,
    "reference": _text,
    "channels": _names,
    "records": _record_range,
    "left_out": _record_list,
    "rejected_pulses": _pulse_list,
    "span": _stretch,
    "alignment_span": _stretch,
    "reference_pulse": _stretch,
    "position": _choice(*POSITIONS),
    "polarity_rule": _choice(*get_args(PolarityRule)),
    "threshold": _volts,
    "min_width": _seconds,
    "min_gap": _seconds,
    "increment": _signed_seconds,
    "cycle": _positive_whole,
    "sent": _positive_whole,
    "alignment_method": _choice(*get_args(Method)),
    "re_arm": _seconds,
    "asynchronous": _yes_or_no,
    "clock_ppm": _ppm,
    "delays": read_delays,
    "delay_u": _seconds_of_doubt,
    "splitter_u": _seconds_of_doubt,
    "scale_percent": _percent,
    "trigger_offset_u": _seconds_of_doubt,
    "coverage_percent": _coverage,
}
