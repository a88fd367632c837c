"""What a product function returns, and the few steps that all of them share.

A product function takes values (a pattern, a machine where it needs one, options) and returns a `Product`. It never
prints, opens or writes. What keeps it from its work it raises: `Refused` (an error in the pattern or the machine, with
messages) or `WrongOption` (an option that does not fit the pattern).

    def make_bitmap(pattern, machine, options=BitmapOptions(), progress=no_progress) -> Product[Picture]:
        stitches = choose_stitches(pattern, options.stitches)
        messages = accept([...], pattern, options.anyway)
        stems = file_stems(pattern, stitches, "bitmap", options.name)
        ...
        return Product(pictures, files, messages, remarks=skipped_parts(pattern, stitches, options.stitches))
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Generic, TypeVar

from stitchc.code import stretches
from stitchc.messages import Message, Refused, has_errors, in_order
from stitchc.wording import OPTION

if TYPE_CHECKING:
    from stitchc.pattern import Pattern, Stitch

T_co = TypeVar("T_co", covariant=True)

Progress = Callable[[float], None]
"""Takes the share of the work that is done, from 0 to 1."""


def no_progress(share: float) -> None:
    """For callers that show no progress."""


def part_of(progress: Progress, number: int, of: int) -> Progress:
    """The progress of one part (from 0) of so many."""
    return lambda share: progress((number + share) / of)


@dataclass(frozen=True)
class File:
    """A file to write: its name, without a folder, and its bytes."""

    name: str
    content: bytes

    @classmethod
    def of_text(cls, name: str, text: str) -> File:
        """A file of text in UTF-8, ending with a line end."""
        text = text if text.endswith("\n") or not text else text + "\n"
        return cls(name, text.encode("utf-8", "backslashreplace"))


@dataclass(frozen=True)
class Product(Generic[T_co]):
    """values: one of each stitch or piece. files: what is written of them, the main ones first. messages: warnings,
    in order of place. remarks: sentences for the person that belong to no place in the pattern."""

    values: tuple[T_co, ...]
    files: tuple[File, ...] = ()
    messages: tuple[Message, ...] = ()
    remarks: tuple[str, ...] = ()


class WrongOption(ValueError):
    """An option has a value that does not fit the pattern or the other options.

    field: its name in the options dataclass, "" if it is about several. The text is one sentence or more.
    """

    def __init__(self, field: str, text: str) -> None:
        self.field = field
        super().__init__(text)


def call(make: Callable[..., Product[Any]], **given: Any) -> Product[Any]:
    """What a product function makes of those of these arguments that it takes."""
    return make(**{name: given[name] for name in inspect.signature(make).parameters if name in given})


def choose_stitches(pattern: Pattern, names: Sequence[str], parts: bool = False) -> tuple[Stitch, ...]:
    """The stitches of these names; without names those that a piece knits or that are not part of another, or with
    `parts` all of the file's own. A part may be unknittable alone, so only what shows or estimates stitches takes
    `parts`. Raises Refused N103 where there is no such stitch."""
    if not names:
        return pattern.own() if parts else pattern.wanted()
    unknown = [name for name in names if name not in pattern.stitches]
    if unknown:
        raise Refused(*(unknown_stitch(name, pattern) for name in unknown))
    return tuple(pattern.stitches[name] for name in dict.fromkeys(names))


def unknown_stitch(name: str, pattern: Pattern) -> Message:
    """N103 for a name that was asked for and that the pattern does not have."""
    import difflib

    near = difflib.get_close_matches(name, pattern.stitches, n=1, cutoff=0.4)
    known = "The stitches there: " + ", ".join(list(pattern.stitches)[:12]) + "."
    text = f"There is no stitch `{name}` in `{pattern.file}`."
    return Message("N103", "error", text, advice=f"{OPTION.stitch:{near[0]}}" if near else known)


_MOST_SKIPPED: Final = 6
"""Names in the remark; more are counted."""


def skipped_parts(
    pattern: Pattern, stitches: Sequence[Stitch], names: Sequence[str] = (), of_several: bool = False
) -> tuple[str, ...]:
    """A remark on the file's own stitches that are not among these, since they are part of others; none where the
    stitches were chosen by `names`. of_several: of several files, so that the remark names this one."""
    shown = {stitch.name for stitch in stitches}
    skipped = [] if names else [stitch.name for stitch in pattern.own() if stitch.name not in shown]
    if not skipped:
        return ()
    listed = ", ".join(f"`{name}`" for name in skipped[:_MOST_SKIPPED])
    more = f" and {len(skipped) - _MOST_SKIPPED} more" if len(skipped) > _MOST_SKIPPED else ""
    where = f" in `{pattern.file}`" if of_several else ""
    if len(skipped) == 1:
        shows = f"{OPTION.stitch:{skipped[0]}} shows it."
        return (f"Skipped{where}, because it is part of another stitch: {listed}. {shows}",)
    return (
        f"Skipped{where}, because they are parts of other stitches: {listed}{more}. {OPTION.stitch:NAME} shows one.",
    )


def accept(messages: Iterable[Message], pattern: Pattern, anyway: bool = False) -> tuple[Message, ...]:
    """The messages in order of place, errors made warnings if `anyway`. Raises Refused if errors are left."""
    ordered = in_order(messages)
    if anyway:
        ordered = [message.as_warning() for message in ordered]
    if has_errors(ordered):
        raise Refused(*ordered, sources=pattern.sources)
    return tuple(ordered)


def errors_overridden(stitch: Stitch, messages: Iterable[Message]) -> tuple[str, ...]:
    """Sentences to write on what is made despite errors: those about this stitch, or about no place."""
    mine = (None, stitch.span, *(stitch.row_spans or ()))
    errors = [message for message in messages if message.severity == "error" and message.span in mine]
    texts = ("".join(part for part, _ in stretches(message.text)) for message in errors)  # paper shows no back-ticks
    return tuple(f"Made despite {message.code}: {text}" for message, text in zip(errors, texts, strict=True))


def file_stems(pattern: Pattern, stitches: Sequence[Stitch], kind: str, name: str = "") -> dict[str, str]:
    """What each stitch's file is called, without its ending: FILE-STITCH-KIND, or `name` where it is given.

    Raises WrongOption where `name` is given for several stitches.
    """
    if name and len(stitches) > 1:
        text = f"{len(stitches)} stitches do not go into one file: name a folder, or one stitch with {OPTION.stitch}."
        raise WrongOption("name", text)
    if name:
        return {stitch.name: name for stitch in stitches}
    from stitchc.naming import stems

    return {stitch: f"{stem}-{kind}" for stitch, stem in stems(pattern, stitches).items()}


def whole_stem(pattern: Pattern, kind: str, name: str = "") -> str:
    """What the file about the whole pattern is called, without its ending: FILE-KIND, or `name` where it is given."""
    from stitchc.naming import file_stem, name_of

    return name or file_stem(name_of(pattern), kind)
