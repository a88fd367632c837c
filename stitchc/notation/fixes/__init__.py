"""Lines that cannot be read, read leniently: an edit is offered where only one line takes all that was written.

A wrong line is cut into tokens, in plain signs (tokens.py, spellings.py), and poured into the statement that takes them
along the states of the grammar itself (walk.py, meanings.py, statements.py; cells.py for the cells of a row), in every
cheap way. Whatever is left over, a number, a name or a word that says something, means that nothing is offered: no
value is dropped and none is invented. What remains is proved by compiling it, the cheapest first; where two lines that
mean different things cost about the same, nothing is offered either.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator, Sequence
from typing import Final

from stitchc.messages import Fix, Message
from stitchc.notation.fixes.statements import Line, TooMany
from stitchc.notation.fixes.surroundings import Surroundings, lines_below, opens_a_block, surroundings
from stitchc.notation.fixes.tokens import in_plain_signs
from stitchc.notation.layout import same_meaning
from stitchc.notation.refusals import without_comment
from stitchc.pattern import Pattern

_MENDABLE: Final = {"N101", "N102", "N103", "N111", "N115", "N116", "N119"}
_MAY_APPEAR: Final = {"N101", "N102", "N111"}
"""Of a line that is read for the first time because the one above it now can be."""
_LONGEST_LINE: Final = 200
_MOST_COST: Final = 2.2
_AS_NEAR: Final = 1.0
"""How much more a reading may cost and still be as likely."""
_MOST_WORK: Final = 400_000
"""Characters compiled to prove the fixes of one file."""
_WORK_OF_A_LINE: Final = 4000
"""What it takes to read a line in every way there is takes as long as compiling so many characters."""

Compile = Callable[[str], tuple[Pattern | None, list[Message]]]


def with_fixes(
    messages: Sequence[Message],
    file: str,
    lines: Sequence[str],
    stitches: Collection[str],
    yarns: Collection[str],
    compile_again: Compile,
) -> list[Message]:
    """The messages, those about a line that can be put right in one way with that line as advice and fix.

    file, lines: the top file. stitches, yarns: the names known in it. compile_again: reads a changed text.
    """
    wrong = {m.span.line: m for m in reversed(messages) if m.span and m.span.file == file and m.code in _MENDABLE}
    work = 0
    fixed: dict[int, Message] = {}
    size = sum(map(len, lines)) + len(lines)
    for number in sorted(wrong):
        line = lines[number - 1]
        if len(line) > _LONGEST_LINE:
            continue
        work += _WORK_OF_A_LINE
        indent = line[: len(line) - len(line.lstrip())]
        most = _MOST_COST
        meanings: list[tuple[str, Pattern | None]] = []
        try:
            for cost, candidate in _candidates(line, surroundings(lines, number, stitches, yarns)):
                if cost > most:
                    break
                work += size * bool(candidate)
                if work > _MOST_WORK:
                    return _replaced(messages, file, fixed)
                text = candidate.replace("\n", "\n" + indent)
                changed = "\n".join([*lines[: number - 1], indent + text, *lines[number:]])
                pattern, remaining = compile_again(changed) if candidate else (None, messages)
                mended = range(number, number + text.count("\n") + 1)
                first_read = lines_below(lines, number) if opens_a_block(text) and not opens_a_block(line) else range(0)
                if _better(messages, remaining, file, mended, first_read):
                    most = most if meanings else cost + _AS_NEAR
                    if not any(same_meaning(pattern, p) if pattern and p else text == other for other, p in meanings):
                        meanings.append((text, pattern))
        except TooMany:
            continue
        if len(meanings) == 1:
            text, length = meanings[0][0], len(_code(line))
            fixed[number] = wrong[number]._replace(advice=text, fix=Fix(number, len(indent) + 1, length, text))
    return _replaced(messages, file, fixed)


def _candidates(line: str, around: Surroundings) -> Iterator[tuple[float, str]]:
    """Lines that take all the values of this one."""
    code = _code(line)
    if code.count('"') % 2 and "#" in line:
        return  # where an open text ends cannot be told
    glued = re.match(r"#\S", line[len(line) - len(line.lstrip()) + len(code) :].lstrip())
    text = in_plain_signs(code)
    seen: set[str] = set()
    for cost, candidate in Line(text, around).readings():
        # `note Use hook #3`, `yarn navy: #000080`: what seems a comment may belong to the line
        if not candidate or (candidate not in seen and candidate != code and (not glued or "colour" in candidate)):
            seen.add(candidate)
            yield cost, candidate


def _code(line: str) -> str:
    """The line without its comment and the space around it; a colour without quotation marks is no comment."""
    if colour := re.match(r"\s*yarn\b[^#]*\bcolou?r\s*[:=]?\s*#(?:[0-9a-f]{6}|[0-9a-f]{3})(?!\w)", line, re.IGNORECASE):
        return colour.group().strip() + without_comment(line[colour.end() :])
    return without_comment(line).strip()


def _better(
    before: Sequence[Message], after: Sequence[Message], file: str, lines: range, first_read: range = range(0)
) -> bool:
    """Whether nothing is wrong on the lines any more, and nothing new is wrong elsewhere because of them.

    first_read: lines that were passed over before, with whatever is wrong in them.
    """
    known = {(m.code, m.text) for m in before}
    errors = [(m, m.span) for m in after if m.severity == "error" and m.span]
    there = any(span.file == file and span.line in lines for _, span in errors)
    new = [m for m, span in errors if not (span.file == file and span.line in first_read)]
    return not there and all(m.code in _MAY_APPEAR or (m.code, m.text) in known for m in new)


def _replaced(messages: Sequence[Message], file: str, fixed: dict[int, Message]) -> list[Message]:
    """One message for each line that is fixed; all the others as they are."""
    out: dict[object, Message] = {}
    for index, message in enumerate(messages):
        number = message.span.line if message.span and message.span.file == file else 0
        out.setdefault(number if number in fixed else f"message {index}", fixed.get(number, message))
    return list(out.values())
