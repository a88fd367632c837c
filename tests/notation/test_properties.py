"""What holds of every pattern and of every text."""

from __future__ import annotations

import math
from random import Random

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stitchc.chart import Chart
from stitchc.notation import compile_text, write_chart
from tests.charts import charts
from tests.notation.mutations import mutated, run, sound
from tests.notation.patterns import Scribe

YARNS = (None, "foam", "sand")
quick = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


def built(expression: str, **parts: Chart) -> Chart:
    """The chart of an expression over named parts."""
    text = "yarn foam\nyarn sand\n" + "".join(
        write_chart(name, part, declare_yarns=False) for name, part in parts.items()
    )
    pattern, messages, _ = compile_text(f"{text}stitch result = {expression}\n")
    assert pattern is not None, messages
    return pattern.stitches["result"].chart


@given(charts(yarns=YARNS), st.integers(1, 40))
@quick
def test_there_and_back(a: Chart, n: int) -> None:
    assert built("a mirrored mirrored", a=a) == a
    assert built("a reversed reversed", a=a) == a
    assert built(f"a shifted {n} shifted {n} left", a=a) == a
    assert built(f"a shifted {a.width}", a=a) == a
    assert built(f"a shifted {n}", a=a) == built(f"a shifted {n} right", a=a)
    assert built("a with T for K, S for T, K for S with K for T, T for S, S for K", a=a) == a
    assert built("a across 1 up 1", a=a) == a


@given(charts(yarns=YARNS), st.integers(1, 12))
@quick
def test_forms_commute_as_on_the_machine(a: Chart, n: int) -> None:
    assert built("a mirrored reversed", a=a) == built("a reversed mirrored", a=a)
    assert built(f"a shifted {n} mirrored", a=a) == built(f"a mirrored shifted {n} left", a=a)
    assert built("a across 2 up 3", a=a) == built("a up 3 across 2", a=a)
    assert built("a then a", a=a) == built("a up 2", a=a)
    assert built("a beside a", a=a) == built("a across 2", a=a)
    assert built("a with S for T reversed", a=a) == built("a reversed with S for T", a=a)


@given(charts(yarns=YARNS), charts(yarns=YARNS))
@quick
def test_sizes_of_joined_parts(a: Chart, b: Chart) -> None:
    text = write_chart("a", a, declare_yarns=False) + write_chart("b", b, declare_yarns=False)
    for kind, here, there in (("then", a.width, b.width), ("beside", a.height, b.height)):
        found = compile_text(f"yarn foam\nyarn sand\n{text}stitch c = a {kind} b\n")
        codes = {message.code for message in found.messages}
        common = math.lcm(here, there)
        if common != max(here, there):
            assert codes == {"N109"}
            words = found.messages[0].text
            assert all(str(size) in words for size in (here, there, common)), words
        elif found.pattern is None:
            assert codes == {"N119" if kind == "then" else "N117"}
            assert kind == "beside" or a.tiled(common, 1).out != b.tiled(common, 1).out
        else:
            c = found.pattern.stitches["c"].chart
            assert (c.width, c.height) == (
                (common, a.height + b.height) if kind == "then" else (a.width + b.width, common)
            )


@given(charts(yarns=YARNS, all_in_work=True), charts(yarns=YARNS, all_in_work=True))
@quick
def test_what_binds_tightest(a: Chart, b: Chart) -> None:
    b = b.tiled(a.width, a.height)
    a = Chart(a.cells, b.yarns)
    parts = {"a": a, "b": b}
    assert built("a then b beside a then b", **parts) == built("a then (b beside a) then b", **parts)
    assert built("a beside b mirrored", **parts) == built("a beside (b mirrored)", **parts)
    assert built("a then b reversed", **parts) == built("a then (b reversed)", **parts)
    assert built("a shifted 1 mirrored", **parts) == built("(a shifted 1) mirrored", **parts)


@given(st.randoms(use_true_random=False))
@quick
def test_blank_lines_indentation_comments_and_capitals_mean_nothing(chance: Random) -> None:
    written = Scribe(chance).pattern()
    if written.files:
        return
    plain = written.text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    loose: list[str] = []
    for line in plain.split("\n"):
        if line.lstrip()[:1].isdigit() and ":" in line and "#" not in line:
            head, cells = line.split(":")
            line = f"{head}:{cells.swapcase()}"
        loose += [chance.choice(["", "   ", "\t", "# (", " "]), chance.choice(["", "\t", "      "]) + line]
    text = chance.choice(["\n", "\r\n", "\r"]).join(loose) + chance.choice(["", "\n\n"])
    one, two = compile_text(plain), compile_text(text)
    assert [message.code for message in one.messages] == [message.code for message in two.messages]
    if one.pattern is not None and two.pattern is not None:
        assert {n: s.chart for n, s in one.pattern.stitches.items()} == {
            n: s.chart for n, s in two.pattern.stitches.items()
        }


@given(st.text(st.characters()))
@settings(max_examples=150, deadline=None)
def test_any_text_is_read(text: str) -> None:
    sound(compile_text(text))


@given(st.lists(st.text('KTSktsx()×0123456789 ,:-\tPp*[]#.o"Кx', max_size=30), max_size=6))
@settings(max_examples=150, deadline=None)
def test_any_rows_are_read(rows: list[str]) -> None:
    sound(compile_text("stitch a\n" + "\n".join(f"{number}: {row}" for number, row in enumerate(rows, start=1))))


@given(st.binary())
@settings(max_examples=80, deadline=None)
def test_any_bytes_are_read(raw: bytes) -> None:
    sound(compile_text(raw))


@given(st.randoms(use_true_random=False))
@quick
def test_any_spoilt_pattern_is_read_twice_alike(chance: Random) -> None:
    text = mutated(Scribe(chance, most_stitches=3).pattern().text, chance)
    one, two = compile_text(text), compile_text(text)
    sound(one)
    assert one.messages == two.messages
    assert (one.pattern is None) == (two.pattern is None)


def test_some_hundred_spoilt_patterns() -> None:
    assert run(300, seed=7)["N101"] > 50
