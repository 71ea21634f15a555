"""Contacts as drawn events: from the pictures of the shoe where they answer, else from the joints."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from penult.core.joints.crossing import HIDDEN
from penult.core.joints.supports import Support
from penult.core.lane.camera import at_depth, project
from penult.core.measures.evidence import Event
from penult.core.shoe.contact import CONTRADICTED
from penult.core.uncertainty.draws import NUDGE, Draws, moved
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.shoe import ROUGH_TOE_SD_M, RoughContact, ShoeContact

COMMON_SHARE = 0.4
"""Share of the variance of an instant's error that all touchdowns of a clip have in common, and all toe-offs: shoe, light, shutter
and compression are the same in each. From 27 films with known truth: products of different contacts' errors are 0.22 of the
squares for touchdowns and 0.63 for toe-offs, those of touchdown and toe-off of one contact -0.11."""

ROUGH_TIME_S = (0.012, 0.012)
ROUGH_TOE_M = (0.035, 0.02)
"""What the joints alone say, corrected by their mean error and with its SD: rough supports begin 15 ms early and end 8 ms late
(SD 8 to 12 ms), and the model's toe lies 3.5 cm behind the shoe's tip (SD 2 cm), measured on films with known truth."""

ROUGH_START_S, ROUGH_END_S = 0.015, -0.008


def make_event(support: Support, shoe: ShoeContact | None, camera: Camera, z_m: float, draws: Draws) -> Event:
    """Draw one contact.

    Parameters
    ----------
    support : Support
        As the joints show it.
    shoe : ShoeContact or None
        As the pictures show it; used unless it gives a reason why it cannot be.
    camera : Camera
        At that contact.
    z_m : float
        Depth of the foot.
    draws : Draws
        For the generator and the camera's draws, shared by all contacts.
    """
    rng, count = draws.generator, len(draws.xy_m) - 1
    seen = shoe is not None and not shoe.reason
    if shoe is not None and seen:
        times = [(shoe.touchdown_s, shoe.touchdown_sd_s), (shoe.toe_off_s, shoe.toe_off_sd_s)]
        toe = (shoe.toe_x_m, shoe.toe_x_sd_m)
        height = (shoe.support_height_m, shoe.support_height_sd_m)
        angle = (shoe.foot_angle_touchdown_deg, shoe.foot_angle_touchdown_sd_deg)
    else:
        times = [(support.start_s + ROUGH_START_S, ROUGH_TIME_S[0]), (support.end_s + ROUGH_END_S, ROUGH_TIME_S[1])]
        toe = (support.toe_x_m + ROUGH_TOE_M[0], ROUGH_TOE_M[1] * draws.noise_factor)
        height = angle = (float("nan"), float("nan"))
    told = _told(support, shoe)
    shutter_s = _shutter_s(camera, (toe[0], 0.0, z_m), draws)
    place = _camera_part(camera, draws.camera_theta, (toe[0], 0.0 if np.isnan(height[0]) else height[0], z_m))
    if height[0] == 0.0:  # told from the pictures to be the runway, whose height is 0 whatever the camera
        height, place[:, 1] = (0.0, FLAT_SD_M), 0.0
    return Event(
        foot=support.foot,
        foot_sure=support.foot_sure,
        same_foot=support.same_foot,
        phase_said=support.phase_said,
        rough=not seen,
        touchdown_seen=(shoe is not None and seen and shoe.touchdown_seen) or (told[0] and support.start_seen),
        toe_off_seen=(shoe is not None and seen and shoe.toe_off_seen) or (told[1] and support.end_seen),
        touchdown_s=_instant(*times[0], draws, 0, COMMON_SHARE if seen else 0.0) + shutter_s,
        toe_off_s=_instant(*times[1], draws, 1, COMMON_SHARE if seen else 0.0) + shutter_s,
        toe_x_m=_draw(*toe, count, rng) + np.concatenate([[0.0], place[:, 0]]),
        support_height_m=_draw(*height, count, rng) + np.concatenate([[0.0], place[:, 1]]),
        foot_angle_deg=_draw(*angle, count, rng),
        foot_angle_reason="the shoe's edges cannot be told from the pictures" if np.isnan(angle[0]) else "",
        unseen_reason=CONTRADICTED if shoe is not None and shoe.reason == CONTRADICTED else "",
    )


FLAT_SD_M = 0.0015
"""How flat a runway is, one SD: under a straight edge of 1 m no dip beyond 3 mm (World Athletics, Track and Field Facilities
Manual; from memory), taken as two SD."""

SHORTEST_S = 0.05
"""Shorter contacts do not occur in running (published sprint contacts are 0.08 s and longer): only a part of it was seen."""


def _told(support: Support, shoe: ShoeContact | None) -> tuple[bool, bool]:
    """Whether the joints can tell touchdown and toe-off.

    Not where somebody crosses, nor of a stay that is too short, nor where the pictures of the shoe contradict them.
    """
    if support.end_s + ROUGH_END_S - support.start_s - ROUGH_START_S < SHORTEST_S:
        return False, False
    if shoe is None or shoe.reason not in {HIDDEN, CONTRADICTED}:
        return True, True
    return bool(np.isfinite(shoe.touchdown_s)), bool(np.isfinite(shoe.toe_off_s))


def _instant(value_s: float, sd_s: float, draws: Draws, kind: int, common: float) -> Floats:
    """The instant, then draws about it, whose variance all of a kind (0 touchdown, 1 toe-off) share by `common`."""
    own = _draw(value_s, float(np.sqrt(1.0 - common)) * sd_s, draws.shared_timing_error.shape[1], draws.generator)
    shift = float(np.sqrt(common)) * (sd_s if np.isfinite(sd_s) else 0.0) * draws.shared_timing_error[kind]
    return np.asarray(own + np.concatenate([[0.0], shift]))


def _shutter_s(camera: Camera, place_m: tuple[float, float, float], draws: Draws) -> Floats:
    """How much later than the middle of the picture its rows at the foot are read (s,), the measured one not at all."""
    if draws.readout_s is None:
        return np.zeros(len(draws.xy_m))
    share = float(project(camera, np.array(place_m))[1]) / camera.image_size_px[1] - 0.5
    return np.concatenate([[0.0], np.clip(share, -0.5, 0.5) * draws.readout_s])


def _draw(value: float, sd: float, count: int, rng: np.random.Generator) -> Floats:
    """The value, then draws about it; NaN stays NaN."""
    if not np.isfinite(value):
        return np.full(count + 1, np.nan)
    return np.concatenate([[value], value + (sd if np.isfinite(sd) else 0.0) * rng.normal(size=count)])


def _camera_part(camera: Camera, theta: Floats, place_m: tuple[float, float, float]) -> Floats:
    """How a place on the runway moves with each draw of the camera, (s, 2)."""
    pixel = project(camera, np.array(place_m))
    sd = np.sqrt(np.diag(camera.covariance))
    out = np.zeros((len(theta), 2))
    for p in np.flatnonzero(sd).tolist():
        change = at_depth(moved(camera, p, NUDGE), pixel, place_m[2]) - at_depth(
            moved(camera, p, -NUDGE), pixel, place_m[2]
        )
        out += theta[:, p : p + 1] * change / (2.0 * NUDGE)
    return out


def nearest_camera(cameras: Sequence[Camera], time_s: Floats, instant_s: float) -> Camera:
    """Return the camera of the row nearest in time."""
    return cameras[0] if len(cameras) == 1 else cameras[int(np.abs(time_s - instant_s).argmin())]


SHOE_AHEAD_M, SHOE_BEHIND_M, TOE_ABOVE_M = 0.035, 0.02, 0.025
"""The pose model's toe and heel lie inside the shoe: behind its tip, ahead of its heel, above its sole (films with known
truth; places only tell where to look)."""


def rough_contact(support: Support, z_m: float, noise_factor: float = 1.0) -> RoughContact:
    """Return where and when the pictures of the shoe are to be looked at, and how far around.

    Parameters
    ----------
    support : Support
        As the joints show it.
    z_m : float
        Depth of the toe.
    noise_factor : float
        How many times noisier the joints are than usual (`draws.noise_factor_of`): their places are that much less sure.
    """
    return RoughContact(
        foot=support.foot,
        start_s=support.start_s + ROUGH_START_S,
        end_s=support.end_s + ROUGH_END_S,
        toe_x_m=support.toe_x_m + SHOE_AHEAD_M,
        heel_x_m=support.heel_x_m - SHOE_BEHIND_M,
        y_m=max(support.toe_y_m - TOE_ABOVE_M, 0.0),
        z_m=z_m,
        toe_sd_m=ROUGH_TOE_SD_M * noise_factor,
    )
