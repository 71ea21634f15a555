"""Following the camera: a drawn scene of ground, wall and box whose cameras are known exactly, and the films."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from penult.adapters.files.lane_file import read_lane, read_still
from penult.adapters.pictures.background import Follower, follow_clip
from penult.core.lane import pinhole
from penult.core.lane.camera import position_m, project
from penult.core.lane.fit import fit_lane
from penult.core.moving_camera.camera_path import FollowedClip
from penult.errors import CalibrationError, ViewError
from penult.model.arrays import Floats, Image
from penult.model.calibration import Camera, LaneFile, LaneFit, Mark
from penult.model.clip import Frame

FILMS = Path(os.environ.get("PENULT_SHARED", "missing")) / "films"
SIZE_PX = (640, 360)
RUN_PLANE = np.array([(x, y, 0.0) for x in np.linspace(-6.0, 1.0, 8) for y in (0.0, 0.5, 1.0)])


def camera(
    *, yaw_deg: float = 0.0, roll_deg: float = 0.0, place_m: tuple[float, ...] = (-2.6, 1.2, 12.0), zoom: float = 1.0
) -> Camera:
    """A camera on the athlete's right, turned towards the pit, tilted down a little, of 57 degrees view angle."""
    rotation = np.diag([1.0, -1.0, -1.0])
    for turn_deg in ((0.0, yaw_deg, 0.0), (0.6, 0.0, 0.0), (0.0, 0.0, roll_deg)):
        rotation = cv2.Rodrigues(np.radians(turn_deg))[0] @ rotation
    place = np.array(place_m)
    pose = [*cv2.Rodrigues(rotation)[0].ravel(), *(-rotation @ place), np.log(590.0 * zoom), 0.0, 0.0]
    return Camera(
        parameters=np.array(pose),
        covariance=np.zeros((9, 9)),
        image_size_px=SIZE_PX,
        centre_px=((SIZE_PX[0] - 1) / 2.0, (SIZE_PX[1] - 1) / 2.0),
    )


def fit_of(seen_by: Camera) -> LaneFit:
    lane = LaneFile(image_size_px=SIZE_PX, marks=(Mark(name="m", pixel_px=(0.0, 0.0), runway_m=(0.0, 0.0, 0.0)),))
    return LaneFit(lane=lane, camera=seen_by, residuals=(), rms_px=0.0, depth_known=True, view_angle_deg=0.0)


