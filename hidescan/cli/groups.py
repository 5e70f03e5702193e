"""Groups of options: one parameter of a command that stands for several options, or for those of declared facts."""

import functools
import inspect
from collections.abc import Callable
from dataclasses import MISSING, Field, dataclass, fields, is_dataclass
from typing import Annotated, Any, TypeVar, get_args, get_type_hints

import typer

from hidescan.hide_map.facts import OTHER, Fact, facts_of

R = TypeVar("R")


@dataclass(frozen=True, slots=True)
class OptionGroup:
    """Options that stand for one parameter of a command, which gets their values by name."""

    options: tuple[inspect.Parameter, ...]


def fact_options(model: type[Any]) -> OptionGroup:
    """The options of the facts that a dataclass declares."""
    options = []
    for name, fact in facts_of(model).items():
        option = fact.option or name.replace("_", "-")
        options.append(_option(name, option, _help(fact)))
        if fact.other:
            options.append(_option(name + OTHER, f"{option}-other", f"{fact.label} in your own words."))
    return OptionGroup(tuple(options))


def grouped(command: Callable[..., R]) -> Callable[..., R]:
    """The command, with each parameter that is a group replaced by the options of that group.

    A group is a dataclass whose fields are options, or a dict annotated with an `OptionGroup`.
    """
    signature = inspect.signature(command)
    groups = {name: _options(p.annotation) for name, p in signature.parameters.items()}
    parameters = [
        option.replace(kind=inspect.Parameter.KEYWORD_ONLY)
        for name, parameter in signature.parameters.items()
        for option in groups[name] or (parameter,)
    ]

    @functools.wraps(command)
    def called(**given: Any) -> R:
        for name, options in groups.items():
            if options:
                values = {option.name: given.pop(option.name) for option in options}
                made = signature.parameters[name].annotation
                given[name] = made(**values) if isinstance(made, type) else values
        return command(**given)

    called.__signature__ = signature.replace(parameters=parameters)  # type: ignore[attr-defined]
    called.__annotations__ = {p.name: p.annotation for p in parameters}
    return called


def _options(annotation: Any) -> tuple[inspect.Parameter, ...]:
    """The options of a group; none where the annotation is not one."""
    if is_dataclass(annotation):
        hints = get_type_hints(annotation, include_extras=True)
        return tuple(
            inspect.Parameter(f.name, inspect.Parameter.KEYWORD_ONLY, default=_default(f), annotation=hints[f.name])
            for f in fields(annotation)
        )
    found = [part for part in get_args(annotation) if isinstance(part, OptionGroup)]
    return found[0].options if found else ()


def _default(field: Field[Any]) -> Any:
    return inspect.Parameter.empty if field.default is MISSING else field.default


def _option(name: str, option: str, help_text: str) -> inspect.Parameter:
    return inspect.Parameter(
        name,
        inspect.Parameter.KEYWORD_ONLY,
        default=None,
        annotation=Annotated[str | None, typer.Option(f"--{option}", help=help_text)],
    )


def _help(fact: Fact) -> str:
    if fact.terms is None:
        return fact.help
    return f"{fact.help}: {', '.join(fact.terms.names)}."
