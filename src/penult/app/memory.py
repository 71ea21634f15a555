"""What the pose model has seen of a clip, kept from run to run: the same frame through the same crop is never looked at twice.

Nothing else is ever taken from it, so that a result is the same whatever was tried before.
"""

from __future__ import annotations

import numpy as np

from penult.adapters.caches import keypoint_cache
from penult.adapters.caches.keypoint_cache import Looks
from penult.adapters.pose import Crop
from penult.app.plan import cache_key
from penult.model.arrays import Floats
from penult.model.skeleton import JOINTS

MOST_LOOKS = 20_000
"""Of one clip: some fifty lane files of a run of 1.5 s at 240 frames a second, 12 MB. The latest are kept."""

_View = tuple[int, float, float, float, float]


class Memory:
    """Joints by frame and crop."""

    def __init__(self, clip_sha256: str) -> None:
        self._key = cache_key(clip_sha256)
        known = keypoint_cache.read(self._key)
        views = [] if known is None else zip(known.frame.tolist(), known.crop.tolist(), strict=True)
        self._joints: dict[_View, Floats] = {
            (frame, *crop): joints
            for (frame, crop), joints in zip(views, () if known is None else known.joints, strict=True)
        }
        self._has_news = False

    def recalled(self, frame: int, crop: Crop, height_px: float) -> Floats | None:
        """Return the joints (k, 3) that were seen so, None where nobody has looked yet."""
        view = _view(frame, crop, height_px)
        joints = self._joints.pop(view, None)
        if joints is not None:
            self._joints[view] = joints  # used last: others go before it
        return joints

    def keep(self, frame: int, crop: Crop, height_px: float, joints: Floats) -> None:
        """Take note of joints (k, 3) that were seen; see `save`."""
        self._joints[_view(frame, crop, height_px)] = joints
        self._has_news = True

    def save(self) -> None:
        """Keep what was seen for another time."""
        if not self._has_news:
            return
        views = [*self._joints][-MOST_LOOKS:]
        looks = Looks(
            frame=np.array([view[0] for view in views], dtype=np.int64),
            crop=np.array([view[1:] for view in views], dtype=np.float64).reshape(-1, 4),
            joints=np.array([self._joints[view] for view in views]).reshape(-1, len(JOINTS), 3),
        )
        keypoint_cache.write(self._key, looks)


def _view(frame: int, crop: Crop, height_px: float) -> _View:
    return frame, float(crop.centre_px[0]), float(crop.centre_px[1]), float(crop.side_px), float(height_px)
