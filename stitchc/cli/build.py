"""`stitchc build`: everything that applies to a pattern, in one folder, with a page that shows it."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from stitchc import files
from stitchc.cli import common
from stitchc.cli.options import options_of
from stitchc.cli.results import show_remarks
from stitchc.messages import Refused
from stitchc.options import BuildOptions

if TYPE_CHECKING:
    from stitchc.pattern import Pattern

MACHINES = ("hand-standard", "card24-standard", "bitmap-standard")
"""One machine of each class, built for when none is named."""


@click.command(
    epilog=common.examples("build cowl.stitch -o cowl", "build cowl.stitch -o cowl --machine hand-bulky --no-pictures")
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
@common.option("--watch", is_flag=True, help="Build again whenever you save the pattern, until Ctrl-C.")
@common.option("--force", is_flag=True, help="Overwrite files even if stitchc did not make them.")
def command(file: str, folder: Path, machine_name: str | None, options: BuildOptions, watch: bool, force: bool) -> None:
    """Make everything that applies to a pattern, in one folder.

    For each stitch the drawn chart, the fabric from both sides, the hole card, the needle sheet and the picture for
    electronic patterning; the gauge of all; for each piece its instructions; the leaflet for other knitters; and
    index.html, which shows them. Without
    --machine there is something for each class: a hand machine, a card reader of 24 columns, and electronic patterning.
    If something cannot be made from this pattern, you are told why. All files are put into the folder at the end.
    """

    def build() -> None:
        from stitchc.cli.fabric_cache import FabricCache
        from stitchc.cli.progress import Bar
        from stitchc.gallery.build import INDEX, build_pattern, expected_names

        machines = [common.load_machine(name) for name in ([machine_name] if machine_name else MACHINES)]
        pattern = common.read_pattern(file, options.book)
        files.refuse_any_foreign([folder / name for name in expected_names(pattern, machines, options)], force)
        dated = dataclasses.replace(options, date=files.today())
        with Bar("building") as bar:
            product = build_pattern(pattern, machines, dated, bar.move_to, FabricCache())
        contents = {each.name: each.content for each in product.files}
        put_into_folder(pattern, folder, contents, contents.pop(INDEX), force)
        show_remarks(product, pattern.sources)

    def build_or_tell() -> None:
        try:
            build()
        except files.FileTrouble:
            raise
        except (Refused, SystemExit) as end:
            if isinstance(end, Refused):
                common.show(end.messages, end.sources)
            if (folder / "index.html").exists():
                common.say(f"Nothing was changed: `{folder}` still holds what was made before.")
            raise SystemExit(1) from None

    if watch:
        from stitchc.cli.watch import rerun_on_save

        rerun_on_save([file, options.book] if options.book else [file], build_or_tell)
    else:
        build_or_tell()


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
        common.say(
            f"`{name}` comes from an earlier build and was changed since, so it was left as it is. The page "
            f"does not show it."
        )


def _made_before(index: Path) -> list[str]:
    """The names of what the last build into this folder made, as its page has them; none where that is not ours."""
    from stitchc.gallery import files_named

    try:
        files.refuse_foreign(index)
        names = files_named(index.read_text("utf-8"))
    except (files.FileTrouble, OSError, ValueError):
        return []
    return [name for name in names if name == Path(name).name]
