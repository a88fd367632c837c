"""`stitchc build`: everything that applies to a pattern, in one folder, with a page that shows it."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stitchc import files
from stitchc.cli import common
from stitchc.cli.bridge import given_again, product_of_command
from stitchc.cli.options import options_of
from stitchc.options import BuildOptions

if TYPE_CHECKING:
    from stitchc.gallery.build import Make
    from stitchc.machines import Machine
    from stitchc.pattern import Pattern, Stitch
    from stitchc.product import Product

MACHINES = ("hand-standard", "card24-standard", "bitmap-standard")
"""One machine of each class, built for when none is named."""


@click.command(
    epilog="\b\nExamples:\n  stitchc build cowl.stitch -o cowl\n"
    "  stitchc build cowl.stitch -o cowl --machine hand-bulky --no-pictures"
)
@common.file_argument
@common.option(
    "-o",
    "--output",
    "folder",
    metavar="DIR",
    type=click.Path(path_type=Path),
    required=True,
    help="The folder to fill.",
)
@options_of(
    BuildOptions,
    machine=None,
    machine_help="Which machine to plan for: a shipped profile (see `stitchc machines`) or your own. (default: one of "
    f"each class: {', '.join(MACHINES)})",
)
@common.option("--watch", is_flag=True, help="Build again whenever the pattern is saved, until Ctrl-C.")
@common.option("--force", is_flag=True, help="Write over files even if stitchc did not make them.")
def command(file: str, folder: Path, machine_name: str | None, options: BuildOptions, watch: bool, force: bool) -> None:
    """Make everything that applies to a pattern, in one folder.

    For each stitch the drawn chart, the fabric from both sides, the hole card, the needle sheet and the picture for
    electronic patterning; the gauge of all; for each piece its instructions; and index.html, which shows them. Without
    --machine there is something for each class: a hand machine, a card of 24, and electronic patterning. What cannot be
    made of this pattern is left out, with the reason. All files are put into the folder at the end, the page last.
    """

    def build() -> None:
        text = files.read_bytes("-") if file == "-" else None
        names = {common.load_machine(name).name: name for name in ([machine_name] if machine_name else MACHINES)}
        machines = [common.load_machine(name) for name in names.values()]
        with given_again(text):
            pattern = common.read_pattern(file)
        _build(pattern, machines, options, folder, force, _makers(pattern, text, names))

    if watch:
        from stitchc.cli.watch import rerun_on_save

        rerun_on_save([file], build)
    else:
        build()


def _build(
    pattern: Pattern,
    machines: Sequence[Machine],
    options: BuildOptions,
    folder: Path,
    force: bool,
    makers: dict[str, Callable[[Machine | None], Make]],
) -> None:
    from stitchc.checks import check_pattern
    from stitchc.cli.progress import Bar
    from stitchc.gallery import index_page
    from stitchc.gallery.build import do_all, jobs_of, why_not
    from stitchc.page.lettering import what_is_lacking

    stitches = common.chosen(pattern, options.stitches)
    warnings = common.require(check_pattern(pattern, machines[0], stitches), pattern, options.anyway)
    index = folder / "index.html"
    files.refuse_foreign(index, force)
    jobs = list(jobs_of(pattern, stitches, machines, options, makers))
    with Bar("building") as bar:
        made, made_files, products = do_all(jobs, bar.at)
    names = [file.name for file in made_files]
    page = index_page(
        pattern,
        stitches,
        made,
        warnings,
        _gauge_sentences(pattern, stitches, options),
        _sizes(products, options),
        names,
    )
    put_into_folder(pattern, folder, {file.name: file.content for file in made_files}, page.encode(), force)
    drawn = [name or "" for stitch in stitches for name in (stitch.name, *stitch.chart.yarns)]
    lacking = what_is_lacking("".join([pattern.title or "", *drawn]), "drawing")
    if lacking:
        common.say(lacking)
    common.show([message for entry in made for message in why_not(entry)], pattern.sources)


# -- the folder -----------------------------------------------------------------------------------------------------


def put_into_folder(
    pattern: Pattern, folder: Path, contents: Mapping[str, bytes], page: bytes, force: bool = False
) -> None:
    """Put everything into the folder, the page last; until then a page that says so stands there. What an earlier
    build left and this one does not make is taken away, if nobody has changed it since."""
    from stitchc.gallery import unfinished_page

    index = folder / "index.html"
    earlier = [name for name in _made_before(index) if name not in contents]
    gone, kept = [], []
    for name in earlier:
        try:
            files.refuse_foreign(folder / name)
            gone.append(folder / name)
        except files.FileTrouble:
            kept.append(name)
    unfinished = unfinished_page(pattern, [*contents, *earlier]).encode()
    parts: list[tuple[Path, bytes | None]] = [(index, unfinished)]
    parts += [(folder / name, content) for name, content in contents.items()]
    parts += [(path, None) for path in gone if path.exists()]
    written = common.write_sealed([*parts, (index, page)], force)
    for path in [*(path for path in written if path != index), index]:
        common.print_path(path)
    for name in kept:
        common.say(f"`{name}` is of an earlier build and was changed since, so it was left: it is not on the page.")


def _made_before(index: Path) -> list[str]:
    """The names of what the last build into this folder made, as its page has them; none where that is not ours."""
    from stitchc.gallery import files_named

    try:
        files.refuse_foreign(index)
        names = files_named(index.read_text("utf-8"))
    except (files.FileTrouble, OSError, ValueError):
        return []
    return [name for name in names if name == Path(name).name]


# -- sentences for the page -----------------------------------------------------------------------------------------


def _gauge_sentences(pattern: Pattern, stitches: Sequence[Stitch], options: BuildOptions) -> dict[str, str]:
    from stitchc.gauge import estimate_pattern
    from stitchc.gauge.words import in_words

    report = estimate_pattern(pattern, [stitch.name for stitch in stitches], options.plain)
    return {gauge.name: in_words(gauge) for gauge in report.stitches}


def _sizes(products: Sequence[Product[Any]], options: BuildOptions) -> dict[str, str]:
    """For each piece a sentence on what it comes to, as its data say."""
    import json

    from stitchc.sheet.terms import MAIN_YARN

    sizes: dict[str, str] = {}
    for file in (file for product in products for file in product.files if file.name.endswith(".json")):
        if b'"stitchc-piece/1"' not in file.content[:100]:
            continue
        document = json.loads(file.content)
        rows = sum(section["rows"] for section in document["sections"])
        said = [f"{document['needles']['count']} needles and {rows} rows"]
        lengths = [document[key] for key in ("width_cm", "length_cm")]
        if all(lengths):
            per_cm = 1 / 2.54 if options.units == "in" else 1.0
            digits = 1 if options.units == "in" else 0
            across, up = (f"{length['value'] * per_cm:.{digits}f}" for length in lengths)
            said.append(f"about {across} by {up} {options.units}")
        yarns = [
            f"have {yarn['to_have']['words']} of {yarn['name'] or MAIN_YARN}"
            for yarn in document["yarn"]
            if yarn["to_have"]["words"]
        ]
        sizes.setdefault(document["piece"], "; ".join([*said, *yarns]) + ".")
    return sizes


# -- how each product is made ---------------------------------------------------------------------------------------


_PRODUCTS = {
    "chart": "stitchc.drawn.product:draw_chart",
    "card": "stitchc.card.product:make_card",
    "bitmap": "stitchc.bitmap:make_bitmap",
    "sheet": "stitchc.sheet.product:make_sheet",
    "piece": "stitchc.piece.product:plan_piece",
}
"""Where each product's function is."""

_WITH_PROGRESS = ("chart", "card", "bitmap")


def _makers(pattern: Pattern, text: bytes | None, names: dict[str, str]) -> dict[str, Callable[[Machine | None], Make]]:
    """For each product a function of the machine that gives a function of the options."""

    def maker(name: str) -> Callable[[Machine | None], Make]:
        def of(machine: Machine | None) -> Make:
            if name not in _PRODUCTS:
                return lambda options, progress: product_of_command(
                    name, pattern, text, names[machine.name] if machine else None, options
                )
            module, function = _PRODUCTS[name].split(":")
            make = getattr(importlib.import_module(module), function)
            if name in _WITH_PROGRESS:
                return lambda options, progress: make(pattern, machine, options, progress)
            return lambda options, progress: make(pattern, machine, options)

        return of

    return {name: maker(name) for name in ("chart", "card", "bitmap", "sheet", "gauge", "compare", "picture", "piece")}
