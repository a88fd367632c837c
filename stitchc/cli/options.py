"""Options dataclasses on the command line: `options_of` gives a command the options of its product.

How a command is converted, `stitchc swatch` as the example (`stitchc/cli/bitmap.py` is a converted one):

    @click.command(epilog="…")
    @file_argument
    @options_of(SwatchOptions, machine="hand-standard", output="the plan; a folder for HTML of several swatches")
    def command(file: str, machine_name: str, options: SwatchOptions, target: Target) -> None:
        \"\"\"Plan a swatch for each stitch of FILE: …\"\"\"
        from stitchc.swatch.product import plan_swatch

        machine = load_machine(machine_name)
        put_product(plan_swatch(read_pattern(file), machine, options), target)

1. Move what the command works out into the package, as one function of values that returns a `Product` (see
   `stitchc.product` for the shared steps: choosing stitches, accepting messages, naming files). It does not print.
2. Texts and JSON are files of the product too (`File.of_text`); `put_product` prints them without -o.
3. `WrongOption` becomes exit status 2, `Refused` 1; the command catches neither.
4. Long work takes `progress: Progress = no_progress`; the command passes `bar.at` of a `Bar`.
5. `options.form` is what --format or the ending of -o asks for, `options.name` the file's name if -o gives one.
"""

from __future__ import annotations

import dataclasses
import functools
import importlib
import types
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, Literal, Union, get_args, get_origin

import click
from click.core import ParameterSource

from stitchc import files
from stitchc.cli import common
from stitchc.cli.results import Target
from stitchc.cli.wrong_usage import refuse
from stitchc.english import listed
from stitchc.messages import Refused
from stitchc.options import Option
from stitchc.product import WrongOption

NO_MACHINE: Final = "no machine"
"""For `options_of`: the command has no --machine."""


def options_of(
    kind: type[Any],
    *,
    machine: str | None = NO_MACHINE,
    machine_help: str = "",
    output: str = "",
) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Add the options of a dataclass to a command, which gets its instance as `options`.

    machine: the default of --machine (None: none), whose value the command gets as `machine_name`. output: what -o
    names; with it there are -o and --force, and the command gets where its product goes as `target`.
    """
    fields = {field.name: field for field in dataclasses.fields(kind)}
    shown = {name: _option(field) for name, field in fields.items() if _annotation(field)}

    def apply(command: Callable[..., None]) -> Callable[..., None]:
        @functools.wraps(command)
        def with_options(*arguments: Any, **others: Any) -> None:
            output: Path | None = others.pop("output") if takes_output else None
            force = bool(others.pop("force")) if takes_output else False
            given = {name: others.pop(name) for name in shown}
            target = Target(output, force)
            if "form" in fields:
                given["form"] = _form(fields["form"], given.get("form"), output)
                target = Target(output, force, given["form"])
            _refuse_what_does_not_apply(fields, given)
            if target.names_a_file and output is not None:
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
                option = _annotation(fields[error.field]) if error.field in fields else None
                if option is None:
                    raise click.UsageError(str(error)) from None
                raise click.BadParameter(str(error), param_hint=option.flags.split("/")[0]) from None

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


def _annotation(field: dataclasses.Field[Any]) -> Option | None:
    return next((each for each in getattr(field.type, "__metadata__", ()) if isinstance(each, Option)), None)


def _option(field: dataclasses.Field[Any]) -> Callable[[Any], Any]:
    """The click option of a field."""
    option = _annotation(field)
    assert option is not None
    kind, several = _value_type(field.type)
    settings: dict[str, Any] = {"metavar": option.metavar, "help": _help(option, field, kind)}
    if kind is bool:
        settings |= {"is_flag": True, "default": field.default}
    else:
        default = None if field.name == "form" else field.default
        settings |= {"type": _click_type(option, kind), "multiple": several, "default": () if several else default}
    if option.complete == "file":
        settings["shell_complete"] = common.file_names
    return common.option(option.flags, field.name, **settings)


def _value_type(annotated: Any) -> tuple[Any, bool]:
    """The type of one value, without None, and whether there may be several."""
    kind = getattr(annotated, "__origin__", annotated)
    if get_origin(kind) in (Union, types.UnionType):
        parts = [part for part in get_args(kind) if part is not type(None)]
        kind = parts[0] if len(parts) == 1 else str
    if get_origin(kind) is tuple and get_args(kind)[-1] is Ellipsis:
        return get_args(kind)[0], True
    return kind, False


def _click_type(option: Option, kind: Any) -> Any:
    if option.parse:
        return Parsed(option.parse, option.split)
    if get_origin(kind) is Literal:
        return click.Choice(get_args(kind))
    low, high = option.low, option.high
    if kind is int:
        return click.IntRange(None if low is None else int(low), None if high is None else int(high))
    return click.FloatRange(low, high) if kind is float else click.STRING


class Parsed(click.ParamType):  # type: ignore[type-arg]
    """A value that a function of ours makes of the text; its ValueError becomes wrong usage."""

    name = "text"

    def __init__(self, where: str, split: str | None = None) -> None:
        self.where = where
        self.envvar_list_splitter = split  # type: ignore[misc]

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The value; click.BadParameter with the function's own words."""
        if not isinstance(value, str):
            return value
        module, _, name = self.where.partition(":")
        parse = functools.reduce(getattr, name.split("."), importlib.import_module(module))
        try:
            return parse(value)  # type: ignore[operator]
        except ValueError as error:
            refuse(f"{error}.", param, ctx)


