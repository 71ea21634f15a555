"""Still frames with the body, the runway and the measures drawn in; all stills of a clip at one scale.

The caller asks `stills_of` which frames are wanted, reads just those, and hands each to `draw_still`.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import cv2
import numpy as np

from penult.core.lane.camera import project
from penult.model.analysis import Analysis, Foot
from penult.model.arrays import Floats, Image
from penult.model.clip import Frame
from penult.model.skeleton import EDGES, INDEX, joint
from penult.model.track import Motion
from penult.outputs.pictures import ink
from penult.outputs.pictures.angles import MomentPicture, draw_label, drawn_at
from penult.outputs.pictures.figure import (
    View,
    draw_athlete,
    draw_ground,
    draw_hip_path,
    joints_px,
    on_plane,
)
from penult.outputs.pictures.labels import Box, Label, leader_start, place
from penult.outputs.pictures.moments import INSTANT_WORDS, Moment, moments
from penult.outputs.texts import words

WIDTH_PX = 900
_BAND_PX = 44
_BELOW_GROUND_PX = 118
_CLEAR_PX = 22.0
_ROOM_M = 1.5  # free width beside the body, for the labels
_HEADROOM_M = 0.24


@dataclass(frozen=True, slots=True, kw_only=True)
class Still:
    """A still to be drawn.

    Parameters
    ----------
    name : str
        File name in the folder `stills`.
    moment : Moment
        What it shows, and the frame that is needed for it.
    view : View
        Crop and scale; the same metres a pixel for all stills of a clip.
    metres_per_px : float
        Of the drawn picture at the hip, in the plane of the run.
    ground_y_px : float
        Drawn row of the runway's surface under the hip.
    """

    name: str
    moment: Moment
    view: View
    metres_per_px: float
    ground_y_px: float


def stills_of(analysis: Analysis, motion: Motion) -> tuple[Still, ...]:
    """Return the stills of a clip: touchdown, lowest hip and toe-off of the last three contacts, as far as seen.

    An instant at which the hips were not seen gives no still: nothing would say where to crop.
    """
    wanted = [m for m in moments(analysis, motion) if np.isfinite(motion.hip_m[m.row]).all()]
    if not wanted:
        return ()
    width_m, height_m = _window_m(motion, wanted)
    metres_per_px = width_m / WIDTH_PX
    height_px = round(height_m / metres_per_px) + _BAND_PX + _BELOW_GROUND_PX
    height_px += height_px % 2
    return tuple(_still(i, moment, motion, metres_per_px, height_px) for i, moment in enumerate(wanted, start=1))


def frames_wanted(stills: Iterable[Still]) -> tuple[int, ...]:
    """Return the frame indices that the stills need, rising, each once."""
    return tuple(sorted({still.moment.frame for still in stills}))


def draw_still(frame: Frame, still: Still, analysis: Analysis, motion: Motion) -> Image:
    """Return one annotated still.

    Parameters
    ----------
    frame : Frame
        The upright frame `still.moment.frame`, or as much of it as `still.view` shows; not changed.
    still : Still
        From `stills_of`.
    analysis, motion : Analysis, Motion
        The result that it illustrates.

    Returns
    -------
    (height, 900, 3) uint8
        Cropped around the athlete.
    """
    view, moment = still.view, still.moment
    camera = motion.camera_of(moment.row)
    picture = _crop(frame, view)
    scene = MomentPicture(image=picture, view=view, camera=camera, moment=moment, analysis=analysis, motion=motion)
    draw_ground(picture, view, camera, _visible_x_m(scene), text_px=17, has_line=words.has_line(analysis))
    draw_hip_path(picture, view, camera, motion.hip_m, width=2.5)
    joints = joints_px(motion, moment.row, view)
    draw_athlete(picture, joints, moment.contact.foot, width=4.0)
    wanted = drawn_at(moment.contact, moment.instant, has_takeoff=analysis.run.has_takeoff)
    labels = [label for draw in wanted if (label := draw(scene))]
    _draw_labels(scene, labels, joints, still.ground_y_px)
    _band(picture, analysis, moment)
    return picture


def to_jpeg(image: Image, quality: int = 88) -> bytes:
    """Return an RGB picture as JPEG."""
    done, data = cv2.imencode(".jpg", cv2.cvtColor(image, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise RuntimeError("the picture could not be packed as JPEG")
    return bytes(data.tobytes())


def index_json(stills: Iterable[Still], analysis: Analysis, motion: Motion) -> str:
    """Return `stills/index.json`: what each still shows and its scale, for pages that set stills side by side."""
    rows = [_index_row(still, analysis, motion) for still in stills]
    return json.dumps({"format": "penult-stills/1", "stills": rows}, indent=1, allow_nan=False) + "\n"


def _index_row(still: Still, analysis: Analysis, motion: Motion) -> Mapping[str, object]:
    moment = still.moment
    hip = still.view.project(motion.camera_of(moment.row), on_plane(motion.hip_m[moment.row]))[0]
    return {
        "file": still.name,
        "contact": moment.contact.number,
        "foot": moment.contact.foot,
        "instant": moment.instant,
        "frame": moment.frame,
        "time_s": round(moment.time_s, 6),
        "metres_per_px": round(still.metres_per_px, 7),
        "ground_y_px": round(still.ground_y_px, 2),
        "hip_px": [round(float(v), 2) for v in hip],
        "direction": analysis.run.direction,
        "size_px": list(still.view.size_px),
    }


def _still(place: int, moment: Moment, motion: Motion, metres_per_px: float, height_px: int) -> Still:
    camera = motion.camera_of(moment.row)
    hip = motion.hip_m[moment.row]
    under = np.array([hip[0], 0.0])
    ends = project(camera, on_plane(np.array([under, under + np.array([0.5, 0.0]), hip])))
    clip_px_per_m = float(np.hypot(*(ends[1] - ends[0]))) / 0.5
    scale = 1.0 / (metres_per_px * clip_px_per_m)
    size = (WIDTH_PX, height_px)
    left = _left_px(motion, moment, ends[0][0], size[0] / scale, camera.image_size_px[0])
    top = float(ends[0][1]) - (height_px - _BELOW_GROUND_PX) / scale
    view = View(origin_px=(left, top), scale=scale, size_px=size)
    name = f"{place}_{_slug(moment.contact.number)}_{moment.instant}.jpg"
    ground_y = float(height_px - _BELOW_GROUND_PX)
    return Still(name=name, moment=moment, view=view, metres_per_px=metres_per_px, ground_y_px=ground_y)


def _slug(number: int) -> str:
    """Return a contact's name within a file name; the file's own number says its place in the run."""
    named = {0: "take-off", -1: "penultimate", -2: "third-last"}
    return named.get(number, f"{'after' if number > 0 else 'before'}-{abs(number)}")


def _left_px(motion: Motion, moment: Moment, hip_x_px: float, width_px: float, picture_px: int) -> float:
    """Return where the crop begins: centred on the body, but not beyond the picture where that can be helped."""
    x = motion.pixels.xy_px[moment.row, :, 0]
    x = x[np.isfinite(x)]
    centre = (float(x.min()) + float(x.max())) / 2.0 if len(x) else hip_x_px
    left = centre - width_px / 2.0
    if width_px >= picture_px:
        return (picture_px - width_px) / 2.0
    return float(np.clip(left, 0.0, picture_px - width_px))


def _window_m(motion: Motion, wanted: Iterable[Moment]) -> tuple[float, float]:
    """Return the width and height that hold the body at every instant, with room for labels."""
    wide, high = [1.2], [1.9]
    for moment in wanted:
        xy_m = motion.runway.xy_m[moment.row]
        good = xy_m[np.isfinite(xy_m).all(axis=1)]
        if len(good):
            wide.append(float(np.ptp(good[:, 0])))
            high.append(float(good[:, 1].max()) + _HEADROOM_M)
    return min(5.0, max(wide) + _ROOM_M), min(3.2, max(high))


def _crop(frame: Frame, view: View) -> Image:
    """Return the part of the frame that the view shows, enlarged or reduced; grey where the frame ends."""
    left, top = (at - corner for at, corner in zip(view.origin_px, frame.corner_px, strict=True))
    move = np.array([[view.scale, 0.0, -left * view.scale], [0.0, view.scale, -top * view.scale]])
    how = cv2.INTER_AREA if view.scale < 0.9 else cv2.INTER_CUBIC
    grey = (110, 110, 110)
    return np.asarray(
        cv2.warpAffine(frame.image, move, view.size_px, flags=how, borderMode=cv2.BORDER_CONSTANT, borderValue=grey)
    )


def _visible_x_m(scene: MomentPicture) -> tuple[float, float]:
    """Return the stretch of the runway that the picture shows."""
    x_m = scene.hip_m[0] + np.arange(-4.0, 4.01, 0.02)
    px = scene.at(np.stack([x_m, 0.0 * x_m], axis=1), 0.0)[:, 0]
    seen = x_m[(px >= 0) & (px <= scene.view.size_px[0])]
    return (float(seen.min()), float(seen.max())) if len(seen) else (0.0, 0.0)


def _draw_labels(scene: MomentPicture, labels: list[Label], joints: Floats, ground_y_px: float) -> None:
    """Place the labels in free space and draw them."""
    sides = ("left", "right")
    clear = joints[[joint(s, n) for s in sides for n in ("hip", "knee", "ankle", "heel", "toe")]]
    limbs = [joints[[INDEX[a], INDEX[b]]] for a, b in EDGES]
    trunk = joints[[joint("left", "hip"), joint("left", "shoulder")]]
    share = np.linspace(0.0, 1.0, 8)[:, None]
    avoid = [
        ends[0] + share * (ends[1] - ends[0])
        for ends in (*limbs, trunk, joints[[INDEX["head"], joint("left", "shoulder")]])
    ]
    path = scene.at(scene.motion.hip_m, 0.0)[::4]
    width, height = scene.view.size_px
    ticks: Box = (0.0, ground_y_px + 2.0, float(width), ground_y_px + 48.0)
    boxes = place(
        labels,
        (6.0, _BAND_PX + 6.0, width - 6.0, height - 6.0),
        keep_clear_px=clear,
        clear_radius_px=_CLEAR_PX,
        avoid_px=np.concatenate([*avoid, path, *scene.drawn_px]),
        fence_px=_leg_line(joints, scene.moment.contact.foot),
        taken=[ticks],
    )
    for label, box in zip(labels, boxes, strict=True):
        draw_label(scene.image, label, box, leader_start(box, label.anchor_px))


def _leg_line(joints: Floats, foot: Foot) -> Floats:
    """Return points along the thigh and shank of a leg."""
    share = np.linspace(0.1, 0.9, 7)[:, None]
    hip, knee, ankle = (joints[joint(foot, name)] for name in ("hip", "knee", "ankle"))
    return np.concatenate([hip + share * (knee - hip), knee + share * (ankle - knee)])


def _band(image: Image, analysis: Analysis, moment: Moment) -> None:
    """Write what the still shows along its top, with the direction of the run as filmed."""
    width = image.shape[1]
    ink.plate(image, (0, 0, width, _BAND_PX), ink.BLACK, 1.0)
    name = words.capitalised(words.contact_words(moment.contact.number, analysis.run))
    title = f"{name} ({words.side(moment.contact)}): {INSTANT_WORDS[moment.instant]}"
    ink.write(image, title, (12, 8), 23, ink.WHITE, bold=True)
    right = analysis.run.direction == "left to right"
    note = f"{moment.time_s:.3f} s   " + ("run →" if right else "← run")
    ink.write(image, note, (width - ink.text_size(note, 21)[0] - 12, 9), 21, ink.WHITE)
