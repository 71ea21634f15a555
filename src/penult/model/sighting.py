"""What was seen in a film: everything that measuring needs besides it, so that a correction never opens the film again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from penult.model.analysis import Notice
from penult.model.calibration import Camera, LaneFit
from penult.model.clip import Clip
from penult.model.lane_profile import LaneProfile
from penult.model.settings import Settings
from penult.model.shoe import ShoeContact
from penult.model.track import PixelTrack
from penult.model.trunk import TrunkMotion


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """One athlete in one clip, before any measure and any correction.

    Parameters
    ----------
    clip : Clip
        Its frames and clock.
    fit : LaneFit
        Lane and camera.
    cameras : tuple of Camera
        One, or one for every frame of the clip.
    settings : Settings
        What was said on the command line.
    joints : PixelTrack
        As the pose model gave them, legs unsettled.
    profile : LaneProfile
        What moves over the lane: for picking somebody else.
    shoes : tuple of ShoeContact or None
        One for every support that the joints show, in order.
    trunks : tuple of TrunkMotion
        How the trunk moves in every flight, from its pixels.
    strides : tuple of TrunkMotion
        The same from each support into the next.
    crossed : tuple of (float, float)
        From when to when somebody else overlaps the athlete in the picture, on the clip's clock.
    notices : tuple of Notice
        Of the file and the camera.
    method : mapping
        Versions and settings to be kept with the result.
    """

    clip: Clip
    fit: LaneFit
    cameras: tuple[Camera, ...]
    settings: Settings
    joints: PixelTrack
    profile: LaneProfile
    shoes: tuple[ShoeContact | None, ...]
    trunks: tuple[TrunkMotion, ...] = ()
    strides: tuple[TrunkMotion, ...] = ()
    crossed: tuple[tuple[float, float], ...] = ()
    notices: tuple[Notice, ...] = ()
    method: Mapping[str, Any] = field(default_factory=dict)

    def track_cameras(self) -> tuple[Camera, ...]:
        """Return one camera, or those of the track's rows."""
        return self.cameras if len(self.cameras) == 1 else tuple(self.cameras[i] for i in self.joints.frame)
