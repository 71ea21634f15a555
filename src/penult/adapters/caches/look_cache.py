"""What the first look at a clip found that does not depend on the lane's marks, kept between runs.

With it, another lane file with the same still needs no second pass over the clip: the still's corners as they were seen, from
which the camera is solved anew, and outlines of what moved. No picture is kept.
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from penult.adapters.caches import keypoint_cache
from penult.adapters.pictures.background import Observation
from penult.model.arrays import Bools, Floats, Ints

MOST_BYTES = 40_000_000
"""More is not kept: movement in ten minutes of film has this size."""

NAMES = ("time_s", "outline", "width", "state", "seen", "start", "changes", "quantiser")


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstLook:
    """Movement in the pictures that were searched, and the camera's way through all frames.

    Parameters
    ----------
    time_s : (n,) float64
        Of the pictures in which movement was looked for.
    outlines : (n, h, ceil(w / 8)) uint8
        Where they show it, eight pixels of a row in a byte.
    width : int
        w.
    state : (t,) int64
        For every frame of the clip, which observation its camera rests on; -1 where the still was not found in it.
    observed : tuple of Observation
    changes : (t, 3) float64
        How much changes from picture to picture, see `adapters.pictures.changes`.
    quantiser : float, optional
        Median of the pictures, where the decoder says it.
    """

    time_s: Floats
    outlines: NDArray[np.uint8]
    width: int
    state: Ints
    observed: tuple[Observation, ...]
    changes: Floats
    quantiser: float | None

    def masks(self) -> Iterator[tuple[float, Bools]]:
        """Yield time and (h, w) bool of every picture."""
        for time_s, packed in zip(self.time_s.tolist(), self.outlines, strict=True):
            yield time_s, np.unpackbits(packed, axis=1)[:, : self.width].astype(bool)


def read(key: str, frames: int) -> FirstLook | None:
    """Return what was kept of a clip of so many frames, or None when there is nothing sound."""
    stored = keypoint_cache.read_arrays(key, NAMES)
    if stored is None or not _is_sound(stored, frames):
        return None
    pairs = zip(stored["seen"], stored["start"], strict=True)
    return FirstLook(
        time_s=stored["time_s"].astype(float),
        outlines=stored["outline"],
        width=int(stored["width"][0]),
        state=stored["state"].astype(np.int64),
        observed=tuple(Observation(seen=seen.astype(float), start=start.astype(float)) for seen, start in pairs),
        changes=stored["changes"],
        quantiser=None if np.isnan(stored["quantiser"][0]) else float(stored["quantiser"][0]),
    )


def write(key: str, look: FirstLook) -> None:
    """Keep a first look, unless it is too large."""
    arrays: dict[str, NDArray[Any]] = {
        "time_s": look.time_s,
        "outline": look.outlines,
        "width": np.array([look.width]),
        "state": look.state,
        "seen": np.stack([o.seen for o in look.observed]),
        "start": np.stack([o.start for o in look.observed]),
        "changes": look.changes,
        "quantiser": np.array([np.nan if look.quantiser is None else look.quantiser]),
    }
    if sum(a.nbytes for a in arrays.values()) <= MOST_BYTES:
        keypoint_cache.write_arrays(key, arrays)


def is_look(file: Path) -> bool:
    """Whether an entry of the cache is a first look, or cannot be told."""
    try:
        with zipfile.ZipFile(file) as inside:
            return "outline.npy" in inside.namelist()
    except (OSError, zipfile.BadZipFile):
        return True


def _is_sound(stored: dict[str, NDArray[Any]], frames: int) -> bool:
    time_s, outline, width, state, seen, start, changes, quantiser = (stored[name] for name in NAMES)
    if (
        changes.dtype != np.float64
        or changes.shape != (frames, 3)
        or quantiser.shape != (1,)
        or quantiser.dtype.kind != "f"
    ):
        return False
    kinds = [a.dtype.kind for a in (time_s, outline, width, state, seen, start)]
    if kinds != ["f", "u", "i", "i", "f", "f"] or outline.dtype != np.uint8:
        return False
    if time_s.ndim != 1 or outline.ndim != 3 or width.shape != (1,) or state.shape != (frames,):
        return False
    if seen.ndim != 3 or seen.shape[2] != 2 or start.shape != (len(seen), 7) or not len(seen) or not len(time_s):
        return False
    within = int(state.min()) >= -1 and int(state.max()) < len(seen)
    return bool(len(outline) == len(time_s) and 0 < int(width[0]) <= 8 * outline.shape[2] and within)
