"""Options dataclasses on the command line: `options_of` gives a command the options of its product.

A command reads, asks for its product, and says where that goes (`stitchc/cli/bitmap.py` is one of the shortest).
`WrongOption` of a product becomes exit status 2, `Refused` 1; the command catches neither. `options.form` is what
--format or the ending of -o asks for, `options.name` the file's name if -o gives one.
"""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final, Literal, get_args, get_origin

import click
from click.core import ParameterSource

from stitchc import files
from stitchc.cli import common
from stitchc.cli.results import Target
from stitchc.cli.wrong_usage import Number, OneOf, refuse
from stitchc.english import listed
from stitchc.messages import Refused
from stitchc.option import Option, options_in, value_type, words_for
from stitchc.product import WrongOption

NO_MACHINE: Final = "no machine"
"""For `options_of`: the command has no --machine."""


def options_of(
    kind: type[Any],
    *,
    machine: str | None = NO_MACHINE,
    machine_help: str = "",
    output: str = "",
    endings: Sequence[str] = (),
) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Add the options of a dataclass to a command, which gets its instance as `options`.

    machine: the default of --machine (None: none), whose value the command gets as `machine_name`. output: what -o
    names; with it there are -o and --force, and the command gets where its product goes as `target`. endings:
    further ones of the names of -o.
    """
    fields = {field.name: field for field in dataclasses.fields(kind)}
    asked = {field.name: option for field, option in options_in(kind)}
    shown = {name: _option(fields[name], option) for name, option in asked.items()}

    def apply(command: Callable[..., None]) -> Callable[..., None]:
        @functools.wraps(command)
        def with_options(*arguments: Any, **others: Any) -> None:
            output: Path | None = others.pop("output") if takes_output else None
            force = bool(others.pop("force")) if takes_output else False
            given = {name: others.pop(name) for name in shown}
            target = Target(output, force)
            if "form" in fields:
                given["form"] = _form(fields["form"], given.get("form"), output, endings)
                target = Target(output, force, given["form"])
            _refuse_what_does_not_apply(asked, given)
            if "name" in fields and target.names_a_file and output is not None:
                given["name"] = output.stem
            if takes_output:
                others["target"] = target
            try:
                command(*arguments, options=kind(**given), **others)
            except files.FileTrouble:
                raise
            except Refused as refused:
                common.leave(refused.messages, refused.sources)
            except WrongOption as error:
                if error.field == "name" and output is not None:
                    files.refuse_foreign(output, force)
                    raise click.BadParameter(str(error), param_hint=f"-o {output}") from None
                if error.field not in asked:
                    raise click.UsageError(str(error)) from None
                raise click.BadParameter(str(error), param_hint=asked[error.field].flag) from None

        takes_output = bool(output)
        decorators = list(shown.values())
        if machine != NO_MACHINE:
            decorators.insert(1 if "stitches" in shown else 0, common.machine_option(machine, machine_help))
        if output:
            decorators.append(common.output_option(output))
        wrapped: Callable[..., None] = with_options
        for decorate in reversed(decorators):
            wrapped = decorate(wrapped)
        return wrapped

    return apply


def _option(field: dataclasses.Field[Any], option: Option) -> Callable[[Any], Any]:
    kind, several = _value_type(field)
    settings: dict[str, Any] = {"metavar": option.metavar, "help": _help(option, field)}
    if kind is bool:
        settings |= {"is_flag": True, "default": field.default}
    else:
        default = None if field.name == "form" else field.default
        settings |= {"type": _click_type(option, kind), "multiple": several, "default": () if several else default}
    if option.complete == "file":
        settings["shell_complete"] = common.file_names
    return common.option(option.flags, field.name, **settings)


def _value_type(field: dataclasses.Field[Any]) -> tuple[Any, bool]:
    """The type of one value, without None, and whether there may be several."""
    kind = value_type(field)
    if get_origin(kind) is tuple and get_args(kind)[-1] is Ellipsis:
        return get_args(kind)[0], True
    return kind, False


def _click_type(option: Option, kind: Any) -> Any:
    if option.parse:
        return Parsed(option)
    if get_origin(kind) is Literal:
        return OneOf(get_args(kind))
    return Number(kind, option.low, option.high) if kind in (int, float) else click.STRING


class Parsed(click.ParamType):  # type: ignore[type-arg]
    """A value that a function of ours makes of the text; its ValueError becomes wrong usage."""

    name = "text"

    def __init__(self, option: Option) -> None:
        self.option = option
        self.envvar_list_splitter = option.split  # type: ignore[misc]

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The value; click.BadParameter with the function's own words."""
        if not isinstance(value, str):
            return value
        try:
            return self.option.parsed(value)
        except ValueError as error:
            refuse(f"{error}.", param, ctx)


# -- the words of the help ------------------------------------------------------------------------------------------


def _help(option: Option, field: dataclasses.Field[Any]) -> str:
    """The help with bounds and default: "Resolution of the picture. (72 to 2400; default: 600)"."""
    notes = []
    if option.low is not None or option.high is not None:
        notes.append(_bounds(option))
    default = words_for(field.default)
    if option.otherwise or default:
        notes.append(f"default: {option.otherwise.format(default) or default}")
    return option.help_words() + (f" ({'; '.join(notes)})" if notes else "")


def _bounds(option: Option) -> str:
    if option.low is None or option.high is None:
        return f"from {option.low:,g}" if option.low is not None else f"up to {option.high:,g}"
    return f"{option.low:,.12g} to {option.high:,.12g}"


# -- options that go together ---------------------------------------------------------------------------------------


def _form(field: dataclasses.Field[Any], form: str | None, output: Path | None, endings: Sequence[str]) -> str:
    """The form that --format or the ending of -o asks for; -o goes before --format of the environment."""
    forms = sorted(get_args(value_type(field)), key=lambda form: form != field.default)
    if output is not None and not common.is_folder(output):
        form = None if output.suffix.lower() in common.ENDINGS and not _typed("form") else form
    return common.form_for(form, output, forms, endings)


def _refuse_what_does_not_apply(asked: dict[str, Option], given: dict[str, Any]) -> None:
    """Leave with wrong usage where an option that was typed would be passed over."""
    for name, option in asked.items():
        if option.forms and given["form"] not in option.forms and _typed(name):
            forms = listed(option.forms, "or")
            raise click.UsageError(f"{option.flag} is for --format {forms}, and the form is {given['form']}.")
        if option.needs and given[option.needs] in (None, ()) and _typed(name):
            needed = asked[option.needs]
            example = (needed.metavar or "VALUE").split("|")[0]
            raise click.UsageError(f"{option.flag} needs {needed.flags} as well, as in {needed.flags} {example}.")


def _typed(name: str) -> bool:
    """Whether the option was typed, and is no default and none of the environment."""
    context = click.get_current_context(silent=True)
    return context is not None and context.get_parameter_source(name) is ParameterSource.COMMANDLINE
