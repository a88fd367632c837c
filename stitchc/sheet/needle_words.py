"""A set of needles in the shortest true words, with the comb that would push them where one can.

Knows needles and nothing of charts or passes. What a phrase means is fixed by `Phrase.needles`, so that every
candidate of the search proves itself; the tests read the words back with a reader of their own.

The forms, by example:
    L12, L6, R1 to R4                                    single needles and runs
    every 2nd needle from L39 to R38
    2 needles, skip 3, repeat from L40 to R21            from the first needle taken to the last
    1 needle, skip 1, 1 needle, skip 5, repeat from L38 to R4
    L29, L26, L21, L20; the same again from L5, R20      an irregular repeat, and where each next one begins
    all from L39 to R39 but R3, R9                       any of the above may have exceptions
    every 4th needle from L40 to L4; also R9, R12        and further needles
    all the held needles                                 those that are out at this moment, for all to see

No phrase leans on another row: whoever comes back to the machine has the bed before her, and this row's words.
Of several sizes, phrases of one shape are one, the further sizes' needles in brackets: from L39 [L43] to R38 [R42].
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from stitchc.bed import needle_name
from stitchc.english import count_of, number, ordinal, several

LONGEST_PERIOD: Final = 48
"""Needles after which a pattern may start again and still be put as one phrase; the widest common card has 40."""

MOST_RUNS: Final = 3
"""Groups of taken needles within one period; a phrase with more is no help to a person who counts along the bed."""

MOST_EXCEPTIONS: Final = 8

LONGEST_LAST_RUN: Final = 12
"""Needles at the end of a run that may belong to a comb which begins there."""

MINDING: Final = 3
"""Letters that an exception to a comb, or a needle besides it, costs over its own: the hand has to stop and look."""

LONG_LIST: Final = 8
"""Runs and single needles after which a list is given with the numbers left and right of 0."""

COMB_PERIOD: Final = 8
"""Combs for moving several needles at a time have few teeth; a longer period is counted out by hand."""

COMB_WORTH: Final = 14
"""Letters that a phrase may be longer for a comb to be able to push it."""


@dataclass(frozen=True)
class Run:
    """Neighbours from first to last; a single needle where they are the same."""

    first: int
    last: int

    def needles(self) -> tuple[int, ...]:
        """The positions, left to right."""
        return tuple(range(self.first, self.last + 1))

    @property
    def shape(self) -> Hashable:
        """What runs of several sizes share if they are to be one phrase."""
        return self.first == self.last

    def text(self, others: Sequence[Run | Comb | Motif] = ()) -> str:
        """ "L12" or "R1 to R4"; others: the same run in further sizes."""
        return _ends("{}" if self.first == self.last else "{} to {}", self, others)


@dataclass(frozen=True)
class Comb:
    """A pattern of needles taken and missed, over and over.

    teeth: one period, beginning with a needle taken and ending with one missed (all taken: every needle).
    """

    first: int
    last: int
    teeth: tuple[bool, ...]

    def needles(self) -> tuple[int, ...]:
        """The positions, left to right."""
        period = len(self.teeth)
        return tuple(n for n in range(self.first, self.last + 1) if self.teeth[(n - self.first) % period])

    @property
    def shape(self) -> Hashable:
        """What combs of several sizes share if they are to be one phrase."""
        return self.teeth

    def text(self, others: Sequence[Run | Comb | Motif] = ()) -> str:
        """ "every 2nd needle from L39 to R38" or "2 needles, skip 3, repeat from L40 to R21".

        others: as in `Run.text`.
        """
        ends = _ends("from {} to {}", self, others)
        if all(self.teeth):
            return f"all {ends}"
        if sum(self.teeth) == 1:
            return f"every {ordinal(len(self.teeth))} needle {ends}"
        return f"{_spoken(self.teeth)}, repeat {ends}"

    def pattern(self) -> str:
        """The comb's teeth: "1 out, 1 in"."""
        return ", ".join(f"{count} {'out' if taken else 'in'}" for taken, count in _runs(self.teeth))


