"""Machine profiles: the shipped ones against facts of the trade, and a knitter's own in every state of disrepair."""

from __future__ import annotations

import json
import re
import tracemalloc
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stitchc.__main__ import run
from stitchc.bed import Needles, needle_name, needle_position
from stitchc.chart import Chart
from stitchc.files import FileTrouble
from stitchc.machines import SHIPPED, Limits, Machine, load, load_text, profile_text
from stitchc.messages import Refused, render
from stitchc.passes import columns_on

BASED = 'based_on = "card24-standard"\n'
CARD = BASED + "[card]\n"


def refusal(text: str | bytes) -> Refused:
    with pytest.raises(Refused) as caught:
        load_text(text, "my.toml")
    return caught.value


# -- the shipped profiles ---------------------------------------------------------------------------------------

PROMISED = {
    "hand-fine": (3.6, 250, "none", None),
    "hand-standard": (4.5, 200, "none", None),
    "hand-mid": (6.5, 150, "none", None),
    "hand-bulky": (9.0, 110, "none", None),
    "card24-standard": (4.5, 200, "card", 24),
    "card24-bulky": (9.0, 110, "card", 24),
    "card12-bulky": (9.0, 110, "card", 12),
    "bitmap-standard": (4.5, 200, "bitmap", 200),
    "bitmap-bulky": (9.0, 110, "bitmap", 110),
}


def test_the_nine_promised_machines() -> None:
    machines = [load(name) for name in SHIPPED]
    assert {m.name: (m.pitch_mm, m.needles, m.reader, m.reader_width) for m in machines} == PROMISED
    for machine in machines:
        assert machine.origin == "shipped"
        assert replace(machine.limits, mixed_rows="error") == Limits()
        assert machine.limits.mixed_rows == ("warning" if machine.slip == "by-hand" else "error")
        assert machine.mark_means == "knit" and not machine.mirrored
        by_hand = machine.reader == "none"
        assert machine.tuck == ("holding" if by_hand else "carriage")
        assert machine.slip == ("by-hand" if by_hand else "carriage")
        assert (machine.card is not None) == (machine.reader == "card")


@pytest.mark.parametrize("name", SHIPPED)
def test_a_printed_profile_loads_back_as_the_same(name: str, tmp_path: Path) -> None:
    assert load_text(profile_text(name), "anything.toml") == load(name)
    assert load_text(profile_text(name).replace("\n", "\r\n").encode(), "anything.toml") == load(name)
    assert load_text(b"\xef\xbb\xbf" + profile_text(name).encode(), "anything.toml") == load(name)
    path = tmp_path / "mine.toml"
    path.write_text(profile_text(name), encoding="utf-8")
    assert load(str(path)) == load(name)
    assert load(str(path)).origin == str(path)


@pytest.mark.parametrize("name", SHIPPED)
def test_every_figure_says_where_it_is_from(name: str) -> None:
    """Each key of a measure has a source, or says that it is from memory, in its comment or in the one above it."""
    lines = profile_text(name).splitlines()
    sourced = re.compile(r"from memory|common practice|Spencer|a guess|hobby source|any source|the whole bed")
    for number, line in enumerate(lines):
        if re.match(
            r"(pitch_mm|needles|tuck|slip|width|\w+_mm|rows|least_rows|joining_rows|seen_above_read|\w+_succession) =",
            line,
        ):
            near = "\n".join(lines[max(0, number - 3) : number + 3])
            assert sourced.search(near), line
    assert all(len(line) <= 120 for line in lines)


def test_a_changed_copy_does_not_pass_for_the_shipped_machine() -> None:
    changed = profile_text("card24-standard").replace("mirrored = false", "mirrored = true")
    machine = load_text(changed, "folder/my.toml")
    assert machine.mirrored
    assert machine.name == "card24-standard (my.toml)"


# -- facts of the trade -----------------------------------------------------------------------------------------


def test_l98_to_r99_is_197_needles() -> None:
    """The range of a published tuck afghan, 98 left and 99 right."""
    assert Needles.parse("L98-R99").count == 197


