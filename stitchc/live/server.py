"""The web server of a live page: this computer alone, one address that nobody can guess, no request to anywhere else.

Every request needs the address's secret part, this server's own Host, and where a browser says it, its own Origin;
any other gets 403. What the page may do is in the list of routes below.
"""

from __future__ import annotations

import asyncio
import base64
import contextlib
import hashlib
import json
import re
import secrets
from collections import OrderedDict
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Mount, Route
from starlette.types import ASGIApp, Receive, Scope, Send

from stitchc import explain
from stitchc.files import FileTrouble
from stitchc.live import drawing, first, reading, sources
from stitchc.live.desk import ChangedElsewhere, Desk, NoSuchPlace, Opened
from stitchc.live.settings import as_fields
from stitchc.live.worker import Made, Worker, WorkFailed
from stitchc.messages import Refused
from stitchc.notation.compile import compile_as_far_as_it_goes
from stitchc.options import GaugeOptions
from stitchc.pattern import Pattern

HOST: Final = "127.0.0.1"
_PAGE: Final = Path(__file__).parent / "page"
_TYPES: Final = {
    **{kind: f"text/{name}; charset=utf-8" for kind, name in (("html", "html"), ("css", "css"), ("js", "javascript"))},
    **dict.fromkeys(("txt", "stitch"), "text/plain; charset=utf-8"),
    **{kind: f"application/{kind}" for kind in ("pdf", "zip", "json")},
    "svg": "image/svg+xml",
    "png": "image/png",
}
_ASKED: Final = (
    *("open", "read", "runs", "draw", "source", "add", "explain"),
    *("look", "make"),
    *("keep", "forget", "save", "beside"),
)
"""What the page may ask for with a JSON object: methods of `Server`."""
_MOST_TEXT: Final = 9 * 2**20
_MOST_PICTURE: Final = 64 * 2**20
_MOST_KEPT: Final = 96 * 2**20
"""Bytes of made files that stay ready for the page; the oldest go first."""
_READ_AT_ONCE: Final = 20_000
"""Characters that take a few milliseconds to read, which is less than it takes to hand them to a thread and back."""
_LOOK_AGAIN_S: Final = 1.0


# -- what a browser is told about every answer: load nothing from elsewhere, run nothing that is not ours --------------
# Content Security Policy Level 3 (W3C) and the Fetch standard's headers.

_OURS: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'; "
    "require-trusted-types-for 'script'; trusted-types 'none'"
)
_INLINE: Final = re.compile(rb"<(script|style)(?:\s[^>]*)?>(.*?)</\1>", re.DOTALL)


def security_headers(made_page: bytes | None = None) -> dict[str, str]:
    """The headers of an answer. made_page: an HTML file that was made: its own style and script may work, by their
    digests, and nothing else."""
    policy = _OURS if made_page is None else _policy_of(made_page)
    return {
        "Content-Security-Policy": policy,
        "Referrer-Policy": "no-referrer",
        "X-Content-Type-Options": "nosniff",
        "X-Frame-Options": "DENY",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Cache-Control": "no-store",
    }


