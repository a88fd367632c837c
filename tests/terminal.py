"""A program at a terminal of its own, as a person sees and types it. POSIX alone."""

from __future__ import annotations

import os
import re
import select
import signal
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


class Terminal:
    """A program at a terminal of so many columns. seen: all that came out there and was not taken yet."""

    def __init__(self, words: list[str], folder: Path, columns: int = 80, **more: str) -> None:
        import fcntl
        import pty
        import struct
        import termios

        environment = {key: value for key, value in os.environ.items() if not key.startswith(("STITCHC_", "COMP"))}
        environment |= {"PYTHONPATH": str(ROOT), "TERM": "xterm", "XDG_CACHE_HOME": str(folder / "cache"), **more}
        environment.pop("COLUMNS", None)
        self.pid, self.number = pty.fork()
        if self.pid == 0:
            fcntl.ioctl(0, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
            os.chdir(folder)
            for number in (signal.SIGTERM, signal.SIGHUP):  # also where this very test is run in the background
                signal.signal(number, signal.SIG_DFL)
            os.execvpe(words[0], words, environment)
        self.seen = ""

    def type(self, keys: str) -> None:
        """As at the keyboard."""
        os.write(self.number, keys.encode())

    @property
    def plain(self) -> str:
        """What is seen, without colours and the like."""
        codes = r"\x1b(?:\[[0-?]*[ -/]*[@-~]|\][^\x07]*\x07|[()][A-Z0-9]|[@-Z=>\\])|\x08"
        return re.sub(codes, "", self.seen)

    def until(self, pattern: str, seconds: float = 60) -> bool:
        """Whether that came to stand there, before the program ended."""
        end = time.monotonic() + seconds
        while time.monotonic() < end and not re.search(pattern, self.plain):
            if select.select([self.number], [], [], 0.1)[0]:
                try:
                    read = os.read(self.number, 65536)
                except OSError:  # Linux says so when the other end is closed
                    break
                if not read:
                    break
                self.seen += read.decode("utf-8", "replace")
        return re.search(pattern, self.plain) is not None

    def end(self) -> int:
        """The exit status, once all was read."""
        self.until("a^")
        return self._closed()

    def kill(self) -> None:
        """End the program, whatever it does."""
        os.kill(self.pid, signal.SIGKILL)
        self._closed()

    def _closed(self) -> int:
        _, status = os.waitpid(self.pid, 0)
        os.close(self.number)
        return os.waitstatus_to_exitcode(status)
