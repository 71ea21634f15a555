"""`penult help errors`: every message that penult can end with, and what to do next."""

from __future__ import annotations

import sys
from importlib.resources import files
from typing import Annotated

import typer


def register(app: typer.Typer) -> None:
    """Add the command."""
    group = typer.Typer(no_args_is_help=True, rich_markup_mode=None, help="More than --help says.")
    group.command("errors")(errors)
    app.add_typer(group, name="help")


def errors(
    words: Annotated[list[str] | None, typer.Argument(help="Only messages with all of these words.")] = None,
) -> None:
    """List every error message with what to do next; words in CAPITALS stand for names and numbers."""
    text = files("penult").joinpath("data/errors.txt").read_text(encoding="utf-8")
    sys.stdout.write(text if not words else _with(text, [w.lower() for w in words]))


def _with(text: str, words: list[str]) -> str:
    """Return the messages that hold all words, under their headings."""
    parts = []
    for part in text.strip().split("\n\n"):
        lines = part.splitlines()
        if len(lines) == 1:
            heading = lines[0]
            continue
        pairs = [f"{what}\n{step}" for what, step in zip(lines[::2], lines[1::2], strict=True)]
        found = [pair for pair in pairs if all(word in pair.lower() for word in words)]
        if found:
            parts.append("\n".join([heading, "", *found]))
    return "\n\n".join(parts) + "\n" if parts else "no message has all of these words\n"