def texture(seed: int) -> Floats:
    rng = np.random.default_rng(seed)
    whole = np.full((1024, 1024), 128.0)
    for coarse in (4, 16, 64):
        noise = rng.normal(0.0, 24.0, (1024 // coarse,) * 2)
        whole += cv2.resize(noise, (1024, 1024), interpolation=cv2.INTER_CUBIC)
    return whole


# axis and value of each plane, its texture, metres a texel, and the part of the plane that is there
PLANES = [
    (1, 0.0, texture(1), 0.03, None),
    (2, -6.0, texture(2), 0.03, None),
    (2, -3.0, texture(3), 0.015, ((-4.0, -2.5), (0.0, 1.2))),
]


def picture(seen_by: Camera, *, light: float = 1.0, noise: float = 2.0) -> Image:
    """What the camera sees of the planes: the nearest one on each pixel's line of sight."""
    width, height = SIZE_PX
    pixels = np.stack(np.meshgrid(np.arange(width), np.arange(height)), axis=-1).reshape(-1, 2).astype(float)
    flat = pinhole.straight(seen_by.parameters, seen_by.centre_px, pixels)
    along = np.column_stack([flat, np.ones(len(flat))]) @ pinhole.rotation(seen_by.parameters)
    lens, shade, nearest = position_m(seen_by), np.full(len(flat), 90.0), np.full(len(flat), np.inf)
    for axis, value, pattern, texel_m, part in PLANES:
        reach = (value - lens[axis]) / along[:, axis]
        where = lens + reach[:, None] * along
        across = where[:, [i for i in range(3) if i != axis]]
        seen = (reach > 0.0) & (reach < nearest) & (reach < 100.0)
        if part is not None:
            seen &= ((across > np.array(part)[:, 0]) & (across < np.array(part)[:, 1])).all(axis=1)
        place = np.mod(across / texel_m, 1024.0).astype(np.float32).reshape(height, width, 2)
        drawn = cv2.remap(pattern, place[..., 0], place[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)
        shade[seen], nearest[seen] = drawn.ravel()[seen], reach[seen]
    grains = np.random.default_rng(int(1e6 * abs(seen_by.parameters[0])) % 1000).normal(0.0, noise, shade.shape)
    grey = np.clip(light * shade + grains, 0, 255).astype(np.uint8).reshape(height, width)
    return np.ascontiguousarray(np.repeat(grey[..., None], 3, axis=2))


def off_px(found: Camera, truth: Camera) -> float:
    """RMS error over the run plane, in pixels."""
    return float(np.sqrt(((project(found, RUN_PLANE) - project(truth, RUN_PLANE)) ** 2).sum(axis=1).mean()))


STILL = picture(camera())


@pytest.mark.parametrize(
    ("name", "truth"),
    [
        ("same", camera()),
        ("bumped", camera(yaw_deg=2.0, roll_deg=0.8, place_m=(-2.64, 1.23, 11.98))),
        ("set up again", camera(yaw_deg=-1.5, roll_deg=-2.0, place_m=(-2.4, 1.35, 12.1))),
        ("sideways, the far wall in the majority", camera(place_m=(-2.3, 1.2, 12.0))),
        ("higher", camera(place_m=(-2.6, 1.5, 12.0))),
        ("focused anew", camera(zoom=1.01)),
        ("panned", camera(yaw_deg=20.0)),
    ],
)
def test_the_camera_is_found_again(name: str, truth: Camera) -> None:
    """The run plane within 0.25 px, which is 0.5 cm here: turn, shift, height and focus each told apart."""
    found = Follower(fit_of(camera()), STILL).camera_of(picture(truth))

    assert found is not None, name
    assert found.shift.fits
    assert off_px(found.camera, truth) < 0.25
    corner = cv2.perspectiveTransform(project(truth, [[[-5.0, 1.2, -6.0]]]), found.homography_to_still)
    assert corner[0, 0] == pytest.approx(project(camera(), [-5.0, 1.2, -6.0]), abs=8.0)  # parallax


def test_light_people_and_things_taken_away_do_no_harm() -> None:
    """Half the light, a fifth of the picture covered, a patch of the still that is gone: still found."""
    truth = camera(yaw_deg=2.0)
    frame = picture(truth, light=0.5)
    frame[100:300, 250:380] = 40
    still = STILL.copy()
    still[60:330:30, 100:110] = 250  # poles that stood there for the calibration

    found = Follower(fit_of(camera()), still).camera_of(frame)

    assert found is not None
    assert off_px(found.camera, truth) < 0.3


def test_corners_under_the_mask_are_not_looked_at() -> None:
    """A mover that fills the mask and drags its own texture along must not count."""
    truth = camera(yaw_deg=1.0)
    frame, mask = picture(truth), np.zeros(SIZE_PX[::-1], dtype=bool)
    mask[:, :320] = True
    follower = Follower(fit_of(camera()), STILL)

    found = follower.camera_of(frame, mask)

    assert found is not None
    still_corners = follower._still
    assert still_corners is not None
    used = project(truth, np.array([[-2.6, 1.0, 0.0]]))[0, 0]  # about the middle of the picture
    agreeing = still_corners.points[found.shift.agrees]
    assert agreeing[:, 0].min() > used - 330 + 300


def test_a_camera_s_uncertainty_grows_with_what_it_did() -> None:
    """The lane's own covariance goes along with a turn; the registration adds to it, and never takes away."""
    places = [(x, y, 0.0) for x in (-6.0, -3.0, 0.5) for y in (0.0, 1.0, 2.0)] + [(0.0, 0.0, 0.6), (0.0, 0.0, -0.6)]
    pixels = project(camera(), places) + np.random.default_rng(1).normal(0.0, 0.4, (len(places), 2))
    marks = [
        Mark(name=str(i), pixel_px=(float(u), float(v)), runway_m=p)
        for i, ((u, v), p) in enumerate(zip(pixels, places, strict=True))
    ]
    fit = fit_lane(LaneFile(image_size_px=SIZE_PX, marks=tuple(marks), pixel_sd_px=0.4))

    found = Follower(fit, STILL).camera_of(picture(camera(yaw_deg=4.0)))

    assert found is not None
    before, after = (spread_px(c) for c in (fit.camera, found.camera))
    assert before < after < 3.0 * before


def spread_px(of: Camera) -> float:
    """RMS standard deviation over the run plane, by linear propagation."""
    nudges = 1e-6 * np.eye(9)
    slopes = np.stack(
        [
            (pinhole.seen_px(of.parameters + n, of.centre_px, RUN_PLANE) - project(of, RUN_PLANE)).ravel() / 1e-6
            for n in nudges
        ],
        axis=1,
    )
    return float(np.sqrt(np.trace(slopes @ of.covariance @ slopes.T) / len(RUN_PLANE)))


def frames(cameras: list[Camera], *, rate_hz: float = 60.0) -> Iterator[Frame]:
    for i, seen_by in enumerate(cameras):
        yield Frame(index=i, time_s=i / rate_hz, image=picture(seen_by))


def test_a_clip_from_the_same_place_keeps_the_lane_s_camera() -> None:
    """One camera, exactly the lane's: nothing is re-solved where nothing moved."""
    lane_camera = camera()

    followed = follow_clip(fit_of(lane_camera), STILL, frames([lane_camera] * 5))

    assert followed.kind == "same"
    assert followed.cameras == (lane_camera,)
    assert followed.notices == ()
    assert followed.shift_px.shape == (5,)


def test_a_bumped_clip_gets_one_new_camera_and_a_notice() -> None:
    truth = camera(yaw_deg=2.0, place_m=(-2.64, 1.23, 11.98))

    followed = follow_clip(fit_of(camera()), STILL, frames([truth] * 4))

    assert followed.kind == "moved"
    assert len(followed.cameras) == 1
    assert off_px(followed.cameras[0], truth) < 0.25
    assert [n.code for n in followed.notices] == ["camera-moved"]
    assert "2.0 degrees" in followed.notices[0].text


def test_a_hand_held_clip_gets_a_camera_a_frame() -> None:
    """Shake of pixels from frame to frame is followed, not smoothed away."""
    rng = np.random.default_rng(4)
    shaken = [camera(yaw_deg=y, roll_deg=r) for y, r in rng.normal(0.0, 0.4, (8, 2))]

    followed = follow_clip(fit_of(camera()), STILL, frames(shaken))

    assert followed.kind == "moving"
    assert max(off_px(followed.camera_of(i), c) for i, c in enumerate(shaken)) < 0.25
    assert followed.to_still.shape == (8, 3, 3)


def panned(to_deg: float, n: int) -> list[Camera]:
    return [camera(yaw_deg=float(a)) for a in np.linspace(0.0, to_deg, n)]


def test_a_panning_camera_is_followed_while_a_third_of_the_still_is_seen() -> None:
    """57 degrees of view: at 35 degrees of pan about 40 % of the still is left, and it is followed to there."""
    way = panned(35.0, 15)

    followed = follow_clip(fit_of(camera()), STILL, frames(way))

    assert followed.kind == "moving"
    assert 0.3 < followed.matched_share[-1] < 0.5
    seen = np.array([(x, y, 0.0) for x in (0.0, 1.0, 2.0) for y in (0.0, 1.0)])
    assert np.abs(project(followed.cameras[-1], seen) - project(way[-1], seen)).max() < 0.5


def test_a_camera_that_pans_away_is_refused_at_that_frame() -> None:
    """The message names frame and second at which less than 30 % is left; from the pinhole formula that is ~40 deg."""
    with pytest.raises(ViewError, match=r"lost at frame (1[4-9]|2[01]) \(0\.[23]\d s\)"):
        follow_clip(fit_of(camera()), STILL, frames(panned(57.0, 25)))


def test_elsewhere_is_refused() -> None:
    """A metre aside, another zoom, another scene: each is refused, none measured with the wrong camera."""
    for wrong in (camera(place_m=(-1.4, 1.2, 12.0)), camera(zoom=1.05)):
        with pytest.raises(ViewError, match="not filmed from where"):
            follow_clip(fit_of(camera()), STILL, frames([wrong] * 2))
    noise = np.random.default_rng(0).integers(0, 255, STILL.shape).astype(np.uint8)
    with pytest.raises(ViewError, match="not filmed from where"):
        follow_clip(fit_of(camera()), STILL, (Frame(index=i, time_s=i / 30.0, image=noise) for i in range(9)))


def test_a_few_bad_frames_are_bridged() -> None:
    """A white flash of two frames is bridged between its neighbours, and shows as NaN in the shares."""
    way = panned(1.0, 8)
    clip = list(frames(way))
    for i in (3, 4):
        clip[i] = replace(clip[i], image=np.full_like(STILL, 255))

    followed = follow_clip(fit_of(camera()), STILL, clip)

    assert np.isnan(followed.matched_share).tolist() == [i in (3, 4) for i in range(8)]
    assert off_px(followed.camera_of(3), way[3]) < 0.5


def test_without_a_still_the_clip_begins_as_calibrated() -> None:
    """A standing clip is the lane's own; a shaking one is followed from its first frame and says what was assumed."""
    lane_camera = camera()
    standing = follow_clip(fit_of(lane_camera), None, frames([lane_camera] * 3))
    way = panned(2.0, 6)
    moving = follow_clip(fit_of(lane_camera), None, frames(way))

    assert standing.kind == "same"
    assert off_px(moving.camera_of(5), way[5]) < 0.25
    assert "camera-assumed" in [n.code for n in moving.notices]


def test_wrong_sizes_and_empty_pictures_are_refused() -> None:
    with pytest.raises(CalibrationError, match="640 x 360"):
        Follower(fit_of(camera()), STILL).camera_of(np.zeros((720, 1280, 3), np.uint8))
    with pytest.raises(CalibrationError, match="too little to hold on to"):
        Follower(fit_of(camera()), np.full_like(STILL, 128))


def film_frames(folder: Path, step: int) -> Iterator[Frame]:
    av = pytest.importorskip("av")
    with av.open(str(folder / "clip.mp4")) as container:
        for i, frame in enumerate(container.decode(video=0)):
            if i % step == 0:
                yield Frame(index=i, time_s=frame.time, image=frame.to_ndarray(format="rgb24"))


def followed_film(name: str, step: int) -> tuple[FollowedClip, LaneFit, dict[str, Any]]:
    path = FILMS / name / "lane.json"
    lane = read_lane(path)
    fit = fit_lane(lane)
    truth: dict[str, Any] = json.loads((FILMS / name / "truth.json").read_text())
    return follow_clip(fit, read_still(path, lane), film_frames(FILMS / name, step)), fit, truth


@pytest.mark.skipif(not FILMS.is_dir(), reason="films with known truth are not here (PENULT_SHARED)")
@pytest.mark.parametrize(("name", "kind"), [("bumped_240", "moved"), ("shake_120", "moving"), ("full_240", "same")])
def test_films_are_followed(name: str, kind: str) -> None:
    """The cameras of the films: within 0.3 px RMS in the run plane beyond what the lane file itself is off by."""
    step = 12
    followed, fit, truth = followed_film(name, step)
    marks = [m for m in json.loads((FILMS / name / "marks.json").read_text()) if m["runway_m"][2] == 0.0]
    known = truth["camera"]
    matrix, lens = np.array(known["K"]), np.array(known["dist"])
    places, pixels = (np.array([m[k] for m in marks]) for k in ("runway_m", "pixel_true"))
    _, turn, shift = cv2.solvePnP(places, pixels, matrix, lens)
    lane_off = project(fit.camera, RUN_PLANE) - cv2.projectPoints(RUN_PLANE, turn, shift, matrix, lens)[0][:, 0]
    per_frame = truth["camera_per_frame"] or [known] * (step * len(followed.shift_px))
    off = [
        project(followed.camera_of(row), RUN_PLANE)
        - cv2.projectPoints(RUN_PLANE, cv2.Rodrigues(np.array(c["R"]))[0], np.array(c["t"]), matrix, lens)[0][:, 0]
        - lane_off
        for row, c in enumerate(per_frame[::step][: len(followed.shift_px)])
    ]

    assert followed.kind == kind
    assert np.sqrt((np.array(off) ** 2).sum(axis=2).mean()) < 0.3