# -- the words of the help ------------------------------------------------------------------------------------------


def _help(option: Option, field: dataclasses.Field[Any], kind: Any) -> str:
    """The help with bounds and default: "Resolution of the picture. (72 to 2400; default: 600)"."""
    notes = []
    if option.low is not None or option.high is not None:
        notes.append(_bounds(option))
    default = _default_in_words(field.default)
    if option.default:
        notes.append(f"default: {option.default.format(default)}")
    elif default and kind is not bool:
        notes.append(f"default: {default}")
    return option.help + (f" ({'; '.join(notes)})" if notes else "")


def _bounds(option: Option) -> str:
    if option.low is None or option.high is None:
        return f"from {option.low:,g}" if option.low is not None else f"up to {option.high:,g}"
    return f"{option.low:,.12g} to {option.high:,.12g}"


def _default_in_words(default: Any) -> str:
    if default is None or default == () or default is dataclasses.MISSING:
        return ""
    return f"{default:g}" if isinstance(default, float) else str(default)


# -- options that go together ---------------------------------------------------------------------------------------


def _form(field: dataclasses.Field[Any], form: str | None, output: Path | None) -> str:
    """The form that --format or the ending of -o asks for; -o goes before --format of the environment."""
    kind, _ = _value_type(field.type)
    forms = (field.default, *(each for each in get_args(kind) if each != field.default))
    if output is not None and output.suffix.lower() in common.ENDINGS and not _typed("form"):
        form = None
    return common.form_for(form, output, forms)


def _refuse_what_does_not_apply(fields: dict[str, dataclasses.Field[Any]], given: dict[str, Any]) -> None:
    """Leave with wrong usage where an option that was typed would be passed over."""
    for name, field in fields.items():
        option = _annotation(field)
        if option is None or not _typed(name):
            continue
        flag = option.flags.split("/")[0]
        if option.forms and given["form"] not in option.forms:
            forms = listed(option.forms, "or")
            raise click.UsageError(f"{flag} is for --format {forms}, and the form is {given['form']}.")
        if option.needs and given[option.needs] in (None, ()):
            needed = _annotation(fields[option.needs])
            assert needed is not None
            example = (needed.metavar or "VALUE").split("|")[0]
            raise click.UsageError(f"{flag} needs {needed.flags} as well, as in {needed.flags} {example}.")


def _typed(name: str) -> bool:
    """Whether the option was typed, and is no default and none of the environment."""
    context = click.get_current_context(silent=True)
    return context is not None and context.get_parameter_source(name) is ParameterSource.COMMANDLINE
