"""`stitchc new`: a first pattern with comments, which compiles as it stands."""

from __future__ import annotations

from pathlib import Path

import click

from stitchc import files
from stitchc.cli.common import examples, option, print_path, put_files, say
from stitchc.messages import visible
from stitchc.naming import file_stem

FIRST_PATTERN = """\
# A first pattern. Text after a # is a comment. Change the file line by line, and run
#     stitchc check {file}
# after each change. It says what cannot be knitted, where, and what to do.

pattern "{title}"
note "Worn purl side out."

# One repeat, row by row, in the order of knitting: K knits, T tucks, S slips.
# Cells run left to right as you face the bed. The repeat goes on in every direction.
stitch {name}
    1: K T
    2: K

# Lines that you can use later: remove the # in front of one.
# A stitch built from another; here the tucks change places after every second row:
# stitch {name}-staggered = {name} then {name} shifted 1
# What you measured on a swatch of stocking stitch; it makes every estimate better:
# gauge plain 20 stitches 28 rows per 10 cm

# Next:
#     stitchc sheet {file}    for a machine without patterning
#     stitchc card {file}     a hole card to print and punch
#     stitchc gauge {file}    how wide and long it will be
#     stitchc build {file} -o {name}    all of it, in a folder
"""


@click.command(epilog=examples("new tide-pool        writes tide-pool.stitch"))
@click.argument("name", metavar="NAME")
@option("--force", is_flag=True, help="Overwrite a file of that name.")
def command(name: str, force: bool) -> None:
    """Write NAME.stitch: a commented pattern that compiles, to change into your own."""
    from stitchc.notation.writer import is_name

    if "/" in name or "\\" in name:
        raise click.BadParameter(
            f"`{visible(name)}` has a folder in it. Go to that folder first, and give only the name of the pattern."
        )
    stem = file_stem(name.removesuffix(".stitch"))
    stitch = stem if stem.isascii() and is_name(stem) else "first"
    path = Path(f"{stem}.stitch")
    title = visible(name.removesuffix(".stitch").replace('"', "'").replace("-", " ").strip().capitalize()) or "First"
    text = FIRST_PATTERN.format(file=path, title=title, name=stitch)
    if not force and path.is_file() and path.read_bytes() == text.encode("utf-8"):
        print_path(path)
        say(f"`{visible(str(path))}` already exists, as `stitchc new` wrote it. Open it in a text editor.")
        return
    try:
        put_files([(path, text.encode("utf-8"))], force, signed=False)
    except files.FileTrouble as trouble:
        advice = f"stitchc new {stem}-2, or another name; --force overwrites it"
        raise files.FileTrouble(
            *(
                message._replace(advice=advice) if message.code == "F503" and not force else message
                for message in trouble.messages
            )
        ) from None
    say(f"Open it in a text editor, and run `stitchc check {path}`.")
