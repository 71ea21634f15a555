"""Names and order of the joints that every track in penult carries."""

from __future__ import annotations

JOINTS: tuple[str, ...] = (
    "head",
    "left_shoulder",
    "right_shoulder",
    "left_elbow",
    "right_elbow",
    "left_wrist",
    "right_wrist",
    "left_hip",
    "right_hip",
    "left_knee",
    "right_knee",
    "left_ankle",
    "right_ankle",
    "left_heel",
    "right_heel",
    "left_toe",
    "right_toe",
)
"""'head' is the middle of the two ears; heel and toe are the rear and front of the foot as the pose model puts them."""

INDEX: dict[str, int] = {name: i for i, name in enumerate(JOINTS)}

EDGES: tuple[tuple[str, str], ...] = (
    ("left_shoulder", "right_shoulder"),
    ("left_hip", "right_hip"),
    ("left_shoulder", "left_elbow"),
    ("left_elbow", "left_wrist"),
    ("right_shoulder", "right_elbow"),
    ("right_elbow", "right_wrist"),
    ("left_hip", "left_knee"),
    ("left_knee", "left_ankle"),
    ("left_ankle", "left_heel"),
    ("left_heel", "left_toe"),
    ("left_ankle", "left_toe"),
    ("right_hip", "right_knee"),
    ("right_knee", "right_ankle"),
    ("right_ankle", "right_heel"),
    ("right_heel", "right_toe"),
    ("right_ankle", "right_toe"),
)
"""Lines to draw; the trunk is drawn from mid-hip to mid-shoulder."""


def joint(side: str, name: str) -> int:
    """Return the column of a joint, such as joint('left', 'knee')."""
    return INDEX[f"{side}_{name}"]
