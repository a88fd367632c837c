"""`stitchc build`: everything that applies to a pattern, in one folder, with a page that shows it."""

from __future__ import annotations

import contextlib
import importlib
import io
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from stitchc import files
from stitchc.cli.common import (
    anyway_option,
    chosen,
    file_argument,
    load_machine,
    machine_option,
    option,
    read_pattern,
    require,
    say,
    stitch_option,
    units_option,
    write_sealed,
)
from stitchc.cli.plain_gauge import plain_option
from stitchc.gallery.made import WHOLE, Job, Made
from stitchc.naming import file_stem, numbered

if TYPE_CHECKING:
    from stitchc.gauge import PlainGauge
    from stitchc.machines import Machine
    from stitchc.pattern import Pattern, Stitch

MACHINES = ("hand-standard", "card24-standard", "bitmap-standard")
"""One machine of each class, built for when none is named."""

CARD = ("png", "pdf", "svg", "text")
"""The forms of a hole card that are built."""

TO_READ = ("html", "text", "json")
"""The forms that are built of what one reads at the machine."""


@click.command(
    epilog="\b\nExamples:\n  stitchc build cowl.stitch -o cowl\n"
    "  stitchc build cowl.stitch -o cowl --machine hand-bulky --no-pictures"
)
@file_argument
@option("-o", "--output", metavar="DIR", type=click.Path(path_type=Path), required=True, help="The folder to fill.")
@stitch_option
@machine_option(None)
@plain_option
@option("--pictures/--no-pictures", default=True, show_default=True, help="Draw the fabric (the slowest part).")
@units_option
@anyway_option
@option("--watch", is_flag=True, help="Build again whenever the pattern is saved, until Ctrl-C.")
@option("--force", is_flag=True, help="Write over files even if stitchc did not make them.")
def command(
    file: str,
    output: Path,
    stitch_names: tuple[str, ...],
    machine_name: str | None,
    plain: PlainGauge | None,
    pictures: bool,
    units: str,
    anyway: bool,
    watch: bool,
    force: bool,
) -> None:
    """Make everything that applies to a pattern, in one folder.

    For each stitch the drawn chart, the fabric from both sides, the hole card, the needle sheet and the picture for
    electronic patterning; the gauge of all; for each piece its instructions; and index.html, which shows them. Without
    --machine there is something for each class: a hand machine, a card of 24, and electronic patterning.
    """

    def build() -> None:
        _build(file, output, stitch_names, machine_name, plain, pictures, units, anyway, force)

    if watch:
        from stitchc.cli.watch import rerun_on_save

        rerun_on_save([file], build)
    else:
        build()


def _build(
    file: str,
    output: Path,
    stitch_names: tuple[str, ...],
    machine_name: str | None,
    plain: PlainGauge | None,
    pictures: bool,
    units: str,
    anyway: bool,
    force: bool,
) -> None:
    from stitchc.checks import check_pattern

    standard_input = files.read_bytes(file) if file == "-" else None  # each part of the build reads it again
    with _given(standard_input):
        pattern = read_pattern(file)
    stitches = chosen(pattern, stitch_names)
    machines = [load_machine(name) for name in ([machine_name] if machine_name else MACHINES)]
    names = {machine.name: machine_name or machine.name for machine in machines}
    warnings = require(check_pattern(pattern, machines[0], stitches), pattern, anyway)
    shared = ("--force",) * force + ("--anyway",) * anyway
    jobs = list(_jobs(pattern, stitches, machines, names, output, plain, units, pictures, shared))
    files.refuse_any_foreign([*dict.fromkeys(job.target for job in jobs), output / "index.html"], force)
    told = _Told()
    made = _all_done(jobs, file, standard_input, told)
    from stitchc.gallery import index_page
    from stitchc.page.lettering import what_is_lacking

    gauges = _gauge_sentences(pattern, stitches, plain)
    page = index_page(pattern, stitches, made, warnings, gauges, _sizes(made, units))
    told.tell(map(str, write_sealed([(output / "index.html", page.encode("utf-8"))], force)))
    drawn = [name or "" for stitch in stitches for name in (stitch.name, *stitch.chart.yarns)]
    lacking = what_is_lacking("".join([pattern.title or "", *drawn]), "drawing")
    if lacking:
        say(lacking)
    for entry in made:
        if entry.reason is not None:
            of = f" of `{entry.job.subject}`" if entry.job.subject else ""
            say(f"no {entry.job.what}{of} ({entry.job.target.name}): {entry.reason}")
    told.finish()


