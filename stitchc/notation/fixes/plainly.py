"""A line in other alphabets' signs and other languages' words put into the notation's; texts in it stay."""

from __future__ import annotations

import html
import re
import unicodedata
from typing import Final

from stitchc.notation.fixes.surroundings import Surroundings
from stitchc.notation.vocabulary import KEYWORDS, QUOTED, TEXT_WORDS

_OTHER_WORDS: Final = {
    "pattern": "patron patrón motif muster schema padrão patroon mönster mønster",
    "note": "nb nota notiz remarque anmerkung opmerking",
    "yarn": "wool thread wolle garn hilo lana laine fil filo fio garen 糸",
    "stitches": "maschen masche puntos punto mailles maille maglie maglia malhas pontos steken maskor masker 目",
    "rows": "reihen reihe vueltas vuelta pasadas pasada rangs rang giri giro ferri carreiras toeren varv 段",
    "gauge": "maschenprobe muestra échantillon campione amostra stekenverhouding",
    "piece": "stück teil pieza pièce pezzo peça stuk",
    "width": "breite ancho largeur larghezza largura breedte bredd bredde",
    "needles": "nadeln agujas aiguilles aghi agulhas naalden nålar nåle",
    "edge": "rand borde bord lisière bordo kant",
    "carriage": "schlitten carro chariot carrello slede",
    "knit": "stricke stricken tejer tricoter lavorare tricotar breien",
    "colour": "farbe couleur colore cor kleur färg farve",
    "left": "links izquierda izquierdo gauche sinistra esquerda vänster venstre 左",
    "right": "rechts derecha derecho droite destra direita höger højre høyre write 右",
    "in": "mit con en avec met med com using",
    "over": "über sobre sur su",
    "for": "für para por pour voor för",
    "per": "pro je par",
    "and": "und y et och og",
    "to": "bis à hasta fino tot till til thru",
    "then": "dann danach luego puis poi depois daarna",
    "beside": "neben naast",
    "plain": "glatt liso lisse liscio",
    "mirrored": "gespiegelt miroir espejo specchiato gespiegeld",
    "reversed": "umgekehrt invertido inversé rovesciato omgekeerd",
    "shifted": "versetzt desplazado décalé spostato verschoven",
    "exactly": "genau exactamente exactement esattamente precies",
    "times": "mal fois veces volte vezes keer",
    "the": "de der die das del den des la le el het",
    "called": "named genannt llamado appelé",
    "K": "kay",
    "T": "tee tea",
    "S": "ess",
    ":": "colon",
    "=": "equals",
    ",": "comma",
    "1": "won",
    "2": "too",
}
"""The notation's words and signs, and what other languages, and machines that take dictation, have for them."""
_WORDS: Final = {other: word for word, others in _OTHER_WORDS.items() for other in others.split()}
_PHRASES: Final = re.compile(r"\ben (?=miroir|espejo)|(?<=[0-9])(?=[目段])|(?<=[目段左右])(?=[0-9])", re.IGNORECASE)
_SIGNS: Final = {
    **dict.fromkeys("「」『』", '"'),
    **dict.fromkeys("〜～ー‐‑‒−", "-"),
    "。": ".",
    "、": ",",
    "・": " ",
    "│": "|",
    "✕": "x",
    "✖": "x",
    "\xa0": " ",
}
_READ_ON: Final = KEYWORDS - TEXT_WORDS - {"yarn"} | {"row", "r", "rnd", "stitches", ":", "1", "2"}
"""After any other first word a text without quotation marks may follow."""
_WORD: Final = re.compile(rf"{QUOTED}|\b(?:stitch|piece)\s+[^\W\d_][\w-]*|([^\W\d_][\w-]*)", re.IGNORECASE)


def in_plain_words(code: str, around: Surroundings) -> str:
    """The line with the notation's words and signs; texts, names and the letters of other scripts stay."""
    code = html.unescape(_as_typed(code)).replace("**", "").strip("`")
    code = re.sub(
        r"\b(?:open\s+)?quote\s+(.*?)\s*\b(?:unquote|(?:close|end)\s+quote)\b", r'"\1"', code, flags=re.IGNORECASE
    )
    code = re.sub(r'""(?=\w)([^"]*)""', r'"\1"', code)
    code = re.sub("[「『]([^「」『』]*)[」』]", r'"\1"', code)
    first = re.match(r"\W*([^\W\d_][\w-]*)", code)
    if first and first[1].lower() in TEXT_WORDS and not re.search(QUOTED, code):
        return code
    parts = re.split(f"({QUOTED})", code)
    for index in range(0, len(parts), 2):
        part = "".join(_sign(c) for c in parts[index])
        part = re.sub(r"左\s*(?=\d+\s*-)", "L", re.sub(r"(?<=-)\s*右\s*(?=\d)", "R", part))
        parts[index] = _PHRASES.sub(lambda match: "" if match.group() else " ", part)
    text = "".join(parts).strip()
    first = re.match(r"\W*([^\W\d_][\w-]*)", text)
    if first is None or re.match(r"\W*\d", text):
        return _words_changed(text, around)
    word = _word(first[1], around)
    if word in TEXT_WORDS and not re.match(rf"\W*?(?:{QUOTED})|\W*$", text[first.end() :]):
        word = first[1]  # what other languages call a pattern may be a stitch
    text = text[: first.start(1)] + word + text[first.end(1) :]
    read_on = word.lower() in _READ_ON or word in around.stitches or re.search(r"\d", word)
    return _words_changed(text, around) if read_on else text


def _words_changed(text: str, around: Surroundings) -> str:
    return _WORD.sub(lambda match: _word(match[1], around) if match[1] else match[0], text)


def _as_typed(code: str) -> str:
    """The line before a program took its UTF-8 for Windows letters."""
    try:
        return b"".join(c.encode("latin-1" if c < "\u0100" else "cp1252") for c in code).decode("utf-8")
    except UnicodeError:
        return code


def _sign(character: str) -> str:
    if "\U0001f300" <= character < "\U00020000" or character == "\ufe0f":
        return ""  # a picture
    narrow = unicodedata.normalize("NFKC", character)
    return _SIGNS.get(character) or (narrow if len(narrow) == 1 else character)


def _word(word: str, around: Surroundings) -> str:
    if around.names(word) or word.lower() in KEYWORDS:
        return word
    return _WORDS.get(word.lower(), word)
