"""`penult cache`: where joints are kept between runs, how much there is, and how to be rid of it."""

from __future__ import annotations

import sys
from typing import Annotated

import typer


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("cache")(cache)


def cache(
    clear: Annotated[bool, typer.Option("--clear", help="Delete it; the next run of each clip takes longer.")] = False,
) -> None:
    """Say where joints found in clips are kept for the next run, and how much there is."""
    from penult.adapters.caches import keypoint_cache

    place = keypoint_cache.cache_folder()
    if clear:
        sys.stdout.write(f"{place}: {_size(keypoint_cache.clear())} freed\n")
        return
    count, size = keypoint_cache.kept()
    most = _size(keypoint_cache.MOST_BYTES)
    sys.stdout.write(f"{place}: {count} {'clip' if count == 1 else 'clips'}, {_size(size)} of at most {most}\n")


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 100_000 else f"{count / 1e3:.1f} kB"
