"""The camera was set up again aside of where the still was taken: near and far things shift by different amounts.

A sample clip is measured with a still and marks as seen from 30 cm beside the clip's camera: the sample's empty hall is
laid on the floor, on the far wall and on the row of cones, which stand where they stand, and is seen from there.
"""

from __future__ import annotations

import copy
import json
import re
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from accidents import command, environment
from penult.core.lane import pinhole
from penult.core.lane.camera import position_m, project
from penult.core.lane.fit import fit_lane
from penult.model.calibration import Camera
from scenes import Scene, faults, laid, lane_from, material, plain

pytestmark = pytest.mark.slow

WALL_FOOT_SHARE = 0.594
"""Of the sample's height: where its far wall meets the floor."""
CONES_Z_M = -0.9
"""Where the sample's cones stand."""


def moved_by(camera: Camera, aside_m: tuple[float, float, float]) -> Camera:
    """The same camera, looking the same way from another place."""
    parameters = np.array(camera.parameters)
    parameters[3:6] -= pinhole.rotation(parameters) @ np.array(aside_m)
    return replace(camera, parameters=parameters)


def seen_from(other: Camera, hall: np.ndarray, own: Camera) -> np.ndarray:
    """What another camera sees of floor, far wall and cones, as the picture of `own` shows them."""
    height, width = hall.shape[:2]
    grid = np.stack(np.meshgrid(np.arange(width), np.arange(height)), axis=-1).reshape(-1, 2).astype(float)
    lens_m, rays = position_m(other), rays_of(other, grid)
    foot_ray = rays_of(own, np.array([[width / 2.0, WALL_FOOT_SHARE * height]]))[0]
    wall_z_m = position_m(own)[2] - position_m(own)[1] / foot_ray[1] * foot_ray[2]
    to_wall, to_floor = (wall_z_m - lens_m[2]) / rays[:, 2], -lens_m[1] / rays[:, 1]
    to_cones = (CONES_Z_M - lens_m[2]) / rays[:, 2]

    def shown(picture: np.ndarray, reach: np.ndarray) -> np.ndarray:
        source = project(own, lens_m + reach[:, None] * rays).reshape(height, width, 2).astype(np.float32)
        return cv2.remap(picture, source[..., 0], source[..., 1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)

    red, green, blue = (hall[..., i].astype(int) for i in range(3))
    orange = ((red - blue > 90) & (red - green > 50) & (red > 170)).astype(np.uint8)
    cones = cv2.dilate(orange, np.ones((3, 3), np.uint8))
    bare = cv2.inpaint(np.ascontiguousarray(hall), cv2.dilate(cones, np.ones((3, 3), np.uint8)), 3, cv2.INPAINT_TELEA)
    far = shown(bare, np.where((to_floor > 0.0) & (to_floor < to_wall), to_floor, to_wall))
    return laid(far, shown(hall, to_cones), np.clip(shown(cones.astype(np.float32), to_cones), 0.0, 1.0))


def rays_of(camera: Camera, pixels: np.ndarray) -> np.ndarray:
    """Lines of sight (n, 3) in runway axes."""
    flat = pinhole.straight(camera.parameters, camera.centre_px, pixels)
    return np.column_stack([flat, np.ones(len(flat))]) @ pinhole.rotation(camera.parameters)


def set_up_again(aside_m: tuple[float, float, float]) -> Scene:
    """The sample in small; still and marks as seen from a place `aside_m` beside the clip's camera."""
    small = material("full_240", 2, 2)
    own = fit_lane(lane_from(small.lane)).camera
    other = moved_by(own, aside_m)
    lane = copy.deepcopy(small.lane)
    for mark in lane["marks"]:
        place = np.array(mark["runway_m"])
        mark["pixel"] = (np.array(mark["pixel"]) + project(other, place) - project(own, place)).tolist()
    width, height = lane["image_size_px"]
    inside = [0 <= mark["pixel"][0] < width and 0 <= mark["pixel"][1] < height for mark in lane["marks"]]
    lane["marks"] = [mark for mark, is_in in zip(lane["marks"], inside, strict=True) if is_in]
    return replace(plain(small), lane=lane, still=seen_from(other, small.background, own))


def analysed(scene: Scene, folder: Path) -> tuple[int, str, dict[str, Any] | None]:
    """Exit status, what was said, and the result."""
    place = scene.write(folder)
    words = command(place / "clip.mp4", place / "lane.json", place / "result")
    done = subprocess.run(words, env=environment(folder / "cache"), capture_output=True, text=True, check=False)
    result = json.loads((place / "result" / "analysis.json").read_text()) if done.returncode == 0 else None
    return done.returncode, done.stderr, result


def test_a_camera_set_up_again_30_cm_aside_is_found_again(tmp_path: Path) -> None:
    """It is said by how far, no contact is lost, and no value is further from the truth than three times its interval."""
    status, said, result = analysed(set_up_again((0.3, 0.0, 0.0)), tmp_path)

    assert status == 0, said
    assert result is not None
    told = next(w["text"] for w in result["warnings"] if w["code"] == "camera-moved")
    assert re.search(r"shifted by (29|30|31) cm", told), told
    assert [c["number"] for c in result["contacts"]] == [-3, -2, -1, 0]
    assert list(faults(material("full_240", 2, 2).truth, result)) == []
