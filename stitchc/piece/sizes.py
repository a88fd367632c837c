"""Several sizes in one set of instructions: where the sizes differ, the others follow the first in square brackets.

Works on finished sheets, word by word; knows nothing of how they were planned.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from stitchc.sheet import DoEntry, Entry, PassEntry, SectionEntry, Sheet, Step
from stitchc.sheet.text import head, total_words

_WORD: Final = re.compile(r"([(\[]*)(.*?)([.,;:)\]]*)")
_MOST_DIFFERENT: Final = 0.6
"""Share of words that may differ for a sentence to be said once with brackets; past it each size gets its own."""


def merged(sheets: Sequence[Sheet], labels: Sequence[str]) -> Sheet:
    """One sheet for all sizes, the first size leading. labels: what the sizes are called ("48 cm").

    The sheets are of the same piece, so that their rows are the same. The passes of the result are those of the first
    size; see `in_words_alone` for a page that draws them.
    """
    first = sheets[0]
    if len(sheets) == 1:
        return first
    heads = [head(replace(sheet, facts=())) for sheet in sheets]
    sizes = f"{labels[0]} [{', '.join(labels[1:])}]"
    explained = f"{sizes}. Where sizes differ, the first figure is for {labels[0]} and the others follow in brackets."
    return replace(
        first,
        entries=tuple(_entry([sheet.entries[at] for sheet in sheets], labels) for at in range(len(first.entries))),
        heading=(
            ("Sizes", explained),
            *((line[0][0], merge_words([value for _, value in line], labels)) for line in zip(*heads, strict=True)),
        ),
        facts=tuple(
            (line[0][0], merge_words([value for _, value in line], labels))
            for line in zip(*(sheet.facts for sheet in sheets), strict=True)
        ),
        before=_lines([sheet.before for sheet in sheets], labels),
        habits=_lines([sheet.habits for sheet in sheets], labels),
        warnings=_lines([sheet.warnings for sheet in sheets], labels),
        more=_more([sheet.more for sheet in sheets], labels),
        drawing="",
        total=merge_words([total_words(sheet) for sheet in sheets], labels),
    )


def in_words_alone(sheet: Sheet) -> Sheet:
    """The sheet with no needles in its passes, for drawing several sizes: what to move differs and is said in words."""
    entries = tuple(
        replace(entry, passed=replace(entry.passed, held=(), slipped=(), bring_out=(), push_back=()))
        if isinstance(entry, PassEntry)
        else entry
        for entry in sheet.entries
    )
    return replace(sheet, entries=entries)


def merge_words(texts: Sequence[str], labels: Sequence[str]) -> str:
    """ "108 needles" and "116 needles" as "108 [116] needles"; texts built differently are given one after another."""
    if len(set(texts)) == 1:
        return texts[0]
    split = [text.split() for text in texts]
    if len({len(words) for words in split}) == 1:
        merged_words, different = [], 0
        for column in zip(*split, strict=True):
            if len(set(column)) == 1:
                merged_words.append(column[0])
                continue
            different += 1
            parts = [_parts(word) for word in column]
            if len({(opening, closing) for opening, _, closing in parts}) > 1 or not all(core for _, core, _ in parts):
                break
            opening, core, closing = parts[0]
            merged_words.append(f"{opening}{core} [{', '.join(core for _, core, _ in parts[1:])}]{closing}")
        else:
            if different <= _MOST_DIFFERENT * len(split[0]) or len(split[0]) <= 6:
                return " ".join(merged_words)
    return " ".join(f"Size {label}: {text}" for label, text in zip(labels, texts, strict=True))


def _parts(word: str) -> tuple[str, str, str]:
    match = _WORD.fullmatch(word)
    assert match is not None
    return match[1], match[2], match[3]


def _entry(entries: Sequence[Entry], labels: Sequence[str]) -> Entry:
    first = entries[0]
    if isinstance(first, DoEntry):
        return first
    if isinstance(first, SectionEntry):
        sections = [entry for entry in entries if isinstance(entry, SectionEntry)]
        details = _lines([section.details for section in sections], labels)
        return SectionEntry(merge_words([section.title for section in sections], labels), details)
    passes = [entry for entry in entries if isinstance(entry, PassEntry)]
    if len({tuple(step.kind for step in entry.steps) for entry in passes}) == 1:
        steps = tuple(
            Step(column[0].kind, merge_words([step.text for step in column], labels))
            for column in zip(*(entry.steps for entry in passes), strict=True)
        )
    else:
        steps = (Step("see", merge_words([entry.words for entry in passes], labels)),)
    return PassEntry(first.passed, steps)


def _lines(columns: Sequence[tuple[str, ...]], labels: Sequence[str]) -> tuple[str, ...]:
    """Lines of each size merged one by one; where the sizes have different ones, those of a size carry its label."""
    if len({len(lines) for lines in columns}) == 1:
        return tuple(merge_words(line, labels) for line in zip(*columns, strict=True))
    shared = [line for line in columns[0] if all(line in lines for lines in columns)]
    own = [
        f"Size {label}: {line}"
        for label, lines in zip(labels, columns, strict=True)
        for line in lines
        if line not in shared
    ]
    return (*shared, *own)


def _more(
    columns: Sequence[tuple[tuple[str, tuple[str, ...]], ...]], labels: Sequence[str]
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    headings = list(dict.fromkeys(heading for parts in columns for heading, _ in parts))
    found = []
    for heading in headings:
        lines = [next((paragraphs for name, paragraphs in parts if name == heading), ()) for parts in columns]
        found.append((heading, _lines(lines, labels)))
    return tuple(found)
