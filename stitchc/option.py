"""How a field of an options dataclass is asked for, on the command line and on the live page.

Light to import: the dataclasses themselves, one a product, are in `stitchc.options`.
"""

import functools
import importlib
import math
import re
import types
from collections.abc import Iterator
from dataclasses import Field, field, fields
from functools import partial
from numbers import Integral, Real
from typing import Any, Literal, NamedTuple, Union, get_args, get_origin

from stitchc.wording import current_wording


class Option(NamedTuple):
    """How a field is given on the command line, and from the environment as STITCHC_ and the long flag's name.

    help: a sentence; `{--units}`, `{FILE}` and `{several}` in it are what a front end calls them. flags: "--dpi", or
    "--pictures/--no-pictures"; without them, after the field's name. metavar: the word for the value in the help; N for
    a whole number. low, high: bounds of a number, both allowed. otherwise: words for what happens without the option,
    where the field's default does not say it; braces stand for the default. parse: "package.module:function" that makes
    the value of the text and raises ValueError with a sentence; of a field that takes several values it makes each.
    split: what separates several values in the environment (default: spaces). forms: the option is for these forms
    only. needs: the field that must be given with it. complete: "file", where the shell completes names of files.
    own: it belongs to the one stitch or piece that it is given for, so that the live page keeps it for each.
    """

    help: str
    flags: str = ""
    metavar: str | None = None
    low: float | None = None
    high: float | None = None
    otherwise: str = ""
    parse: str = ""
    split: str | None = None
    forms: tuple[str, ...] = ()
    needs: str = ""
    complete: str = ""
    own: bool = False

    def help_words(self) -> str:
        """The help as this front end says it."""
        wording = current_wording()
        words = {"FILE": wording.file, "several": wording.several("semicolons" if self.split else "spaces")}
        return re.sub(r"\{(?:--)?([\w-]+)\}", lambda name: words.get(name[1]) or wording.option(name[1]), self.help)

    @property
    def flag(self) -> str:
        """The long flag alone: "--pictures"."""
        return self.flags.split("/")[0]

    def parsed(self, text: str) -> Any:
        """What `parse` makes of a text. Raises ValueError with a sentence."""
        module, _, name = self.parse.partition(":")
        parse: Any = functools.reduce(getattr, name.split("."), importlib.import_module(module))
        return parse(text)


def option(default: Any, help: str, flags: str = "", **more: Any) -> Any:
    """A field with this default that has an option; more: as in Option."""
    return field(default=default, metadata={"option": Option(help, flags, **more)})


def options_in(kind: type[Any]) -> Iterator[tuple[Field[Any], Option]]:
    """The fields of a dataclass that have an option, in order."""
    for each in fields(kind):
        if each.metadata:
            asked: Option = each.metadata["option"]
            metavar = asked.metavar or ("N" if value_type(each) is int else None)
            yield each, asked._replace(flags=asked.flags or "--" + each.name.replace("_", "-"), metavar=metavar)


class Checked:
    """What every options dataclass is: made with a value that an option can't have, it raises WrongOption."""

    def __post_init__(self) -> None:
        for each, asked in options_in(type(self)):
            value = getattr(self, each.name)
            kinds = [kind for kind in _kinds(each.type) if kind is not type(None)]
            wanted = [] if value is None and each.default is None else [_wanted(kind, asked, value) for kind in kinds]
            if wanted and all(wanted):
                from stitchc.product import WrongOption

                raise WrongOption(each.name, f"`{each.name}` is {value!r}, and it must be {' or '.join(wanted)}.")


def _wanted(kind: Any, option: Option, value: Any) -> str:
    """What a value must be to be of this type and within the option's bounds; "" where it is."""
    if get_origin(kind) is Literal:
        return "" if value in get_args(kind) else " or ".join(map(repr, get_args(kind)))
    if get_origin(kind) is tuple:
        of_each, *others = get_args(kind)
        if not isinstance(value, tuple | list):
            return f"a tuple, as in ({value!r},)" if isinstance(value, str) and of_each is str else "a tuple"
        if others != [Ellipsis]:
            return "" if len(value) == 1 + len(others) else f"a tuple of {1 + len(others)}"
        return next((f"a tuple of these: {each}" for one in value if (each := _wanted(of_each, option, one))), "")
    if kind in (int, float):
        number = Integral if kind is int else Real
        low, high = (-math.inf if option.low is None else option.low), (option.high or math.inf)
        if isinstance(value, number) and not isinstance(value, bool) and low <= value <= high:  # type: ignore[operator]
            return ""
        noun = "a whole number" if kind is int else "a number"
        return (
            noun
            + (f" from {option.low:,g}" if option.low is not None else "")
            + (f" to {option.high:,g}" if option.high is not None else "")
        )
    if kind is bool:
        return "" if isinstance(value, bool) else "True or False"
    if kind is str:
        return "" if isinstance(value, str) else "a text" + (f", as in {option.metavar}" if option.metavar else "")
    if isinstance(kind, str) and isinstance(value, str):  # a type of a module that is not imported for this
        return f"a {kind.partition(' ')[0]}, as `{option.parse.rpartition(':')[2]}` makes it of a text"
    return ""


def value_type(field: Field[Any]) -> Any:
    """The type of a field's value, without None; of several types, str."""
    parts = [part for part in _kinds(field.type) if part is not type(None)]
    return parts[0] if len(parts) == 1 else str


def _kinds(kind: Any) -> tuple[Any, ...]:
    """The types that a union is of, else the type itself."""
    return get_args(kind) if get_origin(kind) in (Union, types.UnionType) else (kind,)


def words_for(default: Any) -> str:
    """A default as help and forms show it; "" where it says nothing."""
    if default is None or default == () or isinstance(default, bool):
        return ""
    return f"{default:g}" if isinstance(default, float) else str(default)


NAME = "stitchc.notation.tree:composed"
"""What makes a name of a text, for `parse`."""

each_stitch = partial(option, (), "Only this stitch; {several}.", "--stitch", metavar="NAME", parse=NAME)
chosen_stitches = partial(
    each_stitch, otherwise="every stitch that a piece knits or that is not part of another; skipped ones are listed"
)
chosen_form = partial(
    option, help="The form of the output.", flags="--format", otherwise="from the ending of -o, else {}"
)
chosen_spread = partial(
    option,
    None,
    "How much two swatches that you knit in the same way differ.",
    metavar="PERCENT",
    low=0.5,
    high=20.0,
    otherwise="learnt from repeated swatches; without any, 4",
)
chosen_book = partial(
    option, None, "Also use the swatches of this file, knitted in the same yarn.", metavar="FILE", complete="file"
)
