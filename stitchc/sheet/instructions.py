"""Passes put into instructions: for each pass the least there is to do, in the order in which hands do it.

No instruction sends the reader back: each names its needles, except "all the held needles", which stand out for all to
see. Knows passes, the machine's habits and the words for needles; nothing of how a sheet is set out.
"""

from __future__ import annotations

import itertools
import operator
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, Final, NamedTuple

from stitchc.bed import needle_name
from stitchc.document import ByHand, Entry, Heading, PassRow, Step, Table
from stitchc.document.bed_strip import ladder_marks, marks
from stitchc.english import count_of, number, ranges, several
from stitchc.passes import LeverChange, Pass, lever_changes, moved_by_hand, other_way, selects_ahead
from stitchc.sheet.needle_words import name_needles
from stitchc.sheet.terms import MAIN_YARN, WHICH_IS_MAIN

if TYPE_CHECKING:
    from stitchc.bed import Needles
    from stitchc.chart import Setting
    from stitchc.document.document import StepKind
    from stitchc.machines.profile import Machine
    from stitchc.pattern import Pattern, Side, Yarn

SHORT: Final = 8
"""Rows on a card or picture that are counted from where they begin ("knit 2 rows"), since they may come again; a longer
stretch names the counter where it ends."""

Item = Pass | tuple[Pass, ...] | ByHand | Heading | Table
"""Several passes in one: the same row in each size, the first size leading."""


class Stretch(NamedTuple):
    """Rows knitted in one repeat. height: of the repeat; tension: the knitter's own word for it."""

    first_row: int
    rows: int
    height: int
    tension: str | None = None

    def place(self, row: int) -> str:
        """Where a row stands in it: "repeat 12 of 75, row 3 of 4"."""
        if self.height == 1:
            return ""
        repeat, within = divmod(row - self.first_row, self.height)
        return f"repeat {repeat + 1} of {-(-self.rows // self.height)}, row {within + 1} of {self.height}"


@dataclass
class Yarns:
    """Which yarn is threaded, where the others hang, and what has been told of each.

    main: the yarn of rows that name none, where known; which_is_main: what else tells which it is. hangs: the side at
    which each yarn was left.
    """

    declared: Mapping[str, Yarn] = field(default_factory=dict)
    main: str | None = None
    threaded: str | None = None
    started: bool = False
    described: set[str] = field(default_factory=set)
    hangs: dict[str | None, Side] = field(default_factory=dict)
    which_is_main: str = WHICH_IS_MAIN

    @classmethod
    def of(cls, pattern: Pattern) -> Yarns:
        """Those of a pattern, nothing threaded yet."""
        return cls(pattern.yarns, pattern.main_yarn.name if pattern.main_yarn is not None else None)

    def name(self, yarn: str | None) -> str:
        """What it is called."""
        return yarn or self.main or MAIN_YARN

    def with_yarn_of(self, passed: Pass, passes: Sequence[Pass]) -> str:
        """ " with foam", of one of these passes; nothing where none of them names a yarn."""
        return f" with {self.name(passed.yarn)}" if any(each.yarn for each in passes) else ""

    def change_for(self, passed: Pass) -> list[Step]:
        """Threading a pass's yarn, with its description the first time; and cutting it where that is how it comes
        here."""
        steps = [Step("yarn", self._threading(passed.yarn))]
        if passed.crossing == "cut":
            hangs, side = passed.end_side, passed.start_side
            steps.append(Step("cut", f"This yarn hangs at the {hangs}: cut it, and join it here at the {side}."))
        return steps

    def state(self) -> str:
        """ "foam threaded, oat hangs at the left"."""
        if not self.started:
            return ""
        others = [
            f"{self.name(yarn)} hangs at the {side}" for yarn, side in self.hangs.items() if yarn != self.threaded
        ]
        return ", ".join([f"{self.name(self.threaded)} threaded", *others])

    def _threading(self, name: str | None) -> str:
        verb = "Change to" if self.started else "Knit with"
        self.threaded, self.started = name, True
        known = name or self.main
        is_first = (known or MAIN_YARN) not in self.described
        self.described.add(known or MAIN_YARN)
        if known is None:
            return f"{verb} {MAIN_YARN}{f' ({self.which_is_main})' if is_first else ''}."
        description = self.declared[known].description if known in self.declared and is_first else ""
        description = "" if description == known else description
        is_main = f", {MAIN_YARN}" if name is None else ""
        return f"{verb} {known}{f' ({description})' if description else ''}{is_main}."