def _policy_of(page: bytes) -> str:
    digests: dict[str, list[str]] = {"script": [], "style": []}
    for kind, content in _INLINE.findall(page):
        digest = base64.b64encode(hashlib.sha256(content).digest()).decode()
        digests[kind.decode()].append(f"'sha256-{digest}'")
    scripts, styles = (" ".join(digests[kind]) or "'none'" for kind in ("script", "style"))
    return (
        f"default-src 'none'; script-src {scripts}; style-src {styles}; style-src-attr 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )


class Page:
    """One open tab. events: what is still to be told to it. looking: the views it waits for, by ticket and name."""

    def __init__(self) -> None:
        self.file = ""
        self.events: asyncio.Queue[tuple[str, Any]] = asyncio.Queue()
        self.looking: dict[tuple[Any, str], asyncio.Task[None]] = {}
        self.connected = 0

    def tell(self, kind: str, value: Any) -> None:
        """Put an event before the tab."""
        self.events.put_nowait((kind, value))

    def drop(self, ticket: object = None) -> None:
        """Work that it no longer waits for ends: all but that of the ticket."""
        for key, task in list(self.looking.items()):
            if key[0] != ticket:
                del self.looking[key]
                task.cancel()


class Server:
    """All state of one run: the desk, the tabs, the worker and what was made. port is known once it is bound."""

    def __init__(self, desk: Desk, token: str | None = None) -> None:
        self.desk = desk
        self.token = token or secrets.token_urlsafe(24)
        self.port = 0
        self.worker = Worker()
        self.pages: dict[str, Page] = {}
        self.made: OrderedDict[str, Made] = OrderedDict()
        self.last_read: tuple[tuple[str, str], Pattern | None] | None = None
        self.ending = asyncio.Event()
        self.watched: dict[str, tuple[int, int] | None] = {}
        routes = [
            Route("/", self.index),
            Route("/page/{name}", self.page_file),
            Route("/start", self.start),
            Route("/events", self.events),
            Route("/made/{key}/{name}", self.made_file),
            *(Route(f"/{name}", _post(getattr(self, name)), methods=["POST"]) for name in _ASKED),
            Route("/trace", self.trace, methods=["POST"]),
        ]
        self.app = Guard(Starlette(routes=[Mount(f"/{self.token}", routes=routes)]), self)

    @property
    def address(self) -> str:
        name = f"?file={quote(self.desk.opened_for)}" if self.desk.opened_for else ""
        return f"http://{HOST}:{self.port}/{self.token}/{name}"

    # -- the page itself ---------------------------------------------------------------------------------------------

    async def index(self, request: Request) -> Response:
        return _static("index.html")

    async def page_file(self, request: Request) -> Response:
        name = request.path_params["name"]
        return _static(name) if name in PAGE_FILES else _refusal(404, "There is no such part of the page.")

    async def start(self, request: Request) -> Response:
        """What there is to begin with: the folder's patterns, the examples, kept texts, machines."""
        return JSONResponse(await run_in_threadpool(first.offers, self.desk))

    # -- what follows at once ----------------------------------------------------------------------------------------

    async def open(self, asked: Mapping[str, Any]) -> Any:
        """A file as it stands and the text that was not saved, if there is any."""
        name, page = _text(asked, "name"), self._page(asked)
        opened = await run_in_threadpool(self.desk.open, name) if asked.get("stands", True) else Opened(name, "", "")
        self._move(page, name)
        draft = self.desk.draft(name)
        return {
            **opened._asdict(),
            "draft": {"text": draft.text, "base": draft.base} if draft and draft.text != opened.text else None,
        }

    async def read(self, asked: Mapping[str, Any]) -> Any:
        """Messages and the chart of a text."""
        file, text = _text(asked, "file"), _text(asked, "text")

        def work() -> Any:
            machine = first.machine(self.desk, _text(asked, "machine"))
            result = reading.read(text, file, self.desk.folder, machine, _spread(asked))
            self.last_read = (text, file), result.pattern
            place = (int(asked.get(key) or 1) for key in ("line", "row", "column"))
            line, row, column = place
            return reading.as_json(result, file, line, _text(asked, "stitch"), row, column)

        return work() if len(text) < _READ_AT_ONCE else await run_in_threadpool(work)

    def runs(self, asked: Mapping[str, Any]) -> Any:
        """Which run of the text gives which cells of a stitch."""
        text, file, name = _texts(asked, "text", "file", "stitch")
        pattern = self._pattern(text, file)
        if pattern is None or name not in pattern.stitches:
            return {"runs": []}
        return {"runs": reading.runs_json(pattern, pattern.stitches[name], int(asked.get("row") or 1))}

    def draw(self, asked: Mapping[str, Any]) -> Any:
        """The text with one cell changed."""
        text, file, name, letter = _texts(asked, "text", "file", "stitch", "letter")
        if letter not in ("K", "T", "S"):
            raise drawing.CannotDraw("A cell is K, T or S.")
        cell = int(asked["row"]), int(asked["column"])
        return drawing.draw_cell(text, file, self.desk.folder, name, *cell, letter)._asdict()

    def source(self, asked: Mapping[str, Any]) -> Any:
        """Where a cell of a built stitch comes from."""
        text, file, name = _texts(asked, "text", "file", "stitch")
        cell = int(asked["row"]), int(asked["column"])
        pattern = self._pattern(text, file)
        if pattern is None or name not in pattern.stitches:
            raise drawing.CannotDraw("The text has a mistake in it.")
        source = sources.source_of(pattern, text, file, self.desk.folder, name, *cell)
        return {"source": source and source._asdict()}

    def _pattern(self, text: str, file: str) -> Pattern | None:
        """The text compiled as far as it goes, which it mostly was a moment ago for the chart."""
        if self.last_read and self.last_read[0] == (text, file):
            return self.last_read[1]
        return compile_as_far_as_it_goes(text, file, self.desk.folder)[1]

    def add(self, asked: Mapping[str, Any]) -> Any:
        """The text with something added: a gauge line from a swatch, or a new stitch of plain rows."""
        return first.added(_text(asked, "text"), asked)

    def explain(self, asked: Mapping[str, Any]) -> Any:
        page = explain.page(_text(asked, "code"))
        return {"title": page.title, "text": page.text} if page else {"title": "", "text": ""}

    # -- what takes longer -------------------------------------------------------------------------------------------

    async def look(self, asked: Mapping[str, Any]) -> Any:
        """Begin on the views that a tab asks for; those of an earlier ticket are dropped. Results come as events."""
        page, ticket = self._page(asked), str(asked.get("ticket"))
        page.drop(ticket)
        shared = self._for_worker(asked)
        for view in [str(name) for name in list(asked.get("views") or [])[:20]]:
            if (ticket, view) not in page.looking:
                work = self._looked(page, ticket, view, shared | {"view": view})
                page.looking[ticket, view] = asyncio.create_task(work)
        return {}

    async def _looked(self, page: Page, ticket: str, view: str, arguments: dict[str, Any]) -> None:
        def tell(value: Any, stage: str) -> None:
            page.tell("seen", {"ticket": ticket, "view": view, "stage": stage, "value": self._placed(value)})

        try:
            tell(await self.worker.run("look", arguments, lambda value: tell(value, "part")), "done")
        except WorkFailed as failed:
            tell({"failed": str(failed)}, "done")
        page.looking.pop((ticket, view), None)

    async def make(self, asked: Mapping[str, Any]) -> Any:
        """Files to take away, as the commands make them. Views still to come make way."""
        self._page(asked).drop()
        arguments = self._for_worker(asked) | {key: _text(asked, key) for key in ("product", "form", "piece", "face")}
        return self._placed(await self.worker.run("make", arguments))

    async def trace(self, request: Request) -> Response:
        async def work() -> Any:
            picture = await _body(request, _MOST_PICTURE)
            self._page({"page": request.query_params.get("page")}).drop()
            settings = dict(json.loads(request.query_params.get("settings", "{}")))
            arguments = {"picture": picture, "name": request.query_params.get("name", "")[:200], "settings": settings}
            return await self.worker.run("trace", arguments)

        return await _answered(work)

    def _for_worker(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        machine = _text(asked, "machine")
        return {
            "text": _text(asked, "text"),
            "file": _text(asked, "file"),
            "folder": str(self.desk.folder),
            "machine": first.machine_place(self.desk, machine),
            "stitch": _text(asked, "stitch"),
            "settings": dict(asked.get("settings") or {}),
            "units": _text(asked, "units"),
        }

    def _placed(self, value: Any) -> Any:
        """The value with each made file put where the page can fetch it."""
        if isinstance(value, Made):
            key = _key(value)
            self.made[key] = value
            self.made.move_to_end(key)
            while len(self.made) > 1 and sum(len(made.content) for made in self.made.values()) > _MOST_KEPT:
                self.made.popitem(last=False)
            return {"name": value.name, "url": f"made/{key}/{quote(value.name)}", "size": len(value.content)}
        if isinstance(value, dict):
            return {key: self._placed(each) for key, each in value.items()}
        return [self._placed(each) for each in value] if isinstance(value, list) else value

    async def made_file(self, request: Request) -> Response:
        """A file that was made; `?save` for one to keep, else for the browser to show."""
        made = self.made.get(request.path_params["key"])
        if made is None:
            return _refusal(404, "This was made too long ago. Make it again on the page.")
        kind = made.name.rpartition(".")[2]
        headers = security_headers(made.content if kind == "html" else None)
        if "save" in request.query_params or kind == "stitch":
            headers["Content-Disposition"] = f"attachment; filename*=UTF-8''{quote(made.name)}"
        return Response(made.content, media_type=_TYPES.get(kind, "application/octet-stream"), headers=headers)

    # -- saving ------------------------------------------------------------------------------------------------------

    def keep(self, asked: Mapping[str, Any]) -> Any:
        name, text, base = _texts(asked, "file", "text", "base")
        self.desk.path(name)
        return {"kept": self.desk.keep(name, text, base)}

    async def forget(self, asked: Mapping[str, Any]) -> Any:
        self.desk.forget(_text(asked, "file"))
        return {}

    async def save(self, asked: Mapping[str, Any]) -> Any:
        """Write the file, unless another version than the page's stands there: then that one comes back."""
        name, text, base = _texts(asked, "file", "text", "base")
        try:
            saved = await run_in_threadpool(self.desk.save, name, text, base)
        except ChangedElsewhere as changed:
            return {"saved": False, "theirs": changed.now._asdict()}
        page = self._page(asked)
        self._move(page, name)
        self.watched[name] = self.desk.changed_at(name)
        for other in self.pages.values():
            if other is not page and other.file == name:
                other.tell("changed", saved._asdict())
        return {"saved": True, "digest": saved.digest}

    def beside(self, asked: Mapping[str, Any]) -> Any:
        """Write a version into a new file beside the named one."""
        return {"name": self.desk.save_beside(*_texts(asked, "file", "text"))}

    # -- tabs --------------------------------------------------------------------------------------------------------

    def _page(self, asked: Mapping[str, Any]) -> Page:
        return self.pages.setdefault(_text(asked, "page")[:40], Page())

    def _move(self, page: Page, file: str) -> None:
        """The tab has another file now: those that share a file with it, or did, see how many there are."""
        before, page.file = page.file, file
        self.watched.setdefault(file, self.desk.changed_at(file))
        for name in {before, file} - {""}:
            self._tell_company(name)

    def _tell_company(self, file: str) -> None:
        together = [page for page in self.pages.values() if page.file == file and page.connected]
        for page in together:
            page.tell("company", {"others": len(together) - 1})

    async def events(self, request: Request) -> Response:
        """What happens, as server-sent events (HTML Living Standard, section 9.2), until the tab or the server ends."""
        page = self.pages.setdefault(request.query_params.get("page", "")[:40], Page())

        async def stream() -> AsyncIterator[str]:
            page.connected += 1
            self._tell_company(page.file)
            try:
                yield "retry: 1000\n\nevent: hello\ndata: {}\n\n"
                while not self.ending.is_set():
                    try:
                        kind, value = await asyncio.wait_for(page.events.get(), 0.5)
                    except TimeoutError:
                        if await request.is_disconnected():
                            break
                        yield ": still here\n\n"
                        continue
                    yield f"event: {kind}\ndata: {json.dumps(value)}\n\n"
                else:
                    yield "event: ending\ndata: {}\n\n"
            finally:
                page.connected -= 1
                if not page.connected:
                    page.drop()
                    self._tell_company(page.file)

        return StreamingResponse(stream(), media_type="text/event-stream", headers=security_headers())

    async def watch(self) -> None:
        """Tell the tabs whose file was written by another program."""
        while not self.ending.is_set():
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self.ending.wait(), _LOOK_AGAIN_S)
            for file in {page.file for page in self.pages.values() if page.connected and page.file}:
                with contextlib.suppress(NoSuchPlace, Refused):
                    now = self.desk.changed_at(file)
                    if now != self.watched.get(file):
                        self.watched[file] = now
                        opened = await run_in_threadpool(self.desk.open, file)
                        for page in self.pages.values():
                            if page.file == file:
                                page.tell("changed", opened._asdict())


def _key(made: Made) -> str:
    """The same file stays where it is, so that a page that shows it already does not fetch it again."""
    return hashlib.sha256(made.name.encode() + made.content).hexdigest()[:24]


PAGE_FILES: Final = frozenset(path.name for path in _PAGE.iterdir() if path.suffix in (".css", ".js", ".svg"))


def _static(name: str) -> Response:
    kind = name.rpartition(".")[2]
    return Response((_PAGE / name).read_bytes(), media_type=_TYPES[kind], headers=security_headers())


def _text(asked: Mapping[str, Any], key: str) -> str:
    value = asked.get(key)
    return value if isinstance(value, str) else ""


def _spread(asked: Mapping[str, Any]) -> float | None:
    """How far swatches differ, as the page's form says it; None where it says nothing, or what can't be, which the
    view of the size refuses."""
    given = dict(asked.get("settings") or {}).get("gauge") or {}
    with contextlib.suppress(ValueError):
        return GaugeOptions(**as_fields(GaugeOptions, given, "", "")).spread
    return None


def _texts(asked: Mapping[str, Any], *keys: str) -> list[str]:
    return [_text(asked, key) for key in keys]


def _refusal(status: int, words: str) -> Response:
    return JSONResponse({"error": words}, status, headers=security_headers())


async def _body(request: Request, most: int) -> bytes:
    content = bytearray()
    async for piece in request.stream():
        content += piece
        if len(content) > most:
            raise _TooMuch
    return bytes(content)


class _TooMuch(Exception):
    pass


def _post(method: Callable[[Mapping[str, Any]], Any]) -> Callable[[Request], Awaitable[Response]]:
    """A route that takes a JSON object and answers with one; what is no coroutine runs in a thread."""

    async def endpoint(request: Request) -> Response:
        async def work() -> Any:
            asked = json.loads(await _body(request, _MOST_TEXT))
            if not isinstance(asked, dict):
                raise ValueError("not an object")
            is_coroutine = asyncio.iscoroutinefunction(method)
            return await (method(asked) if is_coroutine else run_in_threadpool(method, asked))

        return await _answered(work)

    return endpoint


async def _answered(work: Callable[[], Awaitable[Any]]) -> Response:
    """What came of the work, or in words what kept it from coming."""
    try:
        return JSONResponse(await work(), headers=security_headers())
    except (drawing.CannotDraw, WorkFailed, first.CannotAdd) as refused:
        return _refusal(409, str(refused))
    except FileTrouble as trouble:
        return _refusal(409, " ".join(f"{message.text} {message.advice or ''}".strip() for message in trouble.messages))
    except Refused as refused:
        return _refusal(409, " ".join(message.text for message in refused.messages))
    except NoSuchPlace:
        return _refusal(403, "This page opens the patterns of its own folder only.")
    except _TooMuch:
        return _refusal(413, "This is too large.")
    except ClientDisconnect:
        return _refusal(400, "The page was closed.")
    except (ValueError, KeyError, TypeError):
        return _refusal(400, "The page asked for something that does not exist.")


class Guard:
    """Lets in what comes from this page alone, whatever the path."""

    def __init__(self, app: ASGIApp, server: Server) -> None:
        self.app, self.server = app, server

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer 403 to a request with another Host or Origin, or without the secret part of the address."""
        if scope["type"] == "http" and not self.lets_in(scope):
            await _refusal(403, "This address belongs to a live page of stitchc.")(scope, receive, send)
            return
        await self.app(scope, receive, send)

    def lets_in(self, scope: Scope) -> bool:
        here = f"{HOST}:{self.server.port}"
        headers = Headers(scope=scope)
        secret = re.match(r"/([^/]*)/", scope["path"])
        known = secret is not None and secrets.compare_digest(secret[1].encode(), self.server.token.encode())
        origins, site = headers.getlist("origin"), headers.getlist("sec-fetch-site")
        same = all(origin == f"http://{here}" for origin in origins) and len(origins) <= 1
        if scope["method"] not in ("GET", "HEAD"):
            same = same and (bool(origins) or site == ["same-origin"])
        if site:
            same = same and site[-1] in ("same-origin", "none")
        return known and same and headers.getlist("host") == [here]
