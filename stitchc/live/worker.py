"""A process of its own for what takes long, so that typing never waits; work that nobody wants any more is dropped.

One job at a time. A job that is to be dropped is asked to stop at its next report of progress; one that does not
listen within `PATIENCE_S` ends with its process, and a new one is started.
"""

from __future__ import annotations

import asyncio
import contextlib
import ctypes
import itertools
import multiprocessing
import signal
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Any, Final, NamedTuple

PATIENCE_S: Final = 0.5

Part = Callable[[Any], None]
"""Takes a part of the result that is there before the rest."""


class Made(NamedTuple):
    """A file for the page to show or for the knitter to keep."""

    name: str
    content: bytes


class WorkFailed(Exception):
    """The job ended without a result; the words are for the person."""


class Dropped(Exception):
    """Raised inside a job whose result nobody wants any more."""


class Worker:
    """Runs `stitchc.live.views.JOBS` by name. Call from one event loop."""

    def __init__(self) -> None:
        self._context = multiprocessing.get_context("spawn")
        self._numbers = itertools.count(1)
        self._one_at_a_time = asyncio.Lock()
        self._answers: asyncio.Queue[tuple[int, str, Any]] = asyncio.Queue()
        self._wanted: Any = self._context.Value(
            ctypes.c_int64, 0, lock=False
        )  # a process that is ended must hold no lock
        self._process: SpawnProcess | None = None
        self._pipe: Connection | None = None

    async def run(self, job: str, arguments: dict[str, Any], part: Part = lambda _: None) -> Any:
        """The result of a job. Raises WorkFailed. Cancelled, it waits until the process is free again."""
        async with self._one_at_a_time:
            number = next(self._numbers)
            self._wanted.value = number
            pipe = self._started()
            try:
                pipe.send((number, job, arguments))
                return await self._answer(number, part)
            except asyncio.CancelledError:
                self._wanted.value = 0
                with contextlib.suppress(WorkFailed):
                    await self._let_go(number)
                raise
            except OSError as error:
                self.stop()
                raise WorkFailed(
                    "The part of stitchc that works this out has ended. Change the text to try again."
                ) from error

    async def _answer(self, number: int, part: Part) -> Any:
        while True:
            answered, kind, value = await self._answers.get()
            if answered == -1 and value is self._process:
                self.stop()
                raise WorkFailed("The part of stitchc that works this out has ended. Change the text to try again.")
            if answered != number:
                continue
            if kind == "part":
                part(value)
            elif kind == "done":
                return value
            else:
                raise WorkFailed(value)

    async def _let_go(self, number: int) -> None:
        try:
            await asyncio.wait_for(self._answer(number, lambda _: None), PATIENCE_S)
        except TimeoutError:
            self.stop()

    def _started(self) -> Connection:
        if self._process is None or not self._process.is_alive() or self._pipe is None:
            here, there = self._context.Pipe()
            process = self._context.Process(target=_work, args=(there, self._wanted), daemon=True)
            process.start()
            there.close()
            loop = asyncio.get_running_loop()
            threading.Thread(target=_listen, args=(here, process, loop, self._answers), daemon=True).start()
            self._process, self._pipe = process, here
        return self._pipe

    @property
    def process_id(self) -> int | None:
        """The system's number for the process, while there is one."""
        return self._process.pid if self._process is not None else None

    def start(self) -> None:
        self._started()

    def stop(self) -> None:
        process, self._process, self._pipe = self._process, None, None
        if process is not None:
            process.terminate()
            process.join(1)


def _listen(
    pipe: Connection,
    process: SpawnProcess,
    loop: asyncio.AbstractEventLoop,
    answers: asyncio.Queue[tuple[int, str, Any]],
) -> None:
    with contextlib.suppress(RuntimeError):  # the loop has ended
        try:
            while True:
                loop.call_soon_threadsafe(answers.put_nowait, pipe.recv())
        except (EOFError, OSError):
            loop.call_soon_threadsafe(answers.put_nowait, (-1, "gone", process))


def _work(pipe: Connection, wanted: Any) -> None:
    """The process: take jobs until the pipe closes, which it does when the server ends in any way."""
    for name in ("SIGINT", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    from stitchc.live.views import JOBS

    with contextlib.suppress(EOFError, OSError):
        while True:
            number, job, arguments = pipe.recv()

            def progress(share: float, number: int = number) -> None:
                if wanted.value != number:
                    raise Dropped

            def part(value: Any, number: int = number) -> None:
                progress(0)
                pipe.send((number, "part", value))

            try:
                answer = number, "done", JOBS[job](arguments, progress, part)
            except Dropped:
                answer = number, "failed", "dropped"
            except MemoryError:
                answer = number, "failed", "There is not enough memory for this on this computer."
            except Exception as error:
                answer = number, "failed", f"stitchc itself went wrong here ({type(error).__name__}: {error})."
            pipe.send(answer)
