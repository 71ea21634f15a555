"""Folders that are built beside their final place: whose they are, whether their builder still runs, clearing up.

A folder under construction is called `.NAME.partial-<process>-<machine>-<token>` and holds a locked file as long as its
builder runs; the system drops the lock however that ends.
"""

from __future__ import annotations

import hashlib
import os
import platform
import re
import secrets
import shutil
import sys
import time
from pathlib import Path

from penult import locks

LOCK = ".building"
_STALE_AFTER_S = 24 * 3600.0
_JUST_MADE_S = 60.0


def new_partial(folder: Path, *, is_private: bool = True) -> tuple[Path, int | None]:
    """Make a folder beside the final one; returns it and the handle of its lock, to be closed when it is done."""
    partial = folder.parent / f".{folder.name}.partial-{mark()}"
    partial.mkdir(mode=0o700 if is_private else 0o777)
    return partial, _hold(partial / LOCK)


def remove_stale(folder: Path) -> None:
    """Remove what earlier runs left when they were killed; never one that another program is still building."""
    patterns = [f".{escaped(folder.name)}.partial-*"]
    if folder.exists():
        patterns.append(f".{escaped(folder.name)}.previous-*")
    for path in (p for pattern in patterns for p in folder.parent.glob(pattern)):
        if is_stale(path):
            shutil.rmtree(path, ignore_errors=True)


def mark() -> str:
    """Return what tells whose a folder is: process, machine, and a number drawn for it alone."""
    return f"{os.getpid()}-{_machine()}-{secrets.token_hex(4)}"


def escaped(name: str) -> str:
    """Return a folder name so that none of its letters is a pattern."""
    return re.sub(r"([*?[])", r"[\1]", name)


def _machine() -> str:
    return hashlib.sha256(platform.node().encode()).hexdigest()[:8]


def _builder_runs(partial: Path) -> bool | None:
    """Tell whether the process that made the folder runs on this machine; None if the name does not tell."""
    found = re.search(r"-(\d{1,10})-([0-9a-f]{8})-[0-9a-f]{8}\Z", partial.name)
    if sys.platform == "win32" or not found or found[2] != _machine():
        return None
    try:
        os.kill(int(found[1]), 0)  # signal 0 only asks whether the process is there
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _hold(path: Path) -> int | None:
    """Take the lock that says 'still being built'; the system drops it when this program ends, however it ends."""
    if sys.platform == "win32":  # a folder that holds an open file cannot be renamed there
        path.touch()
        return None
    handle = os.open(path, os.O_CREAT | os.O_RDWR, 0o600)
    locks.hold(handle)  # waits: another program may hold it for the instant in which it looks
    return handle


def is_stale(partial: Path) -> bool:
    """Tell whether the program that was building this folder is gone.

    A free lock alone does not say so: a folder that was made this very moment is not locked yet, and one that was
    exchanged with an older result is that result, which has no lock.
    """
    runs = _builder_runs(partial)
    if runs is False:
        return True
    try:
        found = partial.stat()
    except OSError:
        return False
    age_s = time.time() - max(found.st_mtime, found.st_ctime)
    locked = _is_locked(partial / LOCK)
    if locked is None:
        return not runs and age_s > _STALE_AFTER_S
    return age_s > (_STALE_AFTER_S if locked else _JUST_MADE_S)


def _is_locked(path: Path) -> bool | None:
    """Tell whether a running program holds the lock; None where there is no lock to ask."""
    if sys.platform == "win32":
        return None
    try:
        handle = os.open(path, os.O_RDWR)
    except OSError:
        return None
    try:
        return locks.is_held(handle)
    finally:
        os.close(handle)
