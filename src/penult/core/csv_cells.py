"""Texts as cells of a CSV file that a spreadsheet may open: a name must never become a formula."""

from __future__ import annotations

import re

_GUARDED = re.compile(r"'*[=+\-@\t\r\n|%]")
_GUARD = re.compile(r"'+[=+\-@\t\r\n|%]")


def guarded(text: str) -> str:
    """Return a text so that no spreadsheet takes it for a formula; `unguarded` gives the text back.

    A quotation mark goes before a cell that begins with one of = + - @ | % or a control character (OWASP, 'CSV
    injection'), or with quotation marks before one of them.
    """
    return "'" + text if _GUARDED.match(text) else text


def unguarded(cell: str) -> str:
    """Return the text that `guarded` was given."""
    return cell[1:] if _GUARD.match(cell) else cell
