"""What the page begins with and can add: patterns to open, machines to choose from, a new stitch, a gauge line."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from stitchc.live.desk import Desk
from stitchc.live.settings import settings_of_products
from stitchc.machines import SHIPPED, Machine, load
from stitchc.messages import Refused
from stitchc.notation import compile_text

FIRST_PATTERN: Final = """\
# A first pattern: change it and see.
# Text after this sign is a comment.
pattern "First"

# One repeat, in the order of knitting.
# K knits, T tucks, S slips. Cells run left
# to right as you face the bed.
stitch first
    1: K T
    2: K
    3: T K
    4: K
"""

GROUPS: Final = {
    "none": "Needles selected by hand",
    "card": "Reads a hole card",
    "bitmap": "Electronic patterning",
}
"""What a machine is, by what reads its pattern."""


class CannotAdd(Exception):
    """What was asked for can't be added to the text; the words say why."""


# -- patterns and machines to choose from ------------------------------------------------------------------------------


def offers(desk: Desk) -> dict[str, Any]:
    return {
        "folder": desk.folder.name or str(desk.folder),
        "named": desk.opened_for,
        "files": desk.listed(),
        "drafts": [{"name": draft.name, "at": draft.saved_at} for draft in desk.drafts()],
        "first": FIRST_PATTERN,
        "examples": examples(),
        "machines": machines(desk),
        "products": settings_of_products(),
    }


def examples() -> list[dict[str, str]]:
    """The example patterns, each a text that stands by itself."""
    package = Path(__file__).resolve().parent.parent
    folder = next((place for place in (package / "examples", package.parent / "examples") if place.is_dir()), None)
    texts = []
    for path in sorted(folder.glob("*.stitch")) if folder else []:
        text = path.read_text("utf-8")
        if not re.search(r"^\s*include\b", text, re.MULTILINE | re.IGNORECASE):
            title = re.search(r'^\s*pattern\s+"([^"]*)"', text, re.MULTILINE)
            texts.append({"name": path.name, "title": title[1] if title else path.stem, "text": text})
    return texts


def machines(desk: Desk) -> list[dict[str, str]]:
    """Every machine by what it is: name, group, its title. Profiles of the folder with a mistake say which."""
    machines = [{"name": name, **_described(load(name))} for name in SHIPPED]
    for name in desk.profiles():
        try:
            machines.append({"name": name, **_described(load(str(desk.folder / name))), "group": "Your own profiles"})
        except Refused as refused:
            words = f"{name}: {refused.messages[0].text}"
            machines.append({"name": name, "group": "Your own profiles", "words": words, "wrong": "yes"})
    return machines


def _described(machine: Machine) -> dict[str, str]:
    own = "" if machine.origin == "shipped" else f"{Path(machine.origin).name}: "
    return {"group": GROUPS[machine.reader], "words": f"{own}{machine.title}", "reader": machine.reader}


def machine_place(desk: Desk, name: str) -> str:
    """What `stitchc.machines.load` is given for a machine of the list; "" for none."""
    return str(desk.folder / name) if name in desk.profiles() else name


def machine(desk: Desk, name: str) -> Machine | None:
    """The machine of the list; None for none. Raises Refused."""
    if not name:
        return None
    if name not in SHIPPED and name not in desk.profiles():
        raise ValueError(name)
    return load(machine_place(desk, name))


# -- what can be added to a text --------------------------------------------------------------------------------------


def added(text: str, asked: Mapping[str, Any]) -> dict[str, Any]:
    """The text with a gauge line or a new stitch, and the line it stands in. Raises CannotAdd."""
    kind = asked.get("kind")
    if kind == "gauge":
        new, line = _with_gauge(text, asked)
    elif kind == "stitch":
        new, line = _with_stitch(text, asked)
    elif kind == "traced":
        new, line = _at_the_end(text, [_with_a_free_name(str(asked.get("traced", "")).rstrip("\n"), text)])
    else:
        raise ValueError(kind)
    return {"text": new, "line": line}