def columns_of(machine: Machine, names: Sequence[str]) -> list[int]:
    """The column, from 1, that stands on each needle when a chart as wide as the reader is knitted on the whole bed."""
    assert machine.reader_width is not None
    columns = columns_on(Chart.plain(machine.reader_width, 1), machine, machine.bed, edge=0)
    return [int(columns[needle_position(name) - machine.bed.first]) + 1 for name in names]


def test_the_card_column_of_a_needle() -> None:
    """Twelve columns each side of 0, repeating outward: R12 is 24, L12 is 1, R13 is 1, L13 is 24 (arithmetic)."""
    machine = load("card24-standard")
    assert columns_of(machine, ["L12", "L1", "R1", "R12", "R13", "L13"]) == [1, 12, 13, 24, 1, 24]
    for k in range(1, 101):
        assert columns_of(machine, [f"R{k}", f"L{k}"]) == [(12 + k - 1) % 24 + 1, (12 - k) % 24 + 1]


def test_twelve_columns_lie_six_each_side() -> None:
    assert columns_of(load("card12-bulky"), ["L6", "L1", "R1", "R6", "R7", "L7"]) == [1, 6, 7, 12, 1, 12]


def test_where_the_knitter_sets_the_place_no_column_is_fixed() -> None:
    for name in ("hand-standard", "bitmap-standard"):
        assert load(name).column_1_needle is None


def test_200_needles_span_895_5_mm() -> None:
    """Between the end needles of a standard bed: 199 x 4.5 mm."""
    machine = load("hand-standard")
    assert (machine.bed.count - 1) * machine.pitch_mm == pytest.approx(895.5)
    assert (machine.bed.left, machine.bed.right) == ("L100", "R100")


def test_needles_to_the_inch() -> None:
    """25.4 / pitch: 7.06, 5.64, 3.91 and 2.82."""
    pitches = [load(name).pitch_mm for name in ("hand-fine", "hand-standard", "hand-mid", "hand-bulky")]
    assert [round(25.4 / pitch, 2) for pitch in pitches] == [7.06, 5.64, 3.91, 2.82]


@pytest.mark.parametrize("name", ["card24-standard", "card24-bulky", "card12-bulky"])
def test_a_blank_card(name: str) -> None:
    """Blanks are 24 x 60; at least 36 rows turn; two full rows at each end join; eight clip holes (common practice)."""
    machine = load(name)
    card = machine.card
    assert card and machine.reader_width
    assert (card.rows, card.least_rows, card.joining_rows) == (60, 36, 2)
    assert len(card.clip_from_end_mm) * 4 == 8
    first = card.first_column_mm(machine.reader_width)
    last = first + (machine.reader_width - 1) * card.column_pitch_mm
    assert first == pytest.approx(card.sheet_width_mm - last)
    assert card.guide_from_edge_mm + card.guide_hole_mm / 2 < card.clip_from_edge_mm - card.clip_hole_mm / 2
    assert card.clip_from_edge_mm + card.clip_hole_mm / 2 < first - card.hole_mm / 2


@pytest.mark.parametrize("name", ["card24-standard", "card24-bulky", "card12-bulky"])
def test_the_clip_holes_meet_when_the_card_is_closed(name: str) -> None:
    """Closed to a ring, each end's joining rows lie over the outermost pattern rows of the other: four rows overlap."""
    card = load(name).card
    assert card
    overlap_mm = (2 * card.joining_rows - 1) * card.row_pitch_mm + 2 * card.end_margin_mm
    below = sorted(card.clip_from_end_mm)
    above = sorted(overlap_mm - clip for clip in card.clip_from_end_mm)
    assert below == pytest.approx(above)


def test_the_24s_are_as_remembered() -> None:
    """4.5 mm between columns, 5 mm between rows, 3.5 mm holes, a sheet 142 mm wide: from memory."""
    card = load("card24-standard").card
    assert card
    assert (card.column_pitch_mm, card.row_pitch_mm, card.hole_mm, card.sheet_width_mm) == (4.5, 5.0, 3.5, 142.0)


# -- a profile of one's own -------------------------------------------------------------------------------------


