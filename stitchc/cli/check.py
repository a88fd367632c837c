"""`stitchc check`: reads patterns and says what in them is wrong or cannot be knitted.

The report goes to standard output, since it is what the command makes; messages of all other commands go to standard
error.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

import click

from stitchc.cli.common import coloured, examples, files_argument, option, put_text, read_book, rendered
from stitchc.cli.options import options_of
from stitchc.cli.reports import CheckOptions
from stitchc.cli.results import Target
from stitchc.english import number
from stitchc.files import FileTrouble
from stitchc.messages import Message, Refused, has_errors, in_order, to_json, visible

if TYPE_CHECKING:
    from stitchc.machines import Machine
    from stitchc.pattern import Pattern, Stitch

_MOST_LISTED = 12


class _Checked(NamedTuple):
    """What was found in one file. pattern: None where it does not compile or cannot be read (`trouble`)."""

    messages: list[Message]
    sources: Mapping[str, Sequence[str]]
    pattern: Pattern | None = None
    stitches: tuple[Stitch, ...] = ()
    trouble: bool = False


@click.command(
    epilog=examples("check cowl.stitch", "check *.stitch --machine card24-standard", "check cowl.stitch --format json")
)
@files_argument
@options_of(CheckOptions, machine=None, output="the report")
@option("--watch", is_flag=True, help="Check again whenever you save a file, until Ctrl-C.")
def command(
    files: tuple[str, ...], machine_name: str | None, options: CheckOptions, watch: bool, target: Target
) -> None:
    """Read patterns and check that they can be knitted.

    Every FILE is read and every mistake is reported. Then each stitch that a piece knits or that is not part of another
    is checked: too many tucks or slips, floats that are too long, needles and rows that never knit, yarns on the wrong
    side; and each piece is planned. With --machine, also whether that machine can knit it all. `stitchc explain CODE`
    says more about a message.
    """
    if watch:
        from stitchc.cli.watch import rerun_on_save

        rerun_on_save(files, lambda: _report(files, machine_name, options, Target(None)))
    else:
        _report(files, machine_name, options, target)


def _report(files: tuple[str, ...], machine_name: str | None, options: CheckOptions, target: Target) -> None:
    """Check every file and put the report where it belongs; errors end the command with 1 (3 for an unread file)."""
    machine, checked = _machine(machine_name)
    if not checked:
        checked = [_check(file, machine, options) for file in files]
        checked += _named_nowhere(checked, options.stitches)
    messages = [message for each in checked for message in each.messages]
    if options.form == "json":
        report = to_json(messages)
    else:
        colour = target.path is None and coloured(sys.stdout)
        lines: list[str] = []
        for each in checked:
            lines += rendered(each.messages, each.sources, colour)
            if each.pattern and each.stitches and not has_errors(each.messages):
                lines.append(_summary(each, machine))
        report = "\n".join(lines)
    put_text(report, target.path, target.force)
    if has_errors(messages):
        raise SystemExit(3 if any(each.trouble for each in checked) else 1)


def _machine(name: str | None) -> tuple[Machine | None, list[_Checked]]:
    """The machine, or what is wrong with it: then there is nothing to check the patterns by."""
    if name is None:
        return None, []
    from stitchc.machines import load

    try:
        return load(name), []
    except Refused as refused:
        return None, [_Checked(list(refused.messages), refused.sources, trouble=isinstance(refused, FileTrouble))]


def _check(file: str, machine: Machine | None, options: CheckOptions) -> _Checked:
    from stitchc.notation import compile_file
    from stitchc.whole_check import check_file

    try:
        pattern, messages, sources = compile_file(file)
    except FileTrouble as trouble:
        return _Checked(list(trouble.messages), {}, trouble=True)
    if pattern is None:
        return _Checked(in_order(messages), sources)
    stitches = None
    if options.stitches:
        names = dict.fromkeys(options.stitches)
        stitches = tuple(pattern.stitches[name] for name in names if name in pattern.stitches)
    if options.book is not None:
        pattern = pattern.with_book(read_book(options.book))
        sources = pattern.sources
    messages = [*messages, *check_file(pattern, machine, stitches, options.spread)]
    return _Checked(in_order(messages), sources, pattern, pattern.wanted() if stitches is None else stitches)


def _named_nowhere(checked: Sequence[_Checked], names: Sequence[str]) -> list[_Checked]:
    """What to say of stitches asked for that none of the files has."""
    patterns = [each.pattern for each in checked if each.pattern]
    if len(patterns) < len(checked):  # it may be in a file that did not compile
        return []
    missing = [name for name in dict.fromkeys(names) if not any(name in pattern.stitches for pattern in patterns)]
    if not missing:
        return []
    from stitchc.product import unknown_stitch

    messages = [unknown_stitch(name, patterns[0]) for name in missing]
    if len(patterns) > 1:
        anywhere = f"in any of the {len(patterns)} files"
        messages = [
            message._replace(text=f"There is no stitch `{name}` {anywhere}.")
            for name, message in zip(missing, messages, strict=True)
        ]
    return [_Checked(messages, {})]


def _summary(each: _Checked, machine: Machine | None) -> str:
    """One calm line about a file without errors."""
    assert each.pattern
    listed = [f"`{stitch.name}` {stitch.chart.width} x {stitch.chart.height}" for stitch in each.stitches]
    if len(listed) > _MOST_LISTED:
        listed[_MOST_LISTED:] = [f"{len(listed) - _MOST_LISTED} more"]
    on = f" on `{machine.name}`" if machine else ""
    warnings = sum(message.severity == "warning" for message in each.messages)
    with_warnings = f", with {number(warnings, 'warning')}" if warnings else ""
    stitches = f"{len(each.stitches)} {'stitch' if len(each.stitches) == 1 else 'stitches'}"
    return f"{visible(each.pattern.file)}: {stitches} can be knitted{on}{with_warnings}: {', '.join(listed)}."
