"""What a session has already done, so that an interrupted one goes on where it stopped."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path

from penult.adapters.files.result_file import read_analysis
from penult.errors import PenultError
from penult.model.analysis import Analysis
from penult.model.settings import Settings
from penult.whole_file import read_whole, write_whole

STATE = ".penult_session.json"
FORMAT = "penult-session/1"
CLIP_ENDINGS = frozenset({".mp4", ".mov", ".m4v", ".avi", ".mkv", ".webm", ".mpg", ".mpeg", ".3gp", ".mts"})
_LARGEST_BYTES = 20_000_000


def clips_in(folder: Path) -> list[Path]:
    """Return the clips of a session's folder by name; hidden files and folders below are no clips of it."""
    found = (p for p in folder.iterdir() if p.suffix.lower() in CLIP_ENDINGS and p.is_file() and p.name[:1] != ".")
    return sorted(found, key=lambda p: p.name)


def result_folders(clips: list[Path]) -> dict[Path, Path]:
    """Return a result folder for each clip, beside it; clips that differ in their ending only get different ones."""
    stems = [c.stem for c in clips]
    return {
        c: c.with_name(f"{c.stem if stems.count(c.stem) == 1 else c.name.replace('.', '_')}_analysis") for c in clips
    }


def sha256_of(path: Path) -> str:
    """Return the hash of a file's bytes."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def request_key(settings: Settings, lane_sha256: str, version: str) -> str:
    """Return what a result depends on beside the clip: another lane file or another word of the coach asks for a new one."""
    text = json.dumps([asdict(settings), lane_sha256, version], sort_keys=True, default=str)
    return hashlib.sha256(text.encode("utf-8", errors="replace")).hexdigest()


def read_state(folder: Path) -> dict[str, dict[str, str]]:
    """Return what is known of each clip by its file name; nothing where the file is missing or not ours."""
    try:
        path = folder / STATE
        content = json.loads(read_whole(path, _LARGEST_BYTES))
        clips = content["clips"] if content["format"] == FORMAT else {}
        return {str(k): {str(a): str(b) for a, b in v.items()} for k, v in clips.items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}


def write_state(folder: Path, clips: Mapping[str, Mapping[str, str]]) -> None:
    """Write the state whole or not at all; a folder that cannot be written only costs the resuming."""
    content = json.dumps({"format": FORMAT, "clips": clips}, indent=1)
    with suppress(OSError):
        write_whole(folder / STATE, content.encode("utf-8", errors="replace"), is_private=True)


def finished(known: Mapping[str, str] | None, sha256: str, key: str, result: Path) -> Analysis | None:
    """Return the result of a clip if it is there and still answers the same question."""
    if not known or known.get("sha256") != sha256 or known.get("key") != key:
        return None
    try:
        analysis = read_analysis(result)
    except PenultError:
        return None
    return analysis if analysis.clip.sha256 == sha256 else None
