"""Texts as cells of a CSV file that a spreadsheet may open: a name must never become a formula."""

from __future__ import annotations

import re

_GUARDED = re.compile(r"'*[=+\-@\t\r\n|%]")
_GUARD = re.compile(r"'+[=+\-@\t\r\n|%]")
_CONTROLS = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\u202a-\u202e\u2066-\u2069]")


def guarded(text: str) -> str:
    """Return a text so that no spreadsheet takes it for a formula; `unguarded` gives the text back.

    A quotation mark goes before a cell that begins with one of = + - @ | % or a control character (OWASP, 'CSV
    injection'), or with quotation marks before one of them.
    """
    return "'" + text if _GUARDED.match(text) else text


def unguarded(cell: str) -> str:
    """Return the text that `guarded` was given."""
    return cell[1:] if _GUARD.match(cell) else cell


def shown(text: str, most: int = 200) -> str:
    """Return a text as it may be shown in a line: without control characters and marks that turn the reading order."""
    plain = _CONTROLS.sub("", text).replace("\t", " ").replace("\r", " ").replace("\n", " ").strip()
    return plain if len(plain) <= most else plain[: most - 1] + "…"