def test_only_what_differs() -> None:
    mine = load_text(BASED + "[card]\nhole_mm = 4\n[reader]\nmark_means = 'hold'\n", "workshop.toml")
    base = load("card24-standard")
    assert base.card
    assert mine.name == "workshop" and mine.title == "Own profile based on card24-standard"
    assert mine == replace(
        base,
        name=mine.name,
        title=mine.title,
        mark_means="hold",
        card=replace(base.card, hole_mm=4.0),
    )


def test_a_profile_whole_of_its_own() -> None:
    mine = load_text(
        'title = "The workshop\'s bed"\nbed = { pitch_mm = 7, needles = 100 }\n'
        '[carriage]\ntuck = "holding"\nslip = "none"\n[reader]\nkind = "none"\n',
        "workshop.toml",
    )
    assert mine == Machine("workshop", "The workshop's bed", 7.0, 100, "none", None, "holding", "none")


def test_limits_can_be_changed_one_by_one_or_taken_away() -> None:
    mine = load_text(
        BASED + "[limits]\nfloat_mm = 'never'\ntucks_in_succession.error_from = 7\n"
        "tucks_side_by_side = { error_from = 'never' }\n",
        "my.toml",
    ).limits
    assert mine.float_mm is None
    assert (mine.tucks_in_succession.warn_from, mine.tucks_in_succession.error_from) == (4, 7)
    assert (mine.tucks_side_by_side.warn_from, mine.tucks_side_by_side.error_from) == (2, None)
    assert mine.slips_in_succession == Limits().slips_in_succession


def test_another_width_lies_about_the_centre_too() -> None:
    assert load_text(BASED + "[reader]\nwidth = 12\n", "my.toml").column_1_needle == "L6"
    assert load_text(BASED + "[reader]\nwidth = 18\n", "my.toml").column_1_needle == "L9"
    assert load_text(BASED + "[reader]\ncolumn_1_needle = ' l 1 '\n", "my.toml").column_1_needle == "L1"


@pytest.mark.parametrize("change", ["[reader]\nwidth = 30", "[reader]\nwidth = 28", "[card]\ncolumn_pitch_mm = 5"])
def test_what_is_to_be_tried_for_a_card_that_cannot_be_leads_to_one_that_can(change: str) -> None:
    """The last way out of each advice, a little past its bound; at most one after another for each kind of hole."""
    keys: dict[str, float] = {}
    for _ in range(3):
        table = change + ("\n[card]" if "[card]" not in change else "")
        lines = "".join(f"\n{key} = {value}" for key, value in keys.items())
        try:
            machine = load_text(f'based_on = "card24-standard"\nname = "own"\n{table}{lines}\n', "own.toml")
        except Refused as refused:
            for message in refused.messages:
                key, bound, mm = re.findall(r"[Aa] `(\w+)` (over|under) ([\d.]+\d)", str(message.advice))[-1]
                keys[key] = float(mm) + (0.1 if bound == "over" else -0.1)
        else:
            assert machine.card is not None and keys
            return
    pytest.fail(f"still refused with {keys}")


def test_a_key_that_only_sounds_like_another_of_another_table_is_not_taken_for_it() -> None:
    (message,) = refusal('based_on = "hand-standard"\n[limits]\nholds = 3\n').messages
    assert "guide_hole_mm" not in str(message.advice) and "tucks_in_succession" in str(message.advice)


def test_a_card_without_clip_holes() -> None:
    mine = load_text(CARD + "clip_from_end_mm = []\nclip_from_edge_mm = 100\n", "my.toml")
    assert mine.card and mine.card.clip_from_end_mm == ()


