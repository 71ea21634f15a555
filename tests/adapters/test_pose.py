"""The pose model's adapter: crops and coordinates with a stand-in, weights, and the real model on a sample."""

from __future__ import annotations

import gc
import json
import shutil
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.adapters import pose
from penult.adapters.film import video
from penult.adapters.pose import CROP_PX, Crop, PoseModel, pose_model
from penult.adapters.pose_regions import Region
from penult.errors import PenultError
from penult.model.arrays import Floats, Image
from penult.model.skeleton import EDGES, INDEX, JOINTS

HEIGHT_PX = 300.0


@dataclass
class StandIn:
    """Two networks that answer with given people and remember the pictures they were given, and whose landmarks were read."""

    people: list[Floats] = field(default_factory=list)
    pictures: list[np.ndarray] = field(default_factory=list)
    read_of: list[int] = field(default_factory=list)

    def find(self, picture: np.ndarray) -> list[Region]:
        self.pictures.append(picture)
        hips = [landmarks[[23, 24], :2].mean(axis=0) for landmarks in self.people]
        return [
            Region(centre_px=(float(x), float(y)), side_px=100.0 + i, turn_rad=0.0) for i, (x, y) in enumerate(hips)
        ]

    def read(self, picture: np.ndarray, region: Region) -> Floats:
        assert picture is self.pictures[-1]
        self.read_of.append(round(region.side_px - 100.0))
        return self.people[self.read_of[-1]]

    def model(self) -> PoseModel:
        return PoseModel(self.find, self.read)


def person(place_px: Floats, crop: Crop) -> Floats:
    """Landmarks (33, 3) in pixels of the crop's square, as they are read, of some in picture pixels (33, 2)."""
    shares = (place_px - np.array(crop.centre_px)) / crop.side_px + 0.5
    return np.column_stack([CROP_PX * shares, np.full(33, 0.9)])


def upright(middle_px: tuple[float, float], height_px: float = HEIGHT_PX) -> Floats:
    """Thirty-three points over that height about a middle, no two alike."""
    down = (np.linspace(-0.5, 0.5, 33) * height_px)[np.random.default_rng(1).permutation(33)]
    return np.stack([middle_px[0] + np.linspace(-20.0, 20.0, 33), middle_px[1] + down], axis=1)


@given(
    x_px=st.floats(-100.0, 2000.0),
    y_px=st.floats(-100.0, 1200.0),
    side_px=st.floats(80.0, 2500.0),
    height=st.floats(60.0, 900.0),
)
def test_joints_come_back_in_pixels_of_the_picture(x_px: float, y_px: float, side_px: float, height: float) -> None:
    """Property: whatever the crop's place and size, also over the edge; 'head' is the middle of the ears (7 and 8)."""
    crop = Crop(centre_px=(x_px, y_px), side_px=side_px)
    points = upright((x_px, y_px), height)
    stand_in = StandIn([person(points, crop)])

    joints = stand_in.model().joints(np.zeros((90, 160, 3), np.uint8), crop, crop.centre_px, height)

    assert joints is not None
    assert joints.shape == (len(JOINTS), 3)
    assert joints[INDEX["head"], :2] == pytest.approx(points[[7, 8]].mean(axis=0), abs=1e-6)
    assert joints[INDEX["left_hip"], :2] == pytest.approx(points[23], abs=1e-6)
    assert joints[INDEX["right_toe"], :2] == pytest.approx(points[32], abs=1e-6)
    assert (joints[:, 2] == 0.9).all()


def test_the_model_is_handed_a_whole_copy_of_what_lies_in_the_crop() -> None:
    """TRAPS T22: a view would be read as the wrong bytes, silently. Contiguous uint8 RGB, the right part, black outside."""
    rng = np.random.default_rng(2)
    whole = rng.integers(0, 255, (400, 600, 3), dtype=np.uint8)
    view = whole[::2, 40:360:2]  # neither contiguous nor its own
    stand_in = StandIn()
    model = stand_in.model()

    model.joints(view, Crop(centre_px=(80.0, 100.0), side_px=float(CROP_PX)), (80.0, 100.0), HEIGHT_PX)
    model.joints(
        np.ascontiguousarray(view), Crop(centre_px=(80.0, 100.0), side_px=float(CROP_PX)), (80.0, 100.0), 300.0
    )

    for picture in stand_in.pictures:
        assert picture.flags.c_contiguous
        assert (picture.shape, picture.dtype) == ((CROP_PX, CROP_PX, 3), np.dtype(np.uint8))
    assert (stand_in.pictures[0] == stand_in.pictures[1]).all()
    left, top = CROP_PX // 2 - 80, CROP_PX // 2 - 100
    assert (stand_in.pictures[0][top : top + 200, left : left + 160] == view).all()
    assert not stand_in.pictures[0][: top - 1].any()


