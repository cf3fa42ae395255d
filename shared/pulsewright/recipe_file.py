"""Recipe files, ``NAME.recipe.toml``: read and checked, with the line of whatever is wrong."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from pulsewright.errors import SettingError
from pulsewright.layout import SAMPLE_TYPES
from pulsewright.minus import quoted
from pulsewright.quantity import parse_number
from pulsewright.recipe import (
    ChannelPlan,
    HumPlan,
    ModulePlan,
    PulsePlan,
    Recipe,
    SinePlan,
    Surge,
    TriggerPlan,
)
from pulsewright.recipe_tables import RecipeTable, RecipeText
from pulsewright.session import Channel
from pulsewright.toml_lines import TomlError, toml_table, toml_text_of

MOST = {"records": 10_000_000, "record_length": 100_000_000}
"""What a recipe may ask for: one record on one channel, and a number for each record, are held in memory."""


def read_recipe(path: str | Path) -> Recipe:
    """Read and check a recipe file.

    Parameters
    ----------
    path : str or Path
        TOML in UTF-8.

    Raises
    ------
    RecipeError
        With the first thing that is wrong and its line.
    """
    path = Path(path)
    text = ""
    try:
        text = toml_text_of(path, "a recipe")
        raw = toml_table(text)
    except TomlError as error:
        RecipeText(path, text).fail(error.line, error.cause, error.remedy)
    return _recipe(RecipeTable(RecipeText(path, text), raw), path)


def _recipe(top: RecipeTable, path: Path) -> Recipe:
    trigger = _trigger(top.table("trigger", needed=True))
    recorder = top.table("recorder")
    unit = recorder.text("unit", "V")
    sample_type = recorder.text("type", "int16", SAMPLE_TYPES)
    ends = _ends(sample_type)
    first = ends or (-32768, 32767)
    usual = _described(recorder, ChannelPlan(Channel("", "", unit, lowest_code=first[0], highest_code=first[1])), ends)
    recorder.done()
    modules, channels = _modules(top, usual, ends)
    names = [plan.channel.name for plan in channels]
    recipe = Recipe(
        records=top.whole("records", least=1),
        sample_rate=top.number("sample_rate", "Hz", above=0),
        record_length=top.whole("record_length", least=1),
        pre_trigger=top.whole("pre_trigger", 0, least=0),
        trigger=trigger,
        modules=modules,
        channels=channels,
        pulses=tuple(_pulse(table, unit, names) for table in top.tables("pulses")),
        sines=tuple(_sine(table, unit, names) for table in top.tables("sines")),
        hums=tuple(_hum(table, unit) for table in top.tables("hums")),
        seed=top.whole("seed", 0, least=0),
        sample_type=sample_type,
        title=top.text("title", ""),
        notes=top.text("notes", ""),
        origin=f"pulsewright simulate {path.name}",
        created=top.take("created", _date, ""),
    )
    top.done()
    _check(top, recipe)
    return recipe


def _check(top: RecipeTable, recipe: Recipe) -> None:
    """Check what several tables say together."""
    for key, value in (("records", recipe.records), ("record_length", recipe.record_length)):
        if value > MOST[key]:
            top.fail(key, f"{key}: {value:,} is more than can be simulated", f"give at most {MOST[key]:,}")
    if recipe.pre_trigger > recipe.record_length:
        top.fail(
            "pre_trigger",
            f"pre_trigger: {recipe.pre_trigger}, but a record has only {recipe.record_length} samples",
            "give a smaller number",
        )
    for place, module in enumerate(recipe.modules):
        losses = recipe.losses(module)
        kept = recipe.records + len(losses)
        if losses and losses[-1] >= kept:
            whose = "lost" if losses[-1] in module.lost else "missed"
            table = top.tables("modules")[place] if whose == "lost" else top.table("trigger")
            table.fail(
                whose,
                f"{whose}: {module.name} has all its {recipe.records} records before trigger {losses[-1]}",
                f"triggers count from 0, and here go up to {kept - 1}",
            )
    for place, pulse in enumerate(recipe.pulses):
        for surge in pulse.surges:
            if surge.record >= recipe.records:
                top.tables("pulses")[place].fail(
                    "surges", f"surges: there is no record {surge.record}", f"records go from 0 to {recipe.records - 1}"
                )


def _date(value: Any) -> str:
    try:
        datetime.fromisoformat(value)
    except (TypeError, ValueError) as error:
        raise SettingError(
            f"created: {str(value)!r} is no date in ISO 8601", 'write it like "2031-04-12T09:30:00+02:00"'
        ) from error
    return str(value)


def _trigger(table: RecipeTable) -> TriggerPlan:
    plan = TriggerPlan(
        period=table.number("period", "s", above=0),
        jitter=table.number("jitter", "s", 0.0, least=0),
        drift=table.number("drift", "s", 0.0),
        missed=table.wholes("missed"),
        timed=table.flag("timed", True),
        together=table.flag("together", False),
    )
    table.done()
    return plan


def _ends(sample_type: str) -> tuple[int, int] | None:
    """Return the codes that a sample type holds; None where it holds any number."""
    dtype = np.dtype(sample_type)
    return None if dtype.kind == "f" else (int(np.iinfo(dtype).min), int(np.iinfo(dtype).max))


def _described(table: RecipeTable, usual: ChannelPlan, ends: tuple[int, int] | None) -> ChannelPlan:
    """Return a channel as a table describes it, and as usual where the table says nothing."""
    own, unit = usual.channel, usual.channel.unit
    scale = table.number("scale", unit, own.scale)
    if scale == 0:
        table.fail("scale", "scale: is 0", "give units for each code")
    lowest = table.whole("lowest_code", own.lowest_code)
    highest = table.whole("highest_code", own.highest_code)
    if not lowest < highest:
        table.fail("highest_code", f"highest_code: {highest} is not above the lowest code, {lowest}")
    if ends is not None and (lowest < ends[0] or highest > ends[1]):
        table.fail("lowest_code", f"lowest_code, highest_code: the sample type holds {ends[0]} to {ends[1]} only")
    channel = replace(
        own,
        scale=scale,
        offset=table.number("offset", unit, own.offset),
        lowest_code=lowest,
        highest_code=highest,
        delay=table.number("delay", "s", own.delay),
    )
    gain = table.number("gain", "", abs(usual.gain), above=0)
    return ChannelPlan(
        channel,
        late=table.number("late", "s", usual.late),
        gain=-gain if table.flag("turned", usual.gain < 0) else gain,
        base=table.number("base", unit, usual.base),
        noise=table.number("noise", unit, usual.noise, least=0),
        drift=table.number("drift", unit, usual.drift),
    )


def _modules(
    top: RecipeTable, usual: ChannelPlan, ends: tuple[int, int] | None
) -> tuple[tuple[ModulePlan, ...], tuple[ChannelPlan, ...]]:
    modules: list[ModulePlan] = []
    places: dict[str, str] = {}
    for table in top.tables("modules", needed=True):
        name = table.text("name")
        if not name.strip() or name in [module.name for module in modules]:
            table.fail("name", f"name: {name!r} is no name of its own", "name every module differently")
        for channel in table.names("channels"):
            if channel in places:
                table.fail("channels", f"channels: {channel!r} is on {places[channel]} already", "name each once")
            places[channel] = name
        modules.append(
            ModulePlan(
                name,
                late=table.number("late", "s", 0.0),
                clock_ppm=table.number("clock_ppm", "", 0.0, above=-1e6),
                lost=table.wholes("lost"),
            )
        )
        table.done()
    special = top.table("channels")
    for name in special.keys:
        if name not in places:
            special.fail(name, f"channels: no module has a channel {name!r}", f"there are {', '.join(places)}")
    plans = []
    for name, module in places.items():
        named = replace(usual, channel=replace(usual.channel, name=name, module=module))
        table = special.table(name)
        plans.append(_described(table, named, ends))
        table.done()
    return tuple(modules), tuple(plans)


def _known(names: Sequence[str], channels: Sequence[str], key: str) -> None:
    for name in names:
        if name not in channels:
            raise SettingError(f"{key}: there is no channel {name!r}", f"there are {', '.join(channels)}")


def _pulse(table: RecipeTable, unit: str, channels: Sequence[str]) -> PulsePlan:
    def factors(value: Any) -> tuple[tuple[str, float], ...]:
        if not isinstance(value, dict):
            raise SettingError("factors: is not a table", "write it like factors = { H01 = 1.0, H02 = 0.9 }")
        _known(list(value), channels, "factors")
        return tuple((name, parse_number(_plain(factor), "", f"factors, {name}")) for name, factor in value.items())

    def surges(value: Any) -> tuple[Surge, ...]:
        form = 'write it like surges = [{ channel = "H02", record = 14, factor = 3.2 }]'
        found = []
        for one in value if isinstance(value, list) else [value]:
            if not isinstance(one, dict) or set(one) != {"channel", "record", "factor"}:
                raise SettingError(f"surges: {quoted(one)} is no surge", form)
            _known([one["channel"]], channels, "surges")
            if isinstance(one["record"], bool) or not isinstance(one["record"], int) or one["record"] < 0:
                raise SettingError(f"surges: {one['record']!r} is no record", form)
            found.append(Surge(one["channel"], one["record"], parse_number(_plain(one["factor"]), "", "surges")))
        return tuple(found)

    plan = PulsePlan(
        name=table.text("name"),
        at=table.number("at", "s"),
        amplitude=table.number("amplitude", unit),
        sigma=table.number("sigma", "s", above=0),
        curvature=table.number("curvature", "", 0.0, least=0),
        increment=table.number("increment", "s", 0.0),
        cycle=table.whole("cycle", None, least=1),
        drift=table.number("drift", "s", 0.0),
        jitter=table.number("jitter", "s", 0.0, least=0),
        polarity=table.take("polarity", _polarity, (1,)),
        factors=table.take("factors", factors, ()),
        surges=table.take("surges", surges, ()),
    )
    table.done()
    return plan


def _plain(value: Any) -> str | float:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise SettingError(f"{quoted(value)} is not a number", "write one like 0.9")
    return value


def _polarity(value: Any) -> tuple[int, ...]:
    if value == "constant":
        return (1,)
    if value == "alternates":
        return (1, -1)
    parts = value.split() if isinstance(value, str) else []
    if not parts or not set(parts) <= {"+", "-"}:
        raise SettingError(
            f"polarity: {quoted(value)} is no polarity", 'write "constant", "alternates", or one round like "+ + - -"'
        )
    return tuple(1 if part == "+" else -1 for part in parts)


def _sine(table: RecipeTable, unit: str, channels: Sequence[str]) -> SinePlan:
    names = table.names("channels", ())
    try:
        _known(names, channels, "channels")
    except SettingError as error:
        table.fail("channels", error.cause, error.remedy)
    plan = SinePlan(table.number("frequency", "Hz", above=0), table.number("amplitude", unit), names)
    table.done()
    return plan


def _hum(table: RecipeTable, unit: str) -> HumPlan:
    plan = HumPlan(table.number("frequency", "Hz", above=0), table.number("amplitude", unit))
    table.done()
    return plan