def instruct(
    items: Sequence[Item],
    machine: Machine,
    needles: Needles | Sequence[Needles],
    yarns: Yarns | None = None,
    labels: Sequence[str] = (),
    releases: Collection[int] = (),
    stretches: Sequence[Stretch] = (),
) -> tuple[Entry, ...]:
    """The entries of a document: each pass with its steps, everything else as it stands.

    needles: in work; several of them, and passes in tuples, for several sizes, which `labels` name. releases: rows
    before which a card that is locked at row 1 is released. stretches: the repeats that the rows belong to, in order.
    """
    beds = needles if isinstance(needles, Sequence) else (needles,)
    sizes = [(item,) if isinstance(item, Pass) else item for item in items]
    rows = [item for item in sizes if isinstance(item, tuple)]
    changes = [lever_changes(passes, machine) for passes in zip(*rows, strict=True)]
    names_yarns = any(row[0].yarn is not None for row in rows)
    writer = _Writer(machine, tuple(beds), yarns or Yarns(), labels, names_yarns, stretches)
    ahead = selects_ahead(machine)
    entries: list[Entry] = []
    count = 0
    for item in sizes:
        if not isinstance(item, tuple):
            entries.append(item)
            continue
        read = item[0].patterned or (ahead and count + 1 < len(rows) and rows[count + 1][0].patterned)
        entries.append(writer.row(item, tuple(change[count] for change in changes), read))
        count += 1
    return tuple(entries if moved_by_hand(machine) else _with_stretches(entries, releases))


