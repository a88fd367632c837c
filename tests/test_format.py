"""The standard layout: comments and order stay, the meaning stays, a second run changes nothing."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from stitchc.cli import group
from stitchc.notation import compile_text
from stitchc.notation.layout import lay_out, same_meaning
from tests.notation.patterns import Scribe

EXAMPLES = sorted((Path(__file__).resolve().parent.parent / "examples").glob("*.stitch"))

UNTIDY = """\


PATTERN   "Tide  line"   #c
Yarn foam "sea # green" Colour "#335577"   TEX 210
stitch ripple
# the ripple
1:k t
 2 :  K   # plain


stitch fern OVER 8
  10,3:(k t) X 2 K4
 1-2,4 – 9 : K
    11 IN foam:S2K2
    12 in foam: KKKT KKKT
stitch ladder over 8
1,3:(k t k)x2
# the ladders
Out 4 ,8  # two
2,4:k
stitch drift=ripple THEN( ripple shifted 1 Left ) with s FOR t,K for S
gauge plain  20 stitches 28 rows per 10cm
piece cowl
needles l40 - r39
 do "x  y"
  KNIT drift for 18 cm at "5" EXACTLY
"""

TIDY = """\
pattern "Tide  line"  #c
yarn foam "sea # green" colour "#335577" tex 210

stitch ripple
    # the ripple
    1: K T
    2: K  # plain

stitch fern over 8
         10, 3: (K T)x2 K4
      1-2, 4-9: K
    11 in foam: S2 K2
    12 in foam: KKKT KKKT

stitch ladder over 8
    1, 3: (K T K)x2
    # the ladders
    out 4, 8  # two
    2, 4: K

stitch drift = ripple then (ripple shifted 1 left) with S for T, K for S
gauge plain 20 stitches 28 rows per 10 cm

piece cowl
    needles L40-R39
    do "x  y"
    knit drift for 18 cm at "5" exactly
"""


def test_an_untidy_text_becomes_the_standard_one() -> None:
    assert lay_out(UNTIDY) == TIDY
    assert lay_out(TIDY) == TIDY
    one, two = (compile_text(text).pattern for text in (UNTIDY, TIDY))
    assert one is not None and two is not None
    assert same_meaning(one, two)


def test_another_meaning_is_seen() -> None:
    texts = ["stitch a\n1: K T\n", "stitch a\n1: T K\n", 'stitch a\n1: K T\nnote "x"\n', "stitch b\n1: K T\n"]
    patterns = [compile_text(text).pattern for text in texts]
    for i, one in enumerate(patterns):
        for j, two in enumerate(patterns):
            assert one is not None and two is not None
            assert same_meaning(one, two) == (i == j)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_the_examples_stand_in_the_standard_layout(path: Path) -> None:
    result = CliRunner().invoke(group, ["format", "--check", str(path)])
    assert result.exit_code == 0, result.output


spaces = st.sampled_from(["", " ", "  ", "\t"])
gaps = st.sampled_from([" ", "  ", "\t "])


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.tuples(spaces, spaces, st.lists(st.sampled_from(["K", "k3", "T", "s2", "(K T)x2", "( k )X 3"]), min_size=1)),
        min_size=1,
        max_size=6,
    ),
    gaps,
    st.sampled_from(["", "# note", "#", "  # ä “x”"]),
    st.sampled_from(["\n", "\n\n\n"]),
)
def test_any_spacing_keeps_its_meaning(
    rows: list[tuple[str, str, list[str]]], gap: str, comment: str, end: str
) -> None:
    lines = [
        f"{before}{number}{after}:{gap}{gap.join(cells)}{gap}{comment}"
        for number, (before, after, cells) in enumerate(rows, 1)
    ]
    text = f"STITCH{gap}wave{gap}over 7200{end}" + end.join(lines) + end + f"stitch x=wave  shifted 3{gap}\n"
    pattern = compile_text(text).pattern
    if pattern is None:  # a row that does not go into 7200
        return
    tidy = lay_out(text)
    again = compile_text(tidy).pattern
    assert again is not None
    assert same_meaning(pattern, again)
    assert lay_out(tidy) == tidy
    assert tidy.count(comment.strip()) >= (len(rows) if comment.strip() else 0)


def test_in_place_check_and_diff(tmp_path: Path) -> None:
    file = tmp_path / "untidy.stitch"
    file.write_bytes(b"\xef\xbb\xbf" + UNTIDY.replace("\n", "\r\n").encode())
    run = CliRunner()
    checked = run.invoke(group, ["format", "--check", str(file)])
    assert checked.exit_code == 1 and "not in the standard layout" in checked.output
    shown = run.invoke(group, ["format", "--diff", str(file)])
    assert shown.exit_code == 0 and "+    knit drift for 18 cm" in shown.output
    done = run.invoke(group, ["format", "--in-place", str(file)])
    assert done.exit_code == 0 and done.output.strip() == str(file)
    assert file.read_text("utf-8") == TIDY
    assert run.invoke(group, ["format", "--in-place", str(file)]).output == ""


def test_a_pattern_with_a_mistake_is_left_as_it_is(tmp_path: Path) -> None:
    file = tmp_path / "broken.stitch"
    file.write_text("stitch a\n 1: P\n", "utf-8")
    result = CliRunner().invoke(group, ["format", "--in-place", str(file)])
    assert result.exit_code == 1 and "N102" in result.output
    assert file.read_text("utf-8") == "stitch a\n 1: P\n"


def test_a_layout_that_would_be_too_large_names_its_size(tmp_path: Path) -> None:
    """Indented comments can take a file of two thirds of the limit past it: no fault of the layout's meaning."""
    file = tmp_path / "long.stitch"
    text = "stitch a\n1: K T\n" + "# kelp\n" * 390_000 + "2: K\n"
    file.write_text(text, "utf-8")
    for how in ("--in-place", "--check"):
        said = CliRunner().invoke(group, ["format", how, str(file)])
        assert said.exit_code == 1 and said.stdout == "" and "F504" not in said.stderr, said
        assert "N110" in said.stderr and "would have 4,290,0" in said.stderr and "at most 4,194,304" in said.stderr
    assert file.read_text("utf-8") == text


def test_random_patterns_are_laid_out_in_one_step() -> None:
    for number in range(200):
        text = Scribe(Random(f"format/{number}"), most_stitches=4).pattern().text
        pattern = compile_text(text).pattern
        if pattern is not None:
            tidy = lay_out(text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n"))
            again = compile_text(tidy).pattern
            assert again is not None and same_meaning(pattern, again) and lay_out(tidy) == tidy, text


@pytest.mark.parametrize(
    ("cells", "tidy"), [("( KT )x2", "(KT)x2"), ("( k t )X 2KK3", "(K T)x2 K K3"), ("KT  k2T", "KT K2 T")]
)
def test_cells_in_one_layout(cells: str, tidy: str) -> None:
    assert lay_out(f"stitch a\n1: {cells}\n") == f"stitch a\n    1: {tidy}\n"


def test_quotation_marks_are_made_straight() -> None:
    assert lay_out("note “a # b”#c\nnote «d»\n") == 'note "a # b"  #c\nnote "d"\n'