@dataclass(frozen=True)
class Motif:
    """An irregular group of needles, and where each next one of its kind begins."""

    runs: tuple[Run, ...]
    starts: tuple[int, ...]

    def needles(self) -> tuple[int, ...]:
        """The positions, left to right."""
        group = [needle for run in self.runs for needle in run.needles()]
        return tuple(needle + start - group[0] for start in (group[0], *self.starts) for needle in group)

    @property
    def shape(self) -> Hashable:
        """What motifs of several sizes share if they are to be one phrase."""
        first = self.runs[0].first
        return tuple((run.first - first, run.last - first) for run in self.runs), len(self.starts)

    def text(self, others: Sequence[Run | Comb | Motif] = ()) -> str:
        """ "L29, L26, L21, L20; the same again from L5, R20"; others: as in `Run.text`."""
        sizes = (self, *(other for other in others if isinstance(other, Motif)))
        runs = (run.text(further) for run, *further in zip(*(size.runs for size in sizes), strict=True))
        starts = (several([needle_name(n) for n in ns]) for ns in zip(*(size.starts for size in sizes), strict=True))
        return f"{', '.join(runs)}; the same again from {', '.join(starts)}"


def _ends(words: str, part: Run | Comb, others: Sequence[Run | Comb | Motif]) -> str:
    if not others:
        return words.format(needle_name(part.first), needle_name(part.last))
    sizes = (part, *(other for other in others if not isinstance(other, Motif)))
    return words.format(
        *(several([needle_name(n) for n in ns]) for ns in zip(*((s.first, s.last) for s in sizes), strict=True))
    )


@lru_cache(maxsize=4096)
def _spoken(teeth: tuple[bool, ...]) -> str:
    return ", ".join(number(count, "needle") if taken else f"skip {count}" for taken, count in _runs(teeth))


@dataclass(frozen=True)
class Phrase:
    """What is named: runs and combs, less the exceptions of a comb, plus further runs."""

    parts: tuple[Run | Comb | Motif, ...]
    but: tuple[Run, ...] = ()

    def needles(self) -> tuple[int, ...]:
        """The positions that the words mean, left to right."""
        numbers = {n for part in self.parts[:1] for n in part.needles()}
        numbers -= {n for run in self.but for n in run.needles()}
        numbers |= {n for part in self.parts[1:] for n in part.needles()}
        return tuple(sorted(numbers))

    @property
    def shape(self) -> Hashable:
        """What phrases of several sizes share if they are to be one."""
        return tuple((type(part), part.shape) for part in (*self.parts, *self.but)), len(self.but)

    def text(self, others: Sequence[Phrase] = ()) -> str:
        """The words. Exceptions belong to the first part; runs follow each other with commas, combs with "; also".

        others: phrases of the same shape, of further sizes.
        """
        words = ""
        for index, part in enumerate(self.parts):
            if index:
                plain = isinstance(part, Run) and isinstance(self.parts[index - 1], Run) and (index > 1 or not self.but)
                words += ", " if plain else "; also "
            words += part.text([other.parts[index] for other in others])
            if index == 0 and self.but:
                runs = zip(*(phrase.but for phrase in (self, *others)), strict=True)
                words += " but " + ", ".join(run.text(further) for run, *further in runs)
        return words

    def comb(self) -> str | None:
        """The comb that pushes exactly these needles ("1 out, 1 in"), where there is one."""
        if len(self.parts) == 1 and not self.but and isinstance(self.parts[0], Comb):
            comb = self.parts[0]
            if 1 < len(comb.teeth) <= COMB_PERIOD and len(comb.needles()) > 2:
                return comb.pattern()
        return None

    def cost(self) -> int:
        """What the search makes small: letters to read and exceptions to mind, less what a comb is worth."""
        comb = self.parts[0]
        counted_out = isinstance(comb, Comb) and len(comb.teeth) > 1
        minded = len(self.but) + sum(isinstance(part, Run) for part in self.parts) if counted_out else 0
        return len(self.text()) + MINDING * minded - (COMB_WORTH if self.comb() else 0)


@dataclass(frozen=True)
class Named:
    """A set of needles put into words, in each size. comb: the comb that can push it, if any. left: how many of a long
    list are left of 0, so that the hand may stop there and count."""

    text: str
    counts: tuple[int, ...]
    comb: str | None = None
    left: int | None = None

    def __str__(self) -> str:
        """The words with the count to check against and the comb."""
        return f"{self.counted()[:-1]}; comb {self.comb})" if self.comb else self.counted()

    def counted(self) -> str:
        """The words with the count to check against."""
        sides = "" if self.left is None else f": {self.left} L, {self.counts[0] - self.left} R"
        return f"{self.text} ({count_of(self.counts, 'needle')}{sides})"


