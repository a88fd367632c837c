"""The command line: commands that are imported when they are called.

The table below holds each command's place and one-line help, so that `stitchc --help` imports click and nothing else.
"""

from __future__ import annotations

import pkgutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

import stitchc

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

COMMANDS: dict[str, tuple[str, str]] = {
    "new": ("stitchc.cli.new:command", "Write a first pattern with comments, to change into your own."),
    "live": ("stitchc.cli.live:command", "Open a page in the browser: type a pattern, see everything at once."),
    "check": ("stitchc.cli.check:command", "Read patterns and check that they can be knitted."),
    "chart": ("stitchc.cli.products:chart", "Show the compiled stitches as letters, JSON or a drawn chart."),
    "card": ("stitchc.cli.products:card", "Make the hole-card template at true scale (PNG, PDF, SVG)."),
    "bitmap": ("stitchc.cli.products:bitmap", "Make the picture for electronic patterning, one pixel a stitch."),
    "sheet": ("stitchc.cli.products:sheet", "Make the needle sheet: what to move and set, row by row."),
    "gauge": ("stitchc.cli.products:gauge", "Estimate the gauge of each stitch, with the range to expect."),
    "compare": ("stitchc.cli.products:compare", "Compare stitches: size, yarn and work, side by side."),
    "swatch": ("stitchc.cli.swatch:command", "Plan the smallest useful swatch of a stitch."),
    "picture": ("stitchc.cli.products:picture", "Draw the fabric as it would look, yarn by yarn."),
    "piece": ("stitchc.cli.products:piece", "Plan a whole piece: needles, rows, sizes, yarn, instructions."),
    "leaflet": ("stitchc.cli.products:leaflet", "Make the leaflet to hand on: PDF and page, for every machine."),
    "build": ("stitchc.cli.build:command", "Make everything that applies to a pattern, in one folder."),
    "trace": ("stitchc.cli.products:trace", "Read a drawn chart's picture back into the notation."),
    "format": ("stitchc.cli.format:command", "Put a pattern file into the standard layout."),
    "machines": ("stitchc.cli.machines:command", "List the machine profiles, or print one to start your own."),
    "explain": ("stitchc.cli.explain:command", "Explain a message code, with an example and what to do."),
}


def command_named(name: str) -> click.Command:
    command: click.Command = pkgutil.resolve_name(COMMANDS[name][0])
    return command


@contextmanager
def _a_reader_that_goes_is_no_error() -> Iterator[None]:
    """`stitchc chart … | head` ends well; click would leave with 1."""
    try:
        yield
    except BrokenPipeError:
        raise SystemExit(0) from None


@contextmanager
def _in_our_words(group_context: click.Context | None = None) -> Iterator[None]:
    """Errors of a command line in words of ours: the place, the cause and what to type instead."""
    try:
        yield
    except click.UsageError as error:
        from stitchc.cli.wrong_usage import in_words

        called = group_context
        if group_context is not None and group_context.invoked_subcommand in COMMANDS:
            name = group_context.invoked_subcommand
            called = click.Context(command_named(name), parent=group_context, info_name=name)
        raise in_words(error, called) from None


def _command_after(name: str, further: list[str]) -> str:
    """The command line with its command in front, where a file stands there; `check` where no command follows."""
    import shlex

    command = next((word for word in further if word in COMMANDS), None)
    if command is None and not name.endswith(".stitch"):
        return ""
    others = list(further)
    if command is not None:
        others.remove(command)
    return shlex.join(["stitchc", command or "check", name, *others])


class LazyGroup(click.Group):
    """A group whose commands are imported only when they are called or asked for their own help."""

    def make_context(
        self, info_name: str | None, args: list[str], parent: click.Context | None = None, **extra: Any
    ) -> click.Context:
        with _a_reader_that_goes_is_no_error(), _in_our_words():  # of --help
            return super().make_context(info_name, args, parent, **extra)

    def invoke(self, ctx: click.Context) -> object:
        from stitchc import files

        files.begin()
        with _a_reader_that_goes_is_no_error(), _in_our_words(ctx):
            return super().invoke(ctx)

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        return command_named(cmd_name) if cmd_name in COMMANDS else None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0] if args else ""
        if name and not name.startswith("-") and name not in COMMANDS:
            if command := _command_after(name, args[1:]):
                ctx.fail(f"The command comes first: {command}")
            import difflib

            near = difflib.get_close_matches(name, COMMANDS, n=1, cutoff=0.5)
            hint = f" Did you mean `{near[0]}`?" if near else ""
            ctx.fail(f"There is no command `{name}`.{hint} `stitchc --help` lists them.")
        return super().resolve_command(ctx, args)

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        from click.shell_completion import CompletionItem

        completions = [
            CompletionItem(name, help=line) for name, (_, line) in COMMANDS.items() if name.startswith(incomplete)
        ]
        return completions or super().shell_complete(ctx, incomplete)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(
    stitchc.__version__,
    prog_name="stitchc",
    message="%(prog)s %(version)s, by the stitchc maintainers\nMIT License: "
    + str(Path(stitchc.__file__).with_name("LICENSE.txt")),
)
def group() -> None:
    """Compile a stitch pattern for single-bed knitting machines.

    One written repeat of knit, tuck and slip becomes a hole card to print and punch, a sheet that says row by row
    which needles to move, a picture for electronic patterning, and an estimate of the fabric's gauge.

    \b
        stitchc check  cowl.stitch            is it right?
        stitchc sheet  cowl.stitch            for a machine without patterning
        stitchc card   cowl.stitch            for a machine that reads a hole card
        stitchc build  cowl.stitch -o cowl    all of it, in a folder

    Every option can also be set in the environment: STITCHC_MACHINE=hand-bulky.
    """
