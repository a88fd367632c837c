"""The process for what takes long: dropped work makes way, and a process that dies costs one result, not the page."""

from __future__ import annotations

import asyncio
import contextlib
import os
import random
import signal
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from stitchc.live.worker import Worker, WorkFailed


def in_a_loop_of_its_own(work: Coroutine[Any, Any, None]) -> None:
    """In another thread: the driver of the browser tests keeps a loop running in this one."""
    with ThreadPoolExecutor(1) as pool:
        pool.submit(asyncio.run, work).result()


def asked(view: str, width: int) -> dict[str, Any]:
    rows = ("".join(random.Random(row).choice("KKT") for _ in range(width)) for row in range(1, width + 1))
    text = "stitch a\n" + "".join(f"    {number}: K{row[1:]}\n" for number, row in enumerate(rows, start=1))
    given = {
        "text": text,
        "file": "a.stitch",
        "folder": ".",
        "machine": "",
        "stitch": "a",
        "settings": {},
        "units": "cm",
    }
    return given | {"view": view}


def test_what_nobody_wants_any_more_makes_way() -> None:
    async def play() -> None:
        worker = Worker()
        parts: list[Any] = []
        try:
            slow = asyncio.create_task(worker.run("look", asked("fabric", 20), parts.append))
            waiting = asyncio.create_task(worker.run("look", asked("sheet", 2)))
            while not parts and not slow.done():
                await asyncio.sleep(0.05)
            assert not slow.done()
            slow.cancel()
            waiting.cancel()
            for task in (slow, waiting):
                with contextlib.suppress(asyncio.CancelledError):
                    await task
            answer = await asyncio.wait_for(worker.run("look", asked("gauge", 2)), 60)
            assert "words" in answer
        finally:
            worker.stop()

    in_a_loop_of_its_own(play())


def test_a_process_that_is_killed_costs_one_result() -> None:
    async def play() -> None:
        worker = Worker()
        try:
            job = asyncio.create_task(worker.run("look", asked("fabric", 40)))
            while worker.process_id is None:
                await asyncio.sleep(0.05)
            os.kill(worker.process_id, signal.SIGKILL)
            with pytest.raises(WorkFailed, match="has ended"):
                await job
            assert "words" in await worker.run("look", asked("gauge", 2))
        finally:
            worker.stop()

    in_a_loop_of_its_own(play())
