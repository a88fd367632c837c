"""What a browser is told about every answer: load nothing from elsewhere, run nothing that is not ours.

Content Security Policy Level 3 (W3C) and the Fetch standard's headers.
"""

from __future__ import annotations

import base64
import hashlib
import re
from typing import Final

_OURS: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'; trusted-types 'none'"
)
_INLINE: Final = re.compile(rb"<(script|style)(?:\s[^>]*)?>(.*?)</\1>", re.DOTALL)


def security_headers(made_page: bytes | None = None) -> dict[str, str]:
    """The headers of an answer. made_page: an HTML file that was made: its own style and script may work, by their
    digests, and nothing else."""
    policy = _OURS if made_page is None else _policy_of(made_page)
    return {
        "Content-Security-Policy": policy,
        "Referrer-Policy": "no-referrer",
        "X-Content-Type-Options": "nosniff",
        "X-Frame-Options": "DENY",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Cache-Control": "no-store",
    }


def _policy_of(page: bytes) -> str:
    digests: dict[str, list[str]] = {"script": [], "style": []}
    for kind, content in _INLINE.findall(page):
        digest = base64.b64encode(hashlib.sha256(content).digest()).decode()
        digests[kind.decode()].append(f"'sha256-{digest}'")
    scripts, styles = (" ".join(digests[kind]) or "'none'" for kind in ("script", "style"))
    return (
        f"default-src 'none'; script-src {scripts}; style-src {styles}; style-src-attr 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
