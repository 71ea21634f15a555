"""Joints of one person in a picture crop: the two networks of MediaPipe's pose model, run by LiteRT, each picture for itself.

Joints are within 0.01 px of those of the model's own library (`tests/adapters/test_pose_library.py`), but the landmarks are read
of the athlete alone: the library reads those of everybody in the crop, at five times the cost of finding a person.
"""

from __future__ import annotations

import hashlib
import zipfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from penult.adapters.pose_regions import (
    FINDER_PX,
    READER_PX,
    Floats32,
    Region,
    is_body,
    landmarks_of,
    regions_of,
)
from penult.errors import PenultError
from penult.model.arrays import Floats, Image
from penult.model.skeleton import JOINTS

MODEL_FILE = "pose_heavy.task"
MODEL_SHA256 = "f9436d3af4f8c882e057c4b77fd635532a1aa4d1b68163eb70de10f03824e760"
CROP_PX = 640
"""Side of the picture handed to the model; it works inside at 256 px a person, so more brings nothing."""

FARTHEST_BODIES = 0.75
"""Joints whose middle is farther than this many body heights from where the athlete is expected are somebody else's."""

HIPS_BODIES = 0.3
"""The middle of the joints lies within this many body heights of the hips, whatever the body does (bent double: 0.25)."""

BESIDE_BODIES = 0.25
"""Of people whose hips are not so much nearer than another's, the joints decide: hips are told to 0.1, the place to as much."""

_LANDMARKS: dict[str, tuple[int, ...]] = {
    "head": (7, 8),
    "left_shoulder": (11,),
    "right_shoulder": (12,),
    "left_elbow": (13,),
    "right_elbow": (14,),
    "left_wrist": (15,),
    "right_wrist": (16,),
    "left_hip": (23,),
    "right_hip": (24,),
    "left_knee": (25,),
    "right_knee": (26,),
    "left_ankle": (27,),
    "right_ankle": (28,),
    "left_heel": (29,),
    "right_heel": (30,),
    "left_toe": (31,),
    "right_toe": (32,),
}
"""Landmark numbers of the published BlazePose topology, in the order of `skeleton.JOINTS`."""

_WANTED = tuple(number for numbers in _LANDMARKS.values() for number in numbers)


@dataclass(frozen=True, slots=True, kw_only=True)
class Crop:
    """A square of the picture: its centre and side in pixels of the upright picture."""

    centre_px: tuple[float, float]
    side_px: float


@contextmanager
def model_file() -> Iterator[Path]:
    """Give the file with the pose weights that ships with the package, seen to be whole.

    Raises
    ------
    PenultError
        If the file is missing or damaged: the installation is broken.
    """
    packed = resources.files("penult") / "data" / "models" / MODEL_FILE
    with ExitStack() as unpacked:
        file = unpacked.enter_context(resources.as_file(packed)) if packed.is_file() else None
        data = b"" if file is None else file.read_bytes()
        if file is None or hashlib.sha256(data).hexdigest() != MODEL_SHA256:
            raise PenultError(
                f"the pose weights {MODEL_FILE} are missing or damaged",
                f"got {len(data)} bytes that do not match SHA-256 {MODEL_SHA256[:12]}...",
                next_step="install penult again",
            )
        del data
        yield file


@contextmanager
def pose_model() -> Iterator[PoseModel]:
    """Open the pose model; let go of it at the end of the block."""
    made = _runtime()
    with model_file() as file, zipfile.ZipFile(file) as bundle:
        finder, reader = (
            made(bundle.read(name)) for name in ("pose_detector.tflite", "pose_landmarks_detector.tflite")
        )
    yield PoseModel(_Finder(finder), _Reader(reader))


Network = Callable[[Floats32], Mapping[int, Floats32]]
"""From a picture (n, n, 3) to answers, by how many numbers they hold."""

Find = Callable[[Image], list[Region]]
Read = Callable[[Image, Region], Floats | None]


def _runtime() -> Callable[[bytes], Network]:
    """Return what makes a network of its weights, turning a missing library into a sentence."""
    try:
        from ai_edge_litert.interpreter import Interpreter
    except (ImportError, OSError) as error:
        raise PenultError(
            "the pose library cannot be loaded",
            str(error),
            next_step="install penult again; on Debian or Ubuntu also: apt-get install libgl1 libglib2.0-0",
        ) from error

    def made(weights: bytes) -> Network:
        network = Interpreter(model_content=weights, num_threads=1)
        network.allocate_tensors()
        return _asked(network)

    return made


def _asked(network: Any) -> Network:
    """Return an interpreter as a function."""
    (given,) = network.get_input_details()
    answers = {int(np.prod(a["shape"])): a["index"] for a in network.get_output_details()}

    def ask(picture: Floats32) -> Mapping[int, Floats32]:
        network.set_tensor(given["index"], picture[None])
        network.invoke()
        return _Answers(network, answers)

    return ask


class _Answers(Mapping[int, Floats32]):
    """What a network said, copied out when it is asked for: some of it is large and never needed."""

    def __init__(self, network: Any, places: Mapping[int, int]) -> None:
        self._network, self._places = network, places

    def __getitem__(self, count: int) -> Floats32:
        answer: Floats32 = self._network.get_tensor(self._places[count])[0]
        return answer

    def __iter__(self) -> Iterator[int]:
        return iter(self._places)

    def __len__(self) -> int:
        return len(self._places)


class _Finder:
    """People in a crop's square."""

    def __init__(self, network: Network) -> None:
        self._network = network
        self._maps = _maps(Region(centre_px=(CROP_PX / 2.0, CROP_PX / 2.0), side_px=CROP_PX, turn_rad=0.0), FINDER_PX)

    def __call__(self, square: Image) -> list[Region]:
        """Return a region (in the square's pixels) for every person."""
        said = self._network(_sampled(square, self._maps) / np.float32(127.5) - np.float32(1.0))
        return regions_of(said[2254 * 12], said[2254][:, 0], CROP_PX)


