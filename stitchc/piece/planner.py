"""Planning a piece: the rows of its sections, the needles, whether it can be knitted; `walk` goes through it then.

A value in, a value and messages out. Knows patterns, machines, passes and gauges; nothing of words or files.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from stitchc.bed import Needles
from stitchc.checks import check, edge_tucks
from stitchc.english import listed, number
from stitchc.gauge.doubt import in_inches
from stitchc.gauge.estimate import GaugeReport, estimate_pattern
from stitchc.gauge.gauges import PLAIN, Direction, Joint, PlainGauge
from stitchc.machines.fit import narrower
from stitchc.messages import Message, Severity, Span, has_errors
from stitchc.passes import Pass, beyond_the_carriage, columns_on, less_than_a_repeat, moved_by_hand, unfit
from stitchc.pattern import Knit, Pattern, Piece, Stitch, Width
from stitchc.piece.plan import Plan, Section, chart_of, fabric_of, yarn_of_other_rows
from stitchc.piece.size import Rounding, common_unit, nearest
from stitchc.piece.walk import Walk, on_needles
from stitchc.sheet.terms import MAIN_YARN
from stitchc.wording import OPTION, command_name, machine_name

if TYPE_CHECKING:
    from stitchc.machines.profile import Machine
    from stitchc.options import Units

MOST_WIDENED: Final = 1.4
"""How many times as wide as it was asked for a piece may be that is offered instead (chosen)."""

MOST_ROWS: Final = 20_000
"""Rows of one piece: some fifty metres of fabric, far past any; more is a slip of the hand. (JSON names every held
needle of every row, which takes some 20 KB of memory a row on a full bed.)"""


def gauge_of(
    pattern: Pattern, piece: Piece, plain: PlainGauge | None = None, spread: float | None = None
) -> GaugeReport:
    """What is known of the gauge of the piece's stitches, from the file's swatches, `plain` and `spread` (in %)."""
    names = [name for name in dict.fromkeys(_stitches_of(piece)) if name != PLAIN]
    report = estimate_pattern(pattern, names, plain, spread=None if spread is None else spread / 100)
    knitted = [(step.stitch, step.yarn) for step in piece.steps if isinstance(step, Knit) and step.yarn is not None]
    added = [(PLAIN, yarn) for yarn in pattern.yarns]  # a plain row that has to be added is knitted in any of them
    return report.asked_in_yarns([*knitted, *added])


def work_out(
    pattern: Pattern,
    piece: Piece,
    machine: Machine,
    report: GaugeReport,
    *,
    width_mm: float | None = None,
    needles: Needles | None = None,
    fixed_rows: Mapping[int, int] | None = None,
    least_rows: Mapping[int, int] | None = None,
    anyway: bool = False,
    units: Units = "cm",
) -> tuple[Plan | None, list[Message]]:
    """Work a piece out for a machine; the plan is None if there is an error among the messages.

    report: made by `gauge_of`. width_mm: a finished width in place of the one written (another size). needles: already
    in work, whatever the width says. fixed_rows, least_rows: rows of a step (by its place) that are knitted already:
    exactly so many, or at least so many. anyway: go on past knitting and machine errors, which become warnings. units:
    of the lengths in messages; where the width is written in inches, they are in inches as well.
    """
    mm = width_mm if width_mm is not None else piece.width.mm if piece.width is not None else 0.0
    planner = _Planner(pattern, piece, machine, report, anyway, units == "in" or in_inches(mm))
    return planner.plan(width_mm, needles, fixed_rows or {}, least_rows or {}), planner.messages


class _Planner:
    """The work on one plan: its messages as they are found."""

    def __init__(
        self, pattern: Pattern, piece: Piece, machine: Machine, report: GaugeReport, anyway: bool, inches: bool
    ) -> None:
        self.pattern, self.piece, self.machine, self.report = pattern, piece, machine, report
        self.anyway, self.inches = anyway, inches
        self.law = report.joint()
        self.messages: list[Message] = []
        self.knits = {place: step for place, step in enumerate(piece.steps) if isinstance(step, Knit)}

    def say(self, code: str, severity: Severity, text: str, span: Span | None, advice: str, label: str = "") -> None:
        self.messages.append(Message(code, severity, text, span, advice, label))

    def length(self, mm: float) -> str:
        """As it could be written: "18 cm", "4.5 mm", "7.087 in"."""
        if self.inches:
            return f"{mm / 25.4:.4g} in"
        return f"{mm / 10:.4g} cm" if mm >= 10 else f"{mm:.3g} mm"

    @property
    def failed(self) -> bool:
        return has_errors(self.messages)

    def plan(
        self,
        width_mm: float | None,
        needles: Needles | None,
        fixed_rows: Mapping[int, int],
        least_rows: Mapping[int, int],
    ) -> Plan | None:
        piece = self.piece
        if not self.knits:
            self.say(
                "P403",
                "error",
                f"The piece `{piece.name}` has no section: nothing in it is knitted.",
                piece.span,
                advice="knit plain for 12 rows   (a line of its own under the piece)",
            )
            return None
        rows: dict[int, tuple[int, Rounding | None]] = {}
        for place, knit in self.knits.items():
            counted = self.rows_of(knit, fixed_rows.get(place), least_rows.get(place, 0))
            if counted is not None:
                rows[place] = counted
        if len(rows) == len(self.knits) and sum(count for count, _ in rows.values()) > MOST_ROWS:
            self.say(
                "P410",
                "error",
                f"The piece `{piece.name}` has {sum(count for count, _ in rows.values()):,} rows; "
                f"a piece has at most {MOST_ROWS:,}.",
                piece.span,
                advice="Check the row counts, the lengths and their units.",
            )
        # A length that could not be had still lets the width be looked at, so that one run tells of both.
        counts = {place: rows.get(place, (1, None))[0] for place in self.knits}
        widest = self.width_stitch(counts)
        fabric = self.width_fabric(widest, counts)
        width = piece.width
        if width_mm is not None and width is not None:
            width = width._replace(mm=width_mm)
        if width is not None and width.plus_mm > width.mm:
            self.more_for_seams_than_piece(width)
        rounding: Rounding | None = None
        if needles is None and width is not None:
            rounding = self.needles_for(width, widest, fabric)
            if rounding is not None:
                needles = Needles.centred(rounding.chosen.count)
        elif needles is None:
            needles = self.needles_given()
        if needles is None or not self.on_the_bed(needles, rounding, width, widest) or self.failed:
            return None
        self.fits(needles, width, rounding)
        if self.failed:
            return None
        walk = Walk(self.pattern, piece, self.machine, needles, self.messages)
        items = tuple(walk.items(rows))
        plan = Plan(
            self.pattern,
            piece,
            self.machine,
            self.report,
            needles,
            items,
            widest,
            fabric,
            rounding,
            width.plus_mm if width is not None else 0.0,
        )
        self.look_over(plan)
        return None if self.failed else plan

    # -- counts -----------------------------------------------------------------------------------------------------

    def rows_of(self, knit: Knit, fixed: int | None, least: int) -> tuple[int, Rounding | None] | None:
        """The rows of one `knit` line, and what became of a length."""
        height = 1 if knit.exactly else chart_of(self.pattern, knit.stitch).height
        if knit.rows is not None:
            return (knit.rows if fixed is None else fixed), None
        assert knit.mm is not None
        fabric = fabric_of(knit.stitch, knit.yarn, self.law)
        if not self.law.known(fabric, "rows"):
            if fixed is not None:
                return fixed, None
            self.no_gauge(f"`{self.length(knit.mm)}` of `{fabric}`", "rows", knit.amount_span, knit)
            return None
        per_mm = _per_mm(self.law, fabric, "rows")
        rounding = nearest(knit.mm, per_mm, height)
        if fixed is not None:
            return fixed, rounding
        ideal = knit.mm * per_mm
        if rounding is None or ideal < height - 0.1:  # a tenth of a row is no matter
            least_amount = "one row" if height == 1 else f"one repeat of {height} rows"
            advice = f"knit {knit.stitch} for {self.length(height / per_mm)}"
            if height > 1 and ideal >= 0.5:
                advice += f", or: knit {knit.stitch} for {self.length(knit.mm)} exactly"
            self.say(
                "P405",
                "error" if rounding is None else "warning",
                f"`{self.length(knit.mm)}` of `{knit.stitch}` is shorter than {least_amount}, which takes "
                f"{self.length(height / per_mm)}" + ("." if rounding is None else "; knit one."),
                knit.amount_span,
                advice=advice,
                label=f"about {ideal:.1f} rows",
            )
        if rounding is None:
            return None
        if least > rounding.chosen.count:
            return -(-least // height) * height, rounding
        return rounding.chosen.count, rounding

    def no_gauge(self, amount: str, into: Direction | Literal["needles"], span: Span, knit: Knit | None) -> None:
        """P402, once: one `gauge plain` line serves every place, so the further ones are shown under the first.

        knit: the section without a gauge; perhaps its stitch has one in another yarn.
        """
        for place, told in enumerate(self.messages):
            if told.code == "P402":
                self.messages[place] = told._replace(also=(*told.also, (span, f"nor this into {into}")))
                return
        why, advice = (
            "no gauge is known",
            f"gauge plain 20 stitches 28 rows per 10 cm   (what you measured, or {OPTION.plain:20x28})",
        )
        known = [] if knit is None else self.yarns_with_gauge(knit.stitch, "rows" if into == "rows" else "stitches")
        if knit is not None and known:
            only = f"its gauge is known only in {listed([f'`{yarn}`' for yarn in known])}"
            own = dict.fromkeys(chart_of(self.pattern, knit.stitch).yarns)
            unknown = [yarn for yarn in own if yarn is not None and yarn not in known]
            yarn_words = "names no yarn" if knit.yarn is None else f"is knitted in `{knit.yarn}`"
            if unknown:  # its own rows say the yarn, whatever the section says
                why = f"{only}, and rows of it are knitted in {listed([f'`{yarn}`' for yarn in unknown])}"
                advice = f"gauge plain 20 stitches 28 rows per 10 cm in {unknown[0]}   (what you measured in that yarn)"
            else:
                why = f"{only}, but the section {yarn_words}"
                length = number(knit.rows, "row") if knit.rows is not None else self.length(knit.mm or 0)
                advice = f"knit {knit.stitch} for {length}{' exactly' if knit.exactly else ''} in {known[0]}"
        self.say(
            "P402",
            "error",
            f"{amount} can't be turned into {into}: {why}.",
            span,
            advice=advice,
            label=f"no gauge to count {into} by",
        )

    def yarns_with_gauge(self, stitch: str, direction: Direction) -> list[str]:
        """The yarns in which a stitch of the piece has a gauge of its own."""
        return [
            yarn for yarn in self.report.own_yarns if self.report.in_yarn(yarn).joint([stitch]).known(stitch, direction)
        ]

    def width_stitch(self, rows: Mapping[int, int]) -> str:
        """The stitch whose gauge sets the width: the one named, else the one with most rows, the earlier of equals."""
        if self.piece.width is not None and self.piece.width.stitch is not None:
            return self.piece.width.stitch
        counts: dict[str, int] = {}
        for place, knit in self.knits.items():
            counts[knit.stitch] = counts.get(knit.stitch, 0) + rows[place]
        return max(counts, key=lambda name: counts[name])

    def width_fabric(self, stitch: str, rows: Mapping[int, int]) -> str:
        """Of the stitch that sets the width, the fabric with most rows, the earlier of equals."""
        counts: dict[str, int] = {}
        for place, knit in self.knits.items():
            if knit.stitch == stitch:
                fabric = fabric_of(stitch, knit.yarn, self.law)
                counts[fabric] = counts.get(fabric, 0) + rows[place]
        return max(counts, key=lambda name: counts[name], default=stitch)

    def needles_for(self, width: Width, stitch: str, fabric: str) -> Rounding | None:
        """The needles nearest to a width, in whole repeats and the edges."""
        if not self.law.known(fabric, "stitches"):
            widest = next((knit for knit in self.knits.values() if knit.stitch == stitch), None)
            self.no_gauge(f"`{self.length(width.mm)}` of `{fabric}`", "needles", width.span, widest)
            return None
        per_mm = _per_mm(self.law, fabric, "stitches")
        edges = 2 * self.piece.edge
        own = chart_of(self.pattern, stitch).width
        others = [chart_of(self.pattern, knit.stitch).width for knit in self.knits.values()]
        unit = common_unit(width.mm, per_mm, own, others, edges, width.plus_mm)
        rounding = nearest(width.mm, per_mm, unit, edges, width.plus_mm)
        if rounding is None:
            least = own + edges
            ends = f" and {edges} edge needles" if edges else ""
            self.say(
                "P406",
                "error",
                f"`{self.length(width.mm)}` is narrower than one repeat of `{stitch}`{ends}, which takes "
                f"{self.length(least / per_mm - width.plus_mm)}.",
                self.place_of(width),
                advice=self.narrower(stitch)
                or f"{self.as_asked(width, max(least / per_mm - width.plus_mm, 0.1))}, or a narrower repeat"
                + (", or a smaller `edge`" if self.piece.edge > 1 else ""),
                label=f"about {(width.mm + width.plus_mm) * per_mm:.1f} needles",
            )
        return rounding

    def narrower(self, stitch: str) -> str:
        """How to write a stitch in fewer needles; empty where it takes all it has."""
        return "" if stitch == PLAIN else narrower(self.pattern.stitches[stitch])

    def place_of(self, width: Width) -> Span | None:
        """Where a width is written; None where an option asked for it."""
        return dict(width.spans).get(width.mm)

    def as_asked(self, width: Width, mm: float) -> str:
        """Another width as it would be asked for where this one is."""
        if self.place_of(width) is None:
            return f'{OPTION.sizes:"{self.length(mm)}"}'
        return f"`{self.length(mm)}` in `sizes`" if self.piece.sizes else f"width {self.length(mm)}"

    def needles_given(self) -> Needles | None:
        """The needles written in the piece."""
        piece = self.piece
        if piece.needles is None:
            self.say(
                "P404",
                "error",
                f"The piece `{piece.name}` says neither how wide it is nor how many needles it takes.",
                piece.span,
                advice="width 60 cm   (or: needles 96, on a line of its own under the piece)",
            )
            return None
        if piece.needles.count <= 2 * piece.edge:
            self.say(
                "P406",
                "error",
                f"{number(piece.needles.count, 'needle').capitalize()} in work, with "
                f"{number(piece.edge, 'edge needle')} at each end: no needle is left for the stitch.",
                piece.needles_span,
                advice=f"needles {2 * piece.edge + 1}, or more, or a smaller `edge`",
            )
            return None
        return piece.needles

    def on_the_bed(self, needles: Needles, rounding: Rounding | None, width: Width | None, stitch: str) -> bool:
        """Whether the needles are there (M303, with the widest that would go and how many panels would do)."""
        machine, bed = self.machine, self.machine.bed
        if needles.first >= bed.first and needles.last <= bed.last:
            return True
        span = self.piece.needles_span if width is None else self.place_of(width)
        edges, name = 2 * self.piece.edge, machine_name(machine.name)
        if needles.count <= machine.needles:
            text = f"The needles `{needles}` reach past the bed of {name} ({bed.left} to {bed.right})."
            advice = f"needles {needles.count}   (about the centre)"
        else:
            unit = rounding.unit if rounding is not None else chart_of(self.pattern, stitch).width
            most = (machine.needles - edges) // unit * unit + edges
            text = f"`{self.piece.name}` takes {needles.count} needles, and {name} has {machine.needles}."
            panels = -(-(needles.count - edges) // max(most - edges, 1))
            each = -(-(needles.count - edges) // unit // panels) * unit + edges
            if width is not None and rounding is not None:
                per_mm = rounding.chosen.count / (rounding.chosen.mm + width.plus_mm)
                widest = self.as_asked(width, most / per_mm - width.plus_mm)
            else:
                widest = f"needles {most}"
            advice = f"{widest}   (the widest that goes), or {panels} panels of {each} needles, sewn together"
            if most <= edges:
                advice = f"Choose a narrower repeat, or a machine with more needles ({command_name('machines')})."
                advice = self.narrower(stitch) or advice
        self.say("M303", "warning" if self.anyway else "error", text, span, advice=advice)
        return self.anyway

    # -- whether it can be knitted ----------------------------------------------------------------------------------

    def fits(self, needles: Needles, width: Width | None, rounding: Rounding | None) -> None:
        """The stitches on this machine and these needles: K and M messages, and repeats that are cut. width, rounding:
        what the needles follow from, where they follow from a width."""
        messages: list[Message] = []
        told: set[str] = set()
        for knit in self.knits.values():
            if knit.stitch == PLAIN or knit.stitch in told:
                continue
            told.add(knit.stitch)
            stitch = self.pattern.stitches[knit.stitch]
            messages += [m for m in unfit(stitch, self.machine, needles) if m.code != "M303"]
            messages += check(stitch, self.machine)
            messages += self.at_the_ends(stitch, needles)
            over = (needles.count - 2 * self.piece.edge) % stitch.chart.width
            short = less_than_a_repeat(stitch, self.machine, needles, self.piece.edge)
            if short:
                messages += [
                    message._replace(advice=self.wide_enough(stitch), span=knit.stitch_span) for message in short
                ]
            elif over:
                self.say_cut(knit, stitch, needles, over, self.all_whole(needles, stitch, width, rounding))
        self.messages += [message.as_warning() for message in messages] if self.anyway else messages

    def at_the_ends(self, stitch: Stitch, needles: Needles) -> list[Message]:
        """K206 with `edge 0`."""
        if self.piece.edge:
            return []
        chart = on_needles(stitch.chart, self.machine, needles, self.piece.edge)
        columns = columns_on(chart, self.machine, needles, 0)
        return [
            message._replace(advice="edge 1   (the end needles always knit)")
            for message in edge_tucks(chart, columns, needles, stitch)
        ]

    def wide_enough(self, stitch: Stitch) -> str:
        """What to do about M306, as it is written in a piece."""
        whole = stitch.chart.width + 2 * self.piece.edge
        if whole > self.machine.needles or narrower(stitch):
            return narrower(stitch) or f"A narrower repeat, or a machine with at least {whole} needles."
        return f"needles {whole}" + ("   (in place of the `width`)" if self.piece.width is not None else "")

    def all_whole(self, needles: Needles, stitch: Stitch, width: Width | None, rounding: Rounding | None) -> str:
        """What to write in place of the needles, or of the width that they follow from, so that this stitch (in a width
        every stitch, since each of them counts there) is whole."""
        edges, unit = 2 * self.piece.edge, stitch.chart.width
        if rounding is not None:
            unit = math.lcm(rounding.unit, *(chart_of(self.pattern, knit.stitch).width for knit in self.knits.values()))
        fewer = (needles.count - edges) // unit * unit + edges
        counts = [count for count in (fewer, fewer + unit) if edges < count <= self.machine.needles]
        if rounding is not None:  # another size altogether is no answer
            least, most = needles.count / MOST_WIDENED, needles.count * MOST_WIDENED
            counts = [count for count in counts if least <= count <= most]
        if not counts:
            return "Nothing has to be done. For whole repeats, choose stitches whose widths go into each other."
        if width is None or rounding is None:
            words = f"needles {' or '.join(map(str, counts))}"
        else:
            per_mm = rounding.chosen.count / (rounding.chosen.mm + width.plus_mm)
            words = " or ".join(self.as_asked(width, count / per_mm - width.plus_mm) for count in counts)
        return f"{words} would hold whole repeats"

    def say_cut(self, knit: Knit, stitch: Stitch, needles: Needles, over: int, advice: str) -> None:
        width = stitch.chart.width
        by_hand = "at the right" if over == 1 else "shared out over both sides"
        where = by_hand if moved_by_hand(self.machine) else "where the reader puts it"
        self.say(
            "P411",
            "info",
            f"`{stitch.name}`, {width} needles wide, is not whole on {needles.count} needles: {over} of them "
            f"{'holds' if over == 1 else 'hold'} a part of a repeat" + f", {where}.",
            knit.stitch_span,
            advice=advice,
        )

    # -- the whole, looked at again ---------------------------------------------------------------------------------

    def look_over(self, plan: Plan) -> None:
        """What only the whole piece shows: holds that go on from one section into the next, and into the end."""
        self.hold_across_sections(plan)
        both = beyond_the_carriage(plan.passes, self.machine, self.piece.span)
        self.messages += [message.as_warning() for message in both] if self.anyway else both
        self.rows_without_a_yarn(plan)
        last = plan.passes[-1]
        if last.held:
            step = self.knits[max(self.knits)]
            self.say(
                "P413",
                "warning",
                f"The last row ({last.row}) leaves {last.what_is_held} on the needles, which would come off unknitted.",
                step.span,
                advice="knit plain for 1 row   (after it)",
            )

    def rows_without_a_yarn(self, plan: Plan) -> None:
        """P414 where some rows name a yarn and others none, and no yarn is left that these could be knitted in."""
        yarns = dict.fromkeys(each.yarn for each in plan.passes if each.yarn is not None)
        without = [each.row for each in plan.passes if each.yarn is None]
        if not yarns or not without or self.pattern.main_yarn is not None:
            return
        section = next(each for each in plan.sections if each.from_row <= without[0] <= each.to_row)
        place = section.asked or next(iter(self.knits.values()))
        self.say(
            "P414",
            "warning",
            f"{number(len(without), 'row')} of `{self.piece.name}` {'names' if len(without) == 1 else 'name'} no yarn "
            f"and the others name {listed([f'`{name}`' for name in yarns])}. A reader is told to knit them in "
            f"{MAIN_YARN}, which has no name, colour or weight.",
            place.span,
            advice=yarn_of_other_rows(self.pattern, place.stitch, next(iter(yarns)))
            or f"knit {place.stitch} for … in {next(iter(yarns))}   (or another yarn: any that the file declares)",
        )

    def more_for_seams_than_piece(self, width: Width) -> None:
        """P415. Of several sizes each is looked at, in its own plan."""
        self.say(
            "P415",
            "warning",
            f"More is knitted for seams, {self.length(width.plus_mm)}, than the finished piece is wide, "
            f"{self.length(width.mm)}.",
            width.span,
            advice="After `plus` comes only what the seams take, both sides together.",
        )

    def hold_across_sections(self, plan: Plan) -> None:
        """K202 and K209 where a needle goes on holding from one section into the next; within one see `check`."""
        limits = self.machine.limits
        tucks = np.zeros(plan.needles.count, dtype=np.int64)
        slips = np.zeros(plan.needles.count, dtype=np.int64)
        section: Section | None = None
        longest: dict[str, tuple[int, int, Section]] = {}
        for item in plan.items:
            if isinstance(item, Section):
                section = item
            if not isinstance(item, Pass) or section is None:
                continue
            if not item.held:
                tucks[:] = slips[:] = 0
                continue
            held = np.array(item.held) - plan.needles.first
            slipped = np.array(item.slipped, dtype=np.int64) - plan.needles.first
            knits = np.ones(plan.needles.count, dtype=bool)
            knits[held] = False
            tucks[knits] = slips[knits] = 0
            tucks[held] += 1
            tucks[slipped] -= 1
            slips[slipped] += 1
            since = item.row - section.from_row + 1
            for code, counts in (("K202", tucks), ("K209", slips)):
                worst = int(counts.max())
                if worst > since and worst > longest.get(code, (0,))[0]:
                    longest[code] = (worst, item.row, section)
        for code, limit, verb in (
            ("K202", limits.tucks_in_succession, "tucks"),
            ("K209", limits.slips_in_succession, "slips"),
        ):
            worst, row, where = longest.get(code, (0, 0, None))
            severity = limit.severity(worst)
            if severity is None or where is None or where.asked is None:
                continue
            self.say(
                code,
                "warning" if self.anyway else severity,
                f"Up to row {row} a needle {verb} {worst} times before it knits again, from the section before into "
                f"`{where.stitch}`.",
                where.asked.span,
                advice="knit plain for 1 row   (between the two sections)",
            )


def _stitches_of(piece: Piece) -> Iterator[str]:
    if piece.width is not None and piece.width.stitch is not None:
        yield piece.width.stitch
    for step in piece.steps:
        if isinstance(step, Knit):
            yield step.stitch


def _per_mm(law: Joint, stitch: str, direction: Direction) -> float:
    """The middle of a gauge, per mm."""
    return law.range(stitch, direction).value / 100
