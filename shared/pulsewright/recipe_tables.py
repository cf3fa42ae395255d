"""The tables of a simulation recipe as a person writes them: each value taken once, whatever is left has no meaning."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn, TypeVar

from pulsewright.errors import RecipeError, SettingError
from pulsewright.minus import quoted
from pulsewright.quantity import parse_number
from pulsewright.toml_lines import line_in_list, line_of

Value = TypeVar("Value")
NEEDED: Any = object()
"""In place of a default where there is none."""


@dataclass(frozen=True)
class RecipeText:
    """A recipe's text and the file that it is in, for errors.

    Attributes
    ----------
    path : Path
    text : str
    """

    path: Path
    text: str

    def fail(self, line: int | None, cause: str, remedy: str = "") -> NoReturn:
        """Say what is wrong, and in which line.

        Parameters
        ----------
        line : int or None
            From 1.
        cause, remedy : str
            As for `PulsewrightError`.

        Raises
        ------
        RecipeError
            Always.
        """
        place = f"{self.path.name}, line {line}" if line else self.path.name
        raise RecipeError(f"{place}: {cause}", remedy)


class RecipeTable:
    """One table of a recipe.

    Parameters
    ----------
    source : RecipeText
        Where it stands.
    raw : dict
        What it holds.
    heading : str
        ``"trigger"``, ``"channels.H07"``, or ``"pulses"`` for one headed ``[[pulses]]``; empty for the top.
    place : int or None
        Which of its list it is, from 0; None where it is no list.
    """

    def __init__(self, source: RecipeText, raw: dict[str, Any], heading: str = "", place: int | None = None) -> None:
        self._source, self._raw, self._heading, self._place = source, raw, heading, place
        self._known: list[str] = []

    def fail(self, key: str, cause: str, remedy: str = "") -> NoReturn:
        """Say what is wrong with a key of this table, or with the table where the key is empty.

        Parameters
        ----------
        key : str
            The key.
        cause, remedy : str
            As for `PulsewrightError`.

        Raises
        ------
        RecipeError
            Always, with the line.
        """
        text = self._source.text
        if self._place is not None:
            line = line_in_list(text, self._heading, self._place, key)
        else:
            line = line_of(text, self._heading, key) or (line_of(text, "", self._heading) if self._heading else None)
        self._source.fail(line, cause, remedy)

    def take(self, key: str, read: Callable[[Any], Value], default: Value = NEEDED) -> Value:
        """Return what a key says.

        Parameters
        ----------
        key : str
            Its name; it counts as known from here on.
        read : callable
            Returns the value from what TOML has; a `SettingError` of it is told with the line.
        default
            What an absent key means; without it the key must be there.

        Raises
        ------
        RecipeError
            If the key is needed and absent, or its value has no meaning.
        """
        self._known.append(key)
        if key not in self._raw:
            if default is NEEDED:
                self.fail("", f"{self.name} needs {key}", "add it")
            return default
        try:
            return read(self._raw[key])
        except SettingError as error:
            self.fail(key, error.cause, error.remedy)

    @property
    def name(self) -> str:
        """What a person calls this table: its heading as it is written."""
        if not self._heading:
            return "a recipe"
        return f"[{self._heading}]" if self._place is None else f"[[{self._heading}]]"

    def number(
        self, key: str, unit: str, default: float = NEEDED, *, least: float | None = None, above: float | None = None
    ) -> float:
        """Return a number with a unit, in SI units.

        Parameters
        ----------
        key : str
            Its name.
        unit : str
            As for `parse_number`.
        default : float, optional
            What an absent key means.
        least, above : float, optional
            What it must not be below, and what it must be above.

        Raises
        ------
        RecipeError
            If it is no such number.
        """

        def read(value: Any) -> float:
            if isinstance(value, bool) or not isinstance(value, int | float | str):
                raise SettingError(
                    f"{key}: {quoted(value)} is not a number", f'write it like {key} = "1.5 {unit}"'.rstrip()
                )
            number = parse_number(value, unit, key)
            if (least is not None and number < least) or (above is not None and number <= above):
                bound = f"at least {least:g}" if least is not None else f"above {above:g}"
                raise SettingError(f"{key}: {quoted(value)} cannot be used", f"it must be {bound} {unit}".rstrip())
            return number

        return self.take(key, read, default)

    def whole(self, key: str, default: Any = NEEDED, *, least: int | None = None) -> Any:
        """Return a whole number.

        Parameters
        ----------
        key : str
            Its name.
        default : int or None, optional
            What an absent key means.
        least : int, optional
            What it must not be below.

        Raises
        ------
        RecipeError
            If it is no such number.
        """
        return self.take(key, lambda value: _whole(key, value, least), default)

    def wholes(self, key: str) -> tuple[int, ...]:
        """Return a list of numbers of triggers or records, from 0 up, rising; empty where the key is absent.

        Parameters
        ----------
        key : str
            Its name.

        Raises
        ------
        RecipeError
            If it is no such list.
        """
        return self.take(
            key, lambda value: tuple(sorted({_whole(key, one, 0) for one in _list(key, value, f"{key} = [9, 24]")})), ()
        )

    def text(self, key: str, default: str = NEEDED, choices: Sequence[str] = ()) -> str:
        """Return a text.

        Parameters
        ----------
        key : str
            Its name.
        default : str, optional
            What an absent key means.
        choices : sequence of str
            What it may be; empty: anything.

        Raises
        ------
        RecipeError
            If it is no such text.
        """

        def read(value: Any) -> str:
            if not isinstance(value, str) or (choices and value not in choices):
                what = f"is none of {', '.join(choices)}" if choices else "is not text"
                raise SettingError(
                    f"{key}: {quoted(value)} {what}", f'write {key} = "{choices[0] if choices else "…"}"'
                )
            return value

        return self.take(key, read, default)

    def flag(self, key: str, default: bool) -> bool:
        """Return true or false.

        Parameters
        ----------
        key : str
            Its name.
        default : bool
            What an absent key means.

        Raises
        ------
        RecipeError
            If it is neither.
        """

        def read(value: Any) -> bool:
            if not isinstance(value, bool):
                raise SettingError(f"{key}: {quoted(value)} is neither true nor false", f"write {key} = true")
            return value

        return self.take(key, read, default)

    def names(self, key: str, default: tuple[str, ...] = NEEDED) -> tuple[str, ...]:
        """Return a list of names, each once.

        Parameters
        ----------
        key : str
            Its name.
        default : tuple of str, optional
            What an absent key means.

        Raises
        ------
        RecipeError
            If it is no such list.
        """
        form = f'{key} = ["H01", "H02"]'

        def read(value: Any) -> tuple[str, ...]:
            names = _list(key, value, form)
            if not names or not all(isinstance(name, str) and name.strip() for name in names):
                raise SettingError(f"{key}: {quoted(value)} is not a list of names", f"write it like {form}")
            for place, name in enumerate(names):
                if name in names[:place]:
                    raise SettingError(f"{key}: {name!r} stands there twice", "name each once")
            return tuple(names)

        return self.take(key, read, default)

    def table(self, key: str, *, needed: bool = False) -> RecipeTable:
        """Return a table of this one; an empty one where the key is absent.

        Parameters
        ----------
        key : str
            Its name.
        needed : bool
            Whether it must be there.

        Raises
        ------
        RecipeError
            If it is no table, or needed and absent.
        """
        heading = f"{self._heading}.{key}" if self._heading else key
        raw = self.take(key, lambda value: _table(key, value, f"[{heading}]"), NEEDED if needed else {})
        return RecipeTable(self._source, raw, heading)

    def tables(self, key: str, *, needed: bool = False) -> list[RecipeTable]:
        """Return a list of tables; an empty one where the key is absent.

        Parameters
        ----------
        key : str
            Its name.
        needed : bool
            Whether there must be at least one.

        Raises
        ------
        RecipeError
            If it is no such list, or needed and absent.
        """
        form = f"[[{key}]]"

        def read(value: Any) -> list[RecipeTable]:
            if not isinstance(value, list) or not value:
                raise SettingError(f"{key} is not a list of tables", f"head each {form}")
            return [RecipeTable(self._source, _table(key, one, form), key, place) for place, one in enumerate(value)]

        return self.take(key, read, NEEDED if needed else [])

    @property
    def keys(self) -> tuple[str, ...]:
        """Every key that stands here, known or not."""
        return tuple(self._raw)

    def done(self) -> None:
        """Refuse what nobody has asked for.

        Raises
        ------
        RecipeError
            With the first key that has no meaning.
        """
        for key in self._raw:
            if key not in self._known:
                self.fail(
                    key, f"{key!r} has no meaning in {self.name}", f"what may stand here: {', '.join(self._known)}"
                )


def _whole(key: str, value: Any, least: int | None) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not -(1 << 63) <= value < 1 << 63:
        raise SettingError(f"{key}: {quoted(value)} is not a whole number")
    if least is not None and value < least:
        raise SettingError(f"{key}: {quoted(value)} is too small", f"it must be at least {least}")
    return value


def _list(key: str, value: Any, form: str) -> list[Any]:
    if not isinstance(value, list):
        raise SettingError(f"{key}: {quoted(value)} is not a list", f"write it like {form}")
    return value


def _table(key: str, value: Any, form: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise SettingError(f"{key} is not a table", f"head it {form}")
    return value
