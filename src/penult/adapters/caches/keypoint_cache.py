"""What is kept between runs, named by everything that it depends on: what the pose model saw of a frame through a crop, and where
the first look saw the camera and movement. With it or without, a result is the same. Numbers and outlines only, no picture."""

from __future__ import annotations

import hashlib
import io
import os
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from penult.adapters.files.npz import unpacked
from penult.model.arrays import Floats, Ints
from penult.model.skeleton import JOINTS
from penult.whole_file import ASIDE, read_whole, write_whole

MOST_BYTES = 500_000_000
"""The cache is trimmed to this, oldest entries first: some 10,000 clips of 1.5 s at 240 frames a second."""

MOST_ENTRY_BYTES = 50_000_000
"""A larger file is not one of ours."""

MOST_UNPACKED_BYTES = 100_000_000
"""The longest clip that is read has half of this."""


def cache_folder() -> Path:
    """Return where keypoints are kept: $PENULT_CACHE, else the user's cache folder."""
    said = os.environ.get("PENULT_CACHE")
    if said:
        return Path(said)
    base = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA")
    return (Path(base) if base else Path.home() / ".cache") / "penult" / "keypoints"


def key_of(*parts: object) -> str:
    """Return the name of an entry from everything that its content depends on."""
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:40]


def of_clip(key: str, clip_sha256: str) -> str:
    """Return the name of an entry that says whose clip it is of, to those who know the clip."""
    return f"{key}-{key_of('clip', clip_sha256)[:16]}"


def is_kept(key: str) -> bool:
    """Whether there is an entry, sound or not."""
    return (cache_folder() / f"{key}.npz").exists()


@dataclass(frozen=True, slots=True, kw_only=True)
class Looks:
    """What the pose model saw, look by look.

    Parameters
    ----------
    frame : (n,) int64
        The frame that was looked at; a frame may be looked at through several crops.
    crop : (n, 4) float64
        What it was looked at through: centre x and y, side, and height of a body there, in pixels.
    joints : (n, k, 3) float64
        x, y, score, in the precision of float32; NaN and a score of 0 where nobody was found.
    """

    frame: Ints
    crop: Floats
    joints: Floats


def read(key: str) -> Looks | None:
    """Return what was seen at earlier times, or None when there is no sound entry."""
    stored = read_arrays(key, ("frame", "crop", "joints"))
    if stored is None:
        return None
    frame, crop, joints = stored["frame"], stored["crop"], stored["joints"]
    sound = frame.ndim == 1 and frame.dtype.kind == "i" and joints.shape == (len(frame), len(JOINTS), 3)
    sound = sound and crop.shape == (len(frame), 4) and crop.dtype == np.float64 and joints.dtype.kind == "f"
    return Looks(frame=frame, crop=crop, joints=joints.astype(float)) if sound else None


def write(key: str, looks: Looks) -> None:
    """Keep what was seen; a cache that cannot be written is no reason to fail."""
    write_arrays(key, {"frame": looks.frame, "crop": looks.crop, "joints": looks.joints.astype(np.float32)})


def read_arrays(key: str, names: tuple[str, ...]) -> dict[str, NDArray[Any]] | None:
    """Return the arrays of an entry, or None when there is no sound entry with just these; shapes are the caller's to check."""
    file = cache_folder() / f"{key}.npz"
    try:
        stored = unpacked(read_whole(file, MOST_ENTRY_BYTES), most_arrays=len(names), most_bytes=MOST_UNPACKED_BYTES)
    except (OSError, ValueError):
        return None
    with suppress(OSError):
        os.utime(file)  # used just now: others go before it
    return stored if set(stored) == set(names) else None


def write_arrays(key: str, arrays: Mapping[str, NDArray[Any]]) -> None:
    """Keep arrays; a cache that cannot be written is no reason to fail."""
    folder = cache_folder()
    buffer = io.BytesIO()
    np.savez_compressed(buffer, allow_pickle=False, **arrays)
    with suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        write_whole(folder / f"{key}.npz", buffer.getvalue(), is_private=True)
        _trim(folder)


def kept() -> tuple[int, int]:
    """Return how many entries there are, and their bytes."""
    sizes = [size for file in _entries(cache_folder()) if (size := _bytes_of(file)) is not None]
    return len(sizes), sum(sizes)


def clear() -> int:
    """Remove every entry and return the bytes freed."""
    freed = 0
    for file in _entries(cache_folder()):
        freed += _bytes_of(file) or 0
        file.unlink(missing_ok=True)
    return freed


def clear_of(clip_sha256s: Iterable[str], keys: Iterable[str], unnamed: Callable[[Path], bool]) -> int:
    """Remove what was kept of some clips and return the bytes freed.

    Parameters
    ----------
    clip_sha256s : iterable of str
        The clips: entries named by `of_clip`.
    keys : iterable of str
        Names of further entries of theirs.
    unnamed : callable
        Whether an entry may be of any clip, because its name does not say; such ones go as well.
    """
    endings = tuple(of_clip("", sha256) for sha256 in clip_sha256s)
    named, freed = frozenset(keys), 0
    for file in _entries(cache_folder()):
        is_theirs = file.stem in named or file.stem.endswith(endings) or file.name.startswith(".")
        if is_theirs or ("-" not in file.stem and unnamed(file)):
            freed += _bytes_of(file) or 0
            file.unlink(missing_ok=True)
    return freed


def _bytes_of(file: Path) -> int | None:
    """Return a file's size, None if another process has just deleted it."""
    try:
        return file.stat().st_size
    except OSError:
        return None


def _entries(folder: Path) -> list[Path]:
    return [*folder.glob("*.npz"), *folder.glob(f".*{ASIDE}*")] if folder.is_dir() else []


def _trim(folder: Path) -> None:
    """Drop the entries not used for longest until the cache fits; another process may drop them at the same time."""
    known: list[tuple[float, int, Path]] = []
    for file in folder.glob("*.npz"):
        try:
            facts = file.stat()
        except FileNotFoundError:
            continue
        known.append((facts.st_mtime, facts.st_size, file))
    total = sum(size for _, size, _ in known)
    for _, size, file in sorted(known, key=lambda k: k[0]):
        if total <= MOST_BYTES:
            break
        file.unlink(missing_ok=True)
        total -= size
