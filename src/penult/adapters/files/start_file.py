"""What the start page remembers from one day to the next: folder, lane file, whether the logbook is kept. Paths alone, no words.

It lies beside the logbook and its owner alone may read it. One that is damaged or away costs the remembering, nothing else.
"""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from penult.whole_file import read_whole, told, write_whole

NAME = "start.json"
FORMAT = "penult-start/1"
_LARGEST_BYTES = 200_000
_MOST = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Remembered:
    """Folders and lane files, the latest first, and whether results go into the logbook."""

    folders: tuple[str, ...] = ()
    lanes: tuple[str, ...] = ()
    logs: bool = True

    def with_day(self, folder: Path, lane: Path, *, logs: bool) -> Remembered:
        """Return what is remembered once a day has begun in a folder with a lane file."""
        return Remembered(folders=_first(folder, self.folders), lanes=_first(lane, self.lanes), logs=logs)

    def with_lane(self, lane: Path) -> Remembered:
        """Return what is remembered once a lane file has been made or chosen."""
        return Remembered(folders=self.folders, lanes=_first(lane, self.lanes), logs=self.logs)


def read_start(logbook: Path) -> Remembered:
    """Return what is remembered beside a logbook; nothing where there is no such file or it is not ours."""
    with suppress(OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        content = json.loads(read_whole(logbook.parent / NAME, _LARGEST_BYTES))
        if content["format"] == FORMAT:
            folders, lanes = (tuple(str(p) for p in content[key][:_MOST]) for key in ("folders", "lanes"))
            return Remembered(folders=folders, lanes=lanes, logs=bool(content["logs"]))
    return Remembered()


def write_start(logbook: Path, remembered: Remembered) -> None:
    """Write it whole or not at all; a place that cannot be written only costs the remembering."""
    content = {
        "format": FORMAT,
        "folders": list(remembered.folders),
        "lanes": list(remembered.lanes),
        "logs": remembered.logs,
    }
    with suppress(OSError):
        logbook.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        write_whole(logbook.parent / NAME, json.dumps(content, indent=1).encode(), is_private=True)


def _first(path: Path, others: tuple[str, ...]) -> tuple[str, ...]:
    text = told(str(path.resolve()))
    return (text, *(p for p in others if p != text))[:_MOST]