# text after the base; then for each message in order: line (from 1), the text marked, words of the message, words of
# the advice.
BAD: dict[str, tuple[str, list[tuple[int, str, str, str]]]] = {
    "unknown key": (CARD + "rowz = 3\n", [(3, "rowz", "no key `card.rowz`", "`rows`")]),
    "unknown table": (BASED + "[Card]\n", [(2, "Card", "no table `Card`", "`card`")]),
    "key of another table": (BASED + "hole_mm = 4\n", [(2, "hole_mm", "no key `hole_mm`", "under [card]")]),
    "key by what it is about": (
        CARD + "colums = 24\n",
        [(3, "colums", "no key `card.colums`", "`width` under [reader]")],
    ),
    "key of nowhere": (BASED + "[bed]\ncolour = 1\n", [(3, "colour", "`bed.colour`", "pitch_mm")]),
    "text for a number": (
        BASED + '[bed]\npitch_mm = "4,5 mm"  # a comma\n',
        [(3, '"4,5 mm"', "a number from 1 to 50 mm", "pitch_mm = 4.5 ")],
    ),
    "a flag for a number": (CARD + "hole_mm = true\n", [(3, "true", "a number from 0.2 to 50 mm, not true", "3.5")]),
    "a flag for a count": (CARD + "joining_rows = true\n", [(3, "true", "a whole number from 0 to 20", "2")]),
    "a number for a flag": (BASED + "[reader]\nmirrored = 1\n", [(3, "1", "true or false", "")]),
    "a word for a flag": (BASED + '[reader]\nmirrored = "yes"\n', [(3, '"yes"', "true or false", "mirrored = true")]),
    "a fraction for a count": (CARD + "rows = 60.0\n", [(3, "60.0", "a whole number from 1 to 5000", "rows = 60")]),
    "nan": (BASED + "[bed]\npitch_mm = nan\n", [(3, "nan", "from 1 to 50 mm, not `nan`", "4.5")]),
    "inf": (BASED + "[bed]\npitch_mm = inf\n", [(3, "inf", "not `inf`", "4.5")]),
    "minus inf": (CARD + "guide_offset_mm = -inf\n", [(3, "-inf", "not `-inf`", "")]),
    "huge": (BASED + "[bed]\nneedles = 99999999999999999999\n", [(3, "9" * 20, "such a long number", "200")]),
    "huge and hexadecimal": (BASED + f"[bed]\nneedles = 0x{'f' * 300}\n", [(3, "0xf", "such a long number", "")]),
    "negative": (CARD + "column_pitch_mm = -4.5\n", [(3, "-4.5", "not `-4.5`", "4.5")]),
    "nothing": (CARD + "rows = 0\n", [(3, "0", "from 1 to 5000, not `0`", "60")]),
    "a date": (BASED + "[bed]\nneedles = 2020-01-01\n", [(3, "2020-01-01", "not `2020-01-01`", "200")]),
    "a misspelt choice": (BASED + '[carriage]\ntuck = "carrige"\n', [(3, '"carrige"', "or", 'tuck = "carriage"')]),
    "no choice at all": (BASED + "[carriage]\ntuck = 4\n", [(3, "4", '"holding", "carriage" or "none"', "holding")]),
    "unknown base": ('based_on = "card24"\n', [(1, '"card24"', '"hand-fine"', "card24-")]),
    "a base that is a path": ('based_on = "/etc/passwd"\n', [(1, '"/etc/passwd"', "`based_on` must be", "")]),
    "another format": ('format = "stitchc-machine/9"\n' + BASED, [(1, '"stitchc', '"stitchc-machine/1"', "machine/1")]),
    "an odd bed": (BASED + "[bed]\nneedles = 201\n", [(3, "201", "an odd number", "needles = 200 or needles = 202")]),
    "wider than the bed": (
        'based_on = "bitmap-bulky"\n[reader]\nwidth = 30\n[bed]\nneedles = 20\n',
        [(3, "30", "only 20 needles", "from 1 to 20")],
    ),
    "column 1 off the bed": (
        BASED + '[reader]\ncolumn_1_needle = "R101"\n',
        [(3, '"R101"', "not on this bed", "L100 to R100")],
    ),
    "no needle": (BASED + '[reader]\ncolumn_1_needle = "M3"\n', [(3, '"M3"', "a needle of the bed", "")]),
    "needle 0": (BASED + '[reader]\ncolumn_1_needle = "L0"\n', [(3, '"L0"', "a needle of the bed", "")]),
    "a warning after the error": (
        BASED + "[limits]\ntucks_in_succession = { warn_from = 9, error_from = 5 }\n",
        [(3, "{ warn_from", "an error from 5, but a warning only from 9", "warn_from = 5")],
    ),
    "inside an inline table": (
        BASED + '[limits]\nfloat_needles = { warn_from = "ever", error_from = 0 }\n',
        [(3, '"ever"', 'or "never"', ""), (3, "0", "not `0`", "")],
    ),
    "a number for a table": (
        BASED + "[limits]\ntucks_in_succession = 4\n",
        [(3, "4", "is a table", "warn_from = 4, error_from = 5")],
    ),
    "tables in a list": (BASED + "[[bed]]\nneedles = 2\n", [(2, "bed", "`bed` is a table, not such a list", "[bed]")]),
    "a list of the wrong things": (
        CARD + "clip_from_end_mm = [5, true]\n",
        [(3, "[5, true]", "not `[5, true]`", "[5.0, 10.0]")],
    ),
    "a long list": (CARD + "clip_from_end_mm = [1, 9, 17, 25, 33]\n", [(3, "[1,", "at most 4", "")]),
    "text for a list": (CARD + 'clip_from_end_mm = "5"\n', [(3, '"5"', "a list", "")]),
    "no title": (BASED.replace("\n", "  # on\n") + 'title = " "\n', [(2, '" "', "text in quotes", "")]),
    "control characters in a name": ('name = "a\\u202eb"\n' + BASED, [(1, '"a', "control characters", "")]),
    "a hand bed with a card": (
        'based_on = "hand-fine"\n[reader]\nwidth = 24\n[card]\nrows = 60\n',
        [(3, "width", "has no meaning", "kind"), (4, "card", "There is a [card] table", "Leave the table out")],
    ),
    "holes that touch in a row": (CARD + "hole_mm = 4.5\nrow_pitch_mm = 6\n", [(3, "4.5", "in one row", "under 4.5")]),
    "holes that touch in a column": (
        CARD + "hole_mm = 3.5\nrow_pitch_mm = 3.5\n",
        [(3, "3.5", "in one column", "row_pitch_mm")],
    ),
    "columns wider than the sheet": (
        CARD + "column_pitch_mm = 9\n",
        [(2, "card", "24 columns take 210.5 mm", "`sheet_width_mm` over 210.5")],
    ),
    "guide holes that touch": (CARD + "guide_hole_mm = 5\n", [(3, "5", "Guide holes of 5 mm", "under 5")]),
    "guide holes off the sheet": (
        CARD + "guide_from_edge_mm = 1.5\n",
        [(3, "1.5", "run off the sheet's edge", "over 1.5")],
    ),
    "guide holes in the pattern": (
        CARD + "guide_from_edge_mm = 16.5\nclip_from_end_mm = []\n",
        [(3, "16.5", "into the first column of pattern holes, which begins 17.5 mm", "under 16")],
    ),
    "clip holes in the pattern": (CARD + "clip_from_edge_mm = 16\n", [(3, "16", "The clip holes would run", "15.75")]),
    "clip holes off the sheet": (
        CARD + "clip_from_edge_mm = 1\n",
        [(3, "1", "clip holes (3.5 mm) would run off the sheet's edge", "over 1.75")],
    ),
    "clip holes off the end": (CARD + "clip_from_end_mm = [1.0]\n", [(3, "[1.0]", "off the sheet's end", "1.75")]),
    "clip holes on each other": (CARD + "clip_from_end_mm = [5, 8.5]\n", [(3, "[5,", "into each other", "3.5")]),
    "clip holes on guide holes": (
        CARD + "clip_from_edge_mm = 6\n",
        [(3, "6", "The clip hole 10 mm from the end would run into a guide hole", "Over 3.25")],
    ),
    "no room at the end": (CARD + "end_margin_mm = 1.7\n", [(3, "1.7", "run off the sheet's end", "over 1.75")]),
    "a blank too short to close": (
        CARD + "rows = 30\n",
        [(2, "card", "`card.least_rows` is 36, more than the 30 rows", "30 or fewer")],
    ),
    "empty": ("", [(1, "", "does not describe a machine", 'based_on = "hand-standard"')]),
    "comments alone": ("# mine\n\n", [(1, "#", "does not describe a machine", "--write")]),
    "half a profile": (
        "[bed]\nneedles = 200\n",
        [
            (1, "[", "`carriage.tuck` and `carriage.slip`", 'tuck = "holding"'),
            (1, "[", "`reader.kind`", "based_on"),
            (1, "bed", "`bed.pitch_mm`", "pitch_mm = 4.5"),
        ],
    ),
    "a misspelt key that had to be there": (
        'bed = { pitch_mm = 9, neddles = 2 }\ncarriage = { tuck = "none", slip = "none" }\nreader.kind = "none"\n',
        [(1, "neddles", "no key `bed.neddles`", "`needles`")],
    ),
    "a card without its table": (
        BASED.replace("card24", "hand") + '[reader]\nkind = "card"\nwidth = 24\n',
        [(1, "b", "`card.rows`, `card.least_rows`, `card.joining_rows`", "rows = 60")],
    ),
    "a card without its width": (
        'based_on = "hand-bulky"\n[reader]\nkind = "bitmap"\n',
        [(2, "reader", "does not say `reader.width`", "width = 24")],
    ),
    "not TOML": (BASED + "[bed]\nneedles =\n", [(3, "", "not valid TOML: invalid value", "")]),
    "an open quote": ('title = "mine\n', [(1, "", "not valid TOML", "")]),
    "an open table": ("[bed\nneedles = 2\n", [(1, "", "not valid TOML", "")]),
    "a key twice": ("[bed]\nneedles = 2\nneedles = 4\n", [(3, "needles", "key `needles` is given twice", "one")]),
    "a table twice": ("[bed]\n[reader]\n[bed]\n", [(3, "bed", "the table `bed` is given twice", "Leave out one")]),
    "a table twice, left open": (
        "[bed]\n[bed&\n",
        [(2, "[bed&", "table `bed` is given twice", "keys under the first")],
    ),
    "a key twice in braces": ("x = { a = 1, a = 2 }\n", [(1, "x", "the key `a` is given twice", "Leave out one")]),
    "a key over a key in braces": (
        "x = {a = 1, a.b = 2}\n",
        [(1, "x", "key in `x = {a = 1, a.b = 2}` is", "Leave out")],
    ),
    "a table added to": ("[a.b]\nc = 1\n[a]\nb.d = 1\n", [(4, "b.d", "the table `b` is given twice", "Leave out")]),
    "a control character": ('title = "\x01"\n', [(1, "", "not valid TOML: invalid character", "")]),
    "not TOML at the end": ("[bed]\nneedles", [(2, "", "not valid TOML", "")]),
    "a pattern": ("stitch ripple\n    1: K T\n", [(1, "", "not valid TOML", "")]),
    "thousands of digits": (BASED + f"x = {'9' * 380}{chr(10)}", [(2, "x", "no key `x`", "")]),
    "a very long line": (f"title = '{'a' * 500}'\n", [(1, "t", "at most 400 characters", "")]),
    "brackets without end": ("a = [\n" + "[\n" * 30000, [(1, "", "nested too deep", "")]),
    "a NUL": (BASED + "\0", [(2, "", "not valid TOML", "")]),
    "not UTF-8": ("title = 'caf\udce9'\n", [(1, "", "not UTF-8", "Save the file as UTF-8")]),
    "too large": ("#\n" * 40000, [(0, "", "at most 64 KiB", "stitchc machines --write")]),
}


