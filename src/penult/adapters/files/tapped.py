"""What a coach tapped on the page of a running session: athlete, kind and mats of each clip, and of those to come.

Kept beside the clips, written whole at every tap, so that nothing is lost when the program is killed. It stands over what
`session.csv` says, which is never written to.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from penult.core import typed
from penult.errors import InputError
from penult.model.analysis import Mat
from penult.whole_file import write_whole

NAME = ".penult_tapped.json"
FORMAT = "penult-tapped/1"
_LARGEST_BYTES = 5_000_000
_LONGEST = 200
_MOST_CLIPS = 5000


@dataclass(frozen=True, slots=True, kw_only=True)
class Tap:
    """What was tapped of one clip; None means 'nothing': then what `session.csv` says holds."""

    athlete: str | None = None
    kind: str | None = None
    mats: tuple[Mat, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Taps:
    """By the clip's file name, and for clips to come."""

    clips: Mapping[str, Tap] = field(default_factory=dict)
    next: Tap = field(default_factory=Tap)

    def of(self, file: str) -> Tap:
        """Return what was tapped of a clip."""
        return self.clips.get(file, Tap())


def tap_of(content: Mapping[str, Any]) -> Tap:
    """Return a tap from plain data, as the page sends it and the file holds it.

    Raises
    ------
    InputError
        If it is none.
    """
    athlete, kind = (_text(content.get(name), name) for name in ("athlete", "kind"))
    mats = content.get("mats")
    if mats is None:
        return Tap(athlete=athlete, kind=kind)
    try:
        return Tap(athlete=athlete, kind=kind, mats=typed.mats(str(mats)[:_LONGEST]) if mats else ())
    except ValueError as error:
        raise InputError(f"the mats {str(mats)[:_LONGEST]!r} cannot be read", f"wanted: {error}") from error


def plain(tap: Tap) -> dict[str, Any]:
    """Return a tap as plain data; mats as they would be typed."""
    mats = None if tap.mats is None else "; ".join(f"{m.number}={m.thickness_m:g}" for m in tap.mats)
    return {"athlete": tap.athlete, "kind": tap.kind, "mats": mats}


def read_taps(folder: Path) -> Taps:
    """Return what was tapped in a folder; nothing where there is no such file or it is not ours."""
    with suppress(OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError, InputError):
        path = folder / NAME
        content = json.loads(path.read_bytes()) if path.stat().st_size < _LARGEST_BYTES else {}
        if content["format"] == FORMAT and len(content["clips"]) <= _MOST_CLIPS:
            clips = {str(name): tap_of(tap) for name, tap in content["clips"].items()}
            return Taps(clips=clips, next=tap_of(content["next"]))
    return Taps()


def write_taps(folder: Path, taps: Taps) -> None:
    """Write them whole or not at all."""
    content = {
        "format": FORMAT,
        "clips": {name: plain(tap) for name, tap in taps.clips.items()},
        "next": plain(taps.next),
    }
    write_whole(folder / NAME, json.dumps(content, indent=1, ensure_ascii=False).encode("utf-8", errors="replace"))


def _text(value: object, name: str) -> str | None:
    if value is None:
        return None
    if not isinstance(value, str) or len(value) > _LONGEST:
        raise InputError(f"the {name} must be a text of at most {_LONGEST} characters")
    return value.strip()
