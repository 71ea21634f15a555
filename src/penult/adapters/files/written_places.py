"""Where penult has written pages, results, exports and copies: a list of folders, so that a person can be found in all of them.

The list lies beside the logbook in the user's data folder; it holds paths alone, and its owner alone may read it.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from penult.whole_file import read_whole, write_whole

NAME = "places.txt"
_LARGEST_BYTES = 4_000_000
_MOST = 5000


def record(folder: Path, beside: Path) -> None:
    """Add a folder to the list; a list that cannot be written is no reason to fail.

    Parameters
    ----------
    folder : Path
        Where something was written.
    beside : Path
        The logbook, beside which the list lies.
    """
    with suppress(OSError, RuntimeError, ValueError):
        text = str(folder.resolve())
        if text in recorded(beside) or "\n" in text:
            return
        path = beside.parent / NAME
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle = os.open(path, os.O_CREAT | os.O_WRONLY | os.O_APPEND, 0o600)
        try:
            os.write(handle, os.fsencode(text) + b"\n")  # one write: two programs do not mix their lines
        finally:
            os.close(handle)


def recorded(beside: Path) -> list[str]:
    """Return the folders of the list, each once, the latest last."""
    try:
        lines = read_whole(beside.parent / NAME, _LARGEST_BYTES).split(b"\n")
    except OSError:
        return []
    return list(dict.fromkeys(os.fsdecode(line) for line in lines if line))[-_MOST:]


def drop(beside: Path, is_gone: Callable[[str], bool]) -> None:
    """Take folders off the list."""
    known = recorded(beside)
    kept = [folder for folder in known if not is_gone(folder)]
    if kept != known:
        content = b"".join(os.fsencode(folder) + b"\n" for folder in kept)
        write_whole(beside.parent / NAME, content, is_private=True)