def name_needles(
    *sizes: Sequence[int], held: Sequence[Sequence[int]] = (), all_of_them: str = "all the held needles"
) -> Named | None:
    """The needles (positions, left to right, at least one) in the shortest true words; None for several sizes whose
    needles do not go into one phrase.

    held: the needles that stand out (or right back) at this moment in each size; all_of_them: what they are called.
    """
    if not all(sizes):
        raise ValueError("there is no needle to name")
    counts = tuple(map(len, sizes))
    if min(counts) > 1 and held and all(tuple(size) == tuple(out) for size, out in zip(sizes, held, strict=True)):
        # No comb: anything straight pushes all that is out.
        return Named(all_of_them, counts)
    phrase, *others = (shortest(tuple(size)) for size in sizes)
    if any(other.shape != phrase.shape for other in others):
        return None
    left = sum(needle < 0 for needle in sizes[0])
    listed = not others and len(phrase.parts) > LONG_LIST and all(isinstance(part, Run) for part in phrase.parts)
    return Named(phrase.text(others), counts, phrase.comb(), left if listed and 0 < left < counts[0] else None)


@lru_cache(maxsize=4096)
def shortest(needles: tuple[int, ...]) -> Phrase:
    """The cheapest phrase for these positions (left to right, at least one), without reference to anything before."""
    origin = needles[0]
    taken = bytearray(needles[-1] - origin + 1)
    for needle in needles:
        taken[needle - origin] = 1
    repeats = _Repeats(taken)
    whole = [Phrase((comb,)) for comb in _combs_from(0, origin, taken, repeats) if comb.last == needles[-1]]
    listed = Phrase(tuple(as_runs(needles)))
    candidates = [listed, *whole, _cut_into_parts(needles, taken, repeats), *_with_exceptions(needles)]
    candidates += _motifs(needles)
    return min(candidates, key=Phrase.cost)


# -- the search -----------------------------------------------------------------------------------------------------

_ALSO: Final = len("; also ")
_COMMA: Final = len(", ")


def _cut_into_parts(needles: tuple[int, ...], taken: bytearray, repeats: _Repeats) -> Phrase:
    """The cheapest way to cut the needles, left to right, into runs and combs (dynamic programming from the right)."""
    origin = needles[0]
    count = len(needles)
    run_end = list(range(count))
    for index in range(count - 2, -1, -1):
        if needles[index + 1] == needles[index] + 1:
            run_end[index] = run_end[index + 1]
    index_of = {needle: index for index, needle in enumerate(needles)}
    # best[index] = (cost, part, next index) of needles[index:], separators before each part after the first counted
    # as if a comb came before; a run straight after a run costs a comma instead.
    best: list[tuple[int, Run | Comb | None, int]] = [(0, None, count)] * (count + 1)
    for index in range(count - 1, -1, -1):
        options: list[tuple[int, Run | Comb | None, int]] = []
        ends = {index, *range(max(index, run_end[index] - LONGEST_LAST_RUN), run_end[index] + 1)}
        for end in ends:
            if end == index + 1:
                continue  # two neighbours are named one by one
            run = Run(needles[index], needles[end])
            rest = best[end + 1]
            options.append((len(run.text()) + _joined(rest, after_run=True), run, end + 1))
        for comb in _combs_from(needles[index] - origin, origin, taken, repeats):
            after = index_of[comb.last] + 1
            options.append((len(comb.text()) + _joined(best[after], after_run=False), comb, after))
        best[index] = min(options, key=lambda option: (option[0], -option[2]))
    parts: list[Run | Comb] = []
    index = 0
    while index < count:
        _, part, index = best[index]
        assert part is not None
        parts.append(part)
    # A run before a comb and one after it read better, and no longer, with the comb first.
    combs = [part for part in parts if isinstance(part, Comb)]
    runs = [part for part in parts if isinstance(part, Run)]
    return Phrase((*combs, *runs))


def _joined(rest: tuple[int, Run | Comb | None, int], after_run: bool) -> int:
    cost, part, _ = rest
    if part is None:
        return 0
    return cost + (_COMMA if after_run and isinstance(part, Run) else _ALSO)


