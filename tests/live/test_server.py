"""The server from outside: who is let in, what it opens, and how it ends."""

from __future__ import annotations

import http.client
import io
import json
import signal
import time
import zipfile
from pathlib import Path

import pytest

from stitchc.__main__ import run
from tests.live.conftest import PATIENCE_MS, Served, Start

TIDE = "stitch tide\n    1: K T\n    2: K\n"


def asked(
    served: Served, method: str, path: str, body: object = None, **headers: str
) -> tuple[int, http.client.HTTPMessage, bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", served.port, timeout=2 * PATIENCE_MS / 1000)
    sent = {"Origin": f"http://127.0.0.1:{served.port}"} if method == "POST" else {}
    sent |= {key.replace("_", "-"): value for key, value in headers.items()}
    connection.request(
        method, path, json.dumps(body) if body is not None else None, {k: v for k, v in sent.items() if v}
    )
    answer = connection.getresponse()
    content = b"" if path.endswith("events") else answer.read()
    connection.close()
    return answer.status, answer.headers, content


def test_only_the_page_itself_is_let_in(start: Start, tmp_path: Path) -> None:
    (tmp_path / "tide.stitch").write_text(TIDE, "utf-8")
    (tmp_path / "secret.txt").write_text("secret", "utf-8")
    served = start("tide.stitch")
    status, headers, _ = asked(served, "GET", served.path)
    assert status == 200
    policy = headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy and "script-src 'self'" in policy
    assert headers["Referrer-Policy"] == "no-referrer"
    here = f"127.0.0.1:{served.port}"
    for method, path, extra in [
        ("GET", "/", {}),
        ("GET", "/wrong/", {}),
        ("GET", served.path, {"Host": "evil.example"}),
        ("GET", served.path, {"Host": f"localhost:{served.port}"}),
        ("GET", served.path, {"Origin": "http://evil.example"}),
        ("GET", served.path, {"Sec-Fetch-Site": "cross-site"}),
        ("POST", served.path + "read", {"Origin": "null"}),
        ("POST", served.path + "read", {"Origin": ""}),
        ("POST", served.path + "read", {"Origin": f"http://{here}.evil.example"}),
        ("POST", "/wrong/read", {}),
    ]:
        status, _, content = asked(served, method, path, {} if method == "POST" else None, **extra)
        assert status == 403, (method, path, extra)
        assert b"tide" not in content
    for name in ("../secret.txt", "secret.txt", "/etc/passwd"):
        for what in ("open", "save", "keep"):
            status, _, content = asked(
                served, "POST", served.path + what, {"name": name, "file": name, "text": "x", "base": ""}
            )
            assert status == 403 and b"secret" not in content
    for path in ("page/..%2fdesk.py", "page/index.html", "page/%2e%2e/desk.py", "made/x/y"):
        assert asked(served, "GET", served.path + path)[0] == 404
    assert (tmp_path / "secret.txt").read_text("utf-8") == "secret"
    assert sorted(path.name for path in tmp_path.iterdir() if path.name[0] != ".") == ["secret.txt", "tide.stitch"]


@pytest.mark.parametrize(
    "body", [[], 3, {"text": 7, "file": []}, {"row": "x", "letter": "K", "text": TIDE, "file": "a.stitch"}]
)
def test_nonsense_gets_a_plain_answer(shared: Served, body: object) -> None:
    served = shared
    for what in ("read", "draw", "source", "add", "look", "make", "open", "save", "explain"):
        status, _, content = asked(served, "POST", served.path + what, body)
        assert status in (200, 400, 403, 409), what
        assert b"Traceback" not in content
    assert asked(served, "GET", served.path)[0] == 200


def test_an_include_reaches_no_further_than_the_folder(shared: Served) -> None:
    (shared.folder.resolve().parent / "grounds.stitch").write_text("stitch hidden\n    1: K\n", "utf-8")
    served = shared
    text = 'include "../grounds.stitch"\nstitch a = hidden\n'
    _, _, content = asked(served, "POST", served.path + "read", {"text": text, "file": "a.stitch"})
    answer = json.loads(content)
    assert answer["pattern"] is None and "N114" in [message["code"] for message in answer["messages"]]


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_it_ends_cleanly_while_a_page_listens(start: Start, number: int) -> None:
    served = start()
    connection = http.client.HTTPConnection("127.0.0.1", served.port, timeout=2 * PATIENCE_MS / 1000)
    connection.request("GET", served.path + "events?page=a")
    events = connection.getresponse()
    assert events.status == 200
    began = time.monotonic()
    assert served.end(number) == 0
    assert time.monotonic() - began < 20  # not as long as a page listens
    assert b"event: ending" in events.read()
    assert served.process.stderr is not None
    assert "Traceback" not in served.process.stderr.read()


def test_a_second_start_for_the_same_file_leads_to_the_first_page(start: Start, tmp_path: Path) -> None:
    (tmp_path / "tide.stitch").write_text(TIDE, "utf-8")
    first = start("tide.stitch")
    second = start("tide.stitch")
    assert second.address == first.address
    assert second.process.wait(60) == 0
    first.end()
    assert start("tide.stitch").address == first.address  # a tab that stayed open goes on


def test_a_file_that_cant_be_edited_is_refused_at_the_start(start: Start, tmp_path: Path) -> None:
    (tmp_path / "bad.stitch").write_bytes(b"\x89PNG\r\n")
    served = start("bad.stitch")
    assert served.address == "" and served.process.wait(60) == 1
    assert start("nowhere/x.stitch").process.wait(60) == 3


FORMS = {
    "chart": ("pdf", "html"),
    "card": ("json",),
    "sheet": ("pdf",),
    "piece": ("pdf",),
    "compare": ("text", "json"),
    "swatch": ("html", "text"),
}
"""Those that a build does not make."""


def test_what_is_taken_away_is_what_the_commands_make(
    start: Start, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pattern = (
        TIDE + "gauge plain 20 stitches 28 rows per 10 cm\npiece strip\n    needles 40\n    knit tide for 12 rows\n"
    )
    (tmp_path / "tide.stitch").write_text(pattern, "utf-8")
    served = start("tide.stitch")
    monkeypatch.chdir(tmp_path)
    for product, forms in FORMS.items():
        for form in forms:
            asked_for = {
                "text": pattern,
                "file": "tide.stitch",
                "machine": "",
                "product": product,
                "form": form,
            }
            status, _, content = asked(served, "POST", served.path + "make", asked_for)
            made = json.loads(content)
            assert status == 200 and made.get("files"), (product, form, made)
            names = [each["name"] for each in made["files"]]
            assert run([product, "tide.stitch", "--format", form, "-o", names[0]]) == 0
            assert sorted(path.name for path in tmp_path.glob("tide*.*") if path.suffix != ".stitch") == sorted(names)
            for each in made["files"]:
                taken = asked(served, "GET", served.path + each["url"])[2]
                assert taken == Path(each["name"]).read_bytes(), (product, form, each["name"])
                Path(each["name"]).unlink()
    made = json.loads(asked(served, "POST", served.path + "make", {**asked_for, "product": "everything"})[2])
    (packed,) = made["files"]
    archive = zipfile.ZipFile(io.BytesIO(asked(served, "GET", served.path + packed["url"])[2]))
    assert run(["build", "tide.stitch", "-o", "all"]) == 0
    there = {path.name: path.read_bytes() for path in (tmp_path / "all").iterdir()}
    assert {name: archive.read(name) for name in archive.namelist()} == there
