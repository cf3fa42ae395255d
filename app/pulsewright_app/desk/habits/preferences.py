"""How a person wants the desk to begin. Plain values, checked; no Qt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, Literal, get_args, get_type_hints

if TYPE_CHECKING:
    from pulsewright_app.desk.viewing import Viewing

ThemeChoice = Literal["system", "light", "dark"]
ViewChoice = Literal["single", "stacked", "afterglow", "map"]
InkChoice = Literal["count", "polarity"]
SnapChoice = Literal["pulses", "samples", "crossings", "nothing"]

SMALLEST_FONT, LARGEST_FONT = 80, 200
FASTEST = 50.0


@dataclass(frozen=True)
class Preferences:
    """What a person prefers.

    Attributes
    ----------
    theme : str
        ``system`` follows the system's own.
    font_percent : int
        Size of all letters, in percent of the usual one.
    view, inks : str
        The view that a session begins in, and how Afterglow is inked.
    logarithmic, lanes, loop : bool
        Ink by the logarithm of the count; a lane for each channel in Single; start again after the last record.
    pace : float
        Records a second while playing.
    snap : str
        Where a marker goes when it is dropped.
    neighbours : int
        Records that Stacked shows at once.
    """

    theme: ThemeChoice = "system"
    font_percent: int = 100
    view: ViewChoice = "single"
    inks: InkChoice = "count"
    logarithmic: bool = True
    lanes: bool = True
    loop: bool = False
    pace: float = 5.0
    snap: SnapChoice = "pulses"
    neighbours: int = 12

    def __post_init__(self) -> None:
        hints = get_type_hints(Preferences)
        for field in fields(self):
            value, allowed = getattr(self, field.name), get_args(hints[field.name])
            if allowed and value not in allowed:
                raise ValueError(f"{field.name} is {value!r}, not one of {', '.join(allowed)}")
            if not allowed and type(value) is not hints[field.name]:
                raise ValueError(f"{field.name} is {value!r}")
        if not SMALLEST_FONT <= self.font_percent <= LARGEST_FONT:
            raise ValueError(f"font_percent is not between {SMALLEST_FONT} and {LARGEST_FONT}")
        if not (0 < self.pace <= FASTEST and 1 <= self.neighbours <= 200):
            raise ValueError("the pace or the number of neighbours is out of range")

    def as_plain(self) -> dict[str, Any]:
        """Return them as they are written into a file."""
        return {field.name: getattr(self, field.name) for field in fields(self)}

    @classmethod
    def of(cls, written: Mapping[str, Any]) -> Preferences:
        """Return what a file says; what it does not name is as usual, and what nobody knows is passed over.

        Raises
        ------
        ValueError
            If a value cannot be used.
        """
        known = {field.name for field in fields(cls)}
        values = {name: value for name, value in written.items() if name in known}
        if isinstance(values.get("pace"), int) and not isinstance(values["pace"], bool):
            values["pace"] = float(values["pace"])
        return cls(**values)


def apply(preferences: Preferences, viewing: Viewing, before: Preferences | None = None) -> None:
    """Let the desk look as a person prefers; the theme and the size of letters are the window's.

    With the preferences from before, only what differs from them: the rest may be looked at otherwise just now.
    """
    for name, put in (
        ("view", viewing.set_view),
        ("inks", viewing.set_inks),
        ("logarithmic", viewing.set_logarithmic),
        ("lanes", viewing.set_lanes),
        ("loop", viewing.set_loop),
        ("pace", viewing.set_pace),
        ("snap", viewing.set_snap),
        ("neighbours", viewing.set_neighbours),
    ):
        value: Any = getattr(preferences, name)
        if before is None or value != getattr(before, name):
            put(value)