class _Reader:
    """Landmarks of the person in a region."""

    def __init__(self, network: Network) -> None:
        self._network = network

    def __call__(self, square: Image, region: Region) -> Floats | None:
        """Return (33, 3): x and y in the square's pixels, visibility; None where there is no body."""
        said = self._network(_sampled(square, _maps(region, READER_PX)) / np.float32(255.0))
        if not is_body(float(said[1][0])):
            return None
        return landmarks_of(said[39 * 5], said[64 * 64 * 39], region, _WANTED)


_Maps = tuple[NDArray[np.int16], NDArray[np.uint16]]


def _maps(region: Region, side_px: int) -> _Maps:
    """Where each pixel of a small upright square lies in a picture, to 1/32 px, which any version of OpenCV reads alike."""
    import cv2

    cells = np.arange(side_px) * (region.side_px / side_px) - region.side_px / 2.0
    cos, sin = np.cos(region.turn_rad), np.sin(region.turn_rad)
    x = region.centre_px[0] + cos * cells[None, :] - sin * cells[:, None]
    y = region.centre_px[1] + sin * cells[None, :] + cos * cells[:, None]
    whole, rest = cv2.convertMaps(x.astype(np.float32), y.astype(np.float32), cv2.CV_16SC2)
    return np.asarray(whole, dtype=np.int16), np.asarray(rest, dtype=np.uint16)


def _sampled(square: Image, maps: _Maps) -> Floats32:
    """Return the picture at those places; beyond its edge, the edge."""
    import cv2

    taken = cv2.remap(square, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(taken, dtype=np.float32)


class PoseModel:
    """Joints in crops; made by `pose_model`. `find` gives everybody in a crop's square, `read` the landmarks of one of them."""

    def __init__(self, find: Find, read: Read) -> None:
        self._find, self._read = find, read

    def joints(self, image: Image, crop: Crop, near_px: tuple[float, float], height_px: float) -> Floats | None:
        """Find the person in a crop that stands nearest to where the athlete is expected.

        Parameters
        ----------
        image : (h, w, 3) uint8
            Upright RGB picture.
        crop : Crop
            May reach over the picture's edge; black there.
        near_px : (float, float)
            Where the athlete's middle is expected.
        height_px : float
            How tall a standing athlete would be there.

        Returns
        -------
        (k, 3) float64 or None
            x, y in picture pixels and visibility, in the order of `JOINTS`; None when nobody fits.
        """
        return self.joints_in(square_of(image, crop), crop, near_px, height_px)

    def joints_in(self, square: Image, crop: Crop, near_px: tuple[float, float], height_px: float) -> Floats | None:
        """Find the same in the crop's square, as `square_of` cut it out."""
        scale, shift = _placed(crop)
        near = np.array(near_px)
        best, best_gap, nearest = None, FARTHEST_BODIES * height_px, 0.0
        for hips_gap, region in _by_hips(self._find(square), scale, shift, near):
            if best is not None and hips_gap > nearest + BESIDE_BODIES * height_px:
                break
            if hips_gap > (FARTHEST_BODIES + HIPS_BODIES) * height_px:
                break
            landmarks = self._read(square, region)
            joints = None if landmarks is None else _to_joints(landmarks, scale, shift)
            if joints is None or not _fits(joints, height_px):
                continue
            gap = float(np.linalg.norm(joints[:, :2].mean(axis=0) - near))
            if gap < best_gap:
                nearest = hips_gap if best is None else nearest
                best, best_gap = joints, gap
        return best


def square_of(image: Image, crop: Crop, corner_px: tuple[int, int] = (0, 0)) -> Image:
    """Return the crop, reduced or enlarged to CROP_PX a side; black beyond the picture's edge.

    Of the picture only a part may be given, whose upper left pixel is `corner_px` and which shows all of the crop.
    """
    import cv2  # heavy, and the name of the model is needed without it

    scale, shift = _placed(crop)
    shift = shift + scale * np.array(corner_px)
    matrix = np.array([[scale, 0.0, shift[0]], [0.0, scale, shift[1]]])
    shrink = cv2.INTER_AREA if scale < 1.0 else cv2.INTER_LINEAR
    return np.ascontiguousarray(cv2.warpAffine(image, matrix, (CROP_PX, CROP_PX), flags=shrink))


def _placed(crop: Crop) -> tuple[float, Floats]:
    """Scale and shift from the picture's pixels to the square's."""
    scale = CROP_PX / crop.side_px
    return scale, CROP_PX / 2.0 - scale * np.array(crop.centre_px)


def _by_hips(regions: list[Region], scale: float, shift: Floats, near: Floats) -> list[tuple[float, Region]]:
    """Regions by how far the hips are from a place of the picture, the nearest first."""
    gaps = [float(np.linalg.norm((np.array(r.centre_px) - shift) / scale - near)) for r in regions]
    return [(gaps[i], regions[i]) for i in np.argsort(gaps, kind="stable")]


def _to_joints(landmarks: Floats, scale: float, shift: Floats) -> Floats:
    """Landmarks (33, 3) of one person in a square as joints in picture pixels, (k, 3)."""
    points = landmarks.copy()
    points[:, :2] = (points[:, :2] - shift) / scale
    return np.stack([points[list(_LANDMARKS[name])].mean(axis=0) for name in JOINTS])


def _fits(joints: Floats, height_px: float) -> bool:
    """Whether somebody is of about the right size."""
    return 0.4 * height_px < float(np.ptp(joints[:, 1])) < 1.6 * height_px