class _Writer:
    """Row after row: what is held and threaded goes on from one to the next."""

    def __init__(
        self,
        machine: Machine,
        beds: tuple[Needles, ...],
        yarns: Yarns,
        labels: Sequence[str],
        names_yarns: bool,
        stretches: Sequence[Stretch],
    ) -> None:
        self.stretch_of = {row: each for each in stretches for row in range(each.first_row, each.first_row + each.rows)}
        self.setting: dict[str | None, str] = {}  # by the direction it is set for, None for both
        self.machine, self.beds, self.yarns, self.labels, self.names_yarns = machine, beds, yarns, labels, names_yarns
        self.by_hand = moved_by_hand(machine)
        self.out: tuple[tuple[int, ...], ...] = ((),) * len(beds)
        self.rest: tuple[tuple[int, ...], ...] = self.out
        self.empty: tuple[tuple[int, ...], ...] = self.out
        self.strips: dict[tuple[int, ...], str] = {}
        self.told: dict[tuple[object, ...], list[Step]] = {}
        self.kept: list[object] = []  # what `strips` and `told` know by identity stays alive

    def row(self, sizes: tuple[Pass, ...], changes: tuple[LeverChange | None, ...], read: bool) -> PassRow:
        first = sizes[0]
        if not any(each.moved_left or each.moved_right or each.taken_back for each in sizes):
            self.empty = tuple(each.empty for each in sizes)  # those of the cast-on, before the first row
        state = self._state(first, first.comes_from)
        ladders = self._ladders(sizes)
        alone = len(sizes) == 1
        strip_first = ladder_marks(self.beds[0], first, self.out[0], self.rest[0]) if alone and ladders else ""
        self.empty = tuple(each.empty for each in sizes)
        steps = [*ladders, *(Step("cross", words) for words in self._crossing(sizes))]
        then = self._state(first, first.start_side) if steps else ()
        if self.names_yarns and (not self.yarns.started or first.yarn != self.yarns.threaded):
            steps += self.yarns.change_for(first)
        self.yarns.hangs[first.yarn] = first.end_side
        if changes[0] is not None:
            set_to = changes[0].to if changes[0].to == "plain" or not self.by_hand else "hold"
            self.setting[changes[0].direction] = setting_words(set_to) if set_to != "hold" else "hold"
        moved = self._for_sizes(sizes, changes, read)
        edge = _at_the_edge(first, self.beds[0])
        if moved == [] and not edge and not ladders:
            steps.append(Step("rest", _all_knit(first)))
        steps += [*moved, *edge]
        self.out, self.rest = tuple(each.out for each in sizes), tuple(each.rest for each in sizes)
        return PassRow(
            first.row,
            first.direction,
            tuple(steps),
            self._bed(first) if alone else "",
            strip_first,
            first.yarn,
            tuple(each.moves for each in sizes),
            state,
            then,
        )

    def _state(self, first: Pass, side: Side) -> tuple[str, ...]:
        """How everything stands before a row's steps, or some of them, with the carriage at this side."""
        stretch = self.stretch_of.get(first.row)
        setting = " and ".join(f"{to}{f' going {way}' if way else ''}" for way, to in self.setting.items()) or "plain"
        out, rest, empty = ([len(each) for each in places] for places in (self.out, self.rest, self.empty))
        return tuple(
            words
            for words in (
                stretch.place(first.row) if stretch is not None else "",
                f"carriage at the {side}, set to {setting}",
                (f"{count_of(out, 'needle')} held" if any(out) else "no needle held") if self.by_hand else "",
                f"{count_of(rest, 'needle')} pushed right back" if any(rest) else "",
                f"{count_of(empty, 'needle')} out of work" if any(empty) else "",
                self.yarns.state() if self.names_yarns else "",
                f"tension {stretch.tension}" if stretch is not None and stretch.tension else "",
            )
            if words
        )

    def _ladders(self, sizes: tuple[Pass, ...]) -> list[Step]:
        """Needles put out of work, their stitches first moved to a neighbour, and needles that come back."""
        gone = [{*each.moved_left, *each.moved_right} for each in sizes]
        if any(gone):
            self.out, self.rest = (
                tuple(tuple(n for n in ns if n not in away) for ns, away in zip(stood, gone, strict=True))
                for stood in (self.out, self.rest)
            )
        elif not any(each.taken_back for each in sizes):
            return []
        try:
            return list(_ladder_steps(sizes, self.machine))
        except _Unlike:
            own = [" ".join(step.text for step in _ladder_steps((passed,), self.machine)) for passed in sizes]
            pairs = zip(self.labels, own, strict=True)
            return [Step("ladder", f"Size {label}: {words}") for label, words in pairs if words]

    def _crossing(self, sizes: tuple[Pass, ...]) -> list[str]:
        """How the carriage comes to the side where the yarn of the next row hangs, without knitting."""
        first = sizes[0]
        here, there = first.comes_from, first.start_side
        if first.crossing == "carry":
            return [
                f"Carry the carriage: lift it off at the {here} and put it on at the {there}, where the yarn of this "
                "row hangs. If the row counter moves on, turn it back."
            ]
        if first.crossing != "free pass":
            return []
        goes = other_way(first.direction)
        way = None if self.machine.hold_directions == "both" else goes
        self.setting[way] = "hold"
        count = count_of([each.free for each in sizes], "needle")
        others = "the other needles in work" if self.out[0] else "all needles in work"
        bring = f"bring out {others} ({count}) and set the carriage to hold{f' when it goes {way}' if way else ''}"
        return [
            f"Free pass, {goes}: take the yarn out of the carriage, {bring}. Bring the carriage to the {there}, where "
            f"the yarn of this row hangs: no needle knits. Push the same needles back ({count}): loops behind the open "
            "latch. Turn the row counter back by 1."
        ]

    def _for_sizes(self, sizes: tuple[Pass, ...], changes: tuple[LeverChange | None, ...], read: bool) -> list[Step]:
        """The steps for all sizes at once; for each by itself where they differ in more than numbers. Told once for
        rows that share their needles, as those of a repeat do."""
        key = (
            changes,
            read,
            *(id(each) for passed in sizes for each in _TOLD_OF(passed)),
            *map(id, self.out + self.rest),
        )
        if key not in self.told:
            self.kept += [*sizes, self.out, self.rest]
            self.told[key] = self._words_for_sizes(sizes, changes, read)
        return self.told[key]

    def _words_for_sizes(
        self, sizes: tuple[Pass, ...], changes: tuple[LeverChange | None, ...], read: bool
    ) -> list[Step]:
        if not self.by_hand:
            return _by_reader(sizes, changes[0], self.machine, read, self.labels)
        kinds = {
            (*map(bool, (p.out, p.rest, p.slipped, *_moved(p), len(p.out) - len(p.bring_out))), change)
            for p, change in zip(sizes, changes, strict=True)
        }
        steps = _by_hand(sizes, changes[0], self.out, self.rest) if len(kinds) == 1 else None
        if steps is not None:
            return steps
        words = []
        for index, (passed, change) in enumerate(zip(sizes, changes, strict=True)):
            own = _by_hand((passed,), change, (self.out[index],), (self.rest[index],)) or []
            text = " ".join(step.text for step in own) or _all_knit(passed)
            words.append(f"Size {self.labels[index]}: {text}")
        return [Step("see", " ".join(words))]

    def _bed(self, passed: Pass) -> str:
        """The marks of the strip; made once for rows that share their needles, as those of a repeat do."""
        if not passed.held and not any(_moved(passed)):
            return ""
        key = (id(passed.held), id(passed.empty), *map(id, _moved(passed)))
        if key not in self.strips:
            self.kept.append(passed)
            self.strips[key] = marks(self.beds[0], passed)
        return self.strips[key]


