"""What a user calls an option, a machine or a command: what is typed on the command line, or another front end's words.

A sentence names them by these functions when it is made, so that nobody changes it afterwards.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final, NamedTuple


class Wording(NamedTuple):
    """How a front end calls things.

    option: of its long flag without the dashes. setting: of the flag and a value that it is given. machine,
    machine_choice: of a profile's name. command: of what follows `stitchc`. file: the user's pattern. several: how an
    option is given several values, of what separates them.
    """

    option: Callable[[str], str]
    setting: Callable[[str, str], str]
    machine: Callable[[str], str]
    machine_choice: Callable[[str], str]
    command: Callable[[str], str]
    file: str
    several: Callable[[str], str]


COMMAND_LINE: Final = Wording(
    option="--{}".format,
    setting="--{} {}".format,
    machine="`{}`".format,
    machine_choice="--machine {}".format,
    command="`stitchc {}`".format,
    file="FILE",
    several="repeat the option for several".format,
)
_CURRENT: Final = ContextVar("wording", default=COMMAND_LINE)


@contextmanager
def worded(wording: Wording) -> Iterator[None]:
    """Sentences that are made meanwhile use the words of this front end."""
    token = _CURRENT.set(wording)
    try:
        yield
    finally:
        _CURRENT.reset(token)


class _Option(str):
    """What an option is called; with a value as its format, as in `{OPTION.grid:even}`, how it is given that."""

    flag: str

    def __format__(self, value: str) -> str:
        return _CURRENT.get().setting(self.flag, value) if value else str(self)


class _Options:
    """What each option is called: `OPTION.first_row` is `--first-row` on the command line."""

    def __getattr__(self, name: str) -> _Option:
        flag = name.replace("_", "-")
        option = _Option(_CURRENT.get().option(flag))
        option.flag = flag
        return option


OPTION: Final = _Options()


def machine_name(profile: str) -> str:
    """What a machine is called, of its profile's name."""
    return _CURRENT.get().machine(profile)


def machine_choice(profile: str) -> str:
    """What to choose for this machine."""
    return _CURRENT.get().machine_choice(profile)


def command_name(command: str) -> str:
    """What a command is called. command: what follows `stitchc`."""
    return _CURRENT.get().command(command)


def current_wording() -> Wording:
    return _CURRENT.get()
