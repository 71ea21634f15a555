"""Write single files (pages, tables) whole or not at all: aside first, then renamed."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from penult.errors import OutputError
from penult.whole_file import write_whole

MARK = "made with penult"
"""Stands in the first lines of every page of ours: only such a file, or a table with our own head, is ever replaced."""

_LOOK_AT_BYTES = 2000
_SAME_HEAD_BYTES = 24


def write_files(folder: Path, files: Mapping[str, bytes], *, is_private: bool = True) -> None:
    """Write files into a folder, each whole or not at all.

    Parameters
    ----------
    folder : Path
        Made where it is missing.
    files : mapping of str to bytes
        Bare file names and contents; pages carry `MARK` near their beginning.
    is_private : bool
        Their owner alone may read them, because people are in them; else as the system has it for new files.

    Raises
    ------
    OutputError
        If a file of that name is there which is not ours, or the place cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            _refuse_foreign(folder / name, content)
        for name, content in files.items():
            write_whole(folder / name, content, is_private=is_private)
    except OSError as error:
        raise OutputError(
            f"{folder} cannot be written",
            error.strerror or str(error),
            next_step="choose another place with --out FOLDER",
        ) from error


def _refuse_foreign(path: Path, content: bytes) -> None:
    if not path.exists():
        return
    if not path.is_file():
        raise OutputError(
            f"{path} is no ordinary file and was left as it is", next_step="choose another place with --out FOLDER"
        )
    with path.open("rb") as stream:
        there = stream.read(_LOOK_AT_BYTES)
        if MARK.encode() not in there and there[:_SAME_HEAD_BYTES] != content[:_SAME_HEAD_BYTES]:
            raise OutputError(
                f"{path} was not made by penult and was left as it is",
                next_step="choose another place with --out FOLDER",
            )
