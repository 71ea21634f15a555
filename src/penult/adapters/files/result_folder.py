"""A result folder as a trial: the analysis, the hip's path, the stills, and what the coach said beside it."""

from __future__ import annotations

import json
import math
import struct
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from penult.adapters.files.result_file import read_analysis
from penult.errors import ResultError
from penult.model.still import StillPicture
from penult.model.trial import HipPath, Said, Trial
from penult.whole_file import read_whole, told

SAID = "said.json"
SAID_FORMAT = "penult-said/1"
_LARGEST_PATH_BYTES = 50_000_000
_LARGEST_INDEX_BYTES = 1_000_000
_LARGEST_PICTURE_BYTES = 8_000_000
_MOST_STILLS = 60
_DEEPEST = 3


def find_results(place: Path) -> list[Path]:
    """Return the result folders at a place: itself, or those up to three folders below it.

    Raises
    ------
    ResultError
        If there is none.
    """
    if place.is_file() and place.name == "analysis.json":
        return [place.parent]
    if not place.is_dir():
        raise ResultError(f"{place} is not a result folder", "there is no such folder")
    found = sorted(p.parent for p in _below(place, _DEEPEST))
    if not found:
        raise ResultError(
            f"{place} holds no result",
            "no analysis.json in it or in the folders below it",
            next_step="analyse a clip first: analyse CLIP --calib LANE.json",
        )
    return found


def read_trial(folder: Path) -> Trial:
    """Return what a result folder holds, without its pictures.

    Raises
    ------
    ResultError
        If the analysis or the hip path in it has faults.
    """
    path = folder / "hip_path.csv"
    return Trial(
        analysis=read_analysis(folder),
        said=read_said(folder),
        folder=told(str(folder.resolve())),
        hip_path=read_hip_path(path) if path.exists() else None,
    )


def read_hip_path(path: Path) -> HipPath:
    """Return the hip path that a result holds as `hip_path.csv` (time_s, x_m, hip_height_m)."""
    try:
        lines = read_whole(path, _LARGEST_PATH_BYTES).decode("utf-8-sig").splitlines()
        columns = [lines[0].split(",").index(c) for c in ("time_s", "x_m", "hip_height_m")]
        table = np.array([[float(row.split(",")[c]) for c in columns] for row in lines[1:] if row.strip()])
    except (OSError, ValueError, IndexError) as error:
        raise ResultError(
            f"{path} is not a readable hip path", str(error)[:200], next_step="analyse the clip again"
        ) from error
    table = table.reshape(-1, 3)
    good = np.isfinite(table).all(axis=1)
    return HipPath(time_s=table[good, 0], x_m=table[good, 1], height_m=table[good, 2])


def read_stills(folder: Path, wanted: Iterable[tuple[int, str]]) -> dict[tuple[int, str], StillPicture]:
    """Return the stills of the wanted contacts and instants, as far as they are there and sound.

    A page without a picture is still a page: what is missing or broken is left out, not an error.
    """
    try:
        content = json.loads(read_whole(folder / "stills" / "index.json", _LARGEST_INDEX_BYTES))
    except (OSError, ValueError, RecursionError):
        return {}
    rows = content.get("stills", []) if isinstance(content, dict) else content
    keys = set(wanted)
    found = {}
    for row in rows[:_MOST_STILLS] if isinstance(rows, list) else []:
        still = _still(folder / "stills", row, keys)
        if still:
            found[still.contact, still.instant] = still
    return found


def read_said(folder: Path) -> Said:
    """Return what a session wrote beside a result; nothing said where there is no such file."""
    path = folder / SAID
    try:
        content = json.loads(read_whole(path, _LARGEST_INDEX_BYTES))
    except (OSError, ValueError, RecursionError):
        content = None
    if not isinstance(content, dict) or content.get("format") != SAID_FORMAT:
        return Said()
    strides, distance = content.get("approach_strides"), content.get("official_distance_m")
    return Said(
        date=_text(content, "date")[:10],
        session=_text(content, "session"),
        approach_strides=strides if isinstance(strides, int) and 0 < strides < 100 else None,
        official_distance_m=float(distance) if isinstance(distance, int | float) and 0.0 < distance < 100.0 else None,
        note=_text(content, "note"),
    )


def said_bytes(said: Said) -> bytes:
    """Return the content of `said.json`."""
    content = {
        "format": SAID_FORMAT,
        "date": said.date,
        "session": said.session,
        "approach_strides": said.approach_strides,
        "official_distance_m": said.official_distance_m,
        "note": said.note,
    }
    return (json.dumps(content, ensure_ascii=False, indent=1) + "\n").encode("utf-8", errors="replace")


def read_corrections(folder: Path) -> str:
    """Return the text of `corrections.json` beside a result; '' where there is none."""
    path = folder / "corrections.json"
    try:
        return read_whole(path, _LARGEST_INDEX_BYTES).decode("utf-8")
    except (OSError, UnicodeDecodeError):
        return ""


def _below(place: Path, depth: int) -> Iterable[Path]:
    if (place / "analysis.json").is_file():
        yield place / "analysis.json"
        return
    if depth == 0:
        return
    for folder in sorted(
        p for p in place.iterdir() if p.is_dir() and not p.name.startswith(".") and not p.is_symlink()
    ):
        yield from _below(folder, depth - 1)


def _text(content: Mapping[str, Any], key: str) -> str:
    value = content.get(key, "")
    return value[:2000].encode("utf-8", errors="replace").decode() if isinstance(value, str) else ""


def _still(folder: Path, row: Any, wanted: set[tuple[int, str]]) -> StillPicture | None:
    try:
        key = (int(row["contact"]), str(row["instant"]))
        if key not in wanted:
            return None
        name = str(row["file"])
        path = folder / name
        if Path(name).name != name or path.is_symlink():
            return None
        jpeg = read_whole(path, _LARGEST_PICTURE_BYTES)
        still = StillPicture(
            contact=key[0],
            instant=key[1],
            jpeg=jpeg,
            size_px=_jpeg_size(jpeg),
            metres_per_px=float(row["metres_per_px"]),
            ground_y_px=float(row["ground_y_px"]),
            hip_px=(float(row["hip_px"][0]), float(row["hip_px"][1])),
            direction=str(row["direction"]),
        )
    except (OSError, ValueError, KeyError, TypeError, IndexError, struct.error):
        return None
    places = (still.metres_per_px, still.ground_y_px, *still.hip_px)
    return (
        still if all(math.isfinite(v) and abs(v) < 1e5 for v in places) and 1e-4 < still.metres_per_px < 0.1 else None
    )


def _jpeg_size(data: bytes) -> tuple[int, int]:
    """Return width and height from a JPEG's frame header (ITU-T T.81, B.2.2); ValueError if it is none."""
    if data[:2] != b"\xff\xd8":
        raise ValueError("not a JPEG")
    at = 2
    while at + 9 < len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            height, width = struct.unpack(">HH", data[at + 5 : at + 9])
            if not (0 < width <= 20_000 and 0 < height <= 20_000):
                break
            return width, height
        at += 2 + struct.unpack(">H", data[at + 2 : at + 4])[0]
    raise ValueError("a JPEG without a frame header")
