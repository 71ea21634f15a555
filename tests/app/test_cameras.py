"""The first look at a clip whose camera pans: turned about its own lens, by the homography K R K^-1 of a picture that is known."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from penult.adapters.caches import look_cache
from penult.adapters.files.lane_file import read_lane, write_lane
from penult.adapters.film import video
from penult.app.cameras import Scan, first_look, scan
from penult.core.lane.camera import project
from penult.core.lane.fit import fit_lane
from penult.errors import ViewError
from penult.model.arrays import Floats, Image
from penult.model.calibration import LaneFile, Mark

SIZE_PX = (640, 480)
MIDDLE_PX = (319.5, 239.5)
FRAMES = 40


class Hall:
    """The sample's empty hall through a window of 34 degrees that turns about the lens."""

    def __init__(self, samples: Path) -> None:
        folder = samples / "full_240"
        self.matrix = np.array(json.loads((folder / "truth.json").read_text())["camera"]["K"])
        self.picture = cv2.imread(str(folder / "still.jpg"))
        self.lane = read_lane(folder / "lane.json")
        self.window = np.array([[1046.0, 0.0, MIDDLE_PX[0]], [0.0, 1046.0, MIDDLE_PX[1]], [0.0, 0.0, 1.0]])

    def turned(self, yaw_deg: float) -> Floats:
        """Homography from the hall's picture to the window turned by that angle (to the left: positive)."""
        turn = cv2.Rodrigues(np.array([0.0, np.radians(yaw_deg), 0.0]))[0]
        return np.asarray(self.window @ turn @ np.linalg.inv(self.matrix))

    def seen(self, yaw_deg: float, picture: Image | None = None) -> Image:
        hall = self.picture if picture is None else picture
        return np.asarray(cv2.warpPerspective(hall, self.turned(yaw_deg), SIZE_PX, flags=cv2.INTER_AREA))

    def write_lane(self, place: Path, yaw_deg: float) -> LaneFile:
        """Write the lane file and still of the window at that angle."""
        marks = []
        for mark in self.lane.marks:
            pixel = cv2.perspectiveTransform(np.array([[mark.pixel_px]]), self.turned(yaw_deg))[0, 0]
            if ((pixel > 2) & (pixel < np.array(SIZE_PX) - 3)).all():
                marks.append(Mark(name=mark.name, pixel_px=tuple(pixel.tolist()), runway_m=mark.runway_m))
        lane = LaneFile(image_size_px=SIZE_PX, marks=tuple(marks), still=f"{place.stem}.png")
        cv2.imwrite(str(place.with_suffix(".png")), self.seen(yaw_deg))
        write_lane(place, lane)
        return lane


def walked(hall: Hall, place: Path, angles_deg: Floats) -> Floats:
    """Film a dark figure that crosses the hall at an even pace while the camera pans; return its x in the hall's picture."""
    columns = np.linspace(420.0, 1500.0, FRAMES)
    with av.open(str(place), "w") as container:
        stream = container.add_stream("libx264", rate=30, options={"crf": "16"})
        stream.width, stream.height = SIZE_PX
        for column, yaw_deg in zip(columns.astype(int), angles_deg, strict=True):
            picture = hall.picture.copy()
            picture[400:735, column - 45 : column + 45] = (40, 30, 30)
            container.mux(stream.encode(av.VideoFrame.from_ndarray(hall.seen(yaw_deg, picture), format="bgr24")))
        container.mux(stream.encode())
    return columns


def scanned(lane_path: Path, clip_path: Path) -> Scan:
    fit = fit_lane(read_lane(lane_path))
    return scan(clip_path, video.open_clip(clip_path), fit, lane_path, lambda *_: None)


def test_what_moves_over_the_lane_is_seen_through_a_pan(samples: Path, tmp_path: Path) -> None:
    """Panned by 16 degrees of 34 in 1.3 s: cameras are the true ones, and the figure is all that moves within the still's view.

    Parts of the still that a frame does not show are no movement; smeared edges once were, and hid contacts.
    """
    hall = Hall(samples)
    angles_deg = np.linspace(8.0, -8.0, FRAMES)
    lane = hall.write_lane(tmp_path / "lane.json", -1.0)
    columns = walked(hall, tmp_path / "clip.mp4", angles_deg)

    found = scanned(tmp_path / "lane.json", tmp_path / "clip.mp4")

    assert len(found.cameras) == FRAMES
    for row in (3, 20, FRAMES - 1):  # pixel by pixel: the fitted lane's own error, carried by the true turn
        to_frame = hall.turned(angles_deg[row]) @ np.linalg.inv(hall.turned(-1.0))
        places = np.array([m.runway_m for m in lane.marks if m.runway_m[2] == 0.0])
        still_px = project(fit_lane(lane).camera, places)
        true_px = cv2.perspectiveTransform(still_px[None], to_frame)[0]
        assert np.sqrt(((project(found.cameras[row], places) - true_px) ** 2).sum(axis=1).mean()) < 0.5
    camera, profile = fit_lane(lane).camera, found.profile
    x_px = project(camera, np.stack([profile.x_m, 0 * profile.x_m + 0.9, 0 * profile.x_m], axis=-1))[:, 0]
    hits = 0
    for row, column in enumerate(columns):
        at_px = cv2.perspectiveTransform(np.array([[[column, 560.0]]]), hall.turned(-1.0))[0, 0, 0]
        near = np.abs(x_px - at_px) < 60
        hits += bool(near.any() and profile.cover[row, near].max(initial=0.0) > 0.8)
        assert profile.cover[row, ~near].max(initial=0.0) < 0.6, row
    assert hits > 0.6 * FRAMES


