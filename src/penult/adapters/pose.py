"""Joints of one person in a picture crop, by MediaPipe's pose landmarker (IMAGE mode: no hidden smoothing over time)."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np

from penult.errors import PenultError
from penult.model.arrays import Floats, Image
from penult.model.skeleton import JOINTS

MODEL_FILE = "pose_heavy.task"
MODEL_SHA256 = "f9436d3af4f8c882e057c4b77fd635532a1aa4d1b68163eb70de10f03824e760"
CROP_PX = 640
"""Side of the picture handed to the model; it works inside at 256 px a person, so more brings nothing."""

MAX_PEOPLE = 3
"""People looked for in a crop, so that a bystander cannot take the athlete's place."""

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
    """Open the pose landmarker; close it at the end of the block."""
    os.environ.setdefault("GLOG_minloglevel", "2")
    mediapipe = _import_mediapipe()
    vision = mediapipe.tasks.vision
    with model_file() as file:
        # by its name it takes 75 MB less than by its bytes, but the library opens no names with letters beyond ASCII everywhere
        weights = {"model_asset_path": str(file)} if str(file).isascii() else {"model_asset_buffer": file.read_bytes()}
        options = vision.PoseLandmarkerOptions(
            base_options=mediapipe.tasks.BaseOptions(**weights),
            running_mode=vision.RunningMode.IMAGE,
            num_poses=MAX_PEOPLE,
        )
        landmarker = vision.PoseLandmarker.create_from_options(options)
    with landmarker:
        yield PoseModel(landmarker, mediapipe)


def _import_mediapipe() -> Any:
    """Import the pose library, turning a missing system library into a sentence."""
    try:
        import mediapipe
    except (ImportError, OSError) as error:
        raise PenultError(
            "the pose library cannot be loaded",
            str(error),
            next_step="on Debian or Ubuntu: apt-get install libgl1 libglib2.0-0 libegl1 libgles2",
        ) from error
    return mediapipe


class PoseModel:
    """Joints in crops; made by `pose_model`."""

    def __init__(self, landmarker: Any, mediapipe: Any) -> None:
        self._landmarker = landmarker
        self._mediapipe = mediapipe

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
        picture = self._mediapipe.Image(image_format=self._mediapipe.ImageFormat.SRGB, data=square)
        found = self._landmarker.detect(picture)
        scale, shift = _placed(crop)
        people = [_to_joints(person, scale, shift) for person in found.pose_landmarks]
        return _nearest(people, np.array(near_px), height_px)


def square_of(image: Image, crop: Crop) -> Image:
    """Return the crop, reduced or enlarged to CROP_PX a side; black beyond the picture's edge."""
    import cv2  # heavy, and the name of the model is needed without it

    scale, shift = _placed(crop)
    matrix = np.array([[scale, 0.0, shift[0]], [0.0, scale, shift[1]]])
    shrink = cv2.INTER_AREA if scale < 1.0 else cv2.INTER_LINEAR
    return np.ascontiguousarray(cv2.warpAffine(image, matrix, (CROP_PX, CROP_PX), flags=shrink))


def _placed(crop: Crop) -> tuple[float, Floats]:
    """Scale and shift from the picture's pixels to the square's."""
    scale = CROP_PX / crop.side_px
    return scale, CROP_PX / 2.0 - scale * np.array(crop.centre_px)


def _to_joints(person: Sequence[Any], scale: float, shift: Floats) -> Floats:
    """Landmarks of one person in picture pixels, (k, 3)."""
    points = np.array([(p.x * CROP_PX, p.y * CROP_PX, p.visibility) for p in person])
    points[:, :2] = (points[:, :2] - shift) / scale
    return np.stack([points[list(_LANDMARKS[name])].mean(axis=0) for name in JOINTS])


def _nearest(people: list[Floats], near_px: Floats, height_px: float) -> Floats | None:
    """The person of about the right size whose middle is nearest, within three quarters of a body height."""
    best, best_gap = None, 0.75 * height_px
    for joints in people:
        size = float(np.ptp(joints[:, 1]))
        gap = float(np.linalg.norm(joints[:, :2].mean(axis=0) - near_px))
        if 0.4 * height_px < size < 1.6 * height_px and gap < best_gap:
            best, best_gap = joints, gap
    return best
