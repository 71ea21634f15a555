"""What one clip is analysed with."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from penult.model.analysis import Analysis
from penult.model.calibration import LaneFile
from penult.model.corrections import Correction
from penult.model.settings import Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A clip, its lane file, what the coach said and put right, and what is kept of it with the result."""

    clip_path: Path
    lane_path: Path
    lane: LaneFile
    settings: Settings
    done: tuple[Correction, ...]
    method: Mapping[str, Any]
    measured: Callable[[Analysis], None] = lambda analysis: None
    """Told the numbers as soon as they are there, before pictures and film."""