class _Repeats:
    """How far a bed goes on in the same way: made for each period when it is first asked for."""

    def __init__(self, taken: bytearray) -> None:
        self._taken = taken
        self._different: dict[int, bytes] = {}

    def from_needle(self, start: int, period: int) -> int:
        """How many needles from `start` on are as the one `period` further to the right."""
        length = len(self._taken) - period
        if period not in self._different:
            here, there = (int.from_bytes(part, "big") for part in (self._taken[:length], self._taken[period:]))
            self._different[period] = (here ^ there).to_bytes(length, "big")
        other = self._different[period].find(1, start)
        return (length if other < 0 else other) - start


def _combs_from(start: int, origin: int, taken: bytearray, repeats: _Repeats) -> Iterable[Comb]:
    """Every comb that begins at this needle and reaches as far as its period holds.

    A period ends where another group of needles begins, and has no more groups than can be said.
    """
    begins = start
    for _ in range(MOST_RUNS):
        begins = taken.find(b"\0\1", begins) + 1
        period = begins - start
        if not begins or period > LONGEST_PERIOD:
            return
        end = taken.rindex(1, start, begins + repeats.from_needle(start, period))
        if taken.count(1, start, end + 1) >= 3:
            yield Comb(origin + start, origin + end, _teeth(bytes(taken[start:begins])))


@lru_cache(maxsize=4096)
def _teeth(taken: bytes) -> tuple[bool, ...]:
    return tuple(map(bool, taken))


def _motifs(needles: tuple[int, ...]) -> Iterable[Phrase]:
    """An irregular group that comes again, with the few needles that are left over named after it."""
    first, chosen = needles[0], set(needles)
    for period in range(2, min(LONGEST_PERIOD, (needles[-1] - first + 1) // 2 + 1) + 1):
        group = [needle for needle in needles if needle < first + period]
        runs = as_runs(group)
        if len(runs) <= MOST_RUNS:
            continue
        starts: list[int] = []
        while all(needle + (len(starts) + 1) * period in chosen for needle in group):
            starts.append(first + (len(starts) + 1) * period)
        if not starts:
            continue
        motif = Motif(tuple(runs), tuple(starts))
        further = sorted(chosen.difference(motif.needles()))
        if len(further) <= MOST_EXCEPTIONS:
            yield Phrase((motif, *as_runs(further)))


def _with_exceptions(needles: tuple[int, ...]) -> Iterable[Phrase]:
    """Whole stretches and combs that the needles nearly are, with the few that differ named."""
    chosen = set(needles)
    first, last = needles[0], needles[-1]
    span = last - first + 1
    for period in range(1, min(LONGEST_PERIOD // 2, span // 3) + 1):
        counts = [0] * period
        for needle in needles:
            counts[(needle - first) % period] += 1
        full = [(span - residue - 1) // period + 1 for residue in range(period)]
        majority = [2 * count > whole for count, whole in zip(counts, full, strict=True)]
        if period > 1 and (all(majority) or not any(majority)):
            continue
        base = [n for n in range(first, last + 1) if majority[(n - first) % period]]
        while base and base[0] not in chosen:
            base.pop(0)
        while base and base[-1] not in chosen:
            base.pop()
        missing = [n for n in base if n not in chosen]
        if len(base) < 4 or len(missing) > MOST_EXCEPTIONS or len(base) + MOST_EXCEPTIONS < len(needles):
            continue
        begin = base[0] - first
        teeth = tuple(majority[(begin + k) % period] for k in range(period))
        if (period > 1 and teeth[-1]) or len(_runs(teeth)) > 2 * MOST_RUNS:
            continue
        further = sorted(chosen.difference(base))
        if missing or further:
            phrase = Phrase((Comb(base[0], base[-1], teeth), *as_runs(further)), tuple(as_runs(missing)))
            if phrase.needles() == needles:
                yield phrase


def as_runs(needles: Sequence[int]) -> list[Run]:
    """Neighbours joined into runs of three and more; one or two needles are named one by one."""
    runs: list[Run] = []
    index = 0
    while index < len(needles):
        end = index
        while end + 1 < len(needles) and needles[end + 1] == needles[end] + 1:
            end += 1
        if end - index < 2:
            end = index
        runs.append(Run(needles[index], needles[end]))
        index = end + 1
    return runs


def _runs(teeth: Sequence[bool]) -> list[tuple[bool, int]]:
    runs: list[tuple[bool, int]] = []
    for tooth in teeth:
        if runs and runs[-1][0] == tooth:
            runs[-1] = (tooth, runs[-1][1] + 1)
        else:
            runs.append((tooth, 1))
    return runs
