"""Words for what is wrong with a command line: the place, the cause and what to type instead.

It knows options and their values; what a command does with them it does not.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NoReturn

import click
from click.core import ParameterSource


def in_words(error: click.UsageError, called: click.Context | None = None) -> click.UsageError:
    """The same error in words of ours, where it was click's own; else the error itself.

    called: the context of the command, for the errors to which click gives none.
    """
    context = error.ctx = error.ctx or called
    where = f"`{context.command_path}`" if context is not None else "`stitchc`"
    if isinstance(error, click.NoSuchOption):
        text = f"{where} has no option `{error.option_name}`.{_nearest_option(error)} {where[:-1]} --help` lists them."
    elif isinstance(error, click.MissingParameter) and error.param is not None:
        text = _missing(error.param, where)
    elif isinstance(error, click.BadOptionUsage):
        text = _without_value(error, where)
    elif type(error) is click.UsageError and error.message.startswith("Got unexpected extra argument"):
        text = _one_too_many(error, where)
    elif isinstance(error, click.BadParameter) and "is not a valid boolean" in error.message and error.param:
        text = f"{error.param.envvar} in the environment is neither yes nor no: it can be 1 or 0, or be left out."
    else:
        return error
    return click.UsageError(text, context)


def _nearest_option(error: click.NoSuchOption) -> str:
    options = [] if error.ctx is None else error.ctx.command.params
    names = [name for each in options if isinstance(each, click.Option) for name in (*each.opts, *each.secondary_opts)]
    return _nearest(error.option_name, names)


def _nearest(word: str, words: Sequence[str]) -> str:
    """A question that names the word most like this one; nothing where none is like it."""
    import difflib  # only where something is wrong

    near = difflib.get_close_matches(word, words, n=1, cutoff=0.6)
    return f" Did you mean `{near[0]}`?" if near else ""


def _missing(param: click.Parameter, where: str) -> str:
    wanted = param.make_metavar(click.Context(click.Command(""))) if param.metavar is None else param.metavar
    if isinstance(param, click.Option):
        return f"{where} needs `{'/'.join(param.opts)} {wanted}`: {param.help or wanted}"
    if wanted.startswith("FILE"):
        verb = where[:-1]
        return f"{where} needs the name of a pattern, or - for standard input, as in {verb} tide.stitch`."
    return f"{where} needs {wanted}."


def _without_value(error: click.BadOptionUsage, where: str) -> str:
    name = error.option_name
    options = [] if error.ctx is None else error.ctx.command.params
    for option in options:
        if isinstance(option, click.Option) and name in (*option.opts, *option.secondary_opts):
            if option.is_flag:
                return f"`{name}` takes no value: write `{name}` alone."
            return f"`{name}` of {where} needs a value after it: {_allowed(option)}."
    return f"`{name}` of {where}: {error.message}"


def _allowed(option: click.Option) -> str:
    kind = option.type
    if isinstance(kind, click.Choice):
        return or_(kind.choices)
    if isinstance(kind, click.IntRange | click.FloatRange):
        return _number_wanted(kind)
    return option.metavar or "a word"


def _one_too_many(error: click.UsageError, where: str) -> str:
    extra = error.message.partition("(")[2].removesuffix(")")
    params = [] if error.ctx is None else error.ctx.command.params
    takes = "takes one file" if any(isinstance(each, click.Argument) for each in params) else "takes no names"
    return (
        f"{where} {takes}, and `{extra}` is more than that. A name with spaces stands in quotes; "
        "for several files run the command once for each."
    )


def or_(words: Sequence[Any]) -> str:
    """ "text, html or json"."""
    listed = [str(word) for word in words]
    return " or ".join(filter(None, [", ".join(listed[:-1]), listed[-1]]))


def _number_wanted(kind: click.IntRange | click.FloatRange) -> str:
    what = "a whole number" if isinstance(kind, click.IntRange) else "a number"
    if kind.min is not None and kind.max is not None:
        return f"{what} from {_shown(kind.min)} to {_shown(kind.max)}"
    if kind.min is not None:
        return f"{what} {'above' if kind.min_open else 'from'} {_shown(kind.min)}{'' if kind.min_open else ' up'}"
    return what if kind.max is None else f"{what} up to {_shown(kind.max)}"


def _shown(number: float) -> str:
    return f"{number:,}" if isinstance(number, int) else f"{number:g}"


def refuse(text: str, param: click.Parameter | None, context: click.Context | None) -> NoReturn:
    """Leave with words about the value of an option, which say whether it came from the environment."""
    hint = None
    source = context.get_parameter_source(param.name) if context and param and param.name else None
    if param is not None and source is ParameterSource.ENVIRONMENT:
        hint = f"{param.envvar} in the environment"
        text += f" `{param.opts[-1]}` on the command line goes before it."
    raise click.BadParameter(text, context, param, hint)


class OneOf(click.Choice[str]):
    """One of some words."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            hint = _nearest(str(value).lower(), self.choices)
            known = f"`{ctx.command_path}` knows" if ctx is not None and ctx.command_path else "There is"
            refuse(f"`{value}` is none of the choices.{hint} {known} {or_(self.choices)}.", param, ctx)


class WholeNumber(click.IntRange):
    """A whole number in a range."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            refuse(f"`{value}` is not {_number_wanted(self)}.", param, ctx)


class Number(click.FloatRange):
    """A number in a range that "nan" is not in."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        try:
            number = super().convert(value, param, ctx)
        except click.BadParameter:
            number = float("nan")
        if number != number:
            refuse(f"`{value}` is not {_number_wanted(self)}.", param, ctx)
        return number


def worded(kind: object) -> object:
    """The type of an option, with words of ours for what does not fit it."""
    if isinstance(kind, click.Choice):
        return OneOf([str(choice) for choice in kind.choices], kind.case_sensitive)
    if isinstance(kind, click.FloatRange):
        return Number(kind.min, kind.max, kind.min_open, kind.max_open, kind.clamp)
    if isinstance(kind, click.IntRange):
        return WholeNumber(kind.min, kind.max, kind.min_open, kind.max_open, kind.clamp)
    return kind
