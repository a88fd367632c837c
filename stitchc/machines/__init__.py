"""Machine profiles: the values that say what a machine is, what reads its pattern and what its limits are.

`load` finds a shipped profile by name or reads a user's own TOML file.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stitchc.machines.loader import load as load
    from stitchc.machines.loader import load_text as load_text
    from stitchc.machines.loader import profile_text as profile_text
    from stitchc.machines.profile import CardShape as CardShape
    from stitchc.machines.profile import Limit as Limit
    from stitchc.machines.profile import Limits as Limits
    from stitchc.machines.profile import Machine as Machine
    from stitchc.machines.schema import SHIPPED as SHIPPED

_HOME = {
    "schema": ("SHIPPED",),
    "loader": ("load", "load_text", "profile_text"),
    "profile": ("CardShape", "Limit", "Limits", "Machine"),
}


def __getattr__(name: str) -> object:
    """Import a part when it is first asked for: a command that needs one part does not pay for the others."""
    for module, names in _HOME.items():
        if name in names:
            return getattr(importlib.import_module(f"stitchc.machines.{module}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
