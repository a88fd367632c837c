"""`stitchc machines`: the profiles and what each can do, some in full, or the text of one to start your own from."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from stitchc.cli.common import examples, machine_names, option, put_text
from stitchc.cli.options import options_of
from stitchc.cli.reports import ListOptions
from stitchc.cli.results import Target
from stitchc.english import listed, number

if TYPE_CHECKING:
    from stitchc.machines import Limit, Machine


def _words(table: str, name: str, value: str) -> str:
    from stitchc.machines.schema import BY_PATH

    return BY_PATH[table, name].phrase(value)


@click.command(
    epilog=examples(
        "machines",
        "machines card24-standard",
        "machines --write card24-standard > my.toml",
        "machines my.toml",
        "machines --ask -o my.toml",
    )
)
@click.argument("names", metavar="[NAME|FILE.toml]...", nargs=-1, shell_complete=machine_names)
@option(
    "--write",
    "written",
    metavar="NAME",
    shell_complete=machine_names,
    help="Print a profile to start your own from; each line says what it means and where the figure is from.",
)
@option(
    "--ask",
    is_flag=True,
    help="Ask what your knitted test card showed (stitchc card --test-card) and write a profile of your machine.",
)
@options_of(ListOptions, output="it instead of printing it", endings=[".toml"])
def command(names: tuple[str, ...], written: str | None, ask: bool, options: ListOptions, target: Target) -> None:
    """List the machine profiles, show some in full, or print one to start your own from.

    Your own file is checked completely: you get every mistake with its line or, if there is none, what the machine can
    do. The file may begin with `based_on = "card24-standard"` and then give only what differs.
    """
    from stitchc.machines import SHIPPED, load, profile_text

    if ask:
        from stitchc.cli.asking import ask_for_a_profile

        ask_for_a_profile(names, target.path, target.force)
        return
    if written is not None:
        if names:
            raise click.UsageError("--write NAME prints one profile; leave the other names out.")
        put_text(profile_text(written), target.path, target.force, signed=False)
        return
    machines = _loaded(names) if names else [load(name) for name in SHIPPED]
    if options.form == "json":
        text = json.dumps(as_json(machines), ensure_ascii=False, indent=2)
    else:
        text = "\n\n".join(in_full(machine) for machine in machines) if names else table(machines)
    put_text(text, target.path, target.force)


def _loaded(names: tuple[str, ...]) -> list[Machine]:
    """All of them, or every mistake of every profile."""
    from stitchc.cli.common import show
    from stitchc.files import FileTrouble
    from stitchc.machines import load
    from stitchc.messages import Refused

    machines, status = [], 0
    for name in names:
        try:
            machines.append(load(name))
        except Refused as refused:
            show(refused.messages, refused.sources)
            status = max(status, 3 if isinstance(refused, FileTrouble) else 1)
    if status:
        raise SystemExit(status)
    return machines


def as_json(machines: list[Machine]) -> dict[str, object]:
    """The `stitchc-machines/1` document: every setting of each machine under its name in the profile's values."""
    from dataclasses import asdict

    return {"format": "stitchc-machines/1", "machines": [asdict(machine) for machine in machines]}


def table(machines: list[Machine]) -> str:
    """One line a machine."""
    head = ("machine", "pitch", "needles", "pattern read from", "tuck", "slip")
    rows = [head, *map(_row, machines)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(head))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    lines.insert(1, "  ".join("-" * width for width in widths))
    return "\n".join(
        [
            *lines,
            "",
            "In full:   stitchc machines NAME",
            "Your own:  stitchc machines --write NAME > my.toml, then --machine my.toml",
        ]
    )


def _row(machine: Machine) -> tuple[str, ...]:
    read = {
        "none": "none: by hand",
        "card": f"hole card, {machine.reader_width} wide",
        "bitmap": f"picture, to {machine.reader_width} wide",
    }[machine.reader]
    pitch = f"{machine.pitch_mm:g} mm"
    return (machine.name, pitch, str(machine.needles), read, *_ways(machine))


def _ways(machine: Machine) -> tuple[str, str]:
    return _words("carriage", "tuck", machine.tuck), _words("carriage", "slip", machine.slip)


