"""The search itself, in libFuzzer's process: `python -m tests.fuzz TARGET CORPUS [libFuzzer's options]`.

Everything of stitchc is imported under atheris, so that it tells the search which code an input reaches. CORPUS is a
folder of one's own, outside the tree: the seeds are put there first, and what reaches new code is added. An input that
breaks a promise goes to CORPUS-found, the first for each place in the code that it breaks at, and the search goes on.
"""

from __future__ import annotations

import hashlib
import sys
import tempfile
import traceback
from pathlib import Path

import atheris  # type: ignore[import-not-found, import-untyped, unused-ignore]


def main() -> None:
    with atheris.instrument_imports(include=["stitchc"]):
        from tests.fuzz import fuzz

        target, corpus = sys.argv[1], Path(sys.argv[2])
        corpus.mkdir(parents=True, exist_ok=True)
        for seed in fuzz.seeds(target):
            (corpus / hashlib.sha1(seed).hexdigest()).write_bytes(seed)
            fuzz.attempt(target, seed)
    flags = ["-timeout=60", "-rss_limit_mb=6000", "-max_len=2000", "-print_final_stats=1", *sys.argv[3:]]
    words = fuzz.WORDS.get("notation" if target in fuzz.OF_NOTATION else target, ())
    if words:
        with tempfile.NamedTemporaryFile("w", suffix=".dict", delete=False) as held:
            held.writelines('"' + "".join(f"\\x{byte:02x}" for byte in word.encode()) + '"\n' for word in words)
        flags.append(f"-dict={held.name}")
    found = corpus.with_name(f"{corpus.name}-found")
    places: set[tuple[tuple[str, int | None], ...]] = set()

    def one(data: bytes) -> None:
        try:
            fuzz.attempt(target, data)
        except Exception as error:
            frames = traceback.extract_tb(error.__traceback__)
            place = tuple((frame.filename, frame.lineno) for frame in (frames[1:3] + frames[-1:]))
            if place in places:
                return
            places.add(place)
            found.mkdir(exist_ok=True)
            name = f"{len(places):02}-{type(error).__name__}-{hashlib.sha1(data).hexdigest()[:8]}"
            (found / name).write_bytes(data)
            (found / f"{name}.txt").write_text("".join(traceback.format_exception(error)), "utf-8", "backslashreplace")

    atheris.Setup([sys.argv[0], *flags, str(corpus)], one)
    atheris.Fuzz()


main()
