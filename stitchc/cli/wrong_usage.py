"""Words for what is wrong with a command line: the place, the cause and what to type instead.

It knows options and their values; what a command does with them it does not.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from typing import Any, NoReturn

import click
from click.core import ParameterSource

from stitchc.english import listed


def in_words(error: click.UsageError, called: click.Context | None = None) -> click.UsageError:
    """The same error in words of ours, where it was click's own; else the error itself.

    called: the context of the command, for the errors to which click gives none.
    """
    context = error.ctx = error.ctx or called
    where = f"`{context.command_path}`" if context is not None else "`stitchc`"
    if isinstance(error, click.NoSuchOption):
        text = f"{where} has no option `{error.option_name}`.{_nearest_option(error)} {where[:-1]} --help` lists them."
    elif isinstance(error, click.MissingParameter) and error.param is not None:
        text = f"{_missing(error.param, where)} {error.message}".rstrip()
    elif isinstance(error, click.BadOptionUsage):
        text = _without_value(error, where)
    elif type(error) is click.UsageError and error.message.startswith("Got unexpected extra argument"):
        text = _one_too_many(error, where)
    elif isinstance(error, click.BadParameter) and "is not a valid boolean" in error.message and error.param:
        text = f"{error.param.envvar} in the environment is neither yes nor no. Set it to 1 or 0, or leave it out."
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
        purpose = param.help or wanted
        return f"{where} needs `{'/'.join(param.opts)} {wanted}`, {purpose[:1].lower()}{purpose[1:]}"
    example = f"as in {where[:-1]}"
    if wanted.startswith("FILE"):
        return f"{where} needs the name of a pattern, or - for standard input, {example} tide.stitch`."
    if wanted == "IMAGE":
        return f"{where} needs the name of a picture of a chart, {example} tide.png`."
    return f"{where} needs a {wanted.lower()}, {example} tide-line`."


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
        return listed([str(choice) for choice in kind.choices], "or")
    if isinstance(kind, click.IntRange | click.FloatRange):
        return _number_wanted(kind)
    return option.metavar or "a word"


def _one_too_many(error: click.UsageError, where: str) -> str:
    extra = error.message.partition("(")[2].removesuffix(")")
    params = [] if error.ctx is None else error.ctx.command.params
    takes = "takes one file" if any(isinstance(each, click.Argument) for each in params) else "takes no names"
    return (
        f"{where} {takes}, and `{extra}` is more than that. Put a name with spaces in quotes; for several files run "
        f"the command once for each."
    )


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
        text += f" `{param.opts[-1]}` on the command line overrides it."
    raise click.BadParameter(text, context, param, hint)


class OneOf(click.Choice[str]):
    """One of some words."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            hint = _nearest(str(value).lower(), self.choices)
            known = f"`{ctx.command_path}` knows" if ctx is not None and ctx.command_path else "There is"
            refuse(f"`{value}` is not one of the choices.{hint} {known} {listed(self.choices, 'or')}.", param, ctx)


_WHOLE = re.compile(r"\s*[+-]?[0-9]+\s*")
_DECIMAL = re.compile(r"\s*[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?\s*")


class WholeNumber(click.IntRange):
    """A whole number in a range, in the figures 0 to 9 alone: what looks like another number is never guessed at."""

    def _describe_range(self) -> str:
        return ""  # the help says it in words

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        try:
            if isinstance(value, str) and not _WHOLE.fullmatch(value):
                raise click.BadParameter("")
            return super().convert(value, param, ctx)
        except click.BadParameter:
            refuse(f"`{value}` is not {_number_wanted(self)}.{_plainly(value, self)}", param, ctx)


class Number(click.FloatRange):
    """A number in a range that "nan" is not in, with a decimal point and the figures 0 to 9."""

    def _describe_range(self) -> str:
        return ""  # the help says it in words

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        try:
            if isinstance(value, str) and not _DECIMAL.fullmatch(value):
                raise click.BadParameter("")
            return super().convert(value, param, ctx)
        except click.BadParameter:
            refuse(f"`{value}` is not {_number_wanted(self)}.{_plainly(value, self)}", param, ctx)


def _plainly(value: object, kind: click.IntRange | click.FloatRange) -> str:
    """ " Write 1200." for what is such a number but for how it is written: 1,200, 1_200, １２００, 1,5."""
    text = "".join(str(unicodedata.decimal(c)) if c.isdecimal() else c for c in f"{value}".strip()[:40])
    grouped = re.fullmatch(r"[+-]?[0-9]{1,3}([,._' \u00a0\u2009\u202f])[0-9]{3}(?:\1[0-9]{3})*", text)
    if isinstance(kind, click.IntRange):
        plain = re.sub(r"[^0-9+-]", "", text) if grouped or "_" in text else text
        pattern = _WHOLE
    else:
        plain = text.replace("_", "").replace(",", ".").replace("\u066b", ".")
        pattern = _DECIMAL
    if plain == f"{value}".strip() or not pattern.fullmatch(plain):
        return ""
    number = float(plain)
    fits = (kind.min is None or number >= kind.min) and (kind.max is None or number <= kind.max)
    return f" Write {plain}." if fits else ""


def worded(kind: object) -> object:
    """The type of an option, with words of ours for what does not fit it."""
    if isinstance(kind, click.Choice):
        return OneOf([str(choice) for choice in kind.choices], kind.case_sensitive)
    if isinstance(kind, click.FloatRange):
        return Number(kind.min, kind.max, kind.min_open, kind.max_open, kind.clamp)
    if isinstance(kind, click.IntRange):
        return WholeNumber(kind.min, kind.max, kind.min_open, kind.max_open, kind.clamp)
    if kind is int or kind is click.INT:
        return WholeNumber()
    return Number() if kind is float or kind is click.FLOAT else kind
