"""Other words for the notation's: near ones, other crafts', other languages', and what dictation makes of them.

A table of words, with no rules: where a word may stand, the grammar says.
"""

from __future__ import annotations

import re
from typing import Final

from stitchc.notation.vocabulary import FIGURES, KEYWORDS, NEW_WORDS

_TABLE: Final = """
pattern: pattern name, pattern title, title, name / patron, patrón, motif, muster, schema, padrão, patroon, mönster,
  mønster
note: notes / nb, nota, notiz, remarque, anmerkung, opmerking
yarn: yarns, colours, colors, wool, thread, wolle, garn, hilo, lana, laine, fil, filo, fio, garen, 糸
colour: color, farbe, couleur, colore, cor, kleur, färg, farve
gauge: tension, maschenprobe, muestra, échantillon, campione, amostra, stekenverhouding
stitch: stitches, def, let
stitches: st, sts, stitch, needle, needles, wide, ndl, ndls, maschen, masche, puntos, punto, mailles, maille, maglie,
  maglia, malhas, pontos, steken, maskor, masker, 目
rows: row, r, rs, high, rnd, rnds, round, rounds, course, line, no, reihen, reihe, vueltas, vuelta, pasadas, pasada,
  rangs, rang, giri, giro, ferri, carreiras, toeren, varv, 段
times: x, mal, fois, veces, volte, vezes, keer
piece: stück, teil, pieza, pièce, pezzo, peça, stuk
width: wide, breite, ancho, largeur, larghezza, largura, breedte, bredd, bredde
plus: +, seam allowance, seam, seams, allowance
needles: needle, nadeln, agujas, aiguilles, aghi, agulhas, naalden, nålar, nåle
edge: edges, rand, borde, bord, lisière, bordo, kant
carriage: schlitten, carro, chariot, carrello, slede
knit: work, stricke, stricken, tejer, tricoter, lavorare, tricotar, breien
at: @
left: l, col, to the left, links, izquierda, izquierdo, gauche, sinistra, esquerda, vänster, venstre, 左
right: r, cor, to the right, rechts, derecha, derecho, droite, destra, direita, höger, højre, høyre, write, 右
in: with, mit, con, en, avec, met, med, com, using
over: multiple of, width, wide, w, über, sobre, sur, su
for: für, para, por, pour, voor, för, instead of, in place of, replacing
per: pro, je, par, /
and: und, y, et, och, og
to: through, bis, à, hasta, fino, tot, till, til, thru
then: =>, ->, →, followed by, and then, then then, below, under, dann, danach, luego, puis, poi, depois, daarna
beside: next to, besides, neben, naast
plain: stocking stitch, stocking-stitch, stockinette stitch, stockinette, stockinet, jersey, st st, st-st, stst, plain
  knitting, plain stitch, glatt, liso, lisse, liscio
mirrored: mirror, mirrors, mirroring, en miroir, en espejo, gespiegelt, miroir, espejo, specchiato, gespiegeld
reversed: upside down, upside-down, umgekehrt, invertido, inversé, rovesciato, omgekeerd
shifted: shift, shifts, shifting, versetzt, desplazado, décalé, spostato, verschoven
exactly: genau, exactamente, exactement, esattamente, precies
the: a, an, of, about, approx, approximately, circa, ca, around, is, on, please, called, named, long, in use, de, der,
  die, das, del, den, des, la, le, el, het, genannt, llamado, appelé
mm: millimetre, millimetres, millimeter, millimeters
cm: cms, centimetre, centimetres, centimeter, centimeters, centimtre, centímetros, centímetro, centimètres, zentimeter
m: metre, metres, meter, meters
inch: in, inches, ins
g: gr, gram, grams
K: knits, knit, k, kay
T: tucks, tuck, t, tee, tea
S: slips, slip, sl, s, ess
to end: to the end of the row, to the end of row, to end of row, to the end, all across, across the row, across row,
  across, all, every needle, plain, along
again: repeated, repeat, rep, repeat across, rep across, repeat to end, rep to end, etc, .., ..., …
from *: rep from *, repeat from *
more: more times, times more
in all: altogether, in total
=: equals, :, -, ::, :=, ==, is
:: =, ,, -, ), ;, ., |, ], }, =>, ->, →, ::, :=, ==, –, —
,: &, +, ;, ., /
-: –, —, ~, …, ..., ..
:: colon
(: [, {
): ], }
1: won
2: too
super-fine: super fine
super-bulky: super bulky
"""
"""Each word of the notation, or what it stands for, and other spellings of it."""


_LINES: Final = _TABLE.replace("\n ", "").strip().splitlines()


def _by_word() -> dict[str, list[str]]:
    table: dict[str, list[str]] = {}
    for line in _LINES:
        word, _, others = line.rpartition(": ")
        for other in (word, *others.replace(" / ", ", ").split(", ")):
            if word not in table.setdefault(other, []):
                table[other].append(word)
    for word in (*KEYWORDS, *NEW_WORDS):
        if word not in table.setdefault(word, []):
            table[word].insert(0, word)
    for word, figure in FIGURES.items():
        table[word] = [figure]
    for number, word in enumerate(["first", "second", "third", "fourth", "fifth", "sixth"], start=1):
        table[f"{word} row"] = [str(number)]
    return table


MEANINGS: Final = _by_word()
"""What each word, sign or phrase, in small letters, may stand for."""
FOREIGN: Final = frozenset(word for line in _LINES for word in line.partition(" / ")[2].split(", "))
"""What other languages call a pattern or a note: a text in quotation marks must follow, since it may be a stitch."""
PHRASES: Final = "|".join(
    re.escape(word).replace(r"\ ", r"\s+")
    for word in sorted(MEANINGS, key=len, reverse=True)
    if " " in word or "-" in word[1:]
)
"""An expression for those of several words."""