@pytest.mark.parametrize("name", BAD)
def test_what_is_wrong_is_told_at_its_line(name: str) -> None:
    text, expected = BAD[name]
    refused = refusal(text.encode("utf-8", "surrogateescape"))
    assert all(message.code == "M304" and message.severity == "error" for message in refused.messages)
    lines = text.split("\n")
    for message in refused.messages:
        shown = render(message, refused.sources)
        assert "Traceback" not in shown and "!" not in shown
        assert all(len(line) < 320 for line in shown.splitlines())
    assert len(refused.messages) == len(expected), [message.text for message in refused.messages]
    for message, (line, marked, words, advice) in zip(refused.messages, expected, strict=True):
        assert words in message.text
        assert advice in str(message.advice)
        if line:
            assert message.span and message.span.file == "my.toml" and message.span.line == line
            there = lines[line - 1][message.span.column - 1 :]
            assert there.startswith(marked)
            assert message.span.length <= max(1, len(there))


def test_every_mistake_in_one_go() -> None:
    refused = refusal(
        BASED
        + '[bed]\nneedles = 201\n[reader]\nselects = "later"\n[card]\nhole_mm = 6\nholes = 2\n[limits]\nfloat_mm = 0\n'
    )
    assert [message.span.line for message in refused.messages if message.span] == [3, 5, 7, 7, 8, 10]