def in_full(machine: Machine) -> str:
    """What one machine is and can do, in words."""
    bed = machine.bed
    tuck, slip = _ways(machine)
    may_hold = (machine.tuck, machine.slip) != ("none", "none")
    lines = [
        ("needles", f"{machine.needles}, {bed.left} to {bed.right}, {machine.pitch_mm:g} mm apart"),
        ("tuck", tuck),
        ("slip", f"{slip}: {_words('carriage', 'slip_by', machine.slip_by)}" if machine.slip == "by-hand" else slip),
        *([("holding", _words("carriage", "hold_directions", machine.hold_directions))] if may_hold else []),
        *_reader_lines(machine),
        *_limit_lines(machine),
    ]
    wide = max(len(name) for name, _ in lines)
    head = f"{machine.name}: {machine.title}" + (
        "" if machine.origin == "shipped" else f" ({machine.origin}, no mistakes)"
    )
    return "\n".join([head, *(f"  {name.ljust(wide)}  {words}" for name, words in lines)])


def _reader_lines(machine: Machine) -> list[tuple[str, str]]:
    if machine.reader == "none" or machine.reader_width is None:
        far = _words("carriage", "yarn_at_other_side", machine.yarn_at_other_side)
        yarn = f"where the yarn hangs at the other side, {far}"
        return [("pattern", "selected by hand, as the sheet says"), ("yarn change", yarn)]
    card = machine.card
    width = machine.reader_width
    lines = []
    if machine.reader == "card":
        fit = [str(number) for number in range(1, width + 1) if width % number == 0]
        lines.append(("pattern", f"hole card, {width} columns: a repeat {listed(fit, 'or')} wide fits"))
        lines.append(("a hole", _words("reader", "mark_means", machine.mark_means)))
        which = "of the pattern (the last column of the card, which goes in mirrored) " if machine.mirrored else ""
        lines.append(("column 1", f"{which}on needle {machine.column_1_needle}, repeating outward"))
    else:
        lines.append(("pattern", f"picture, one pixel a stitch, up to {width} wide, {machine.first_row} row first"))
        lines.append(("a dark pixel", _words("reader", "mark_means", machine.mark_means)))
        where = machine.column_1_needle or "the leftmost needle in work that is not an edge needle"
        which = "of the pattern (the last column of the picture, which goes in mirrored) " if machine.mirrored else ""
        lines.append(("column 1", f"{which}on {where}"))
    lines.append(("mirrored", "yes: it is entered with left and right exchanged" if machine.mirrored else "no"))
    lines.append(("selection", _words("reader", "selects", machine.selects)))
    if card is not None:
        lines += [
            (
                "card",
                f"{card.rows} rows on a blank, at least {card.least_rows} to close it, "
                f"{card.joining_rows} joining rows at each end",
            ),
            ("row seen", f"{card.seen_above_read} above the row read"),
            (
                "card in mm",
                f"sheet {card.sheet_width_mm:g} wide, columns {card.column_pitch_mm:g}, rows {card.row_pitch_mm:g}, "
                f"holes {card.hole_mm:g} across (measure your own card)",
            ),
        ]
    return lines


def _limit_lines(machine: Machine) -> list[tuple[str, str]]:
    limits = machine.limits
    floats = _limit(limits.float_needles, "needles")
    if limits.float_mm is not None:
        most = int(limits.float_mm / machine.pitch_mm + 1e-9)
        also = f"warning over {limits.float_mm:g} mm ({number(most, 'needle')} here)"
        floats = also if floats == "no limit" else f"{floats}; {also}"
    return [
        ("tucks in succession", _limit(limits.tucks_in_succession, "on one needle")),
        ("tucks side by side", _limit(limits.tucks_side_by_side, "needles")),
        ("slips in succession", _limit(limits.slips_in_succession, "on one needle")),
        ("floats", floats),
        ("tuck and slip in a row", limits.mixed_rows),
    ]


def _limit(limit: Limit, unit: str) -> str:
    bounds = [
        f"{severity} from {count}"
        for severity, count in (("warning", limit.warn_from), ("error", limit.error_from))
        if count is not None
    ]
    return f"{', '.join(bounds)} {unit}" if bounds else "no limit"
