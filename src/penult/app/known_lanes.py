"""Which lane files are at hand: beside the clips, in the folder of the command, where penult wrote before, or remembered."""

from __future__ import annotations

import json
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

_LARGEST_BYTES = 5_000_000
_MOST_FOLDERS, _MOST_FILES = 60, 400


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownLane:
    """A lane file as it is chosen by: where it lies, when it was written (seconds since 1970), its marks, size and note."""

    path: Path
    written_s: float
    marks: int
    size_px: tuple[int, int]
    note: str
    still: Path | None
    is_panned: bool


def lanes_near(clip: Path) -> list[Path]:
    """Return the lane files beside a clip (or in a session's folder) and in the folder of the command, newest first."""
    folders = dict.fromkeys([clip if clip.is_dir() else clip.parent, Path()])
    return lanes_in(folders)


def lanes_in(folders: Iterable[Path]) -> list[Path]:
    """Return the lane files that lie in folders (not below them), newest first."""
    found: list[Path] = []
    for folder in list(folders)[:_MOST_FOLDERS]:
        with suppress(OSError):
            found += [p for p in sorted(folder.glob("*.json"))[:_MOST_FILES] if _content(p)]
    return sorted(dict.fromkeys(found), key=lambda p: p.stat().st_mtime, reverse=True)


def known_lane(path: Path) -> KnownLane | None:
    """Return what a lane file says of itself, unchecked; None where it is none or is not there."""
    content = _content(path)
    if content is None:
        return None
    size = content.get("image_size_px")
    still = content.get("still")
    beside = path.with_name(Path(still).name) if isinstance(still, str) and still else None
    marks = content.get("marks")
    return KnownLane(
        path=path,
        written_s=path.stat().st_mtime,
        marks=len(marks) if isinstance(marks, list) else 0,
        size_px=_size(size),
        note=str(content.get("note") or "")[:200],
        still=beside if beside is not None and beside.is_file() else None,
        is_panned="panorama" in content,
    )


def _size(size: object) -> tuple[int, int]:
    if isinstance(size, list) and len(size) == 2 and all(isinstance(n, int) for n in size):
        return size[0], size[1]
    return 0, 0


def _content(path: Path) -> dict[str, object] | None:
    try:
        if not path.is_file() or path.stat().st_size > _LARGEST_BYTES:
            return None
        content = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    is_lane = isinstance(content, dict) and str(content.get("format", "")).startswith("penult-calibration/")
    return content if is_lane else None
