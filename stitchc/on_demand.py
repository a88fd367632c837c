"""Names of a package that are imported when they are first asked for, so that nobody pays for parts they do not use."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable, Iterable, Mapping


def import_on_demand(package: str, homes: Mapping[str, Iterable[str]]) -> Callable[[str], object]:
    """The `__getattr__` of a package. homes: the modules in it, and the names that each of them has."""
    home_of = {name: module for module, names in homes.items() for name in names}

    def __getattr__(name: str) -> object:
        if name not in home_of:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        value: object = getattr(importlib.import_module(f"{package}.{home_of[name]}"), name)
        setattr(sys.modules[package], name, value)
        return value

    return __getattr__