def test_the_athlete_is_the_nearest_person_of_about_the_right_size() -> None:
    """TRAPS T26: a bystander nearer by is passed over when too small or too tall; nobody near enough is nobody."""
    crop = Crop(centre_px=(400.0, 400.0), side_px=900.0)
    athlete, child, giant = (
        upright(m, h) for m, h in (((430.0, 400.0), 300.0), ((402.0, 400.0), 100.0), ((399.0, 400.0), 560.0))
    )
    second, far = upright((480.0, 410.0), 310.0), upright((700.0, 400.0), 300.0)

    def found(*people: Floats) -> Floats | None:
        stand_in = StandIn([person(p, crop) for p in people])
        return stand_in.model().joints(np.zeros((8, 8, 3), np.uint8), crop, crop.centre_px, HEIGHT_PX)

    joints = found(child, second, giant, athlete, far)
    assert joints is not None
    assert joints[INDEX["left_hip"], :2] == pytest.approx(athlete[23], abs=1e-6)
    assert found(child, giant, far) is None
    assert found() is None


def test_landmarks_are_read_of_the_athlete_alone() -> None:
    """People whose hips are a quarter of a body height farther away are not read; of two beside each other both are."""
    crop = Crop(centre_px=(400.0, 400.0), side_px=900.0)
    at = {
        name: person(upright((x, 400.0), 300.0), crop) for name, x in (("one", 405.0), ("near", 450.0), ("far", 560.0))
    }

    def read(*names: str) -> list[int]:
        stand_in = StandIn([at[name] for name in names])
        joints = stand_in.model().joints(np.zeros((8, 8, 3), np.uint8), crop, crop.centre_px, HEIGHT_PX)
        assert joints is not None
        assert joints[INDEX["left_hip"], 0] == pytest.approx(upright((405.0, 400.0), 300.0)[23, 0], abs=1e-6)
        return stand_in.read_of

    assert read("far", "one") == [1]
    assert read("far", "near", "one") == [2, 1]


