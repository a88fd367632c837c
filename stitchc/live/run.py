"""The life of a live page's server: one for each folder or file, from its address to its clean end.

A server that was started again for the same file takes the address it had, so that a tab that stayed open goes on.
"""

from __future__ import annotations

import asyncio
import contextlib
import http.client
import json
import signal
import socket
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

import uvicorn

from stitchc import files
from stitchc.live.desk import Desk, private_folder
from stitchc.live.server import HOST, Server
from stitchc.messages import Message

Announce = Callable[[str, bool], None]
"""Is given the address, and whether it is that of a page that is served already."""

_SIGNALS: Final = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")


def serve(file: str | None, announce: Announce) -> None:
    """Serve the page until Ctrl-C, a closed terminal or the system ends it.

    file: the pattern to open, there or not; a folder, or None for the current one, offers its patterns. Raises
    Refused where the file can't be opened and FileTrouble where the page can't be served.
    """
    path = Path(file) if file is not None else None
    if path is not None and path.is_dir():
        desk, path = Desk(path), None
    else:
        desk = Desk(path.parent if path else Path(), path.name if path else None)
    if path is not None:
        _refuse_no_folder(path)
        desk.open(path.name)
    known = _Address(desk)
    if known.is_served():
        announce(known.address, True)
        return
    server = Server(desk, known.token)
    with _bound(known.port) as listening:
        server.port = listening.getsockname()[1]
        known.remember(server)
        announce(server.address, False)
        asyncio.run(_serve(server, listening))


def _refuse_no_folder(path: Path) -> None:
    if not path.parent.is_dir():
        text = f"`{path.parent}` is not a folder."
        raise files.FileTrouble(Message("F501", "error", text, advice="Check the name of the folder."))


async def _serve(server: Server, listening: socket.socket) -> None:
    config = uvicorn.Config(
        server.app,
        http="h11",
        ws="none",
        lifespan="off",
        log_config=None,
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=2,
    )
    listener = _Listener(config)
    loop = asyncio.get_running_loop()

    def end(*_: object) -> None:
        server.ending.set()
        listener.should_exit = True

    for name in _SIGNALS:
        number = getattr(signal, name, None)
        if number is None:
            continue
        try:
            loop.add_signal_handler(number, end)
        except NotImplementedError:  # Windows
            signal.signal(number, lambda *_: loop.call_soon_threadsafe(end))
    server.worker.start()
    watching = asyncio.create_task(server.watch())
    try:
        await listener.serve([listening])
    finally:
        server.ending.set()
        server.worker.stop()
        await watching


class _Listener(uvicorn.Server):
    """uvicorn without its own signal handlers: the ones above end the page's events first."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


def _bound(port: int) -> socket.socket:
    """A socket on this computer alone, on the port if it is free, else on any."""
    for each in dict.fromkeys((port, 0)):
        # With its protocol by name: asyncio sends small answers without waiting (TCP_NODELAY) on such sockets alone,
        # and an answer in two parts would else wait 40 ms for the other side to acknowledge the first.
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        try:
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listening.bind((HOST, each))
            listening.listen(128)
            return listening
        except OSError as error:
            listening.close()
            refused = error
    text = f"The page can't be served: {files.reason(refused)}."
    raise files.FileTrouble(
        Message("F505", "error", text, advice="Allow programs to listen on 127.0.0.1, and try again.")
    )


class _Address:
    """Where a page for the same file or folder was served last, kept where only the user can read it."""

    def __init__(self, desk: Desk) -> None:
        folder = private_folder()
        key = sha256(f"{desk.folder}\n{desk.opened_for or ''}".encode("utf-8", "surrogateescape")).hexdigest()[:24]
        self.place = folder / f"address-{key}.json" if folder else None
        self.address, self.token, self.port = "", None, 0
        with contextlib.suppress(OSError, ValueError, KeyError, TypeError):
            kept: dict[str, Any] = json.loads(self.place.read_bytes()) if self.place else {}
            self.address, self.token, self.port = str(kept["address"]), str(kept["token"]), int(kept["port"])

    def is_served(self) -> bool:
        if not self.token:
            return False
        connection = http.client.HTTPConnection(HOST, self.port, timeout=1)
        try:
            connection.request("GET", f"/{self.token}/start")
            return connection.getresponse().status == 200
        except (OSError, http.client.HTTPException):
            return False
        finally:
            connection.close()

    def remember(self, server: Server) -> None:
        if self.place is not None:
            kept = {"format": "stitchc-live/1", "address": server.address, "token": server.token, "port": server.port}
            with contextlib.suppress(files.FileTrouble):
                files.write_files([(self.place, json.dumps(kept).encode())], force=True, in_place=True)
