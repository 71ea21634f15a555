"""Whether this program may use as much memory as an analysis needs; libraries below us do not ask, they crash."""

from __future__ import annotations

import sys

from penult.errors import InputError

LEAST_BYTES = 3_200_000_000
"""Address space of an analysis of a 1080p clip with the pose model and its threads: with 2.5 GB it failed, with 3.5 it ran."""


def limit_bytes() -> int | None:
    """Return the address space that this program may use at most; None where nothing limits it."""
    if sys.platform == "win32":
        return None
    import resource

    limit, _ = resource.getrlimit(resource.RLIMIT_AS)
    return None if limit in (resource.RLIM_INFINITY, -1) else limit


def check_memory() -> None:
    """Raise if the memory that this program may use is too small for an analysis.

    Raises
    ------
    InputError
    """
    limit = limit_bytes()
    if limit is not None and limit < LEAST_BYTES:
        raise too_small(limit)


def too_small(limit: int) -> InputError:
    """Return what is said where memory that this program may use runs out."""
    return InputError(
        "this program may use too little memory",
        f"allowed: {limit / 1e9:.2f} GB of addresses; wanted: {LEAST_BYTES / 1e9:.1f} GB or more",
        next_step="raise the limit ('ulimit -v unlimited' in this shell), or ask whoever set it",
    )