def _gauge_sentences(pattern: Pattern, stitches: tuple[Stitch, ...], plain: PlainGauge | None) -> dict[str, str]:
    from stitchc.gauge import estimate_pattern
    from stitchc.gauge.words import in_words

    report = estimate_pattern(pattern, [stitch.name for stitch in stitches], plain)
    return {gauge.name: in_words(gauge) for gauge in report.stitches}


def _sizes(made: list[Made], units: str) -> dict[str, str]:
    """For each piece a sentence on what it comes to, as its data say."""
    import json

    from stitchc.sheet.terms import MAIN_YARN

    sizes: dict[str, str] = {}
    for entry in made:
        if entry.job.command != "piece" or entry.reason is not None or entry.job.target.suffix != ".json":
            continue
        document = json.loads(entry.job.target.read_text("utf-8"))
        rows = sum(section["rows"] for section in document["sections"])
        said = [f"{document['needles']['count']} needles and {rows} rows"]
        lengths = [document[key] for key in ("width_cm", "length_cm")]
        if all(lengths):
            per_cm = 1 / 2.54 if units == "in" else 1.0
            across, up = (f"{length['value'] * per_cm:.{1 if units == 'in' else 0}f}" for length in lengths)
            said.append(f"about {across} by {up} {units}")
        yarns = [
            f"have {yarn['to_have']['words']} of {yarn['name'] or MAIN_YARN}"
            for yarn in document["yarn"]
            if yarn["to_have"]["words"]
        ]
        sizes.setdefault(entry.job.subject, "; ".join([*said, *yarns]) + ".")
    return sizes


def _jobs(
    pattern: Pattern,
    stitches: tuple[Stitch, ...],
    machines: list[Machine],
    names: dict[str, str],
    output: Path,
    plain: PlainGauge | None,
    units: str,
    pictures: bool,
    shared: tuple[str, ...],
) -> Iterator[Job]:
    """Everything that there is to make, in order. names: of each machine as it was asked for. shared: options of all
    that can be refused for what can't be knitted."""
    gauge = ("--plain", f"{plain.stitches:g}x{plain.rows:g}") if plain else ()
    picked = tuple(word for stitch in stitches for word in ("--stitch", stitch.name))
    forced = tuple(word for word in shared if word == "--force")
    stems, piece_stems = numbered(pattern.stitches), numbered(pattern.pieces)

    def each(
        forms: Sequence[str], what: str, subject: str, stem: str, command: str, words: Sequence[str], machine: str = ""
    ) -> Iterator[Job]:
        for form in forms:
            target = output / f"{stem}.{'txt' if form == 'text' else form}"
            yield Job(what, subject, target, command, (*words, "--format", form), machine)

    for stitch in stitches:
        stem = stems[stitch.name]
        one = ("--stitch", stitch.name)
        yield from each(("svg", "png"), "drawn chart", stitch.name, f"{stem}-chart", "chart", (*one, *forced))
        if pictures:
            for face in ("purl", "knit"):
                target = output / f"{stem}-fabric-{face}.png"
                yield Job(f"{face} side", stitch.name, target, "picture", (*one, "--face", face, *gauge, *forced))
        for machine in machines:
            words = (*one, "--machine", names[machine.name], *shared)
            if machine.reader == "card":
                yield from each(CARD, "hole card", stitch.name, f"{stem}-card", "card", words, machine.name)
            elif machine.reader == "bitmap":
                yield Job("needle picture", stitch.name, output / f"{stem}-bitmap.png", "bitmap", words, machine.name)
            else:
                yield from each(TO_READ, "needle sheet", stitch.name, f"{stem}-sheet", "sheet", words, machine.name)
    yield from each(("json",), "letters", WHOLE, "chart", "chart", (*picked, *forced))
    yield from each(("text", "json"), "gauge", WHOLE, "gauge", "gauge", (*picked, *gauge, "--units", units, *forced))
    if len(stitches) > 1:
        yield from each(("png",), "comparison", WHOLE, "compare", "compare", (*picked, *gauge, *forced))
    for piece in pattern.pieces.values():
        for machine in machines:
            stem = f"{piece_stems[piece.name]}-piece-{file_stem(machine.name)}"
            words = ("--piece", piece.name, "--machine", names[machine.name], *gauge, "--units", units, *shared)
            what = f"piece for {machine.name}"
            yield from each(TO_READ, what, piece.name, stem, "piece", words, machine.name)


