"""What `stitchc build` makes of a pattern, as values: the jobs, and what came of each."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

WHOLE = ""
"""The subject of what shows the pattern as a whole."""


@dataclass(frozen=True)
class Job:
    """One file to make: `stitchc COMMAND FILE ARGUMENTS -o TARGET`. subject: the stitch or piece it shows.

    machine: that it is made for, if it is made for one.
    """

    what: str
    subject: str
    target: Path
    command: str
    arguments: tuple[str, ...]
    machine: str = ""


@dataclass(frozen=True)
class Made:
    """A job that was done, or the reason why it does not apply."""

    job: Job
    reason: str | None = None
