"""Which frames the pose model looks at, and through what; and the name under which what it saw is kept. Quick to load."""

from __future__ import annotations

from penult.adapters import pose
from penult.adapters.caches import keypoint_cache
from penult.model.method import METHOD

CROP_BODIES = 2.75
"""Side of the crop in body heights: 1.25 lost people in blurred clips, 2 to 3.5 did not (DEVELOPERS.md)."""

ENOUGH_HZ = 75.0
"""The model looks at no fewer frames a second than this, 80 of 240. On seven films of 240 Hz with known truth 60 found all contacts
too, but: smallest knee angle 4.96 -> 5.07 deg RMS, leg at take-off touchdown 0.62 -> 0.82, foot speed of 28 contacts for 31."""

SUPPORT_HZ = 120.0
"""In supports it looks at no fewer than this, which is every second frame of 240 Hz and those of the first look besides. On the
same films: smallest knee angle 5.0 deg RMS (at every frame 4.8)."""

LEAD_S = 0.04
"""... beginning so long before a support, which rough instants have 15 ms early: the foot's speed is told from the last 48 ms."""

DITHER = 0.08
"""For this the crop is moved and resized from frame to frame by up to this share of a body height. What the model adds of its own
depends on where the body lies in the crop; unless that changes it is the same in all frames of a support and no fit averages it
away: hip drop 0.91 cm RMS without, 0.77 with (the same films). Not in the first look, which has to find the supports: at 0.04
it lost a foot at the picture's edge, and where it is the only look, at 120 Hz and less, 0.02 made knees worse (3.2 to 5.8 deg)."""


def every_in_supports(rate_hz: float) -> int:
    """Of so many frames in a support the second look takes one."""
    return _every(rate_hz, SUPPORT_HZ)


def every_at_first(rate_hz: float) -> int:
    """Of so many frames the first look, which finds the supports, takes one."""
    return _every(rate_hz, ENOUGH_HZ)


def _every(rate_hz: float, least_hz: float) -> int:
    """Of so many frames one is enough; a rate of 239.8 counts as one of 240."""
    return max(int(1.01 * rate_hz / least_hz), 1)


def cache_key(clip_sha256: str) -> str:
    """Return the name under which the joints of a clip are kept."""
    return _key_of(clip_sha256, METHOD)


def every_cache_key(clip_sha256: str) -> list[str]:
    """Return the names under which this method and those before it kept the joints of a clip."""
    return [_key_of(clip_sha256, method) for method in range(METHOD + 1)]


def _key_of(clip_sha256: str, method: int) -> str:
    return keypoint_cache.key_of("joints", clip_sha256, pose.MODEL_SHA256, method)
