"""Lines that cannot be read, read leniently: an edit is offered where only one line takes all that was written.

A wrong line is cut into tokens, in plain signs (shapes.py, tokens.py, spellings.py), and walked along the states of the
grammar itself (walk.py, meanings.py, statements.py; cells.py for the cells of a row) in every cheap way. Whatever is
left over, a number, a name or a word that says something, means that nothing is offered: no value is dropped and none
is invented. What remains is proved by compiling it, the cheapest first; where two lines that mean different things cost
about the same, nothing is offered either.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator, Sequence
from typing import Final

from stitchc.messages import Fix, Message, has_errors
from stitchc.notation.fixes.shapes import in_plain_signs
from stitchc.notation.fixes.statements import Line
from stitchc.notation.fixes.surroundings import Surroundings, surroundings
from stitchc.notation.fixes.walk import TooMany
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
        around = surroundings(lines, number, stitches, yarns)
        indent = line[: len(line) - len(line.lstrip())]
        best: float | None = None
        meanings: list[tuple[str, Pattern | None]] = []
        try:
            for cost, candidate in _candidates(line, around):
                if cost > (_MOST_COST if best is None else best + _AS_NEAR):
                    break
                if not candidate:
                    continue
                work += size
                if work > _MOST_WORK:
                    return _replaced(messages, file, fixed)
                text = candidate.replace("\n", "\n" + indent)
                changed = [*lines[: number - 1], indent + text, *lines[number:]]
                pattern, remaining = compile_again("\n".join(changed))
                if not _better(messages, remaining, file, number, text.count("\n")):
                    continue
                best = cost if best is None else best
                if not any(_same(candidate, pattern, other) for other in meanings):
                    meanings.append((text, pattern))
        except TooMany:
            continue
        if len(meanings) == 1:
            fixed[number] = _with_fix(wrong[number], line, meanings[0][0])
    return _replaced(messages, file, fixed)


def _candidates(line: str, around: Surroundings) -> Iterator[tuple[float, str]]:
    """Lines that take all the values of this one."""
    code = _code(line)
    if code.count('"') % 2 and "#" in line:
        return  # where an open text ends cannot be told
    glued = re.match(r"#\S", line[len(line) - len(line.lstrip()) + len(code) :].lstrip())
    text = in_plain_signs(code, around)
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


def _same(text: str, pattern: Pattern | None, other: tuple[str, Pattern | None]) -> bool:
    if pattern is None or other[1] is None:
        return text == other[0]
    return same_meaning(pattern, other[1])


def _better(before: Sequence[Message], after: Sequence[Message], file: str, number: int, more: int) -> bool:
    """Whether nothing is wrong on the line any more, and nothing new is wrong elsewhere because of it."""
    if not has_errors(after):
        return True
    known = {(m.code, m.text) for m in before}
    for message in after:
        place = message.span
        if message.severity != "error" or place is None:
            continue
        if place.file == file and number <= place.line <= number + more:
            return False
        if message.code not in _MAY_APPEAR and (message.code, message.text) not in known:
            return False
    return True


def _with_fix(message: Message, line: str, text: str) -> Message:
    begins = len(line) - len(line.lstrip())
    length = len(_code(line))
    assert message.span is not None
    return message._replace(advice=text, fix=Fix(message.span.line, begins + 1, length, text))


def _replaced(messages: Sequence[Message], file: str, fixed: dict[int, Message]) -> list[Message]:
    """One message for each line that is fixed; all the others as they are."""
    out: list[Message] = []
    done: set[int] = set()
    for message in messages:
        number = message.span.line if message.span and message.span.file == file else 0
        if number not in fixed:
            out.append(message)
        elif number not in done:
            done.add(number)
            out.append(fixed[number])
    return out