@pytest.mark.parametrize("content", [None, b"", b"PK\x03\x04 half a bundle"], ids=["missing", "empty", "half"])
def test_damaged_weights_are_told_before_the_model_is_asked(
    content: bytes | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """TRAPS T34: three library errors for one cause become one message that says what to do."""
    models = tmp_path / "data" / "models"
    models.mkdir(parents=True)
    if content is not None:
        (models / pose.MODEL_FILE).write_bytes(content)
    monkeypatch.setattr(pose.resources, "files", lambda _: tmp_path)

    with pytest.raises(PenultError, match="missing or damaged") as caught, pose_model():
        pass
    assert f"{len(content or b'')} bytes" in str(caught.value)
    assert "install penult again" in caught.value.next_step


def test_the_weights_that_ship_are_whole() -> None:
    """Their SHA-256 is the one that results carry. Fails if the package was built without them."""
    with pose.model_file() as file:
        assert file.stat().st_size > 20_000_000


@pytest.mark.slow
def test_the_weights_are_found_under_any_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """T18: installed below a home folder with letters beyond ASCII."""
    folder = tmp_path / "läufer 跳" / "data" / "models"
    folder.mkdir(parents=True)
    with pose.model_file() as file:
        shutil.copy(file, folder)
    # of our own package only: the pose library finds its parts in the same way
    ours = SimpleNamespace(files=lambda name: folder.parents[1], as_file=resources.as_file)
    monkeypatch.setattr(pose, "resources", ours)

    with pose_model() as opened:
        nobody = opened.joints(
            np.zeros((90, 90, 3), np.uint8), Crop(centre_px=(45.0, 45.0), side_px=90.0), (45.0, 45.0), 60.0
        )
        assert nobody is None


def test_a_missing_system_library_becomes_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    """TRAPS T32: an import that fails names the packages to install, not a traceback."""
    monkeypatch.setitem(sys.modules, "ai_edge_litert.interpreter", None)

    with pytest.raises(PenultError, match="cannot be loaded") as caught, pose_model():
        pass
    for package in ("libgl1", "libglib2.0-0"):
        assert package in caught.value.next_step


@pytest.fixture(scope="module")
def model() -> Iterator[PoseModel]:
    """Open the real pose model once."""
    with pose_model() as opened:
        yield opened


@pytest.fixture(scope="module")
def scene(samples: Path) -> tuple[Image, Floats, dict[str, int]]:
    """Return one picture of a sample, its true keypoints (n, 2) and their names."""
    path = samples / "full_240" / "clip.mp4"
    truth = json.loads((path.parent / "truth.json").read_text())
    clip = video.open_clip(path)
    index = len(clip.time_s) // 2
    (frame,) = video.frames(path, clip, first=index, last=index)
    names = {name: i for i, name in enumerate(truth["keypoint_names"])}
    return frame.image, np.array(truth["xy_px"][index]), names


def looked_at(model: PoseModel, scene: tuple[Image, Floats, dict[str, int]], image: Image | None = None) -> Floats:
    picture, truth_px, names = scene
    hip = truth_px[[names["left_hip"], names["right_hip"]]].mean(axis=0)
    tall = float(np.ptp(truth_px[:, 1]))
    centre = (float(hip[0]), float(hip[1]))
    joints = model.joints(
        picture if image is None else image, Crop(centre_px=centre, side_px=2.75 * tall), centre, tall
    )
    assert joints is not None
    return joints


@pytest.mark.slow
def test_the_real_model_finds_the_athlete_of_a_sample(
    model: PoseModel, scene: tuple[Image, Floats, dict[str, int]]
) -> None:
    """Against the film's known joints: shoulders, hips, knees and ankles within 6 % of the body's height in the median."""
    _, truth_px, names = scene
    parts = ("shoulder", "hip", "knee", "ankle")

    joints = looked_at(model, scene)

    gaps = []
    for part in parts:  # labels of a side may be exchanged: compare pairs either way round
        seen = np.array([joints[INDEX[f"{side}_{part}"], :2] for side in ("left", "right")])
        known = np.array([truth_px[names[f"{side}_{part}"]] for side in ("left", "right")])
        gaps += min((np.linalg.norm(seen - k, axis=1).tolist() for k in (known, known[::-1])), key=sum)
    assert np.median(gaps) < 0.06 * np.ptp(truth_px[:, 1])
    assert (joints[:, 2] >= 0.0).all()
    assert (joints[:, 2] <= 1.0).all()


@pytest.mark.slow
def test_the_landmark_numbers_are_the_library_s_own() -> None:
    """Source: the library's own table of which landmarks belong together. Our edges are in it, joint by joint.

    Fails if a joint is read from another landmark; left landmarks have odd numbers, right ones even."""
    vision = pytest.importorskip("mediapipe.tasks.python.vision")
    known = {frozenset((c.start, c.end)) for c in vision.PoseLandmarksConnections.POSE_LANDMARKS}

    for a, b in EDGES:
        assert frozenset((*pose._LANDMARKS[a], *pose._LANDMARKS[b])) in known
    for name, numbers in pose._LANDMARKS.items():
        if name != "head":
            assert numbers[0] % 2 == name.startswith("left")


@pytest.mark.slow
def test_a_view_gives_what_its_copy_gives(model: PoseModel, scene: tuple[Image, Floats, dict[str, int]]) -> None:
    """TRAPS T22 with the real library: a mirrored-twice view of the picture, bytes in another order, the same joints."""
    image = scene[0]
    turned = np.asfortranarray(image)
    assert not turned.flags.c_contiguous

    assert (looked_at(model, scene, turned) == looked_at(model, scene, np.ascontiguousarray(image))).all()


def resident_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * 4096 / 1e6


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="resident memory is read from /proc")
def test_memory_stays_flat_over_200_pictures(model: PoseModel, scene: tuple[Image, Floats, dict[str, int]]) -> None:
    """TRAPS T28: no picture is kept. 180 crops of 1.2 MB each would add 220 MB; 25 MB are allowed."""
    for _ in range(20):
        looked_at(model, scene)
    gc.collect()
    before = resident_mb()

    for _ in range(180):
        looked_at(model, scene)

    gc.collect()
    assert resident_mb() - before < 25.0
