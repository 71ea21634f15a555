"""Write a single file whole or not at all: aside in the same folder, then renamed in one step.

Folders of results have a writer of their own (`outputs.folder.save`), films too (`adapters.film.writer`); everything else that is
one file goes through here.
"""

from __future__ import annotations

import os
import secrets
from contextlib import suppress
from pathlib import Path

ASIDE = ".partial-"
"""Part of the name of a file under construction; one that is left was being written when the program was killed."""


def write_whole(path: Path, content: bytes) -> None:
    """Write a file; whatever happens, the old content or the new is there, whole.

    Raises
    ------
    OSError
        If the place cannot be written; nothing is left behind.
    """
    aside = path.with_name(f".{path.name}{ASIDE}{os.getpid()}-{secrets.token_hex(4)}")
    try:
        with aside.open("wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        aside.replace(path)
    finally:
        with suppress(OSError):
            aside.unlink()
