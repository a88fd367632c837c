"""`stitchc explain`: what a message code means, with a wrong and a fixed example."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

import click

from stitchc.cli.common import examples, put_text
from stitchc.cli.options import options_of
from stitchc.cli.reports import ListOptions
from stitchc.cli.results import Target
from stitchc.english import listed

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

    from stitchc.explain import Page

_WIDTH = 80


def _codes(context: click.Context, parameter: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Tells the shell the codes that begin so."""
    from click.shell_completion import CompletionItem

    from stitchc.explain import codes

    return [CompletionItem(code) for code in codes() if code.startswith(incomplete.upper())]


@click.command(epilog=examples("explain", "explain K204", "explain n102 k208"))
@click.argument("codes", metavar="[CODE]...", nargs=-1, shell_complete=_codes)
@options_of(ListOptions, output="it instead of printing it")
def command(codes: tuple[str, ...], options: ListOptions, target: Target) -> None:
    """Explain what a message code means, with an example and how to fix it.

    Without a CODE, list them all. Messages end in their code, in square brackets: [K204].
    """
    from stitchc.explain import codes as known
    from stitchc.explain import page

    wanted = [_known(code) for code in codes] or known()
    pages = [known_page for code in dict.fromkeys(wanted) if (known_page := page(code)) is not None]
    if options.form == "json":
        document = {"format": "stitchc-explain/2", "codes": [_as_json(each) for each in pages]}
        text = json.dumps(document, ensure_ascii=False, indent=2)
    else:
        text = "\n\n\n".join(in_full(each) for each in pages) if codes else listing(pages)
    put_text(text, target.path, target.force)


def _known(typed: str) -> str:
    """The code meant, whatever its capitals and the brackets around it; leaves with 2 where there is none such."""
    from stitchc.explain import KINDS, codes, page
    from stitchc.messages import visible

    code = typed.strip().removeprefix("error").removeprefix("warning").removeprefix("info").strip("[]:` ").upper()
    if page(code) is not None:
        return code
    known = codes()
    slip = code[:1] + code[1:].translate(str.maketrans("OIL", "011"))
    shorter = {slip[:index] + slip[index + 1 :] for index in range(1, min(len(slip), 10))}
    if near := [each for each in known if each == slip or each in shorter]:
        advice = f"Did you mean {listed([f'`{each}`' for each in near], 'or')}? `stitchc explain` lists them all."
    elif alike := [each for each in known if each[0] == code[:1]]:
        advice = f"Those with {code[0]} ({KINDS[code[0]].partition(':')[0]}) are {listed(alike)}."
    elif alike := [each for each in known if code.isdigit() and each[1:] == code]:
        advice = f"Did you mean {listed([f'`{each}`' for each in alike], 'or')}?"
    else:
        kinds = [
            f"{letter} ({meaning.partition(':')[0]})"
            for letter, meaning in KINDS.items()
            if any(each[0] == letter for each in known)
        ]
        advice = f"A code is a letter and three figures; the letters are {listed(kinds)}."
        advice += " `stitchc explain` lists them all."
    raise click.UsageError(f"There is no message code `{visible(typed)}`. {advice}")


def listing(pages: list[Page]) -> str:
    from stitchc.explain import KINDS

    lines: list[str] = []
    kind = ""
    for each in pages:
        if each.code[0] != kind:
            kind = each.code[0]
            lines += ["", f"{kind}: {KINDS[kind]}"]
        lines.append(f"  {each.code}  {each.title}")
    return "\n".join([*lines[1:], "", "For more about one: stitchc explain CODE"])


def in_full(each: Page) -> str:
    """One page for a terminal."""
    parts = [f"{each.code}: {each.title}", wrapped(each.text)]
    if each.wrong is not None:
        beside = [(f"In the same folder is `{name}`:", text) for name, text in each.beside.items()]
        parts += _example("Wrong", each, each.wrong, each.typed())
        parts += [part for heading, text in beside for part in (heading, indented(text))]
    if each.fixed is not None:
        parts += _example("Fixed", each, each.fixed, each.typed(fixed=True), each.fixed == each.wrong)
    return "\n\n".join(parts)


_PLAIN_WORD = re.compile(r"[\w@%+=:,./-]+")
"""What every shell takes as it stands; `#` begins a comment in some."""


def _example(label: str, each: Page, text: str, words: list[str], same: bool = False) -> list[str]:
    typed = " ".join(["stitchc", *(word if _PLAIN_WORD.fullmatch(word) else f'"{word}"' for word in words)])
    if same:
        return [f"{label}, the same file with:\n\n    {typed}"]
    return [f"{label} (`{each.file}`, with `{typed}`):", indented(text)]


def indented(text: str) -> str:
    return "\n".join(f"    {line}".rstrip() for line in text.strip("\n").splitlines())


def wrapped(text: str) -> str:
    """The paragraphs at the terminal's usual width."""
    import textwrap

    paragraphs = text.strip().split("\n\n")
    return "\n\n".join(
        textwrap.fill(" ".join(paragraph.split()), _WIDTH, break_long_words=False, break_on_hyphens=False)
        for paragraph in paragraphs
    )


def _as_json(each: Page) -> dict[str, object]:
    return {
        "code": each.code,
        "title": each.title,
        "text": each.text,
        "file": each.file,
        "wrong": each.wrong,
        "wrong_command": ["stitchc", *each.typed()] if each.wrong is not None else None,
        "fixed": each.fixed,
        "fixed_command": ["stitchc", *each.typed(fixed=True)] if each.fixed is not None else None,
    }
