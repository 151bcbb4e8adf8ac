"""Makes a command of a record of options: what the record declares is all there is to declare."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import MISSING, fields
from importlib import import_module
from inspect import Parameter, Signature
from typing import Any, get_args, get_type_hints

import typer

from tapwright.cli.manners import Command
from tapwright.cli.options.asking import AsJson, Patience, answered


def register(
    app: typer.Typer, name: str, options: type, home: str, help: str, *, patient: bool = False, **settings: Any
) -> None:
    """Adds a command.

    options: a frozen record, a field for each option with its annotation; passed on by name.  home: 'module:function' that
    answers it, imported when it is asked.  help: its first sentence.  patient: whether it takes --patience.
    """
    hints = get_type_hints(options, include_extras=True)
    parameters = [_parameter(field.name, hints[field.name], field.default) for field in fields(options)]
    if patient:
        parameters.append(_parameter("patience", Patience, None))
    parameters.append(_parameter("as_json", AsJson, False))
    several = {parameter.name for parameter in parameters if _takes_several(parameter.annotation)}

    def command(**given: Any) -> None:
        as_json, patience = given.pop("as_json"), given.pop("patience", None)
        asked = options(**{key: (value or ()) if key in several else value for key, value in given.items()})
        answered(lambda: _answer(home)(asked), as_json, patience)

    command.__name__, command.__doc__ = name, help
    command.__signature__ = Signature(parameters)  # type: ignore[attr-defined]
    command.__annotations__ = {parameter.name: parameter.annotation for parameter in parameters}
    app.command(name, cls=Command, **settings)(command)


def _parameter(name: str, annotation: Any, default: Any) -> Parameter:
    return Parameter(
        name, Parameter.KEYWORD_ONLY, default=Parameter.empty if default is MISSING else default, annotation=annotation
    )


def _takes_several(annotation: Any) -> bool:
    """Whether a list is in it, however deep."""
    return annotation is list or any(
        _takes_several(part)
        for part in (getattr(annotation, "__origin__", None), *get_args(annotation))
        if part is not None
    )


def _answer(home: str) -> Callable[[Any], Any]:
    module, _, function = home.partition(":")
    answer: Callable[[Any], Any] = getattr(import_module(module), function)
    return answer
