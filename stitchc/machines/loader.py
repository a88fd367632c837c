"""Reads machine profiles: a shipped one by name, or a knitter's own TOML file, checked whole before it is used.

All mistakes of a profile are reported together, each at its line. Knows TOML and the bounds of each key; knows nothing
of patterns. What a key means stands in `profile`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from stitchc.bed import Needles, needle_position
from stitchc.english import listed
from stitchc.machines.geometry import impossible
from stitchc.machines.profile import CardShape, Limit, Limits, Machine
from stitchc.machines.schema import (
    BY_PATH,
    COUNTED,
    EVERY_READER,
    FORMAT,
    KEYS,
    NEVER,
    SHIPPED,
    TABLES,
    Key,
    shown,
    written,
)
from stitchc.machines.source import MOST_BYTES, Source, short
from stitchc.messages import Message, Refused, Span

_FOLDER: Final = Path(__file__).parent / "profiles"
_MOST_ADVISED: Final = 100
"""Unknown keys for which the nearest known one is looked for; a file with more is no profile."""

# -- the ways in ------------------------------------------------------------------------------------------------


def load(name: str) -> Machine:
    """The machine of a shipped name, or of a profile file (anything that ends in .toml or has a folder in it).

    Raises Refused with one M304 for each mistake (with `sources` for showing the lines), and FileTrouble where the
    file cannot be read.
    """
    if name in SHIPPED:
        return load_text(_own_text(name), f"{name}.toml", shipped=name)
    if not _is_path(name):
        raise Refused(_unknown_machine(name))
    from stitchc import files

    try:
        content = files.read_bytes(name, MOST_BYTES)
    except files.FileTrouble as trouble:
        text = trouble.messages[0].text
        raise files.FileTrouble(Message("F501", "error", text, advice=_nearby_profiles(name))) from None
    return load_text(content, name)


load_machine: Final = load
"""The same, where its name stands alone."""


def profile_text(name: str) -> str:
    """The whole TOML of a shipped profile, each line with what it means and where it is from. Raises Refused M304 for
    another name."""
    if name not in SHIPPED:
        raise Refused(_unknown_machine(name))
    values, sources = _shipped(name)
    return written(dict(values), dict(sources))


@lru_cache
def _own_text(name: str) -> str:
    """What the package keeps of a shipped profile: what differs from the one that it is based on."""
    return (_FOLDER / f"{name}.toml").read_text(encoding="utf-8")


@lru_cache
def _shipped(name: str) -> tuple[Mapping[tuple[str, ...], Any], Mapping[tuple[str, ...], str]]:
    """The values of a shipped profile by path, and where they are from: the comments beside them."""
    source = Source(_own_text(name), f"{name}.toml")
    own = dict(_flat(source.parsed()))
    base = own.pop(("based_on",), None)
    values, sources = _shipped(base) if base else ({}, {})
    merged = {**values, **own, ("format",): FORMAT, ("name",): name}
    merged[_MIXED_ROWS] = _usual_mixed_rows(merged["carriage", "slip"])
    return merged, {**sources, **{path: words for path in own if (words := source.comment(path))}}


_MIXED_ROWS: Final = ("limits", "mixed_rows")


def _usual_mixed_rows(slip: str) -> str:
    """What a row of both tuck and slip is called: hands can do it, a pass of a carriage does one or the other."""
    return "warning" if slip == "by-hand" else "error"


def _flat(table: Mapping[str, Any], path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    for name, value in table.items():
        if isinstance(value, dict):
            yield from _flat(value, (*path, name))
        else:
            yield (*path, name), value


def load_text(text: str | bytes, file: str, shipped: str | None = None) -> Machine:
    """The machine that a profile's text says. file: its name, for messages and (without its ending) for the machine
    where the text has no `name`. shipped: the name of a shipped profile, if that is what this is.

    Raises Refused with one M304 for each mistake.
    """
    return _read(text, file, shipped)


@lru_cache(maxsize=32)  # of every pattern, plan and leaflet the same few
def _read(text: str | bytes, file: str, shipped: str | None) -> Machine:
    source = Source(text, file)
    document = source.parsed()
    based_on = document.get("based_on")
    base = _shipped(based_on)[0] if isinstance(based_on, str) and based_on in SHIPPED else {}
    reading = _Reading(source, document, base)
    machine = reading.machine(shipped)
    if reading.mistakes:
        raise Refused(*sorted(reading.mistakes, key=_by_place), sources=source.sources)
    assert machine is not None
    return machine


def _by_place(message: Message) -> tuple[int, int, str]:
    span = message.span
    return (span.line, span.column, message.text) if span else (0, 0, message.text)


def _is_path(name: str) -> bool:
    if name.lower().endswith(".toml") or "/" in name or "\\" in name:
        return True
    try:
        return Path(name).is_file()
    except (OSError, ValueError):
        return False


def _unknown_machine(name: str) -> Message:
    import difflib

    word = name.lower()
    near = [each for each in SHIPPED if each.startswith(word)] or difflib.get_close_matches(word, SHIPPED, 1, 0.6)
    known = "The profiles: " + ", ".join(SHIPPED) + "; or your own file, whose name ends in .toml."
    advice = f"{listed([f'--machine {each}' for each in near], 'or')}\n{known}" if near else known
    return Message("M304", "error", f"There is no machine `{short(name)}`.", advice=advice)


def _nearby_profiles(name: str) -> str:
    try:
        near = sorted(entry.name for entry in Path(name).parent.glob("*.toml"))[:5]
    except (OSError, ValueError):
        near = []
    if near:
        return "Profiles in that folder: " + ", ".join(near) + "."
    return "Check the name and the folder, or begin one: stitchc machines --write hand-standard > my.toml"


# -- checking what it says --------------------------------------------------------------------------------------


class _Reading:
    """One profile being checked: values by path, and the messages about them."""

    def __init__(self, source: Source, document: Mapping[str, Any], base: Mapping[tuple[str, ...], Any]) -> None:
        self.source = source
        self.mistakes: list[Message] = []
        self.own: set[tuple[str, ...]] = set()  # keys that this profile says itself
        self.values: dict[tuple[str, ...], Any] = {}
        self.mistaken: set[tuple[str, ...]] = set()  # tables and keys that were meant but written wrongly
        for path, value in base.items():
            self._check(BY_PATH[path], value)
        self._take(document, ())
        if self.own & {("reader", "width"), ("reader", "kind")} and ("reader", "column_1_needle") not in self.own:
            self.values.pop(("reader", "column_1_needle"), None)  # the place of another width says nothing of this one

    # -- each key by itself

    def _take(self, table: Mapping[str, Any], path: tuple[str, ...]) -> None:
        for name, value in table.items():
            here = (*path, name)
            if here in BY_PATH:
                self.own.add(here)
                self.values.pop(here, None)
                self._check(BY_PATH[here], value)
            elif here in TABLES:
                if isinstance(value, dict):
                    self._take(value, here)
                else:
                    self.mistaken.add(here)
                    self._say(
                        f"`{'.'.join(here)}` is a table, not {shown(value)}.",
                        self.source.value(here),
                        advice=_table_advice(here),
                    )
            else:
                self._unknown(here, isinstance(value, dict))

    def _unknown(self, here: tuple[str, ...], is_table: bool) -> None:
        import difflib

        name = here[-1]
        key_path = short(".".join(here))
        elsewhere = [path for path in (*BY_PATH, *TABLES) if path[-1] == name and path != here]
        siblings = sorted({path[len(here) - 1] for path in BY_PATH if path[: len(here) - 1] == here[:-1]})
        near: list[str] = []
        meant: list[str] = []
        if len(self.mistakes) < _MOST_ADVISED:
            near = difflib.get_close_matches(name.lower(), siblings, n=1, cutoff=0.6)
            meant = difflib.get_close_matches(name.lower(), _FIRST_WORDS, n=1, cutoff=0.85)
        if near:
            self.mistaken.add((*here[:-1], near[0]))
            advice = f"Write `{near[0]}`."
        elif elsewhere and len(elsewhere[0]) > 1:
            advice = f"`{name}` belongs under [{'.'.join(elsewhere[0][:-1])}]."
        elif meant:
            key = _FIRST_WORDS[meant[0]]
            table = f" under [{'.'.join(key.path[:-1])}]" if len(key.path) > 1 else ""
            advice = f"`{key.name}`{table} says this: {key.words}."
        else:
            where = f"under [{'.'.join(here[:-1])}]" if here[:-1] else "at the top"
            advice = f"Allowed {where}: {', '.join(siblings)}."
        self._say(
            f"A machine profile has no {'table' if is_table else 'key'} `{key_path}`.",
            self.source.key(here),
            advice=advice,
        )

    def _check(self, key: Key, value: Any) -> None:
        problem = key.problem(value)
        if problem:
            self._say(
                f"`{'.'.join(key.path)}` {problem}.",
                self.source.value(key.path),
                advice=key.suggestion(value),
            )
            return
        self.values[key.path] = key.kept(value)

    def _say(
        self,
        text: str,
        span: Span | None,
        advice: str | None = None,
        label: str = "",
        also: tuple[tuple[Span, str], ...] = (),
    ) -> None:
        self.mistakes.append(Message("M304", "error", text, span, advice, label, also))

    # -- the keys together

    def machine(self, shipped: str | None) -> Machine | None:
        """The machine, or None where something was found."""
        kind = self.values.get(("reader", "kind"))
        self._missing(kind)
        self._reader(kind)
        self._bed()
        self._limits()
        if kind == "card":
            self._card_counts()
            self._card_geometry()
        if self.mistakes:
            return None
        machine = self._made(kind, shipped)
        if shipped is None and machine.name in SHIPPED and machine != load(machine.name):
            # a changed copy that kept the name must not pass for the shipped machine on what is printed
            from dataclasses import replace

            machine = replace(machine, name=f"{machine.name} ({Path(self.source.file).name})")
        return machine

    def _missing(self, kind: Any) -> None:
        if ("based_on",) in self.own and ("based_on",) not in self.values:
            return  # nothing is missing but the profile that the rest was to come from
        if not self.own and not self.mistakes:
            self._say(
                f"`{short(self.source.file)}` does not describe a machine.",
                self.source.key(()),
                advice='Begin it with a shipped one: based_on = "hand-standard"\n'
                "or write one out: stitchc machines --write hand-standard > my.toml",
            )
            return
        tables: dict[str, list[Key]] = {}
        for key in KEYS:
            wanted = key.required and (kind in key.readers or key.readers == EVERY_READER)
            known = key.path in self.values or key.path in self.own
            known = known or any(key.path[:depth] in self.mistaken for depth in range(1, len(key.path) + 1))
            if wanted and not known:
                tables.setdefault(key.path[0], []).append(key)
        for table, keys in tables.items():
            missing = [f"`{'.'.join(key.path)}`" for key in keys]
            names = listed(
                missing if len(missing) <= 5 else [*missing[:4], f"{len(missing) - 4} more keys of [{table}]"], "and"
            )
            lines = "\n".join(f"    {key.name} = {key.sample}" for key in keys[:4])
            more = "\n    …" if len(keys) > 4 else ""
            self._say(
                f"The profile does not say {names}.",
                self.source.key((table,)),
                advice=f"Under [{table}], such as\n{lines}{more}\n"
                f'or start from a shipped one: based_on = "{_near_base(kind)}"',
            )

    def _reader(self, kind: Any) -> None:
        for key in KEYS:
            if key.path not in self.own or key.path not in self.values or kind is None or key.path[0] == "card":
                continue
            if kind not in key.readers and (kind == "none" or "none" in key.readers):
                kinds = listed([f'kind = "{each}"' for each in key.readers], "or")
                self._say(
                    f'`{".".join(key.path)}` has no meaning where `reader.kind` is "{kind}".',
                    self.source.key(key.path),
                    advice=f"Leave the line out, or write {kinds}.",
                )
        if kind in ("none", "bitmap") and (own := [path for path in self.own if path[0] == "card"]):
            first = min(own, key=lambda path: self.source.key(path) or Span("", 0))
            self._say(
                f'There is a [card] table, but `reader.kind` is "{kind}".',
                self.source.key(("card",)) or self.source.key(first),
                advice='Leave the table out, or write kind = "card".',
            )

    def _bed(self) -> None:
        needles = self.values.get(("bed", "needles"))
        if needles is None:
            return
        if needles % 2:
            self._say(
                f"`bed.needles` is {needles}, an odd number: the bed has as many needles left of 0 as right of it.",
                self.source.value(("bed", "needles")),
                advice=f"needles = {needles - 1} or needles = {needles + 1}",
            )
            return
        bed = Needles.centred(needles)
        width = self.values.get(("reader", "width"))
        if width is not None and width > needles and self.values.get(("reader", "kind")) != "none":
            self._say(
                f"`reader.width` is {width}, but the bed has only {needles} needles.",
                self.source.value(("reader", "width")),
                advice=f"A width from 1 to {needles}.",
            )
        needle = self.values.get(("reader", "column_1_needle"))
        if needle is not None and not bed.first <= needle_position(needle) <= bed.last:
            self._say(
                f"`reader.column_1_needle` is {needle}, which is not on this bed.",
                self.source.value(("reader", "column_1_needle")),
                advice=f"A needle from {bed.left} to {bed.right}.",
            )

    def _limits(self) -> None:
        for counted in COUNTED:
            warn, error = (self._limit(counted, edge) for edge in ("warn_from", "error_from"))
            if warn is not None and error is not None and error < warn:
                self._say(
                    f"`limits.{counted}` is an error from {error}, but a warning only from {warn}.",
                    self.source.value(("limits", counted)),
                    advice=f"{counted} = {{ warn_from = {error}, error_from = {warn} }}",
                )

    def _limit(self, counted: str, edge: str) -> int | None:
        path = ("limits", counted, edge)
        value = self.values.get(path, BY_PATH[path].default)
        return None if value == NEVER else value

    def _card_counts(self) -> None:
        rows, least = self._number("rows"), self._number("least_rows")
        if rows is not None and least is not None and least > rows:
            self._say(
                f"`card.least_rows` is {least:.0f}, more than the {rows:.0f} rows that a blank has (`card.rows`).",
                self.source.value(("card", "least_rows")),
                advice=f"least_rows = {rows:.0f} or fewer",
            )

    def _number(self, name: str) -> float | None:
        value = self.values.get(("card", name))
        return float(value) if isinstance(value, int | float) else None

    def _card_geometry(self) -> None:
        """Whether such a card can be: nothing touches and nothing lies off the sheet."""
        columns = self.values.get(("reader", "width"))
        names = [key.name for key in KEYS if key.path[0] == "card" and key.kind == "number"]
        mm = {name: self._number(name) for name in names}
        mm["guide_offset_mm"] = mm["guide_offset_mm"] or 0.0
        ends = self.values.get(("card", "clip_from_end_mm"))
        if not isinstance(columns, int) or ends is None or any(value is None for value in mm.values()):
            return
        for name, text, advice in impossible(columns, {n: float(v or 0) for n, v in mm.items()}, ends):
            path = ("card", name)
            also = tuple(
                (span, "")
                for other in sorted(set(re.findall(r"`card\.(\w+)`", text)) - {name})
                if ("card", other) in self.own and (span := self.source.value(("card", other)))
            )
            self._say(text, self.source.value(path), advice=advice, also=also)

    def _made(self, kind: Any, shipped: str | None) -> Machine:
        values = {
            key.path: value
            for key in KEYS
            if kind in key.readers and (value := self.values.get(key.path, key.default)) is not None
        }
        if kind == "card":
            values.setdefault(("reader", "column_1_needle"), Needles.centred(values["reader", "width"]).left)
        own = {name: self.values.get((name,)) for name in ("name", "title") if (name,) in self.own}
        name = shipped or own.get("name") or Path(self.source.file).stem or "own"
        based_on = self.values.get(("based_on",))
        limits = Limits(
            **{name: Limit(self._limit(name, "warn_from"), self._limit(name, "error_from")) for name in COUNTED},
            float_mm=None if values["limits", "float_mm"] == NEVER else values["limits", "float_mm"],
            mixed_rows=values.get(_MIXED_ROWS, _usual_mixed_rows(values["carriage", "slip"])),
        )
        card = {path[1]: value for path, value in values.items() if path[0] == "card"}
        plain = {path[1]: value for path, value in values.items() if path[0] in ("bed", "carriage", "reader")}
        return Machine(
            name=name,
            title=own.get("title") or (f"Own profile based on {based_on}" if based_on else name),
            reader=plain.pop("kind"),
            reader_width=plain.pop("width", None),
            card=CardShape(**card) if kind == "card" else None,
            limits=limits,
            origin="shipped" if shipped else self.source.file,
            **plain,
        )


_FIRST_WORDS: Final = {word: key for key in KEYS for word in (*key.words.split()[:1], key.name)}
"""Keys by their names and by what they are called first: `width` is also "columns" of the card."""

# -- words ------------------------------------------------------------------------------------------------------


def _near_base(kind: Any) -> str:
    return {"card": "card24-standard", "bitmap": "bitmap-standard"}.get(str(kind), "hand-standard")


def _table_advice(path: tuple[str, ...]) -> str:
    if path[0] == "limits" and len(path) == 2:
        return f"{path[1]} = {{ warn_from = 4, error_from = 5 }}"
    return f"Write [{'.'.join(path)}] on a line of its own, and its keys under it."
