"""Machine profiles: the values that say what a machine is, what reads its pattern and what its limits are.

`load` finds a shipped profile by name or reads a user's own TOML file.
"""

from stitchc.machines.loader import SHIPPED, load, load_text, profile_text
from stitchc.machines.profile import CardShape, Limit, Limits, Machine

__all__ = ["SHIPPED", "CardShape", "Limit", "Limits", "Machine", "load", "load_text", "profile_text"]
