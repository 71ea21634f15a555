"""Which frames the pose model looks at, and through what; and the name under which what it saw is kept. Quick to load."""

from __future__ import annotations

from penult.adapters import keypoint_cache, pose
from penult.model.settings import Settings

CROP_BODIES = 2.75
"""Side of the crop in body heights: 1.25 lost people in blurred clips, 2 to 3.5 did not (DEVELOPERS.md)."""

SUPPORT_HZ = 120.0
"""In supports the model looks at no fewer frames a second than this, which is every second one of 240 Hz. On seven films of 240 Hz
with known truth: smallest knee angle 4.8 deg RMS, as with every frame (5.05 with 80 a second)."""

ENOUGH_HZ = 75.0
"""Outside supports at half as many as inside, 60 of 240, if that is fewer than all; at lower rates at no fewer than 75. With 60 all
contacts of eight films of 240 Hz were found with the right foot, and all bars kept; against 80 a second, leg at take-off
touchdown 0.6 -> 1.0 deg, knee at touchdown 3.0 -> 3.3, smallest knee angle 4.9 -> 4.8, two of 31 foot speeds fewer."""

LEAD_S = 0.04
"""A support is looked at closely from so long before it begins: the foot's speed is told over this time and the 20 ms before it
(`foot_speed_touchdown_m_per_s`)."""

DITHER = 0.08
"""For this the crop is moved and resized from frame to frame by up to this share of a body height. What the model adds of its own
hangs on where the body lies in the crop; unless that changes it is the same in all frames of a support and no fit averages it
away: hip drop 0.91 cm RMS without, 0.77 with (the same films). Not in the first look, which has to find the supports: at 0.04
it lost a foot at the picture's edge, and where it is the only look, at 120 Hz and less, 0.02 made knees worse (3.2 to 5.8 deg)."""


def every_in_supports(rate_hz: float) -> int:
    """Of so many frames in a support the model looks at one."""
    return _every(rate_hz, SUPPORT_HZ)


def every_at_first(rate_hz: float) -> int:
    """Of so many frames the first look, which finds the supports, takes one: a multiple of those in supports."""
    in_supports = every_in_supports(rate_hz)
    return 2 * in_supports if in_supports > 1 else _every(rate_hz, ENOUGH_HZ)


def _every(rate_hz: float, least_hz: float) -> int:
    """Of so many frames one is enough; a rate of 239.8 counts as one of 240."""
    return max(int(1.01 * rate_hz / least_hz), 1)


def cache_key(clip_sha256: str, settings: Settings) -> str:
    """Return the name under which the joints of this athlete in this clip are kept."""
    method = (CROP_BODIES, ENOUGH_HZ, SUPPORT_HZ, LEAD_S, DITHER)
    return keypoint_cache.key_of(clip_sha256, pose.MODEL_SHA256, method, settings.run, settings.at)
