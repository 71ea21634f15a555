"""Lane files of panned places against their truth: `python tests/bench/panned.py FILM_FOLDER...`.

For folders with sweep.mp4, places.csv and sweep_marks.json: clicks are the true pixels with 1 px of noise, on the cones and the
board alone, then on every mark; printed are the errors of the tripod's place and of the places that frames of the sweep show.
"""

from __future__ import annotations

import csv
import json
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from penult.adapters.files.lane_file import read_lane
from penult.app.lanes import LaneFacts, place_of
from penult.app.sweep import calibrate_from_sweep
from penult.core.lane.camera import at_height, position_m
from penult.core.moving_camera.panorama import camera_of_picture

CLICK_SD_PX = 1.0


def clicks(truth: dict[str, Any], place: Path, *, every: bool, rng: np.random.Generator) -> Path:
    """Write the table of clicks: each mark in the frame that shows it nearest to the middle."""
    middle = truth["image_size_px"][0] / 2.0
    with place.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(["name", "frame", "pixel_x", "pixel_y"])
        for mark in truth["marks"]:
            if not mark["pixels"] or not (every or mark["name"].startswith(("cone", "board"))):
                continue
            frame = min(mark["pixels"], key=lambda f, m=mark: abs(m["pixels"][f][0] - middle))
            pixel = np.array(mark["pixels"][frame]) + rng.normal(0.0, CLICK_SD_PX, 2)
            writer.writerow([mark["name"], frame, f"{pixel[0]:.2f}", f"{pixel[1]:.2f}"])
    return place


def places_off_m(truth: dict[str, Any], lane_path: Path) -> np.ndarray:
    """Return how far along the run marks lie from their true places, as the pictures of the panorama show them."""
    _, place = place_of(lane_path, read_lane(lane_path))
    assert place is not None
    panorama, keys, _ = place
    off = []
    for i, key in enumerate(keys):
        for mark in truth["marks"]:
            pixel = mark["pixels"].get(str(key.frame))
            if pixel is not None:
                off.append(
                    at_height(camera_of_picture(panorama, i), np.array(pixel), mark["runway_m"][1])[0]
                    - mark["runway_m"][0]
                )
    return np.array(off)


def main(folders: list[Path]) -> None:
    """Print a line for each folder and set of clicks."""
    rng = np.random.default_rng(1)
    for folder in folders:
        truth = json.loads((folder / "sweep_marks.json").read_text(encoding="utf-8"))
        for every in (False, True):
            with tempfile.TemporaryDirectory() as scratch:
                out = Path(scratch) / "lane.json"
                table = clicks(truth, Path(scratch) / "clicks.csv", every=every, rng=rng)
                done = calibrate_from_sweep(
                    folder / "sweep.mp4", folder / "places.csv", table, out, LaneFacts(), lambda *_: None
                )
                centre = 100.0 * (position_m(done.fit.camera) - np.array(truth["camera"]["place_m"]))
                off = 100.0 * places_off_m(truth, out)
            which = "every mark" if every else "cones and board"
            rms, most = np.sqrt(np.mean(off**2)), np.abs(off).max()
            said = f"tripod {np.round(centre, 1)} cm off; marks {rms:.1f} cm RMS, {most:.1f} at most"
            print(f"{folder.name:16} {which:16} {said} ({len(off)})", flush=True)


if __name__ == "__main__":
    main([Path(p) for p in sys.argv[1:]])