values = st.recursive(
    st.one_of(
        st.booleans().map(lambda flag: "true" if flag else "false"),
        st.integers(-(10**30), 10**30).map(str),
        st.floats().map(lambda number: str(number).replace("+", "")),
        st.sampled_from(['"never"', '"card"', '"none"', '"L12"', '"both"', "nan", "1e400", "''", "1979-05-27"]),
        st.text(max_size=8).map(lambda text: json.dumps(text, ensure_ascii=True).replace("\\ud", "\\u0")),
    ),
    lambda inner: st.lists(inner, max_size=3).map(lambda items: f"[{', '.join(items)}]"),
    max_leaves=5,
)
keys = st.sampled_from(
    [
        line.split(" = ")[0].strip("# ")
        for name in ("card24-standard", "bitmap-bulky")
        for line in profile_text(name).splitlines()
        if " = " in line
    ]
    + ["[card]", "[bed]", "[reader]", "[limits]", "[carriage]", "bed", "card.hole_mm", "limits.float_mm.x"]
)


@given(st.lists(st.tuples(keys, values), max_size=8), st.sampled_from([*SHIPPED, ""]))
def test_any_value_of_any_key_is_taken_or_refused_in_words(said: list[tuple[str, str]], base: str) -> None:
    lines = [f'based_on = "{base}"'] if base else []
    lines += [key if key.startswith("[") else f"{key} = {value}" for key, value in said]
    try:
        machine = load_text("\n".join(lines), "my.toml")
    except Refused as refused:
        assert refused.messages
        for message in refused.messages:
            assert message.code == "M304" and message.text
            assert render(message, refused.sources)
    else:
        assert machine.needles % 2 == 0 and 1 <= machine.pitch_mm <= 50
        assert needle_name(machine.bed.first) == machine.bed.left


