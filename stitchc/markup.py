"""Templates of HTML pages: one environment for all, in which everything is escaped that does not say otherwise.

Knows where templates lie; nothing of what they show.
"""

from __future__ import annotations

from functools import cache, lru_cache
from typing import TYPE_CHECKING, Final

from stitchc.code import stretches
from stitchc.messages import visible

if TYPE_CHECKING:
    from jinja2 import Template
    from markupsafe import Markup


@cache
def template(package: str, name: str, folder: str = ".") -> Template:
    """The template of that name in a package, or in a folder of it. A name that it is not given is an error.

    Its filter `visible` shows what must not be printed raw; `words` does so too and sets what is code as code.
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
    environment.filters["words"] = words
    return environment.get_template(name)


_WHOLE: Final = 40
"""Letters of code up to which it stands on one line; a longer piece could be wider than a telephone."""


@lru_cache(maxsize=4096, typed=True)  # sizes, units and machines share most sentences
def words(text: str) -> Markup:
    """Text as HTML, with what is code set as code."""
    from markupsafe import Markup

    parts = []
    for stretch, is_code in stretches(visible(text)):
        kind = Markup(' class="whole"') if len(stretch) <= _WHOLE else Markup("")
        parts.append(Markup("<code{}>{}</code>").format(kind, stretch) if is_code else Markup.escape(stretch))
    return Markup("").join(parts)
