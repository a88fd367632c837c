"""Machine profiles: the values that say what a machine is, what reads its pattern and what its limits are.

`load` finds a shipped profile by name or reads a user's own TOML file.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stitchc.on_demand import import_on_demand

if TYPE_CHECKING:
    from stitchc.machines.loader import load as load
    from stitchc.machines.loader import load_text as load_text
    from stitchc.machines.loader import profile_text as profile_text
    from stitchc.machines.profile import CardShape as CardShape
    from stitchc.machines.profile import Limit as Limit
    from stitchc.machines.profile import Limits as Limits
    from stitchc.machines.profile import Machine as Machine
    from stitchc.machines.schema import SHIPPED as SHIPPED

__getattr__ = import_on_demand(
    __name__,
    {
        "schema": ("SHIPPED",),
        "loader": ("load", "load_text", "profile_text"),
        "profile": ("CardShape", "Limit", "Limits", "Machine"),
    },
)
