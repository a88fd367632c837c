"""Words for what is wrong with a command line: the place, the cause and what to type instead.

It knows options and their values; what a command does with them it does not.
"""

from __future__ import annotations

import contextlib
import math
import re
import unicodedata
from collections.abc import Sequence
from typing import Any, Final, NoReturn

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
            kind = option.type
            choices = listed(kind.choices, "or") if isinstance(kind, OneOf) else ""
            wanted = choices or (kind.wanted if isinstance(kind, Number) else option.metavar or "a word")
            return f"`{name}` of {where} needs a value after it: {wanted}."
    return f"`{name}` of {where}: {error.message}"


def _one_too_many(error: click.UsageError, where: str) -> str:
    extra = error.message.partition("(")[2].removesuffix(")")
    params = [] if error.ctx is None else error.ctx.command.params
    takes = "takes one file" if any(isinstance(each, click.Argument) for each in params) else "takes no names"
    return (
        f"{where} {takes}, and `{extra}` is more than that. Put a name with spaces in quotes; for several files run "
        f"the command once for each."
    )


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


_FIGURES: Final = {
    int: re.compile(r"[+-]?[0-9]+"),
    float: re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"),
}
_GROUPED: Final = re.compile(r"[+-]?[0-9]{1,3}([,._' \u00a0\u2009\u202f])[0-9]{3}(?:\1[0-9]{3})*")


class Number(click.ParamType):  # type: ignore[type-arg]
    """A number within bounds, both allowed, in the figures 0 to 9 alone: what looks like another is never guessed at.

    kind: int for whole numbers, float for those with a decimal point.
    """

    name = "number"

    def __init__(self, kind: type[int] | type[float], low: float | None = None, high: float | None = None) -> None:
        self.kind, self.low, self.high = kind, low, high

    @property
    def wanted(self) -> str:
        """ "a whole number from 1 to 5,000"."""
        words = "a whole number" if self.kind is int else "a number"
        if self.low is not None:
            words += f" from {_shown(self.low)}" + (" up" if self.high is None else "")
        return words if self.high is None else f"{words} {'up ' * (self.low is None)}to {_shown(self.high)}"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        number = self._read(f"{value}".strip())
        if number is None:
            refuse(f"`{value}` is not {self.wanted}.{self._plainly(f'{value}'.strip()[:40])}", param, ctx)
        return number

    def _read(self, text: str) -> float | None:
        """The number that the text is, None for any other text."""
        with contextlib.suppress(ValueError):  # more figures than Python takes
            number = self.kind(text) if _FIGURES[self.kind].fullmatch(text) else None
            if number is not None and math.isfinite(number):
                low, high = (
                    (-math.inf if self.low is None else self.low),
                    (math.inf if self.high is None else self.high),
                )
                return number if low <= number <= high else None
        return None

    def _plainly(self, text: str) -> str:
        """ " Write 1200." for what is such a number but for how it is written: 1,200, 1_200, １２００, 1,5."""
        plain = "".join(str(unicodedata.decimal(c)) if c.isdecimal() else c for c in text)
        if self.kind is float:
            plain = plain.replace("_", "").replace(",", ".").replace("\u066b", ".")
        elif _GROUPED.fullmatch(plain) or "_" in plain:
            plain = re.sub(r"[^0-9+-]", "", plain)
        return "" if plain == text or self._read(plain) is None else f" Write {plain}."


def _shown(number: float) -> str:
    return f"{number:,}" if isinstance(number, int) else f"{number:g}"