class _Told:
    """Paths printed as they are written, each once (the JSON beside a card comes with each of its forms).

    Where standard output can't take them, what is being built is built all the same, and that is told at the end.
    """

    def __init__(self) -> None:
        self._paths: set[str] = set()
        self._trouble: OSError | ValueError | None = None

    def tell(self, paths: Iterable[str]) -> None:
        for path in paths:
            if path in self._paths or self._trouble is not None:
                continue
            self._paths.add(path)
            try:
                print(path, flush=True)
            except (OSError, ValueError) as error:
                self._trouble = error

    def finish(self) -> None:
        """Raise what the first path that could not be printed raised."""
        if self._trouble is not None:
            raise self._trouble


def _all_done(jobs: list[Job], file: str, standard_input: bytes | None, told: _Told) -> list[Made]:
    """Do the jobs one after another, with a progress bar, and tell each path as it is written."""
    from stitchc.cli.progress import Bar

    made: list[Made] = []
    with Bar("building") as bar:

        def tell(paths: list[str]) -> None:
            bar.clear()
            told.tell(paths)

        for number, job in enumerate(jobs):
            bar.at(number / len(jobs), job.what, 1 / len(jobs))
            made.append(_done(job, file, standard_input, tell))
    return made


def _done(job: Job, file: str, standard_input: bytes | None, tell: Callable[[list[str]], None]) -> Made:
    """Do one job and tell the paths it wrote.

    What does not apply to this pattern is a reason; what the file system refused ends the build.
    """
    command = importlib.import_module(f"stitchc.cli.{job.command}").command
    said, written = io.StringIO(), io.StringIO()
    arguments = [file, *job.arguments, "-o", str(job.target)]
    try:
        with _given(standard_input), contextlib.redirect_stderr(said), contextlib.redirect_stdout(written):
            command.main(arguments, prog_name=f"stitchc {job.command}", standalone_mode=False)
    except files.FileTrouble:
        raise
    except click.ClickException as error:
        return Made(job, error.format_message())
    except SystemExit as error:
        if error.code:
            return Made(job, _first_sentence(said.getvalue()))
    finally:
        tell(written.getvalue().splitlines())
    return Made(job)


@contextlib.contextmanager
def _given(content: bytes | None) -> Iterator[None]:
    """The content as standard input, from its beginning."""
    if content is None:
        yield
        return
    before = sys.stdin
    sys.stdin = io.TextIOWrapper(io.BytesIO(content), "utf-8")
    try:
        yield
    finally:
        sys.stdin = before


def _first_sentence(text: str) -> str:
    """The first error among rendered messages, without its place and code."""
    for line in text.splitlines():
        if match := re.search(r"(?:^|: )error: (.+) \[[A-Z]\d{3}\]$", line):
            return match[1]
    return text.strip().splitlines()[0] if text.strip() else "it could not be made"
