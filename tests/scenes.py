"""Hard scenes made from a sample film whose every number is known: others in the picture, bad light, cuts, odd cameras.

A sample is read once, every second picture at half its size, with a clean background (its median over time) and the runner
cut out against it. A scene changes pictures and times, and its truth and lane file with them.
"""

from __future__ import annotations

import copy
import json
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from penult.adapters.files.lane_file import read_lane
from penult.adapters.film import video
from penult.adapters.film.writer import write_film
from penult.core.lane import pinhole
from penult.core.lane.camera import position_m, project
from penult.core.lane.fit import fit_lane
from penult.model.calibration import Camera, LaneFile

SAMPLES = Path(__file__).resolve().parents[1] / "samples"
Picture = np.ndarray


@dataclass(frozen=True)
class Material:
    """A sample in small: pictures, their times, background, runner's masks (0 to 1), lane file and truth."""

    pictures: list[Picture]
    time_s: np.ndarray
    background: Picture
    masks: list[np.ndarray]
    lane: dict[str, Any]
    still: Picture
    truth: dict[str, Any]
    joints_px: np.ndarray
    """(t, k, 2): of the runner."""

    @property
    def middle_px(self) -> np.ndarray:
        """(t, 2): where the runner's middle is."""
        return np.nanmean(self.joints_px, axis=1)


@dataclass
class Scene:
    """A film ready to be written, with what is true of it."""

    pictures: list[Picture]
    time_s: list[float]
    lane: dict[str, Any]
    still: Picture | None
    truth: dict[str, Any]
    arguments: list[str] = field(default_factory=list)

    def write(self, folder: Path) -> Path:
        """Write clip.mp4, lane.json, still.png and truth.json; return the folder."""
        folder.mkdir(parents=True, exist_ok=True)
        height, width = self.pictures[0].shape[:2]
        write_film(folder / "clip.mp4", (width, height), zip(self.pictures, self.time_s, strict=True))
        lane = dict(self.lane)
        lane.pop("still", None)
        if self.still is not None:
            cv2.imwrite(str(folder / "still.png"), self.still[..., ::-1])
            lane["still"] = "still.png"
        (folder / "lane.json").write_text(json.dumps(lane))
        (folder / "truth.json").write_text(json.dumps(self.truth))
        (folder / "arguments.json").write_text(json.dumps(self.arguments))
        return folder