def _with_gauge(text: str, asked: Mapping[str, Any]) -> tuple[str, int]:
    counts = [f"{_number(asked[key], key):g} {key}" for key in ("stitches", "rows") if asked.get(key)]
    if not counts:
        raise CannotAdd("Count the stitches, the rows, or both.")
    unit = asked.get("unit")
    if unit not in ("cm", "in", "mm"):
        raise CannotAdd("Choose cm or in.")
    per = f"{_number(asked.get('length'), 'length'):g} {unit}"
    in_yarn = f" in {asked['yarn']}" if asked.get("yarn") else ""
    line = f"gauge {asked.get('stitch')} {' '.join(counts)} per {per}{in_yarn}"
    _refuse_unless_read(f"stitch {_other_name(asked)}\n    1: K\n{_yarn_line(asked)}{line}\n")
    lines = text.split("\n")
    last = max(
        (nth for nth, written in enumerate(lines) if re.match(r"\s*gauge\s", written, re.IGNORECASE)), default=-1
    )
    if last < 0:
        return _at_the_end(text, [line])
    lines.insert(last + 1, line)
    return "\n".join(lines), last + 2


def _other_name(asked: Mapping[str, Any]) -> str:
    """A stitch that the gauge line is tried with."""
    name = str(asked.get("stitch"))
    return "tried" if name.lower() == "plain" else name


def _yarn_line(asked: Mapping[str, Any]) -> str:
    return f"yarn {asked['yarn']}\n" if asked.get("yarn") else ""


def _with_stitch(text: str, asked: Mapping[str, Any]) -> tuple[str, int]:
    name, width, height = str(asked.get("name", "")).strip(), asked.get("width"), asked.get("height")
    wide, high = int(_number(width, "width")), int(_number(height, "height"))
    rows = "1" if high == 1 else f"1-{high}"
    block = [f"stitch {name} over {wide}", f"    {rows}: K"]
    _refuse_unless_read("\n".join(block) + "\n")
    if _is_taken(name, text):
        raise CannotAdd(f"A stitch `{name}` already exists. Choose another name.")
    return _at_the_end(text, block)


def _is_taken(name: str, text: str) -> bool:
    return re.search(rf"^\s*stitch\s+{re.escape(name)}(\s|=|$)", text, re.MULTILINE | re.IGNORECASE) is not None


def _with_a_free_name(traced: str, text: str) -> str:
    """A traced stitch under a name that the text does not have yet, without the yarns that it has."""
    has = {name.lower() for name in re.findall(r"^\s*yarn\s+([^\s#]+)", text, re.MULTILINE | re.IGNORECASE)}
    lines = traced.split("\n")
    traced = "\n".join(line for line in lines if not (line.startswith("yarn ") and line[5:].lower() in has))
    stitch = re.search(r"^stitch\s+(\S+)", traced, re.MULTILINE)
    if stitch is None or not _is_taken(stitch[1], text):
        return traced
    names = (f"{stitch[1]}-{number}" for number in range(2, 1000))
    free = next(name for name in names if not _is_taken(name, text))
    return traced[: stitch.start(1)] + free + traced[stitch.end(1) :]


def _refuse_unless_read(text: str) -> None:
    reading = compile_text(text)
    if reading.pattern is None:
        raise CannotAdd(reading.messages[0].text)


def _number(value: object, key: str) -> float:
    try:
        number = float(str(value).strip().replace(",", "."))
    except ValueError:
        number = 0.0
    if not 0 < number < 1_000_000:
        raise CannotAdd(f"The {key} must be a number above 0.")
    return number


def _at_the_end(text: str, block: list[str]) -> tuple[str, int]:
    """The text with lines added after a blank line, and where they begin."""
    before = text.rstrip("\n ")
    start = f"{before}\n\n" if before else ""
    return f"{start}{chr(10).join(block)}\n", start.count("\n") + 1
