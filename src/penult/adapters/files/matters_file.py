"""`matters.csv`: what change matters, a line a measure, as a coach or a spreadsheet writes it."""

from __future__ import annotations

from pathlib import Path

from penult.adapters.files.csv_text import rows_of
from penult.core.clips.matters import matter
from penult.errors import LogbookError

FILE = "matters.csv"
LARGEST_BYTES = 100_000
HEAD = ("measure", "change")


def read_matters(path: Path) -> dict[str, float]:
    """Return what change matters, by the measure's name.

    Parameters
    ----------
    path : Path
        Two columns, 'measure' and 'change': 'hip drop' and '1 cm'. A first line with these words is passed over.

    Raises
    ------
    LogbookError
        If it cannot be read, with every line that cannot.
    """
    head, rows = rows_of(path, LARGEST_BYTES)
    found: dict[str, float] = {}
    faults = []
    for line, cells in [(1, head), *rows]:
        texts = [c.strip() for c in cells if c.strip()]
        if not texts or texts[0].casefold() == HEAD[0]:
            continue
        try:
            name, size = matter(" = ".join(texts[:2]))
            found[name] = size
        except ValueError as error:
            faults.append(f"line {line}: {', '.join(texts)[:80]!r} cannot be read; wanted {error}")
    if faults:
        raise LogbookError(f"{path} has faults", *faults[:20], next_step="put them right, or delete the file")
    return found


def matters_beside(logbook: Path) -> dict[str, float]:
    """Return what change matters from the file that lies beside a logbook, or in its folder; nothing where there is none."""
    folder = logbook if logbook.is_dir() else logbook.parent
    path = folder / FILE
    return read_matters(path) if path.is_file() else {}
