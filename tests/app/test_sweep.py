"""From a made-up sweep to the lane file of a panned place, and a clip laid on it: what is written, found and refused."""

from __future__ import annotations

import math
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from penult.adapters.files.lane_file import read_lane
from penult.adapters.film import video
from penult.app.calibrate import Calibrated
from penult.app.lanes import LaneFacts, place_of
from penult.app.panned import panned_look
from penult.app.sweep import calibrate_from_sweep, write_clicks_page
from penult.core.lane.camera import position_m, view_angle_deg
from penult.errors import CalibrationError, ViewError
from penult.model.arrays import Floats

SIZE_PX = (960, 540)
FOCAL_PX = 1900.0
CENTRE_M = np.array([-2.0, 1.4, 15.0])
LENS = np.array([[FOCAL_PX, 0.0, 479.5], [0.0, FOCAL_PX, 269.5], [0.0, 0.0, 1.0]])
SWEEP_DEG = np.arange(-22.0, 22.0, 0.8)

Grey = NDArray[np.uint8]


def looking(turn_deg: float) -> Floats:
    """Rotation from runway axes to camera axes of a level lens on the athlete's right."""
    turn = Rotation.from_euler("y", -turn_deg, degrees=True).as_matrix()
    return np.asarray(turn @ np.diag([1.0, -1.0, -1.0]))


@pytest.fixture(scope="module")
def wall() -> Grey:
    """Things all around, as one camera of 90 degrees would see them."""
    rng = np.random.default_rng(1)
    wide = np.full((1400, 4800), 120, np.uint8)
    for _ in range(2500):
        x, y = int(rng.integers(0, 4800)), int(rng.integers(0, 1400))
        w, h = int(rng.integers(6, 60)), int(rng.integers(6, 60))
        cv2.rectangle(wide, (x, y), (x + w, y + h), int(rng.integers(20, 235)), -1)
    return np.asarray(cv2.GaussianBlur(wide, (5, 5), 0.0), dtype=np.uint8)


def picture(wall: Grey, turn_deg: float) -> Grey:
    """Homography K R K0^-1 of a camera that only turns (closed form)."""
    wide = np.array([[FOCAL_PX, 0.0, 2400.0], [0.0, FOCAL_PX, 700.0], [0.0, 0.0, 1.0]])
    turn = looking(turn_deg) @ looking(0.0).T
    return np.asarray(cv2.warpPerspective(wall, LENS @ turn @ np.linalg.inv(wide), SIZE_PX), dtype=np.uint8)


def quiet(_what: str, _share: float) -> None:
    """Show nothing."""


def film(path: Path, pictures: Iterable[Grey], rate_hz: int) -> Path:
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=rate_hz, options={"crf": "16"})
        stream.width, stream.height = SIZE_PX
        stream.pix_fmt = "yuv420p"
        stream.time_base = Fraction(1, rate_hz)
        for grey in pictures:
            container.mux(
                stream.encode(av.VideoFrame.from_ndarray(np.repeat(grey[..., None], 3, axis=2), format="rgb24"))
            )
        container.mux(stream.encode(None))
    return path


def tables(folder: Path, wrong: str = "") -> tuple[Path, Path]:
    """Places of twelve cones, and where the closed form puts them in the frames that look at them."""
    places, clicks = ["name,x_m,z_m"], ["name,frame,pixel_x,pixel_y"]
    for x in (-7.0, -5.0, -3.0, -1.0, 1.0, 3.0):
        for z, side in ((0.9, "near"), (-0.9, "far")):
            name = f"cone {x:g} {side}"
            places.append(f"{name},{x + (1.0 if name == wrong else 0.0)},{z}")
            frame = int(np.abs(SWEEP_DEG - math.degrees(math.atan2(x - CENTRE_M[0], 15.0))).argmin())
            ahead = looking(float(SWEEP_DEG[frame])) @ (np.array([x, 0.0, z]) - CENTRE_M)
            pixel = FOCAL_PX * ahead[:2] / ahead[2] + LENS[:2, 2]
            clicks.append(f"{name},{frame},{pixel[0]:.2f},{pixel[1]:.2f}")
    first, second = folder / "places.csv", folder / "clicks.csv"
    first.write_text("\n".join(places) + "\n", encoding="utf-8")
    second.write_text("\n".join(clicks) + "\n", encoding="utf-8")
    return first, second