_TOLD_OF: Final = operator.attrgetter(
    *(each.name for each in fields(Pass) if each.name not in ("row", "direction", "yarn"))
)
"""What the words for a pass are about, whichever row it is."""


def _all_knit(passed: Pass) -> str:
    # A free pass moves needles enough.
    return "Then all needles knit." if passed.crossing == "free pass" else "Nothing to move: all needles knit."


def _ladder_steps(sizes: tuple[Pass, ...], machine: Machine) -> Iterator[Step]:
    moves = any(each.moved_left or each.moved_right for each in sizes)
    yield from _move("ladder", "Bring back to working position: {}.", [each.taken_back for each in sizes])
    for side in ("left", "right"):
        needles = [each.moved_left if side == "left" else each.moved_right for each in sizes]
        step = -1 if side == "left" else 1
        beside = not any(n + step in passed.empty for passed, ns in zip(sizes, needles, strict=True) for n in ns)
        to = f"the {side} neighbour" if beside else f"the next needle in work on their {side}"
        # One by one with a transfer tool: no comb moves stitches.
        yield from _move("ladder", f"Move the stitches of {{}} to {to}.", needles, comb=False)
    if moves:
        yield Step("ladder", "Push the empty needles to non-working position.")
    yield from _bars(sizes, moves, machine)


