"""Read a single file within bounds; write one whole or not at all: aside in the same folder, then renamed in one step.

Folders of results have a writer of their own (`outputs.folder.save`), films too (`adapters.film.writer`); everything else that is
one file goes through here.
"""

from __future__ import annotations

import errno
import os
import secrets
import stat
from contextlib import suppress
from pathlib import Path

ASIDE = ".partial-"
"""Part of the name of a file under construction; one that is left was being written when the program was killed."""


class NotOrdinaryError(OSError):
    """A pipe or a device where a file is wanted: reading it could wait for ever, or never end."""


class TooLargeError(OSError):
    """A file larger than any of its kind."""


def told(name: str) -> str:
    """Return the name of a file or folder as text that can be written anywhere.

    Unix allows bytes in a name that are no UTF-8; Python hands them on as signs that no file of ours may hold.
    """
    return os.fsencode(name).decode("utf-8", errors="replace")


def read_whole(path: Path, most_bytes: int) -> bytes:
    """Return the content of an ordinary file of bounded size; a pipe or a device is never waited for.

    Parameters
    ----------
    path : Path
        Links are followed.
    most_bytes : int
        A larger file is refused before it is read.

    Raises
    ------
    NotOrdinaryError
        If it is no ordinary file.
    TooLargeError
        If it is larger.
    OSError
        If it cannot be read.
    """
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    facts = os.fstat(handle)
    if not stat.S_ISREG(facts.st_mode):
        os.close(handle)
        if stat.S_ISDIR(facts.st_mode):
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
        raise NotOrdinaryError(errno.EINVAL, "it is a pipe or a device, not a file", str(path))
    with os.fdopen(handle, "rb") as stream:
        if facts.st_size > most_bytes:
            raise TooLargeError(errno.EFBIG, f"{facts.st_size} bytes; at most {most_bytes}", str(path))
        data = stream.read(most_bytes + 1)
    if len(data) > most_bytes:  # it grows while it is read
        raise TooLargeError(errno.EFBIG, f"more than {most_bytes} bytes", str(path))
    return data


def write_whole(path: Path, content: bytes, *, is_private: bool = False) -> None:
    """Write a file; whatever happens, the old content or the new is there, whole.

    Parameters
    ----------
    path : Path
    content : bytes
    is_private : bool
        Its owner alone may read it; else as the system has it for new files.

    Raises
    ------
    OSError
        If the place cannot be written; nothing is left behind.
    """
    aside = path.with_name(f".{path.name}{ASIDE}{os.getpid()}-{secrets.token_hex(4)}")
    try:
        flags = os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_BINARY", 0)
        with os.fdopen(os.open(aside, flags, 0o600 if is_private else 0o666), "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        aside.replace(path)
    finally:
        with suppress(OSError):
            aside.unlink()