@pytest.fixture(scope="module")
def sweep(wall: Grey, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return film(tmp_path_factory.mktemp("sweep") / "sweep.mp4", (picture(wall, t) for t in SWEEP_DEG.tolist()), 30)


@pytest.fixture(scope="module")
def made(sweep: Path, tmp_path_factory: pytest.TempPathFactory) -> Calibrated:
    """The lane file of the sweep."""
    folder = tmp_path_factory.mktemp("lane")
    return calibrate_from_sweep(sweep, *tables(folder), folder / "lane.json", LaneFacts(), quiet)


def test_a_lane_file_of_a_panned_place_says_where_the_tripod_stands(
    made: Calibrated, wall: Grey, tmp_path: Path
) -> None:
    """Place within 5 cm of the truth; a clip that looks elsewhere is laid on it frame by frame, within 0.1 degrees."""
    done, out = made, made.path

    assert position_m(done.fit.camera) == pytest.approx(CENTRE_M, abs=0.05)
    assert view_angle_deg(done.fit.camera) < 5.0
    assert {p.name for p in out.parent.iterdir()} >= {"lane.json", "lane.jpg", "lane_panorama.npz"}
    _, place = place_of(out, read_lane(out))
    assert place is not None
    turns = np.linspace(-15.0, 10.0, 40)
    clip_path = film(tmp_path / "clip.mp4", (picture(wall, t) for t in turns.tolist()), 60)
    scan = panned_look(clip_path, video.open_clip(clip_path), place, quiet)
    assert len(scan.cameras) == 40
    seen = np.degrees(
        [math.atan2(*Rotation.from_rotvec(np.array(c.parameters[:3])).as_matrix()[2, [0, 2]]) for c in scan.cameras]
    )
    assert np.abs((seen - (180.0 - turns) + 180.0) % 360.0 - 180.0).max() < 0.1
    assert [n.code for n in scan.notices] == ["camera-panned"]


def test_a_cone_misread_by_a_metre_is_named(sweep: Path, tmp_path: Path) -> None:
    places, clicks = tables(tmp_path, wrong="cone -3 near")

    done = calibrate_from_sweep(sweep, places, clicks, tmp_path / "lane.json", LaneFacts(), quiet)

    assert any("cone -3 near" in note for note in done.notes)
    assert position_m(done.fit.camera) == pytest.approx(CENTRE_M, abs=0.06)


def test_the_page_of_clicks_holds_the_sweep_and_the_names(sweep: Path, tmp_path: Path) -> None:
    places, _ = tables(tmp_path)

    page = write_clicks_page(sweep, places, tmp_path / "lane.json", quiet).read_text(encoding="utf-8")

    assert page.count('data: "') >= 5
    assert "cone -3 near" in page
    assert "http" not in page.replace("http-equiv", "")


def test_a_phone_that_does_not_turn_is_refused(wall: Grey, tmp_path: Path) -> None:
    places, clicks = tables(tmp_path)
    still = film(tmp_path / "still.mp4", (picture(wall, 0.0) for _ in range(len(SWEEP_DEG))), 30)

    with pytest.raises(CalibrationError, match="hardly turns"):
        calibrate_from_sweep(still, places, clicks, tmp_path / "lane.json", LaneFacts(), quiet)


def test_a_clip_from_elsewhere_is_refused(made: Calibrated, wall: Grey, tmp_path: Path) -> None:
    _, place = place_of(made.path, read_lane(made.path))
    assert place is not None
    other = film(tmp_path / "other.mp4", (picture(wall[::-1, ::-1].copy(), t) for t in np.linspace(-5.0, 5.0, 12)), 30)

    with pytest.raises(ViewError, match="where the sweep was"):
        panned_look(other, video.open_clip(other), place, quiet)