def _bars(sizes: tuple[Pass, ...], moves: bool, machine: Machine) -> Iterator[Step]:
    """What becomes of the bars below needles that come back without a stitch. By hand they knit in this row, whatever
    the chart says; a reader makes them slip, and then an empty needle goes on without yarn. moves: stitches are moved
    before this row as well, so that these needles are not those that were named last."""
    bare = [each.bare for each in sizes]
    by_hand = moved_by_hand(machine)
    other = [each.not_held if by_hand else tuple(n for n in each.bare if n in each.slipped) for each in sizes]
    words = "pick up the bar of the row below"
    if by_hand or not any(other):
        words += ", or leave it for a small hole"
    yield from _move("ladder", f"On {{}} {words}." if moves else f"{words[0].upper()}{words[1:]}.", bare, comb=False)
    if not any(other):
        return
    is_one = max(map(len, other)) == 1
    it, them = ("it", "it") if is_one else ("they", "them")
    who, whom = (it, them) if other == bare else ("{}", "{}")
    text = f"Either way {who} {'knits' if is_one else 'knit'} in this row: there is no stitch to hold yet."
    if not by_hand:
        text = f"The {reader_name(machine)} makes {whom} slip first: left empty, {it} would take no yarn until {it} "
        text += "knits." if is_one else "knit."
    yield from _move("ladder", text, other, comb=False)


def _moved(passed: Pass) -> tuple[tuple[int, ...], ...]:
    """The needles that hands move before the pass, each kind by itself."""
    return passed.push_back, passed.bring_to_work, passed.bring_out, passed.push_right_back


class _Unlike(Exception):
    """Needles of several sizes that do not go into one phrase."""


def _by_hand(
    sizes: tuple[Pass, ...],
    change: LeverChange | None,
    out: tuple[tuple[int, ...], ...],
    rest: tuple[tuple[int, ...], ...],
) -> list[Step] | None:
    """What hands do before the pass; a setting to hold first, and what makes needles knit back last. None for several
    sizes whose needles do not go into one phrase. out, rest: the needles that stand in holding position, and right
    back, in each size."""
    try:
        setting = list(_setting(sizes, change, out))
        knits_back = not sizes[0].out  # what the pass does stands after what is moved for it
        before, after = ([], setting) if knits_back else (setting, [])
        return [*before, *_moves(sizes, out, rest), *after, *_left(sizes, change), *_lift(sizes)]
    except _Unlike:
        return None


def _setting(sizes: tuple[Pass, ...], change: LeverChange | None, out: tuple[tuple[int, ...], ...]) -> Iterator[Step]:
    before = [len(each) for each in out]
    if change is not None:
        yield Step("set", _set_words(change, before))
    elif not sizes[0].out and out[0]:
        yield Step("see", f"The {count_of(before, 'held needle')} {_knit(before)} back. Leave the hold set.")


def _moves(
    sizes: tuple[Pass, ...], out: tuple[tuple[int, ...], ...], rest: tuple[tuple[int, ...], ...]
) -> Iterator[Step]:
    back = [each.push_back for each in sizes]
    yield from _move("push", "Push back {}: loops behind the open latch.", back, out)
    to_work = [each.bring_to_work for each in sizes]
    yield from _move("push", "Bring forward to working position, to knit: {}.", to_work, rest, _AT_THE_BACK)
    slips = [set(each.slipped) for each in sizes]
    mixed = sizes[0].setting == "mixed"
    tucked, slipped = (
        [tuple(n for n in each.bring_out if (n in slip) == slips_too) for each, slip in zip(sizes, slips, strict=True)]
        for slips_too in (False, True)
    )
    if mixed:
        yield from _move("bring", "To tuck, bring out {}.", tucked)
        yield from _move("bring", "To slip, bring out {}.", slipped)
    else:
        yield from _move("bring", "Bring out {}.", [each.bring_out for each in sizes])
    words = "Push right back, to slip, each with its stitch in the hook: {}."
    yield from _move("back", words, [each.push_right_back for each in sizes])


_AT_THE_BACK: Final = "all the needles at the back"


