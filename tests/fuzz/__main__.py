"""The search itself, in libFuzzer's process: `python -m tests.fuzz TARGET CORPUS [libFuzzer's options]`.

Everything of stitchc is imported under atheris, so that it tells the search which code an input reaches.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import atheris  # type: ignore[import-not-found, import-untyped, unused-ignore]


def main() -> None:
    with atheris.instrument_imports(include=["stitchc"]):
        from tests.fuzz import fuzz

        target, corpus = sys.argv[1], Path(sys.argv[2])
        corpus.mkdir(parents=True, exist_ok=True)
        for number, seed in enumerate(fuzz.seeds(target)):
            (corpus / f"seed-{number:03}").write_bytes(seed)
            fuzz.attempt(target, seed)
    flags = ["-timeout=60", "-rss_limit_mb=1500", "-max_len=4096", *sys.argv[3:]]
    words = fuzz.WORDS.get("notation" if target in ("reader", "format") else target, ())
    if words:
        with tempfile.NamedTemporaryFile("w", suffix=".dict", delete=False) as held:
            held.writelines('"' + "".join(f"\\x{byte:02x}" for byte in word.encode()) + '"\n' for word in words)
        flags.append(f"-dict={held.name}")
    atheris.Setup([sys.argv[0], *flags, str(corpus)], lambda data: fuzz.attempt(target, data))
    atheris.Fuzz()


main()
