"""Hostile patterns, each of about a given size, and a reader of them that reports what each cost.

`python -m tests.notation.hostile SIZE` reads each in turn and prints a line of JSON for it: its name, the codes raised,
seconds of processor time, and the peak memory of the process so far in MiB.
"""

from __future__ import annotations

import json
import resource
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

HEAD = "stitch a\n    1: K T\n"


def _filled(size: int, part: str, head: str = "", tail: str = "") -> str:
    return head + part * max(1, size // len(part.encode("utf-8", "surrogatepass"))) + tail


def _numbered(size: int, line: Callable[[int], str], head: str = "") -> str:
    lines, length, number = [head], len(head), 0
    while length < size:
        number += 1
        lines.append(line(number))
        length += len(lines[-1])
    return "".join(lines)


def texts(size: int) -> Iterator[tuple[str, str | bytes]]:
    """Names and texts of about `size` bytes."""
    for name, part in {
        "letters": "K",
        "runs": "K1",
        "spaces": " ",
        "tabs and blanks": "\t\u00a0",
        "opening brackets": "(",
        "closing brackets": ")",
        "groups": "(K)x1",
        "groups without counts": "(K)",
        "groups in groups": "((K)x1(K)x1)x2",
        "purl": "P",
        "wrong letters": "Kq",
        "digits": "1",
        "commas": "K,",
        "asterisks": "*K*",
        "open asterisks": "* K ",
        "square brackets": "[",
        "quotation marks": '"',
        "odd quotation marks": 'K"',
        "NUL": "\0",
        "look-alikes": "К",
        "full-width": "Ｋ",
        "combining marks": "\u0301",
        "bidi": "\u202e",
        "surrogates": "\ud800",
        "times": "x9",
        "hashes": "#",
        "small letters": "kts",
        "words": "turn ",
    }.items():
        yield f"row of {name}", _filled(size, part, "stitch a\n1: ")
        yield f"line of {name}", _filled(size, part)
        yield f"name of {name}", _filled(size, part, "stitch ", "\n1: K\n")
        yield f"built of {name}", _filled(size, part, HEAD + "stitch b = ")
        yield f"text of {name}", _filled(size, part, 'pattern "', '"\n' + HEAD)
        yield f"open text of {name}", _filled(size, part, 'pattern "')
    yield "row numbers", _filled(size, "1,", "stitch a\n", "1: K\n")
    yield "row numbers, blanks", _filled(size, "1 ", "stitch a\n", ": K\n")
    yield "row numbers far apart", _filled(size, " " * 1000 + ",1", "stitch a\n1", "  x\n")
    yield "row ranges", _filled(size, "1-1000000,", "stitch a\n", "1: K\n")
    yield "one row, a thousand times", _filled(size, "1: K T\n", "stitch a\n")
    yield "rows", _numbered(size, lambda n: f"{n}:K\n", "stitch a\n")
    yield "rows in yarns", _numbered(size, lambda n: f"{n} in y:KT\n", "yarn y\nstitch a\n")
    yield "rows in unknown yarns", _numbered(size, lambda n: f"{n} in y{n}:KT\n", "yarn y\nstitch a\n")
    yield "rows of many widths", _numbered(size, lambda n: f"{n}:K{n}\n", "stitch a\n")
    yield "rows far apart", _numbered(size, lambda n: f"{2 * n}:K\n", "stitch a\n")
    yield "wide rows", _numbered(size, lambda n: f"stitch a{n}\n1:(K1000000)x4\n")
    yield "tall rows", _numbered(size, lambda n: f"stitch a{n}\n1-4000000:K\n")
    yield "stitches", _numbered(size, lambda n: f"stitch a{n}\n1:K\n")
    yield "chain of stitches", _numbered(size, lambda n: f"stitch a{n} = a{n - 1}\n", "stitch a0\n1: K\n")
    yield "chain backwards", _numbered(size, lambda n: f"stitch a{n} = a{n + 1}\n")
    yield "circles", _numbered(size, lambda n: f"stitch a{n} = a{n + 1} then a{n}\n")
    yield (
        "growing circles",
        (
            _numbered(size // 2, lambda n: f"stitch a{n} = a{n + 1}\n")
            + f"stitch a{size // 40} = "
            + _numbered(size // 2, lambda n: f"a{n} then ")
            + "a1\n"
        ),
    )
    yield "unknown stitches", _numbered(size, lambda n: f"stitch a{n} = b{n}\n")
    yield "unknown parts", HEAD + "stitch b = " + _numbered(size, lambda n: f"b{n} then ") + "a\n"
    yield "the same name", _filled(size, "stitch a = b\n")
    yield "powers", _numbered(size, lambda n: f"stitch a{n} = a{n - 1} beside a{n - 1}\n", "stitch a0\n1:K\n")
    yield "powers of powers", _numbered(size, lambda n: f"stitch a{n} = a{n - 1} up 1000000\n", "stitch a0\n1:K\n")
    yield "groups to the power", "stitch a\n1: " + "(" * 60 + "K1000000" + ")x1000000" * 60 + "\n"
    yield "many thens", _filled(size, "a then ", HEAD + "stitch b = ", "a\n")
    yield "many besides", _filled(size, "a beside ", HEAD + "stitch b = ", "a\n")
    yield "many forms", _filled(size, " mirrored", HEAD + "stitch b = plain 2000 by 2000")
    yield "many large parts", _filled(size, "(plain 2000 by 1999 shifted 1) then ", HEAD + "stitch b = ", "a\n")
    yield "many large stitches", _numbered(size, lambda n: f"stitch a{n} = plain 2000 by 1999 then plain 3 by 1\n")
    yield "many swaps", _filled(size, "S for T,", HEAD + "stitch b = a with ", "K for S\n")
    yield "deep brackets", HEAD + "stitch b = " + "(" * (size // 2) + "a" + ")" * (size // 2) + "\n"
    yield "bad lines", _filled(size, "x\n")
    yield "bad rows", _filled(size, "1: q\n", "stitch a\n")
    yield "notes", _filled(size, 'note ""\n', HEAD)
    yield "yarns", _numbered(size, lambda n: f"yarn y{n}\n", HEAD)
    yield "gauges", _filled(size, "gauge a 1 rows per 1 mm\n", HEAD)
    yield "gauges of none", _filled(size, "gauge b 1 rows per 1 mm\n", HEAD)
    yield "pieces", _numbered(size, lambda n: f"piece p{n}\nknit a for 1 rows\n", HEAD)
    yield "comments", _filled(size, "# x\n", HEAD)
    yield "blank lines", _filled(size, "\n", HEAD)
    yield "old line ends", _filled(size, "\r", HEAD)
    yield "long numbers", HEAD + "stitch b = a up " + "9" * size
    yield "long decimals", HEAD + "gauge a 1." + "9" * size + " rows per 10 cm\n"
    yield "long name used often", f"stitch {'n' * (size // 2)}\n" + _filled(size // 2, "2:K\n")
    yield "not UTF-8", b"stitch a\n1: K\n" + b"\xff" * size
    yield "UTF-16", _filled(size // 2, HEAD).encode("utf-16")
    yield "zeros", b"\0" * size
    yield "incomplete UTF-8", HEAD.encode() + b"\xe2\x82" * (size // 2)


def _peak_mib() -> int:
    """Of this program alone: what `getrusage` tells also counts the process that started it, before it became this."""
    status = Path("/proc/self/status")
    if not status.exists():
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    return next(int(line.split()[1]) for line in status.read_text().splitlines() if line.startswith("VmHWM:")) // 1024


def main() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (1 << 30, 1 << 30))
    from stitchc.messages import render
    from stitchc.notation import compile_text

    size, names = int(sys.argv[1]), sys.argv[2:]
    for name, text in texts(size):
        if names and name not in names:
            continue
        start = time.process_time()
        reading = compile_text(text)
        shown = [render(message, reading.sources) for message in reading.messages[:100]]
        assert all(len(one) < 4000 for one in shown), max(shown, key=len)[:5000]
        record = {
            "name": name,
            "codes": sorted({message.code for message in reading.messages}),
            "messages": len(reading.messages),
            "seconds": round(time.process_time() - start, 3),
            "peak_mib": _peak_mib(),
        }
        print(json.dumps(record), flush=True)


if __name__ == "__main__":
    main()