def _move(
    kind: StepKind,
    words: str,
    needles: Sequence[tuple[int, ...]],
    standing: Sequence[tuple[int, ...]] = (),
    all_of_them: str = "all the held needles",
    comb: bool = True,
) -> Iterator[Step]:
    """Needles to move, with the comb that can push them; nothing where there are none."""
    if not any(needles):
        return
    phrase = name_needles(*needles, held=standing, all_of_them=all_of_them) if all(needles) else None
    if phrase is None:
        raise _Unlike
    yield Step(kind, words.format(phrase if comb else phrase.counted()))


def _left(sizes: tuple[Pass, ...], change: LeverChange | None) -> Iterator[Step]:
    """What stays as it stands."""
    first = sizes[0]
    now, stay = [len(each.out) for each in sizes], [len(each.out) - len(each.bring_out) for each in sizes]
    rest, still = [len(each.rest) for each in sizes], [len(each.rest) - len(each.push_right_back) for each in sizes]
    if not any(_moved(first)):
        nothing = "Nothing to move: leave" if change is None and not first.moves else "Leave"
        standing = [f"the {count_of(now, 'held needle')} out"] if first.out else []
        where = "the needle at the back where it is"
        if set(rest) != {1}:
            where = f"the {count_of(rest, 'needle')} at the back where they are"
        standing += [where] if first.rest else []
        if standing:
            yield Step("rest", f"{nothing} {' and '.join(standing)}.")
        return
    if stay[0]:
        of = f", {several(stay)} of them from before" if first.bring_out else ""
        yield Step("see", f"Now {count_of(now, 'needle')} {_be(now)} held{of}.")
    if still[0]:
        of = f", {several(still)} of them from before" if first.push_right_back else ""
        yield Step("see", f"Now {count_of(rest, 'needle')} {_be(rest)} right back{of}.")


def _lift(sizes: tuple[Pass, ...]) -> Iterator[Step]:
    """The yarn led past held needles that slip."""
    if not sizes[0].slipped or sizes[0].rest:
        return
    needles = name_needles(*(each.slipped for each in sizes), held=[each.held for each in sizes])
    if needles is None:
        raise _Unlike
    text = "Slow: after the pass, lift the new yarn over the hooks and let it lie under the needles: "
    yield Step("lead", f"{text}{needles.counted()}.")


def _set_words(change: LeverChange, held: Sequence[int]) -> str:
    if change.to == "plain":
        way = f" going {change.direction}" if change.direction else ""
        return f"Cancel the hold{way}: the {count_of(held, 'held needle')} {_knit(held)} back."
    way = f" when it goes {change.direction}" if change.direction else ""
    return f"Set the carriage to hold{way}."


def _be(counts: Sequence[int]) -> str:
    return "is" if set(counts) == {1} else "are"


def _knit(counts: Sequence[int]) -> str:
    return "knits" if set(counts) == {1} else "knit"


def _by_reader(
    sizes: tuple[Pass, ...], change: LeverChange | None, machine: Machine, read: bool, labels: Sequence[str]
) -> list[Step]:
    """read: whether the card or picture moves on in this pass, for it or for the next."""
    steps: list[Step] = []
    if change is not None:
        without = "" if read else f" and take the {reader_name(machine)} out of use"
        steps.append(Step("set", f"Set the carriage to {setting_words(change.to)}{without}."))
    words = f"Row {sizes[0].chart_row} of the repeat: {selected_in_sizes(sizes, labels)}."
    return [*steps, Step("selected", words if sizes[0].patterned else "All needles knit.")]


def selected_in_sizes(sizes: tuple[Pass, ...], labels: Sequence[str]) -> str:
    """What the reader makes the needles do in a row, in each size."""
    together = selected_words(*sizes)
    if together is not None:
        return together
    return "; ".join(f"size {label}: {selected_words(each)}" for label, each in zip(labels, sizes, strict=True))