def test_a_pan_past_thirty_percent_is_refused_with_its_frame(samples: Path, tmp_path: Path) -> None:
    """From +12 to -12.5 degrees: from the pinhole formula 30 % of the still are left at about -11 degrees, frame 37 of 40."""
    hall = Hall(samples)
    hall.write_lane(tmp_path / "lane.json", 12.0)
    walked(hall, tmp_path / "clip.mp4", np.linspace(12.0, -12.5, FRAMES))

    with pytest.raises(ViewError, match=r"lost at frame 3[5-9]"):
        scanned(tmp_path / "lane.json", tmp_path / "clip.mp4")


@pytest.mark.parametrize("is_scratched", [False, True])
def test_a_clip_is_scanned_as_it_is_read_and_again_where_it_breaks_its_promise(
    samples: Path, tmp_path: Path, is_scratched: bool
) -> None:
    """The same clip, cameras and movement as by reading it first and scanning it then, with or without a scratch in the file."""
    hall = Hall(samples)
    hall.write_lane(tmp_path / "lane.json", 0.0)
    clip_path = tmp_path / "clip.mp4"
    walked(hall, clip_path, np.zeros(FRAMES))
    if is_scratched:
        data = bytearray(clip_path.read_bytes())
        data[len(data) * 2 // 3 : len(data) * 2 // 3 + 400] = b"\xff" * 400
        clip_path.write_bytes(data)
    fit = fit_lane(read_lane(tmp_path / "lane.json"))
    reading = video.FirstReading(clip_path)

    clip, found = first_look(reading, fit, tmp_path / "lane.json", lambda *_: None)

    then = scanned(tmp_path / "lane.json", clip_path)
    assert reading.was_as_expected is not is_scratched
    assert [n.code for n in clip.notices] == [n.code for n in video.open_clip(clip_path).notices]
    assert np.array_equal(found.profile.time_s, then.profile.time_s)
    assert np.array_equal(found.profile.cover, then.profile.cover)
    assert all(np.array_equal(a.parameters, b.parameters) for a, b in zip(found.cameras, then.cameras, strict=True))


@pytest.fixture(scope="module")
def filmed(samples: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("filmed")
    hall = Hall(samples)
    lane = hall.write_lane(folder / "lane.json", 0.0)
    moved = [replace(m, pixel_px=(m.pixel_px[0] + 0.4, m.pixel_px[1] - 0.3)) for m in lane.marks[1:]]
    write_lane(folder / "other.json", replace(lane, marks=tuple(moved)))
    walked(hall, folder / "clip.mp4", np.linspace(0.0, 1.2, FRAMES))
    return folder


class TestALookKept:
    """A film is not looked at twice with one lane file; with another it is: corners are looked for where it expects them."""

    @pytest.fixture
    def place(self, filmed: Path, tmp_path: Path) -> Path:
        shutil.copytree(filmed, tmp_path, dirs_exist_ok=True)
        return tmp_path

    def looked(self, place: Path, lane: str) -> tuple[video.FirstReading, Scan]:
        reading = video.FirstReading(place / "clip.mp4")
        fit = fit_lane(read_lane(place / lane))
        return reading, first_look(reading, fit, place / lane, lambda *_: None)[1]

    def test_after_another_lane_file_it_is_what_it_would_be_alone(self, place: Path) -> None:
        """To the last digit; fails if what another lane file's camera led to is taken over (TRAPS T49)."""
        wanted = scanned(place / "other.json", place / "clip.mp4")
        self.looked(place, "lane.json")

        _, found = self.looked(place, "other.json")

        assert len(found.cameras) == len(wanted.cameras) == FRAMES
        for one, other in zip(found.cameras, wanted.cameras, strict=True):
            assert np.array_equal(one.parameters, other.parameters)
        assert np.array_equal(found.profile.cover, wanted.profile.cover)
        assert found.notices == wanted.notices

    def test_it_is_taken(self, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.looked(place, "lane.json")
        monkeypatch.setattr(video.FirstReading, "grey", None)  # whoever reads the film again falls over it

        _, found = self.looked(place, "lane.json")

        assert len(found.cameras) == FRAMES

    def test_the_same_lane_file_gives_the_same_to_the_last_digit(self, place: Path) -> None:
        _, first = self.looked(place, "lane.json")
        _, again = self.looked(place, "lane.json")

        for one, other in zip(first.cameras, again.cameras, strict=True):
            assert np.array_equal(one.parameters, other.parameters)
        assert np.array_equal(first.profile.cover, again.profile.cover)
        assert np.array_equal(first.profile.ground_z_m, again.profile.ground_z_m, equal_nan=True)

    @pytest.mark.parametrize("fault", ["another still", "spoilt", "of another length"])
    def test_otherwise_the_film_is_read(self, place: Path, fault: str) -> None:
        self.looked(place, "lane.json")
        (entry,) = (place / "cache").glob("*.npz")
        with np.load(entry) as stored:
            arrays = {name: stored[name] for name in stored.files}
        if fault == "another still":
            cv2.imwrite(str(place / "lane.png"), np.roll(cv2.imread(str(place / "lane.png")), 1, axis=2))
        elif fault == "spoilt":
            np.savez(entry, **(arrays | {"start": arrays["start"][:, :5]}))
        else:
            np.savez(entry, **(arrays | {"state": arrays["state"][:-1]}))

        reading, _ = self.looked(place, "lane.json")

        assert reading.was_as_expected

    def test_nothing_of_a_picture_is_kept(self, place: Path) -> None:
        """Outlines and corners only: no array holds grey levels."""
        self.looked(place, "lane.json")
        (entry,) = (place / "cache").glob("*.npz")

        with np.load(entry) as stored:
            names = set(stored.files)
            outline = np.unpackbits(stored["outline"], axis=2)
        assert names == set(look_cache.NAMES)
        assert 0.0 < outline.mean() < 0.2
