"""What is claimed of each sample session, and the settings that it is measured by, as text of its claims file.

Some claims hold, some fail on purpose, and some cannot be decided by so few records: each kind of verdict can be seen.
"""

from __future__ import annotations

from dataclasses import dataclass, field

TANK_SETTINGS = {
    "channel": "H01",
    "reference": "H01",
    "span": "190 us .. 330 us",
    "alignment_span": "5 us .. 25 us",
    "position": "midpoint",
}
SINE_SETTINGS = {"channel": "H01", "reference": "H01", "alignment_method": "sine"}


@dataclass(frozen=True)
class Sheet:
    """One claims file.

    Attributes
    ----------
    title : str
    settings : dict
        Name to value as it is written.
    claims : tuple of dict
        Name, kind, limit and so on, as they are written.
    """

    title: str
    settings: dict[str, str]
    claims: tuple[dict[str, str | int], ...] = field(default_factory=tuple)

    @property
    def text(self) -> str:
        """The file's text, TOML."""
        parts = [f'title = "{self.title}"', "", "[settings]", *_lines(self.settings)]
        for claim in self.claims:
            parts += ["", "[[claims]]", *_lines(claim)]
        return "\n".join(parts) + "\n"


def _lines(table: dict[str, str] | dict[str, str | int]) -> list[str]:
    return [f"{key} = {value}" if isinstance(value, int) else f'{key} = "{value}"' for key, value in table.items()]


def _claim(name: str, kind: str, limit: str | int | None = None, **more: str | int) -> dict[str, str | int]:
    return {"name": name, "kind": kind, **({} if limit is None else {"limit": limit}), **more}


STEP = _claim("The plate moves 7.5 mm a ping", "increment", "10.12 us ± 10 ns")
WALK = _claim("Twelve stops cover 82.5 mm", "extent", "111.31 us ± 0.1 us", intervals=11)
KEPT = _claim("Every ping was kept", "no_missed_trigger")
TOGETHER = _claim("The modules hold the same pings", "no_slip")
TURNED = _claim("The drive turns at each ping", "polarity", "alternates")
PERIOD = _claim("The pinger keeps its beat", "trigger_period", "50 ms ± 1 us")
ROOM = _claim("The recorder has time between records", "dead_time", "49 ms")
SIZE = _claim("The echo is well above the noise", "amplitude", "0.3 V .. 0.6 V")
ALIGNED = _claim("All channels hear the test pulse at once", "skew", "5 ns")
JOINED = _claim("The modules are aligned", "skew_between_modules", "5 ns")
UNCLIPPED = _claim("Nothing is clipped", "no_clipped_sample")
QUIET = _claim("All channels are quiet", "noise", "5 mV")


def _sent(number: int) -> dict[str, str | int]:
    return _claim(f"All {number} pings are accounted for", "triggers_sent", number)


SHEETS: dict[str, Sheet] = {
    "tank_walk": Sheet(
        "Inspection tank: does the plate walk as it should, and was every ping kept?",
        TANK_SETTINGS,
        (
            *(STEP, WALK, KEPT, _sent(36), TOGETHER, TURNED, PERIOD, ROOM, SIZE, ALIGNED, JOINED),
            _claim("The plate stops where it should", "jitter", "15 ns"),
            *(UNCLIPPED, QUIET),
        ),
    ),
    "tank_faults": Sheet(
        "Inspection tank: what went wrong in this run?",
        TANK_SETTINGS,
        (
            *(STEP, WALK, KEPT, _sent(38), TOGETHER, TURNED, PERIOD, ROOM),
            _claim("The echo has its size on the first module", "amplitude", "0.3 V .. 0.6 V", channels="H01,H02,H04"),
            *(ALIGNED, JOINED),
            _claim("Channels of a module are aligned", "skew_within_modules", "12 ns"),
            _claim("The plate stops where it should", "jitter", "5 ns"),
            *(UNCLIPPED, QUIET),
        ),
    ),
    "tank_slip": Sheet(
        "Inspection tank: do all modules hold the same pings?",
        TANK_SETTINGS,
        (TOGETHER, KEPT, STEP, TURNED, PERIOD, ALIGNED, JOINED, UNCLIPPED, QUIET),
    ),
    "tank_sine": Sheet(
        "Inspection tank: how far are the twelve channels apart?",
        SINE_SETTINGS,
        (
            _claim("All channels are aligned", "skew", "8 ns"),
            _claim("The modules are aligned", "skew_between_modules", "3 ns"),
            _claim("The first two modules are aligned", "skew_between_modules", "3 ns", modules="M1,M2"),
            _claim("The converters are as good as they should be", "enob", "7.5"),
            *(QUIET, UNCLIPPED, PERIOD),
        ),
    ),
}
