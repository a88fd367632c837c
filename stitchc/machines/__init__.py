"""Machine profiles: the values that say what a machine is, what reads its pattern and what its limits are.

`load` finds a shipped profile by name or reads a user's own TOML file.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stitchc.machines.limits import Limit, Limits
    from stitchc.machines.loader import load, load_text, profile_text
    from stitchc.machines.profile import CardShape, Machine
    from stitchc.machines.schema import SHIPPED

__all__ = [
    "SHIPPED",
    "CardShape",
    "Limit",
    "Limits",
    "Machine",
    "load",
    "load_text",
    "profile_text",
]

_HOME = {
    "SHIPPED": "stitchc.machines.schema",
    "load": "stitchc.machines.loader",
    "load_text": "stitchc.machines.loader",
    "profile_text": "stitchc.machines.loader",
    "CardShape": "stitchc.machines.profile",
    "Limit": "stitchc.machines.limits",
    "Limits": "stitchc.machines.limits",
    "Machine": "stitchc.machines.profile",
}


def __getattr__(name: str) -> object:
    """Import a part when it is first asked for: a command that needs one part does not pay for the others."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(_HOME[name]), name)