@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda text: text.encode("utf-8", "surrogatepass")))
def test_any_bytes_are_refused_in_words(content: bytes) -> None:
    refused = refusal(content)
    assert refused.messages and all(message.code == "M304" for message in refused.messages)


@pytest.mark.parametrize(
    "text",
    [
        "".join((f"k{n}" + ".a" * 190)[:390] + " = 1\n" for n in range(165)),
        "".join(f"[k{n}." + ".".join("a" * 190) + "]\n" for n in range(165)),
        "".join(f"k{n} = 1\n" for n in range(6500)),
        'title = """\n' + "x\n" * 30000 + '"""\n',
    ],
    ids=["dotted keys", "dotted tables", "thousands of keys", "a long text"],
)
def test_a_hostile_profile_takes_little_memory(text: str) -> None:
    assert len(text) < 65536
    tracemalloc.start()
    try:
        refusal(text)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 64 * 2**20


# -- names and files --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "near"),
    [("card-24", "card24-"), ("Hand-Standard", "hand-standard"), ("hand_bulky", "hand-bulky"), ("bitmap", "bitmap-")],
)
def test_an_unknown_name_offers_the_nearest(name: str, near: str) -> None:
    with pytest.raises(Refused) as caught:
        load(name)
    message = caught.value.messages[0]
    assert message.code == "M304" and f"`{name}`" in message.text
    assert message.advice and message.advice.startswith(f"--machine {near}")
    assert all(shipped in message.advice for shipped in SHIPPED)


