"""Results and logbooks for a notebook: `results_frame`, `logbook_frame`. Only these load pandas."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from penult.app.groups import from_folders, logbook_at
from penult.model.logbook import Choice

if TYPE_CHECKING:
    import pandas as pd

_ALL_CONTACTS = -10_000


def results_frame(*places: str | Path) -> pd.DataFrame:
    """Return every measure of the results at some places, one row a measure (see `outputs.folder.frames.to_frame`).

    Parameters
    ----------
    *places : str or Path
        Result folders, or folders that hold some.

    Raises
    ------
    InputError
        No result there, or a damaged one.
    """
    from penult.outputs.folder.frames import to_frame

    return to_frame(from_folders(Path(place) for place in places))


def logbook_frame(logbook: str | Path, choice: Choice | None = None) -> pd.DataFrame:
    """Return every measure of the clips in a logbook, or of those chosen, one row a measure.

    Parameters
    ----------
    logbook : str or Path
        Its file, or a folder that 'penult log export' wrote.
    choice : Choice, optional
        Which clips; all of them without.

    Raises
    ------
    InputError
        No logbook there, or a damaged or foreign one.
    """
    from penult.outputs.folder.frames import to_frame

    with logbook_at(Path(logbook)) as log:
        return to_frame(log.trials(choice or Choice(), last=_ALL_CONTACTS))
