"""`corrections.json` beside a result: read within bounds; written aside and renamed, under a lock, over the known version."""

from __future__ import annotations

from pathlib import Path

from penult.adapters.files.corrections_text import from_text, to_text
from penult.errors import OutputError, ResultError
from penult.locks import one_writer
from penult.model.corrections import Corrections
from penult.whole_file import TooLargeError, read_whole, write_whole

NAME = "corrections.json"
LARGEST_BYTES = 8_000_000
_NEXT = "put it right or move it away, or leave it out with --ignore-corrections"


class OutdatedError(ResultError):
    """Somebody else has saved corrections of the same result meanwhile."""


def read_corrections(folder: Path) -> Corrections | None:
    """Return the corrections beside a result, or None where there are none.

    Raises
    ------
    ResultError
        If the file cannot be read or has faults; every one is listed.
    """
    path = folder / NAME
    try:
        data = read_whole(path, LARGEST_BYTES)
    except FileNotFoundError:
        return None
    except TooLargeError as error:
        most = f"at most {LARGEST_BYTES} bytes"
        raise ResultError(f"{path} is too large to hold corrections", most, next_step=_NEXT) from error
    except OSError as error:
        raise ResultError(f"{path} cannot be read", error.strerror or str(error), next_step=_NEXT) from error
    try:
        return from_text(data)
    except ResultError as error:
        raise ResultError(f"{path} cannot be used", error.what, *error.details, next_step=_NEXT) from None


def write_corrections(folder: Path, corrections: Corrections, *, over_version: int) -> None:
    """Save the corrections beside a result.

    Parameters
    ----------
    folder : Path
        Of the result.
    corrections : Corrections
        What is to be kept.
    over_version : int
        Version of the file that they were made on; 0 where there was none.

    Raises
    ------
    OutdatedError
        If the file has another version by now; nothing is written.
    OutputError
        If the folder cannot be written.
    """
    try:
        with one_writer(folder):
            there = read_corrections(folder)
            found = there.version if there else 0
            if found != over_version:
                raise OutdatedError(
                    f"the corrections in {folder} have changed meanwhile",
                    f"version {over_version} was known, {found} is there",
                    next_step="load the page again",
                )
            write_whole(folder / NAME, to_text(corrections).encode(), is_private=True)
    except OSError as error:
        raise OutputError(
            f"the corrections cannot be saved in {folder}",
            error.strerror or str(error),
            "what was saved before is safe",
            next_step="make the folder writable, or make room on the disk",
        ) from error