def test_a_name_like_nothing() -> None:
    for name in ("", "-", "\0", "x" * 5000, "\udce9"):
        with pytest.raises(Refused) as caught:
            load(name)
        assert not isinstance(caught.value, FileTrouble)
        assert len(render(caught.value.messages[0])) < 500


@pytest.mark.parametrize("name", ["mine.toml", "folder/mine", "MINE.TOML", "a\0b.toml", "x" * 5000 + ".toml"])
def test_a_missing_file_is_a_trouble_of_files(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "others.toml").write_text(BASED)
    with pytest.raises(FileTrouble) as caught:
        load(name)
    assert caught.value.messages[0].code == "F501"
    if "/" not in name:
        assert "others.toml" in str(caught.value.messages[0].advice) or len(name) > 4000 or "\0" in name


def test_a_folder_is_no_profile(tmp_path: Path) -> None:
    (tmp_path / "my.toml").mkdir()
    with pytest.raises(FileTrouble):
        load(str(tmp_path / "my.toml"))


def test_a_file_without_an_ending(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("workshop").write_text(BASED)
    assert load("workshop").name == "workshop"


def test_a_shipped_name_wins_over_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("hand-fine").write_text(BASED)
    assert load("hand-fine").reader == "none"
    assert load("./hand-fine").reader == "card"


# -- the command ------------------------------------------------------------------------------------------------


def test_the_list(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["machines"]) == 0
    out = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in out[2:11]] == list(SHIPPED)
    assert all(len(line) <= 100 for line in out)


def test_the_list_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["machines", "--format", "json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["format"] == "stitchc-machines/1"
    by_name = {machine["name"]: machine for machine in document["machines"]}
    assert list(by_name) == list(SHIPPED)
    assert by_name["card24-standard"]["card"]["hole_mm"] == 3.5
    assert by_name["hand-fine"]["card"] is None
    assert by_name["hand-fine"]["limits"]["tucks_in_succession"] == {"warn_from": 4, "error_from": 5}


@pytest.mark.parametrize("name", SHIPPED)
def test_write_prints_a_profile_that_loads(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["machines", "--write", name]) == 0
    printed = capsys.readouterr().out
    assert printed == profile_text(name)
    path = tmp_path / "my.toml"
    assert run(["machines", "--write", name, "-o", str(path)]) == 0
    assert capsys.readouterr().out == f"{path}\n"
    path.write_text(printed + "# measured by hand\n")
    assert run(["machines", "--write", name, "-o", str(path)]) == 3, "a profile is the knitter's own work by now"
    assert "F503" in capsys.readouterr().err and "measured by hand" in path.read_text()
    assert run(["machines", str(path)]) == 0
    assert "no mistake" in capsys.readouterr().out


def test_one_in_full(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["machines", "card24-bulky"]) == 0
    out = capsys.readouterr().out
    assert "a repeat 1, 2, 3, 4, 6, 8, 12 or 24 wide fits" in out
    assert "warning over 25 mm (2 needles here)" in out
    assert "on needle L12" in out


def test_own_profiles_with_mistakes_are_all_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one, two = tmp_path / "one.toml", tmp_path / "two.toml"
    one.write_text(CARD + "hole_mm = 9\n")
    two.write_text("[bed\n")
    assert run(["machines", str(one), str(two)]) == 1
    err = capsys.readouterr().err
    assert f"{one}:3:11: error: " in err and f"{two}:1:5: error: " in err
    assert "\n  hole_mm = 9\n" in err
    assert run(["machines", str(one), str(tmp_path / "three.toml")]) == 3


def test_write_of_an_unknown_name(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["machines", "--write", "card42"]) == 1
    assert "M304" in capsys.readouterr().err
    assert run(["machines", "--write", "hand-fine", "hand-mid"]) == 2


def test_the_example_of_a_profile_of_ones_own() -> None:
    mine = load(str(Path(__file__).parent.parent / "examples" / "workshop.toml"))
    assert mine.name == "workshop"
    assert mine.card and mine.card.column_pitch_mm == 4.52
    assert mine.limits.float_mm == 15
