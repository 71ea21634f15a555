"""Locks between programs, on every system. The system drops a lock when its program ends, however it ends."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

NAME = ".penult.lock"
"""The file that is locked for a folder where a folder itself cannot be (Windows)."""


@contextmanager
def one_writer(folder: Path) -> Iterator[None]:
    """Keep other writers of a folder out; waits for them. Disks without locks (some network disks) go without.

    Raises
    ------
    OSError
        If there is no such folder, or it cannot be opened.
    """
    handle = _of_folder(folder)
    try:
        hold(handle)
        yield
    finally:
        os.close(handle)


def hold(handle: int) -> None:
    """Lock an open file until it is closed; waits for whoever holds it. Disks without locks go without."""
    import portalocker  # noqa: PLC0415 - 20 ms that a run which writes nothing need not wait for

    with suppress(OSError, portalocker.LockException):
        portalocker.lock(handle, portalocker.LockFlags.EXCLUSIVE)


def is_held(handle: int) -> bool:
    """Tell whether another program holds the lock of an open file."""
    import portalocker  # noqa: PLC0415

    try:
        portalocker.lock(handle, portalocker.LockFlags.EXCLUSIVE | portalocker.LockFlags.NON_BLOCKING)
    except (OSError, portalocker.LockException):
        return True
    return False


def _of_folder(folder: Path) -> int:
    if sys.platform == "win32":
        return os.open(folder / NAME, os.O_CREAT | os.O_RDWR, 0o600)
    return os.open(folder, os.O_RDONLY)