@lru_cache(maxsize=2)
def material(name: str = "full_240", reduce: int = 2, every: int = 2) -> Material:
    """Read a sample in small."""
    folder = SAMPLES / name
    truth = json.loads((folder / "truth.json").read_text())
    clip = video.open_clip(folder / "clip.mp4")
    rows = range(0, len(clip.time_s), every)
    wanted = set(rows)
    pictures = [small(f.image, reduce) for f in video.frames(folder / "clip.mp4", clip) if f.index in wanted]
    background = np.median(np.stack(pictures[:: max(len(pictures) // 25, 1)]), axis=0).astype(np.uint8)
    joints = small_px(np.array(truth["xy_px"], dtype=float)[list(rows)], reduce)
    still = cv2.imread(str(folder / "still.jpg"))[..., ::-1]
    return Material(
        pictures=pictures,
        time_s=clip.time_s[list(rows)],
        background=background,
        masks=[_mask(p, background, j) for p, j in zip(pictures, joints, strict=True)],
        lane=small_lane(json.loads((folder / "lane.json").read_text()), reduce),
        still=small(still, reduce),
        truth=truth,
        joints_px=joints,
    )


def small(image: Picture, reduce: int) -> Picture:
    """Average blocks of pixels."""
    height, width = image.shape[0] // reduce, image.shape[1] // reduce
    return cv2.resize(image[: height * reduce, : width * reduce], (width, height), interpolation=cv2.INTER_AREA)


def small_px(pixels: np.ndarray, reduce: int) -> np.ndarray:
    """Pixels of the picture made smaller (centre of the top-left pixel is 0, 0)."""
    return (pixels - (reduce - 1) / 2.0) / reduce


def small_lane(lane: dict[str, Any], reduce: int) -> dict[str, Any]:
    """Return the lane file of the picture made smaller."""
    out = copy.deepcopy(lane)
    out["image_size_px"] = [n // reduce for n in lane["image_size_px"]]
    for mark in out["marks"]:
        mark["pixel"] = small_px(np.array(mark["pixel"]), reduce).round(3).tolist()
    out["pixel_sd_px"] = lane.get("pixel_sd_px", 1.0) / reduce
    return out


def _mask(picture: Picture, background: Picture, joints: np.ndarray) -> np.ndarray:
    """Where the runner is, softly: what differs from the background near the joints."""
    change = np.abs(picture.astype(np.int16) - background).max(axis=2)
    near = np.zeros(change.shape, np.uint8)
    seen = joints[np.isfinite(joints).all(axis=1)]
    if len(seen):
        (x0, y0), (x1, y1) = seen.min(axis=0) - 25, seen.max(axis=0) + 25
        near[max(int(y0), 0) : max(int(y1), 0), max(int(x0), 0) : max(int(x1), 0)] = 1
    mask = ((cv2.GaussianBlur(change.astype(np.float32), (0, 0), 1.5) > 7) & (near > 0)).astype(np.uint8)
    mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((7, 7), np.uint8))
    return cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 1.0)


def lane_from(content: dict[str, Any]) -> LaneFile:
    """Read a lane file's content as the product does."""
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "lane.json"
        path.write_text(json.dumps(content))
        return read_lane(path)


def laid(picture: Picture, layer: Picture, mask: np.ndarray) -> Picture:
    """Lay a layer over a picture."""
    alpha = mask[..., None]
    return (picture * (1.0 - alpha) + layer * alpha).astype(np.uint8)


def moved(layer: Picture, mask: np.ndarray, matrix: np.ndarray) -> tuple[Picture, np.ndarray]:
    """Move, mirror or scale a cut-out by an affine matrix (2, 3)."""
    size = (layer.shape[1], layer.shape[0])
    return cv2.warpAffine(layer, matrix, size), cv2.warpAffine(mask, matrix, size)


def plain(m: Material) -> Scene:
    """The sample itself, in small."""
    return Scene(
        pictures=list(m.pictures), time_s=m.time_s.tolist(), lane=m.lane, still=m.still, truth=copy.deepcopy(m.truth)
    )


def _recoloured(layer: Picture) -> Picture:
    """Another shirt."""
    return np.ascontiguousarray(layer[..., [2, 0, 1]])


def second_runner(m: Material, *, front: bool, mirrored: bool, later_s: float, rise_px: float, scale: float) -> Scene:
    """A second runner in another lane, in front of or behind the athlete, the other way (mirrored) or the same way."""
    scene = plain(m)
    width = m.background.shape[1]
    shift = round(later_s / float(np.median(np.diff(m.time_s))))
    ground = m.still.shape[0] * 0.67
    sign = -1.0 if mirrored else 1.0
    matrix = np.array(
        [
            [sign * scale, 0.0, width - 1.0 if mirrored else 0.0],
            [0.0, scale, ground * (1.0 - scale) + rise_px],
        ]
    )
    matrix[0, 2] += (0.5 - scale / 2.0) * width * sign
    for i, picture in enumerate(m.pictures):
        j = i - shift
        if not 0 <= j < len(m.pictures):
            continue
        layer, mask = moved(_recoloured(m.pictures[j]), m.masks[j], matrix)
        both = laid(picture, layer, mask)
        scene.pictures[i] = both if front else laid(both, picture, m.masks[i])
    return scene


def sunny(m: Material, *, high_deg: float, aside_deg: float) -> Scene:
    """The sun behind the lane, or beside it: the runner's shadow lies on the ground towards the camera, moving with them."""
    camera = fit_lane(lane_from(m.lane)).camera
    long = 1.0 / np.tan(np.radians(high_deg))
    sine, cosine = _sine_cosine(aside_deg)
    towards = np.sign(position_m(camera)[2]) * cosine
    body_m = np.array([[-5.0, 0.05, 0.0], [1.0, 0.05, 0.0], [1.0, 1.8, 0.0], [-5.0, 1.8, 0.0]])
    ground_m = np.stack([body_m[:, 0] + body_m[:, 1] * long * sine, 0 * body_m[:, 1], body_m[:, 1] * long * towards], 1)
    body_px, ground_px = (project(camera, corners).astype(np.float32) for corners in (body_m, ground_m))
    lying = cv2.getPerspectiveTransform(body_px, ground_px)
    scene = plain(m)
    for i, (picture, mask) in enumerate(zip(m.pictures, m.masks, strict=True)):
        shade = cv2.warpPerspective(mask, lying, mask.shape[::-1]) * (1.0 - mask)
        scene.pictures[i] = (picture * (1.0 - 0.45 * cv2.GaussianBlur(shade, (0, 0), 1.0)[..., None])).astype(np.uint8)
    return scene


def other_lane(m: Material, *, nearer_m: float) -> Scene:
    """Nobody on the lane, and the runner so many metres nearer to the camera: larger by the same about the horizon."""
    camera = fit_lane(lane_from(m.lane)).camera
    lens_m = position_m(camera)
    scale = abs(lens_m[2]) / (abs(lens_m[2]) - nearer_m)
    away = project(camera, np.array([lens_m[0], lens_m[1], -1e6 * np.sign(lens_m[2])]))
    matrix = np.array([[scale, 0.0, away[0] * (1.0 - scale)], [0.0, scale, away[1] * (1.0 - scale)]])
    layers = [moved(_recoloured(p), mask, matrix) for p, mask in zip(m.pictures, m.masks, strict=True)]
    return replace(plain(m), pictures=[laid(m.background, *layer) for layer in layers])


def walkers(m: Material) -> Scene:
    """Two spectators who stroll behind the lane at walking pace, both ways."""
    scene = plain(m)
    row = len(m.pictures) // 2
    layer, mask, x = _recoloured(m.pictures[row]), m.masks[row], m.middle_px[row, 0]
    per_m = 87.0
    for i, (picture, t) in enumerate(zip(m.pictures, m.time_s, strict=True)):
        out = picture
        for start, speed, rise in ((250.0, 1.3, -30.0), (700.0, -1.1, -38.0)):
            bob = 1.5 * np.sin(2 * np.pi * 1.8 * t)
            where = np.array([[0.9, 0.0, start + speed * per_m * t - 0.9 * x], [0.0, 0.9, rise + 36.0 + bob]])
            out = laid(out, *moved(layer, mask, where))
        scene.pictures[i] = laid(out, picture, m.masks[i])
    return scene


def arm(m: Material) -> Scene:
    """The coach's arm, pointing: comes in from below near the lens and goes again."""
    scene = plain(m)
    height, width = m.background.shape[:2]
    for i, t in enumerate(m.time_s):
        reach = np.sin(np.pi * np.clip((t - 0.15) / 0.7, 0.0, 1.0))
        if reach <= 0.0:
            continue
        mask = np.zeros((height, width), np.float32)
        tip = (int(width * (0.15 + 0.25 * t)), int(height * (1.0 - 0.5 * reach)))
        cv2.line(mask, (int(width * 0.05), height + 40), tip, 1.0, 46)
        cv2.circle(mask, tip, 30, 1.0, -1)
        colour = np.full_like(m.background, (186, 140, 116))
        scene.pictures[i] = laid(scene.pictures[i], colour, cv2.GaussianBlur(mask, (0, 0), 4))
    return scene


def dim(m: Material, *, light: float = 0.35, noise: float = 9.0) -> Scene:
    """Low light with sensor noise."""
    scene, draw = plain(m), np.random.default_rng(5)
    for i, picture in enumerate(m.pictures):
        grain = draw.normal(0.0, noise, picture.shape)
        scene.pictures[i] = np.clip(picture * light + grain, 0, 255).astype(np.uint8)
    return scene


def flicker(m: Material) -> Scene:
    """Lamps at 100 Hz: the whole picture pulses at the beat, with bands that roll through it."""
    scene = plain(m)
    rows = np.arange(m.background.shape[0])[:, None, None] / m.background.shape[0]
    for i, (picture, t) in enumerate(zip(m.pictures, m.time_s, strict=True)):
        light = 0.85 + 0.15 * np.sin(2 * np.pi * 100.0 * (t + 0.008 * rows))
        scene.pictures[i] = np.clip(picture * light, 0, 255).astype(np.uint8)
    return scene


def dropped(m: Material) -> Scene:
    """One picture in eight is missing, two in a row here and there; the others keep their times."""
    keep = np.random.default_rng(3).random(len(m.pictures)) > 0.125
    keep[[0, -1]] = True
    return _kept(plain(m), keep)


def _kept(scene: Scene, keep: np.ndarray) -> Scene:
    pictures = [p for p, k in zip(scene.pictures, keep, strict=True) if k]
    times = np.array(scene.time_s)[keep]
    return replace(scene, pictures=pictures, time_s=(times - times[0]).tolist(), truth=later(scene.truth, -times[0]))


def later(truth: dict[str, Any], seconds: float) -> dict[str, Any]:
    """Return the truth with all instants moved."""
    out = copy.deepcopy(truth)
    for key in out["measures"]:
        if key.endswith(("|touchdown_s", "|toe_off_s")):
            out["measures"][key] += seconds
    return out


def part(m: Material, start_s: float, end_s: float) -> Scene:
    """Only a part of the run."""
    return _kept(plain(m), (m.time_s >= start_s) & (m.time_s <= end_s))


def two_runs(m: Material) -> Scene:
    """The run, an empty runway for half a second, and the run again, asked for with --run 2."""
    scene = plain(m)
    step = float(np.median(np.diff(m.time_s)))
    gap = [m.background] * round(0.5 / step)
    offset = len(m.pictures) + len(gap)
    pictures = [*m.pictures, *gap, *m.pictures]
    times = (np.arange(len(pictures)) * step).tolist()
    arguments = ["--run", "2"]
    return replace(scene, pictures=pictures, time_s=times, truth=later(m.truth, offset * step), arguments=arguments)


def jump_cut(m: Material, start_s: float = 0.55, end_s: float = 0.75) -> Scene:
    """A piece of the run cut out, the times closed up."""
    scene = plain(m)
    pictures = [p for p, t in zip(m.pictures, m.time_s, strict=True) if not start_s <= t <= end_s]
    return replace(scene, pictures=pictures, time_s=m.time_s[: len(pictures)].tolist())


def cut_away(m: Material) -> Scene:
    """Cut to another view in the middle of the run."""
    scene, draw = plain(m), np.random.default_rng(8)
    other = cv2.resize(draw.integers(0, 255, (18, 32, 3), dtype=np.uint8), m.background.shape[1::-1])
    half = len(m.pictures) // 2
    scene.pictures[half:] = [other] * (len(m.pictures) - half)
    return scene


def pan(m: Material, *, width: int, turn_deg: tuple[float, float], still_deg: float | None) -> Scene:
    """A phone of a narrower view at the same place turns from one angle to another (right is positive), as seen through its lens.

    Its marks and its still are of the picture at `still_deg`; None: no still, the marks of the first picture. The lens
    was calibrated once: a few marks in a narrow view do not tell its focal length well enough for a long turn.
    """
    camera = fit_lane(lane_from(m.lane)).camera
    assert np.abs(camera.parameters[pinhole.K1 :]).max() < 2e-3  # a tenth of a pixel at the edge: as good as none
    size = (width, 2 * round(0.205 * m.background.shape[1]))
    deg = turn_deg[0] if still_deg is None else still_deg
    to_still = _turned_view(camera, size, deg)
    lane = copy.deepcopy(m.lane)
    lane["image_size_px"] = list(size)
    seen = [_carried(to_still, mark["pixel"]) for mark in lane["marks"]]
    focal = float(np.exp(camera.parameters[pinhole.LOG_FOCAL]))
    lane["lens"] = {"fx_px": focal, "fy_px": focal, "cx_px": (width - 1) / 2, "cy_px": (size[1] - 1) / 2}
    pairs = zip(lane["marks"], seen, strict=True)
    lane["marks"] = [{**k, "pixel": p} for k, p in pairs if 0 <= p[0] < width and 0 <= p[1] < size[1]]
    angles_deg = np.interp(m.time_s, m.time_s[[0, -1]], turn_deg).tolist()
    pictures = [
        cv2.warpPerspective(p, _turned_view(camera, size, angle_deg), size, flags=cv2.INTER_CUBIC)
        for p, angle_deg in zip(m.pictures, angles_deg, strict=True)
    ]
    still = None if still_deg is None else cv2.warpPerspective(m.still, to_still, size, flags=cv2.INTER_CUBIC)
    return replace(plain(m), pictures=pictures, lane=lane, still=still)


def turned(m: Material, angle_deg: float, *, width: int = 1210) -> Scene:
    """The phone stands where it stood and looks to the right by an angle, with all its marks clicked in that view.

    A turn about the lens is exact in the picture, and the runner's depths with it. Beyond the edge of the sample's own
    picture stands its empty background in the mirror, which never moves; the clip ends before the runner gets there.
    """
    camera = fit_lane(lane_from(m.lane)).camera
    assert np.abs(camera.parameters[pinhole.K1 :]).max() < 2e-3
    size = (width, m.background.shape[0])
    view = _turned_view(camera, size, angle_deg)
    beyond = cv2.warpPerspective(m.background, view, size, flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REFLECT)
    inside = cv2.warpPerspective(np.ones(m.background.shape[:2], np.float32), view, size)

    def seen(picture: Picture) -> Picture:
        return laid(beyond, cv2.warpPerspective(picture, view, size, flags=cv2.INTER_CUBIC), inside)

    lane = copy.deepcopy(m.lane)
    lane["image_size_px"] = list(size)
    marks = [{**mark, "pixel": _carried(view, mark["pixel"])} for mark in lane["marks"]]
    lane["marks"] = [mark for mark in marks if 0 <= mark["pixel"][0] < width and 0 <= mark["pixel"][1] < size[1]]
    scene = replace(plain(m), pictures=[seen(p) for p in m.pictures], lane=lane, still=seen(m.still))
    margin_px = 0.06 * m.background.shape[1]  # of an arm or a shoe beyond the joints
    high_px = m.background.shape[1] - margin_px
    whole = (m.joints_px[..., 0] > margin_px).all(axis=1) & (m.joints_px[..., 0] < high_px).all(axis=1)
    return _kept(scene, whole)


def _turned_view(camera: Camera, size: tuple[int, int], turn_deg: float) -> np.ndarray:
    """Return the homography (3, 3) from a picture to that of the same lens turned to the right."""
    focal, sine, cosine = np.exp(camera.parameters[pinhole.LOG_FOCAL]), *_sine_cosine(turn_deg)
    inward = np.array([[focal, 0.0, camera.centre_px[0]], [0.0, focal, camera.centre_px[1]], [0.0, 0.0, 1.0]])
    outward = np.array([[focal, 0.0, (size[0] - 1) / 2], [0.0, focal, (size[1] - 1) / 2], [0.0, 0.0, 1.0]])
    turn = np.array([[cosine, 0.0, -sine], [0.0, 1.0, 0.0], [sine, 0.0, cosine]])
    return outward @ turn @ np.linalg.inv(inward)


def _sine_cosine(angle_deg: float) -> tuple[float, float]:
    return float(np.sin(np.radians(angle_deg))), float(np.cos(np.radians(angle_deg)))


def _carried(homography: np.ndarray, pixel: list[float]) -> list[float]:
    x, y, w = homography @ np.array([*pixel, 1.0])
    return [float(x / w), float(y / w)]


def rolling(m: Material, readout_rows: int = 3) -> Scene:
    """Rolling shutter: bands of rows from neighbouring pictures, the middle row at the stated time."""
    scene = plain(m)
    edges = np.linspace(0, m.background.shape[0], readout_rows + 1).astype(int)
    for i in range(len(m.pictures)):
        bands = []
        for band in range(readout_rows):
            j = int(np.clip(i + band - readout_rows // 2, 0, len(m.pictures) - 1))
            bands.append(m.pictures[j][edges[band] : edges[band + 1]])
        scene.pictures[i] = np.concatenate(bands)
    return scene


def stops(m: Material, at_s: float = 0.8, hold_s: float = 0.8) -> Scene:
    """The athlete comes to a stand (in full stride: a freeze) before the board."""
    scene = plain(m)
    step = float(np.median(np.diff(m.time_s)))
    run = int(np.searchsorted(m.time_s, at_s))
    pictures = [*m.pictures[:run], *[m.pictures[run]] * round(hold_s / step)]
    truth = copy.deepcopy(m.truth)
    kept = {"contacts|-3", "contacts|-2", "steps|-2"}
    truth["measures"] = {k: v for k, v in truth["measures"].items() if k.rsplit("|", 1)[0] in kept}
    return replace(scene, pictures=pictures, time_s=(np.arange(len(pictures)) * step).tolist(), truth=truth)


def sideways(m: Material) -> Scene:
    """The picture lies on its side, and so do the still and the lane file's marks."""
    lane = copy.deepcopy(m.lane)
    height, width = m.background.shape[:2]
    lane["image_size_px"] = [height, width]
    for mark in lane["marks"]:
        x, y = mark["pixel"]
        mark["pixel"] = [height - 1 - y, x]
    turned = [np.ascontiguousarray(np.rot90(p, -1)) for p in m.pictures]
    return replace(plain(m), pictures=turned, lane=lane, still=np.ascontiguousarray(np.rot90(m.still, -1)))


def oblique(m: Material, angle_deg: float) -> Scene:
    """A lane file whose camera is turned from square to the run (the marks as such a camera would see them)."""
    lane = copy.deepcopy(m.lane)
    width, height = lane["image_size_px"]
    turn = np.radians(angle_deg)
    for mark in lane["marks"]:
        x, y, z = (a - b for a, b in zip(mark["runway_m"], (-3.0, 1.0, 0.0), strict=True))
        across, depth = x * np.cos(turn) + z * np.sin(turn), 12.0 + x * np.sin(turn) - z * np.cos(turn)
        mark["pixel"] = [width / 2 + 1000.0 * across / depth, height / 2 - 1000.0 * y / depth]
    return replace(plain(m), lane=lane)


def _tiny(reduce: int) -> Callable[[], Scene]:
    return lambda: plain(material("full_240", reduce, 2))


def _on_sample(change: Callable[[Material], Scene], name: str = "full_240") -> Callable[[], Scene]:
    return lambda: change(material(name))


def _large(change: Callable[[Material], Scene]) -> Callable[[], Scene]:
    """In the sample's own size: in a small picture, corners are too coarse to tell a turned lens from another place."""
    return lambda: change(material("full_240", 1, 2))


MEASURED: dict[str, Callable[[], Scene]] = {
    "plain": _on_sample(plain),
    "second runner in front, the other way": _on_sample(
        lambda m: second_runner(m, front=True, mirrored=True, later_s=0.0, rise_px=45.0, scale=1.12)
    ),
    "second runner behind, the other way": _on_sample(
        lambda m: second_runner(m, front=False, mirrored=True, later_s=-0.1, rise_px=-25.0, scale=0.9)
    ),
    "second runner behind, the same way": _on_sample(
        lambda m: second_runner(m, front=False, mirrored=False, later_s=0.15, rise_px=-25.0, scale=0.9)
    ),
    "second runner in front, the same way": _on_sample(
        lambda m: second_runner(m, front=True, mirrored=False, later_s=0.2, rise_px=45.0, scale=1.12)
    ),
    "walkers": _on_sample(walkers),
    "coach's arm": _on_sample(arm),
    "low light": _on_sample(dim),
    "flicker": _on_sample(flicker),
    "sun from behind": _on_sample(lambda m: sunny(m, high_deg=35.0, aside_deg=0.0)),
    "low sun from aside": _on_sample(lambda m: sunny(m, high_deg=20.0, aside_deg=60.0)),
    "dropped frames": _on_sample(dropped),
    "starts in the middle": _on_sample(lambda m: part(m, 0.38, 9.0)),
    "ends before the take-off": _on_sample(lambda m: part(m, 0.0, 0.90)),
    "two runs": _on_sample(two_runs),
    "rolling shutter": _on_sample(rolling),
    "stops": _on_sample(stops),
    "a third of the size": _tiny(6),
    "turned by 14 degrees": _on_sample(lambda m: turned(m, 14.0)),
    "turned by 22 degrees": _on_sample(lambda m: turned(m, 22.0)),
    "the edge cuts the flight": _on_sample(lambda m: turned(m, 0.0, width=740)),
    "the edge cuts the take-off": _on_sample(lambda m: turned(m, 0.0, width=600)),
    "a slow pan": _on_sample(lambda m: pan(m, width=720, turn_deg=(-5.0, 5.0), still_deg=0.0)),
    "a slow pan without a still": _on_sample(lambda m: pan(m, width=760, turn_deg=(-3.0, 3.0), still_deg=None)),
    "a long pan": _large(lambda m: pan(m, width=1160, turn_deg=(-8.0, 8.0), still_deg=0.0)),
    "a pan that keeps a third of the scene": _large(lambda m: pan(m, width=960, turn_deg=(11.0, -5.0), still_deg=11.0)),
}
"""Scenes that must be measured right (or refused)."""

REFUSED: dict[str, tuple[Callable[[], Scene], str]] = {
    "jump cut": (_on_sample(jump_cut), "cut"),
    "cut to another view": (_on_sample(cut_away), "scene"),
    "pan that loses the scene": (
        _large(lambda m: pan(m, width=960, turn_deg=(11.0, -11.0), still_deg=11.0)),
        "lost at frame",
    ),
    "oblique": (_on_sample(lambda m: oblique(m, 62.0)), "turned by 62 degrees"),
    "frontal": (_on_sample(lambda m: oblique(m, 70.0)), "turned by 70 degrees"),
    "sideways": (_on_sample(sideways), "side"),
    "a runner in the next lane, nearer": (_on_sample(lambda m: other_lane(m, nearer_m=1.3)), "not on the calibrated"),
    "a runner two lanes nearer": (_on_sample(lambda m: other_lane(m, nearer_m=2.5)), "not on the calibrated"),
    "a runner in the next lane, behind": (_on_sample(lambda m: other_lane(m, nearer_m=-1.3)), "not on the calibrated"),
    "nobody": (_on_sample(lambda m: replace(plain(m), pictures=[m.background] * len(m.pictures))), "nobody"),
}
"""Scenes that must be refused, and a word that the refusal must hold."""


def faults(truth: dict[str, Any], result: dict[str, Any], times: float = 3.0) -> Iterator[str]:
    """Yield every value that is further from the truth than some times its u95."""
    for key, true in truth["measures"].items():
        part_name, number, name = key.split("|")
        rows = result[part_name] if part_name in {"contacts", "steps"} else [{**result[part_name], "number": "-"}]
        for row in rows:
            got = row.get(name) if str(row["number"]) == number else None
            if got and "value" in got and abs(got["value"] - true) > times * got["u95"]:
                yield f"{key}: {got['value']:.4g} +- {got['u95']:.2g}, true {true:.4g}"
