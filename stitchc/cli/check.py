"""`stitchc check`: reads patterns and says what in them is wrong or cannot be knitted. Writes nothing."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import click

from stitchc.cli.common import (
    chosen,
    files_argument,
    format_option,
    load_machine,
    machine_option,
    say,
    show,
    stitch_option,
)
from stitchc.messages import Message, has_errors, in_order, to_json

if TYPE_CHECKING:
    from stitchc.machines import Machine
    from stitchc.pattern import Pattern, Stitch

_MOST_LISTED = 12


@click.command(
    epilog="\b\nExamples:\n  stitchc check cowl.stitch\n  stitchc check *.stitch --machine card24-standard\n"
    "  stitchc check cowl.stitch --format json"
)
@files_argument
@machine_option(None)
@stitch_option
@format_option("text", "json")
def command(files: tuple[str, ...], machine_name: str | None, stitch_names: tuple[str, ...], form: str) -> None:
    """Read patterns and check that they can be knitted.

    Every FILE is read, every mistake is reported. Then each stitch that nothing else in its file is built from is
    checked: too many tucks or slips, floats that are too long, needles and rows that never knit, yarns on the wrong
    side. With --machine, also whether that machine can knit it at all. `stitchc explain CODE` says more of a message.
    """
    machine = load_machine(machine_name) if machine_name else None
    found: list[Message] = []
    sources: dict[str, Sequence[str]] = {}
    for file in files:
        messages, lines, told = _one(file, machine, stitch_names)
        found += messages
        sources.update(lines)
        if form == "text":
            show(messages, lines)
            if told:
                say(told)
    if form == "json":
        sys.stdout.write(to_json(found) + "\n")
    if has_errors(found):
        raise SystemExit(1)


def _one(
    file: str, machine: Machine | None, stitch_names: Sequence[str]
) -> tuple[list[Message], Mapping[str, Sequence[str]], str]:
    """The messages of one file, the lines they stand in, and what to tell where no error was found."""
    from stitchc.checks import check_pattern
    from stitchc.notation import read_file

    pattern, messages = read_file(file)
    if pattern is None:
        return in_order(messages), {}, ""
    stitches = chosen(pattern, stitch_names)
    messages = [*messages, *check_pattern(pattern, machine, stitches)]
    if machine is not None:
        messages += _beyond(machine, stitches)
    messages = in_order(messages)
    return messages, pattern.sources, "" if has_errors(messages) else _summary(pattern, stitches, machine, messages)


def _beyond(machine: Machine, stitches: Sequence[Stitch]) -> list[Message]:
    """What keeps the machine from knitting a stitch at all."""
    from stitchc.passes import default_needles, unfit

    return [m for stitch in stitches for m in unfit(stitch, machine, default_needles(stitch.chart, edge=1))]


def _summary(pattern: Pattern, stitches: Sequence[Stitch], machine: Machine | None, messages: Sequence[Message]) -> str:
    listed = [f"`{stitch.name}` {stitch.chart.width} x {stitch.chart.height}" for stitch in stitches[:_MOST_LISTED]]
    if len(stitches) > _MOST_LISTED:
        listed.append(f"{len(stitches) - _MOST_LISTED} more")
    on = f" on `{machine.name}`" if machine else ""
    state = "can be knitted" if not messages else f"can be knitted, with {_count(len(messages), 'warning')}"
    return f"{pattern.file}: {_count(len(stitches), 'stitch', 'stitches')} {state}{on}: {', '.join(listed)}."


def _count(count: int, one: str, many: str = "") -> str:
    return f"{count} {one if count == 1 else many or one + 's'}"
