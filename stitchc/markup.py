"""Templates of HTML pages: one environment for all, in which everything is escaped that does not say otherwise.

Knows where templates lie; nothing of what they show.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from stitchc.messages import visible

if TYPE_CHECKING:
    from jinja2 import Template


@cache
def template(package: str, name: str, folder: str = ".") -> Template:
    """The template of that name in a package, or in a folder of it. A name that it is not given is an error.

    Its filter `visible` shows what must not be printed raw.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader(package, folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["visible"] = visible
    return environment.get_template(name)
