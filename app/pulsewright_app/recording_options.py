"""Gives a command every option by which a person says how a file is to be understood."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Annotated, Any, get_type_hints

from pulsewright.formats.option_words import OPTIONS
from pulsewright_app.cli_options import Text, option


def takes_recording_options(command: Callable[..., int]) -> Callable[..., int]:
    """Return a command in whose place of ``options`` stands an option for each of `OPTIONS`.

    Parameters
    ----------
    command : callable
        Takes ``options``, a dict of those that were given.
    """

    def with_options(**given: Any) -> int:
        options = {name: given.pop(name) for name in OPTIONS}
        return command(**given, options={name: text for name, text in options.items() if text is not None})

    hints = get_type_hints(command, include_extras=True)
    own = [
        parameter.replace(annotation=hints[name], kind=inspect.Parameter.KEYWORD_ONLY)
        for name, parameter in inspect.signature(command).parameters.items() if name != "options"
    ]  # fmt: skip
    more = [
        inspect.Parameter(
            name, inspect.Parameter.KEYWORD_ONLY, default=None,
            annotation=Annotated[Text, option(f'"{word.example}"', word.help)],
        )
        for name, word in OPTIONS.items()
    ]  # fmt: skip
    parameters = [*own, *more]
    with_options.__signature__ = inspect.Signature(parameters, return_annotation=int)  # type: ignore[attr-defined]
    with_options.__annotations__ = {parameter.name: parameter.annotation for parameter in parameters} | {"return": int}
    with_options.__name__, with_options.__doc__ = command.__name__, command.__doc__
    return with_options
