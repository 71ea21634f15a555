"""Slips that everybody makes once: arguments exchanged, a lane file forgotten. Each is answered with the next step."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

_CLIPS = frozenset({".mp4", ".mov", ".m4v", ".avi", ".mkv", ".webm", ".mpg", ".mpeg", ".3gp", ".mts"})
_MOST_NAMED = 4


def is_film(path: Path) -> bool:
    """Tell by its name whether a path is a clip."""
    return path.suffix.lower() in _CLIPS


def lane_of(clip: Path, calib: Path | None, command: str = "analyse") -> Path:
    """Return the lane file that was given.

    Parameters
    ----------
    clip : Path
        The clip, or the folder of a session.
    calib : Path, optional
    command : str
        For the next step.

    Raises
    ------
    InputError
        If it is missing (those at hand are named), or the two arguments are exchanged.
    """
    from penult.errors import InputError

    if calib is None:
        found = list(lanes_near(clip))
        named = ", ".join(str(p) for p in found[:_MOST_NAMED]) or "none beside the clip or here"
        lane = found[0] if found else Path("lane.json")
        raise InputError(
            "the lane file is missing: --calib FILE",
            f"lane files at hand: {named}",
            next_step=f"penult {command} {clip} --calib {lane}"
            + ("" if found else "; 'penult calibrate' makes one from a still of the empty runway"),
        )
    if clip.suffix.lower() == ".json" and (is_film(calib) or calib.is_dir()):
        raise InputError(
            "the clip and the lane file are exchanged",
            f"{clip} is a lane file, {calib} is no lane file",
            next_step=f"penult {command} {calib} --calib {clip}",
        )
    if is_film(calib):
        raise InputError(
            f"--calib {calib} is a film, not a lane file",
            next_step="give the .json file that 'penult calibrate' wrote; the clip comes first, without an option",
        )
    return calib


def lanes_near(clip: Path) -> Iterable[Path]:
    """Return the lane files beside a clip (or in a session's folder) and in the folder of the command, newest first."""
    from penult.app.known_lanes import lanes_near as near

    return near(clip)
