"""A file that is handed over piece by piece: written aside under a hidden name, then given its own, never over another one."""

from __future__ import annotations

import os
import re
import secrets
import unicodedata
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Self

from penult.whole_file import ASIDE

_LONGEST_STEM = 80
_UNSAFE = re.compile(r'[\x00-\x1f\x7f<>:"/\\|?*]')
_RESERVED = re.compile(r"(?i)\A(con|prn|aux|nul|com[0-9]|lpt[0-9])\Z")
"""Signs and names that some system does not allow in a file's name (Microsoft, 'Naming Files, Paths, and Namespaces')."""

_HIDING = {
    "Cc",
    "Cf",
    "Co",
    "Cs",
    "Zl",
    "Zp",
}  # Unicode categories of signs that nobody sees or that turn the line round


def safe_name(name: str) -> str:
    """Return a name that is safe on any system: of the last part of a path, without signs that hide or that mean something.

    The ending is kept; '' where nothing is left of it.
    """
    text = unicodedata.normalize("NFC", name.replace("\\", "/").rpartition("/")[2])
    text = "".join("_" if _UNSAFE.match(c) else c for c in text if unicodedata.category(c) not in _HIDING)
    stem, dot, ending = text.strip().rpartition(".")
    if not dot:
        stem, ending = ending, ""
    stem = stem.strip(" .")[:_LONGEST_STEM].strip(" .")
    ending = re.sub(r"[^A-Za-z0-9]", "", ending)[:8]
    if not stem:
        return ""
    stem = f"{stem}_" if _RESERVED.match(stem) else stem
    return f"{stem}.{ending}" if ending else stem


class Incoming:
    """A file on its way into a folder. Use as a context manager: what has no name of its own at the end goes.

    Parameters
    ----------
    folder : Path
        Exists.
    name : str
        A safe name.
    """

    def __init__(self, folder: Path, name: str) -> None:
        self._folder, self._name = folder, name
        ending = Path(name).suffix  # kept, as readers go by it
        self.path = folder / f".{secrets.token_hex(4)}{ASIDE}{os.getpid()}{ending}"

    def __enter__(self) -> Self:
        flags = os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_BINARY", 0)
        self._stream = os.fdopen(os.open(self.path, flags, 0o600), "wb")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stream.close()
        with suppress(OSError):
            self.path.unlink()

    def write(self, piece: bytes) -> None:
        """Add a piece."""
        self._stream.write(piece)

    def end(self) -> None:
        """Nothing more comes: what was written is on the disk."""
        self._stream.flush()
        os.fsync(self._stream.fileno())
        self._stream.close()

    def give(self) -> Path:
        """Give the file its name, or that name with a number where it is taken, and return its path."""
        stem, ending = Path(self._name).stem, Path(self._name).suffix
        for number in range(1, 1000):
            place = self._folder / (self._name if number == 1 else f"{stem}_{number}{ending}")
            if _named(self.path, place):
                return place
        raise FileExistsError(17, "a thousand files of that name are there already", str(self._folder / self._name))


def _named(aside: Path, place: Path) -> bool:
    """Give a file a name that nobody has; False where somebody has it."""
    if os.path.lexists(place):
        return False
    try:
        os.link(aside, place, follow_symlinks=False)
    except FileExistsError:
        return False
    except (OSError, NotImplementedError):  # a disk without hard links: hold the name first, then put the file there
        try:
            os.close(os.open(place, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        except FileExistsError:
            return False
        aside.replace(place)
    return True