def selected_words(*sizes: Pass) -> str | None:
    """What the reader makes the needles do in a row; None for several sizes that do not go into one phrase."""
    if not sizes[0].held:
        return "all needles knit"
    slipped = [set(each.slipped) for each in sizes]
    parts = []
    for verb, sets in (
        ("tuck", [tuple(n for n in each.held if n not in slips) for each, slips in zip(sizes, slipped, strict=True)]),
        ("slip", [each.slipped for each in sizes]),
    ):
        if any(sets):
            phrase = name_needles(*sets) if all(sets) else None
            if phrase is None:
                return None
            parts.append(f"{phrase.counted()} {verb}{'s' if set(phrase.counts) == {1} else ''}")
    return "; ".join(parts)


def yarn_colours(yarns: Mapping[str, Yarn]) -> tuple[tuple[str, str], ...]:
    """The colours of those that have one, as "#rrggbb", by name."""
    return tuple((name, "#{:02x}{:02x}{:02x}".format(*yarn.rgb)) for name, yarn in yarns.items() if yarn.rgb)


def reader_name(machine: Machine) -> str:
    """What the machine reads: "card" or "picture"."""
    return "card" if machine.reader == "card" else "picture"


def setting_words(setting: Setting) -> str:
    """What a carriage whose needles a reader selects is set to."""
    return "tuck and slip in turn" if setting == "mixed" else setting


def _with_stretches(entries: Sequence[Entry], releases: Collection[int]) -> list[Entry]:
    """Where hands have nothing to do from row to row, one step at the first row says how far to knit."""
    out: list[Entry] = []
    for in_rows, group in itertools.groupby(entries, lambda entry: isinstance(entry, PassRow)):
        if not in_rows:
            out += group
            continue
        rows = [entry for entry in group if isinstance(entry, PassRow)]
        starts = [index for index, row in enumerate(rows) if not index or not row.is_idle]
        runs = [rows[start:stop] for start, stop in itertools.pairwise([*starts, len(rows)])]
        often = Counter((run[0].sign, len(run)) for run in runs)
        for first, *further in runs:
            count = len(further) + 1
            how = f"knit {number(count, 'row')}"
            if count > SHORT and often[first.sign, count] == 1:  # where it comes again, its words are to serve again
                how = f"knit until the row counter shows {further[-1].row}"
            alone = ""
            if first.row in releases:
                how, alone = f"release the card and {how}", "Release the card and knit 1 row."
            index = next(k for k, step in enumerate(first.steps) if step.kind == "selected")
            go = Step("go", f"{how[0].upper()}{how[1:]}.", alone)
            out += [replace(first, steps=(*first.steps[:index], go, *first.steps[index:])), *further]
    return out


def selection_table(
    rows: Iterable[tuple[Pass, ...]], machine: Machine, title: str, labels: Sequence[str] = ()
) -> Table | None:
    """What the card or picture selects in each row of the repeat, to check the needles against; None for plain rows.

    rows: of one repeat at least, each in every size; labels: of the sizes.
    """
    numbers: dict[str, list[int]] = {}
    of_repeat = {sizes[0].chart_row: sizes for sizes in rows if sizes[0].patterned}
    for row, sizes in sorted(of_repeat.items()):
        numbers.setdefault(selected_in_sizes(sizes, labels), []).append(row)
    if set(numbers) <= {"all needles knit"}:
        return None
    caption = f"What the {reader_name(machine)} selects in the rows of {title}. Check the needles against it:"
    cells = tuple((ranges(each), words) for words, each in numbers.items())
    return Table(("Row of the repeat", "Needles"), cells, caption)


def _at_the_edge(item: Pass, needles: Needles) -> list[Step]:
    """An edge needle that tucks has nothing beside it to keep the loop in its hook."""
    tucked = set(item.held).difference(item.slipped)
    ends = [n for n in dict.fromkeys((needles.first, needles.last)) if n in tucked]
    if not ends:
        return []
    names = " and ".join(map(needle_name, ends))
    return [
        Step(
            "see",
            f"Watch {names}: a tuck on an edge needle falls out of the hook. Lay the yarn over the needle by hand, or "
            "push the needle back and let it knit.",
        )
    ]
