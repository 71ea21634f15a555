"""Texts that somebody typed, made fit to be shown in one line."""

from __future__ import annotations

import re

_CONTROLS = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\u202a-\u202e\u2066-\u2069]")


def shown(text: str, most: int = 200) -> str:
    """Return a text as it may be shown in a line: without control characters and marks that turn the reading order."""
    plain = _CONTROLS.sub("", text).replace("\t", " ").replace("\r", " ").replace("\n", " ").strip()
    return plain if len(plain) <= most else plain[: most - 1] + "…"
