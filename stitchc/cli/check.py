"""`stitchc check`: reads patterns and says what in them is wrong or cannot be knitted. Writes nothing."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from stitchc.cli.common import (
    chosen,
    coloured,
    files_argument,
    format_option,
    load_machine,
    machine_option,
    option,
    output_option,
    put_text,
    rendered,
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
@option("--watch", is_flag=True, help="Check again whenever a file is saved, until Ctrl-C.")
@output_option("the report")
def command(
    files: tuple[str, ...],
    machine_name: str | None,
    stitch_names: tuple[str, ...],
    form: str,
    watch: bool,
    output: Path | None,
    force: bool,
) -> None:
    """Read patterns and check that they can be knitted.

    Every FILE is read, every mistake is reported. Then each stitch that nothing else in its file is built from is
    checked: too many tucks or slips, floats that are too long, needles and rows that never knit, yarns on the wrong
    side. With --machine, also whether that machine can knit it at all. `stitchc explain CODE` says more of a message.
    """
    if watch:
        from stitchc.cli.watch import rerun_on_save

        rerun_on_save(files, lambda: _check(files, machine_name, stitch_names, form, None, False))
    elif not _check(files, machine_name, stitch_names, form, output, force):
        raise SystemExit(1)


def _check(
    files: tuple[str, ...],
    machine_name: str | None,
    stitch_names: tuple[str, ...],
    form: str,
    output: Path | None,
    force: bool,
) -> bool:
    """Check every file and print the report; whether no error was found."""
    machine = load_machine(machine_name) if machine_name else None
    found: list[Message] = []
    report: list[str] = []
    colour = output is None and coloured(sys.stdout)
    for file in files:
        messages, lines, told = _one(file, machine, stitch_names)
        found += messages
        report += rendered(messages, lines, colour)
        if told:
            report.append(told)
    put_text(to_json(found) if form == "json" else "\n".join(report), output, force)
    return not has_errors(found)


def _one(
    file: str, machine: Machine | None, stitch_names: Sequence[str]
) -> tuple[list[Message], Mapping[str, Sequence[str]], str]:
    """The messages of one file, the lines they stand in, and what to tell where no error was found."""
    from stitchc.checks import check_pattern
    from stitchc.gauge.remarks import check_swatches
    from stitchc.notation import compile_file

    pattern, messages, sources = compile_file(file)
    if pattern is None:
        return messages, sources, ""
    stitches = chosen(pattern, stitch_names)
    messages = [*messages, *check_pattern(pattern, machine, stitches), *check_swatches(pattern)]
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
