"""How a file is understood: every assumption with its value and where it came from, each to be overridden by option."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, Literal, TypeVar

from pulsewright.errors import PulsewrightError, RecordingError
from pulsewright.formats.option_words import FOR_CHANNELS, OPTIONS
from pulsewright.session import Session

Origin = Literal["file", "option", "guessed", "missing"]
Value = TypeVar("Value")

_SAID = {"file": "said by the file", "option": "given", "guessed": "guessed", "missing": "not known"}


@dataclass(frozen=True)
class Assumption:
    """One thing that had to be known to understand a file.

    Attributes
    ----------
    name : str
        Name of the option that sets it, a key of `option_words.OPTIONS`.
    value : str
        As the option would be written; empty where it is missing.
    origin : str
        ``file``: said by the file; ``option``: given by a person; ``guessed``: concluded from the content, or a
        default; ``missing``: must be given before the file can be converted.
    why : str
        What a guess rests on, or what to give where it is missing; a clause without a full stop.
    choices : tuple of str
        The values that it may have, where they can be listed.
    """

    name: str
    value: str
    origin: Origin
    why: str = ""
    choices: tuple[str, ...] = ()

    @property
    def label(self) -> str:
        """What a person calls it: ``Sample rate``."""
        return OPTIONS[self.name].label

    @property
    def sentence(self) -> str:
        """One line: what, its value, where from and why."""
        why = f": {self.why}" if self.why else ""
        value = f" {self.value}" if self.value else ""
        return f"{self.label}:{value} ({_SAID[self.origin]}{why})"


@dataclass(frozen=True)
class Reading:
    """A file of another format, open, as it is understood.

    Attributes
    ----------
    path : Path
        The file.
    format : str
        What a person calls its format.
    session : Session
        Lazy: samples are read when they are asked for. A sample rate that is missing counts as 1 Hz here.
    assumptions : tuple of Assumption
        In the order in which a person would want to look at them.
    odd : tuple of str
        What is odd in the file, each a clause without a full stop.
    problems : tuple of RecordingError
        What stands in the way of a conversion, each with the option that would mend it.
    time_origin : Fraction
        The first trigger by the file's own clock, seconds, so that files of one clock can be joined by time.
    """

    path: Path
    format: str
    session: Session
    assumptions: tuple[Assumption, ...]
    odd: tuple[str, ...] = ()
    problems: tuple[RecordingError, ...] = ()
    time_origin: Fraction = Fraction(0)

    def checked(self) -> Session:
        """Return the session, if nothing stands in the way of converting it.

        Raises
        ------
        RecordingError
            The first thing that does.
        """
        for problem in self.problems:
            raise problem
        return self.session

    @property
    def assumed(self) -> bool:
        """Whether anything at all was guessed or given, rather than said by the file."""
        return any(told.value and told.origin in ("guessed", "option") for told in self.assumptions)

    @property
    def notes(self) -> str:
        """What was assumed, one line each, as it is stored in the notes of a converted session."""
        lines = [f"Converted from {self.path.name} ({self.format}). Understood as:"]
        lines += [f"- {told.sentence}." for told in self.assumptions if told.value or told.origin == "missing"]
        lines += [f"! {clause}." for clause in self.odd]
        return "\n".join(lines)

    def close(self) -> None:
        """Give back the file."""
        self.session.close()

    def __enter__(self) -> Reading:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class ReadingCancelled(Exception):  # noqa: N818 - nothing went wrong: it was asked for
    """Looking through a file was stopped because `cancelled` said so."""


class Ledger:
    """Where a reader asks for what it needs to know, and which keeps what was answered, and by whom.

    An option comes first, then what the file says, then a guess.

    Parameters
    ----------
    file_name : str
        For errors.
    options : mapping of str to str
        What a person gave: names of `option_words.OPTIONS`, each value as text.
    progress : callable, optional
        Told (share done 0 … 1, what is being done) by readers that must look through a whole file.
    cancelled : callable, optional
        Asked by them now and then; they stop when it returns True.
    channels : mapping of str to mapping of str to str, optional
        For single channels, by the names that they have without: options of `option_words.FOR_CHANNELS`.

    Attributes
    ----------
    said : dict of str to str
        What a description that belongs to the file says, as options would say it.
    channels : dict
        As given.

    Raises
    ------
    RecordingError
        If there is no option of one of the names.
    """

    def __init__(
        self,
        file_name: str,
        options: Mapping[str, str] | None = None,
        progress: Callable[[float, str], None] | None = None,
        cancelled: Callable[[], bool] | None = None,
        channels: Mapping[str, Mapping[str, str]] | None = None,
    ) -> None:
        self.file_name = file_name
        self.options = {name: str(value).strip() for name, value in (options or {}).items()}
        self.progress = progress
        self.cancelled = cancelled
        self.said: dict[str, str] = {}
        self.channels: dict[str, dict[str, str]] = {
            name: {key: str(value).strip() for key, value in table.items()} for name, table in (channels or {}).items()
        }
        self.assumptions: list[Assumption] = []
        self.odd: list[str] = []
        self.problems: list[RecordingError] = []
        self._asked: set[str] = set()
        for name in self.options:
            if name not in OPTIONS:
                raise RecordingError(f"there is no option {name!r}", f"choose from {', '.join(OPTIONS)}", name)
        for table in self.channels.values():
            for name in table:
                if name not in FOR_CHANNELS:
                    known = ", ".join(FOR_CHANNELS)
                    raise RecordingError(f"a channel has no {name!r}", f"choose from {known}", name)

    def decide(
        self,
        name: str,
        parse: Callable[[str], Value],
        show: Callable[[Value], str] = str,
        *,
        in_file: Value | None = None,
        guess: Value | None = None,
        why: str = "",
        choices: Sequence[str] = (),
    ) -> Value | None:
        """Return one thing that must be known, and note where it came from.

        Parameters
        ----------
        name : str
            Name of the option.
        parse : callable
            Reads the option's text; a `PulsewrightError` that it raises is told with the option's name.
        show : callable
            Writes a value as the option would be written.
        in_file, guess : optional
            What the file says, and what to take if nobody says anything.
        why : str
            What the guess rests on; where there is no guess, what to give.
        choices : sequence of str
            The values that it may have, where they can be listed.

        Returns
        -------
        The value; None where it is missing, which then stands in the way of a conversion.

        Raises
        ------
        RecordingError
            If the option's text cannot be used.
        """
        self._asked.add(name)
        given = self.options.get(name)
        if given is not None:
            value = self._parsed(name, parse, given, choices)
            self._note(Assumption(name, given, "option", choices=tuple(choices)))
            return value
        if name in self.said:
            value = self._parsed(name, parse, self.said[name], choices)
            self._note(Assumption(name, self.said[name], "file", choices=tuple(choices)))
            return value
        if in_file is not None:
            self._note(Assumption(name, show(in_file), "file", choices=tuple(choices)))
            return in_file
        if guess is not None:
            self._note(Assumption(name, show(guess), "guessed", why, tuple(choices)))
            return guess
        remedy = why or f'give it, for example "{OPTIONS[name].example}"'
        self._note(Assumption(name, "", "missing", remedy, tuple(choices)))
        label = OPTIONS[name].label.lower()
        self.refuse(f"{self.file_name}: does not say its {label}", remedy, name)
        return None

    def given(self, name: str) -> str | None:
        """Return an option's text without noting an assumption; None if it was not given.

        Parameters
        ----------
        name : str
            Name of the option.
        """
        self._asked.add(name)
        return self.options.get(name)

    def note(self, name: str, value: str, origin: Origin, why: str = "", choices: Sequence[str] = ()) -> None:
        """Note an assumption that was come by in another way than `decide`.

        Parameters
        ----------
        name, value, origin, why, choices
            As for `Assumption`.
        """
        self._asked.add(name)
        self._note(Assumption(name, value, origin, why, tuple(choices)))

    def refuse(self, cause: str, remedy: str, option: str = "") -> None:
        """Note something that stands in the way of a conversion; a description and a preview are still possible.

        Parameters
        ----------
        cause, remedy, option
            As for `RecordingError`.
        """
        self.problems.append(RecordingError(cause, remedy, option))

    def step(self, share: float, doing: str) -> None:
        """Tell how far a long look through a file has come, and stop it if that was asked for.

        Parameters
        ----------
        share : float
            The share done, 0 … 1.
        doing : str
            What is being done.

        Raises
        ------
        ReadingCancelled
            If `cancelled` returns True.
        """
        if self.cancelled is not None and self.cancelled():
            raise ReadingCancelled
        if self.progress is not None:
            self.progress(min(share, 1.0), doing)

    def check_all_used(self, format_name: str) -> None:
        """Refuse an option that this format has no use for, rather than pass over it in silence.

        Parameters
        ----------
        format_name : str
            What a person calls the format.

        Raises
        ------
        RecordingError
            With the first such option.
        """
        for name in self.options:
            if name not in self._asked:
                label = OPTIONS[name].label.lower()
                raise RecordingError(
                    f"{self.file_name}: {label} ({name}) has no meaning here: it is {format_name}",
                    "leave it out",
                    name,
                )

    def _note(self, assumption: Assumption) -> None:
        self.assumptions = [known for known in self.assumptions if known.name != assumption.name]
        self.assumptions.append(assumption)

    def _parsed(self, name: str, parse: Callable[[str], Value], text: str, choices: Sequence[str]) -> Value:
        example = f'write it like "{OPTIONS[name].example}"'
        try:
            return parse(text)
        except RecordingError as error:
            raise RecordingError(error.cause, error.remedy or example, name) from error
        except PulsewrightError as error:
            raise RecordingError(error.cause, error.remedy, name) from error
        except (ValueError, KeyError, OverflowError) as error:
            remedy = f"choose from {', '.join(choices)}" if choices else example
            raise RecordingError(f"{OPTIONS[name].label.lower()}: {text!r} cannot be used", remedy, name) from error


def unreadable(name: str, error: Any) -> RecordingError:
    """Return the one sentence for whatever a library raised over a damaged file.

    Parameters
    ----------
    name : str
        The file's name.
    error : Exception
        What was raised.
    """
    said = getattr(error, "strerror", None) or (str(error.args[0]) if getattr(error, "args", None) else "")
    reason = " ".join(str(said).split())[:200] or type(error).__name__
    return RecordingError(f"{name}: cannot be read ({reason})", "copy the file again")
