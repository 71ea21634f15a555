"""Angles, heights and distances drawn where they are measured; each gives back the label that names it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from penult.model.analysis import Analysis, Contact
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.measured import Measure, Measured
from penult.model.skeleton import joint
from penult.model.track import Motion
from penult.outputs.pictures import ink
from penult.outputs.pictures.figure import View, draw_mat_at, mats_of, on_plane
from penult.outputs.pictures.labels import Label
from penult.outputs.pictures.moments import Moment, mid_shoulder_m, places_m
from penult.outputs.texts import drops, words

_TEXT_PX = 23
_PAD_PX = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What an annotation needs: the picture, where it lies, and the body at that instant.

    Parameters
    ----------
    image : (h, w, 3) uint8 or Planes
        Changed in place.
    view, camera : View, Camera
        From runway to drawn pixels.
    moment : Moment
        Contact, instant and row.
    analysis, motion : Analysis, Motion
        The whole result.
    drawn_px : list of (n, 2) float64
        Lines drawn so far, that labels keep off.
    """

    image: ink.Picture
    view: View
    camera: Camera
    moment: Moment
    analysis: Analysis
    motion: Motion
    drawn_px: list[Floats] = field(default_factory=list)

    def at(self, xy_m: Floats, z_m: float) -> Floats:
        """Return places of one depth, (n, 2) metres, as drawn pixels (n, 2)."""
        return self.view.project(self.camera, on_plane(xy_m, z_m))

    def body(self, name: str) -> Floats:
        """Return a joint of the supporting leg, (3,) metres."""
        return np.asarray(places_m(self.motion, self.moment.row)[joint(self.moment.contact.foot, name)])

    @property
    def hip_m(self) -> Floats:
        """Mid-hip, (2,) metres."""
        return np.asarray(self.motion.hip_m[self.moment.row])


Annotation = Callable[[Scene], "Label | None"]


def label_for(name: str, short: str, measure: Measure | None, anchor_px: Floats, colour: ink.Colour) -> Label | None:
    """Return the label of a measured value, or None where there is none."""
    if not isinstance(measure, Measured) or not np.isfinite(anchor_px).all():
        return None
    figures = words.shown(name, measure).text
    if measure.by_hand:
        short, colour = f"{short} (by hand)", ink.BY_HAND
    width = ink.text_size(short, _TEXT_PX - 3)[0] + ink.text_size(figures, _TEXT_PX, bold=True)[0]
    height = ink.text_size(figures, _TEXT_PX, bold=True)[1]
    size = (width + 3 * _PAD_PX, height + _PAD_PX)
    return Label(words=short, figures=figures, anchor_px=anchor_px, colour=colour, size_px=size)


def draw_label(image: ink.Picture, label: Label, box: tuple[float, float, float, float], start_px: Floats) -> None:
    """Draw a label's leader, plate and text."""
    ink.stroke(image, np.stack([start_px, label.anchor_px]), ink.BLACK, 1.0, outline=ink.WHITE)
    ink.plate(image, box, ink.WHITE, 0.92)
    x0, y0, x1, y1 = box
    edge = np.array([[x0, y0], [x0, y1]])
    ink.stroke(image, edge, label.colour, 5.0)
    ink.stroke(image, np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]), ink.BODY, 1.0)
    x, y = x0 + _PAD_PX + 2, y0 + _PAD_PX / 2
    ink.write(image, label.words, (x, y + 2), _TEXT_PX - 3, ink.BLACK)
    wide = ink.text_size(label.words, _TEXT_PX - 3)[0]
    ink.write(image, label.figures, (x + wide + _PAD_PX, y), _TEXT_PX, ink.BLACK, bold=True)


def leg_angle(scene: Scene) -> Label | None:
    """At the ankle, between the line to the hip joint and the horizontal: backward at touchdown, forward at toe-off."""
    ankle, hip = scene.body("ankle"), scene.body("hip")
    backward = scene.moment.instant == "touchdown"
    name = "leg_angle_touchdown_deg" if backward else "leg_angle_toe_off_deg"
    measure = scene.moment.contact.measures.get(name)
    if not isinstance(measure, Measured) or not np.isfinite([ankle, hip]).all():
        return None
    rise = np.arctan2(hip[1] - ankle[1], hip[0] - ankle[0])
    flat = np.pi if backward else 0.0
    reach = ankle[:2] + 0.5 * np.array([np.cos(flat), 0.0])
    _guide(scene, np.array([ankle[:2], hip[:2]]), ankle[2])
    _guide(scene, np.array([ankle[:2], reach]), ankle[2])
    middle = _arc(scene, ankle, 0.32, (flat, float(rise)), ink.SUPPORT)
    return label_for(name, "leg", measure, middle, ink.SUPPORT)


def knee_angle(scene: Scene) -> Label | None:
    """Hip - knee - ankle, drawn on the side where it is measured; the smallest only where the leg is as bent as that."""
    name = {
        "touchdown": "knee_angle_touchdown_deg",
        "lowest": "knee_angle_min_deg",
        "toe_off": "knee_angle_toe_off_deg",
    }
    hip, knee, ankle = (scene.body(j) for j in ("hip", "knee", "ankle"))
    key = name[scene.moment.instant]
    measure = scene.moment.contact.measures.get(key)
    if not isinstance(measure, Measured) or not np.isfinite([hip, knee, ankle]).all():
        return None
    up = float(np.arctan2(hip[1] - knee[1], hip[0] - knee[0]))
    down = float(np.arctan2(ankle[1] - knee[1], ankle[0] - knee[0]))
    turn = (down - up + np.pi) % (2.0 * np.pi) - np.pi
    if scene.moment.instant == "lowest" and abs(np.degrees(abs(turn)) - measure.value) > measure.u95:
        return None  # a take-off leg bends on after the hips were lowest: the number belongs to another picture
    middle = _arc(scene, knee, 0.14, (up, up + turn), ink.SUPPORT)
    short = "knee, smallest" if scene.moment.instant == "lowest" else "knee"
    return label_for(key, short, measure, middle, ink.SUPPORT)


def foot_angle(scene: Scene) -> Label | None:
    """Sole against the runway at touchdown."""
    measure = scene.moment.contact.measures.get("foot_angle_touchdown_deg")
    heel, toe = scene.body("heel"), scene.body("toe")
    if not isinstance(measure, Measured) or not np.isfinite([heel, toe]).all():
        return None
    tilt = np.deg2rad(measure.value)
    along = np.array([np.cos(tilt), np.sin(tilt)])
    length = 0.42
    _guide(scene, np.array([heel[:2], heel[:2] + length * along]), heel[2])
    _guide(scene, np.array([heel[:2], heel[:2] + np.array([length, 0.0])]), heel[2])
    middle = _arc(scene, heel, 0.38, (0.0, float(tilt)), ink.SUPPORT)
    return label_for("foot_angle_touchdown_deg", "foot", measure, middle, ink.SUPPORT)


def trunk_angle(scene: Scene) -> Label | None:
    """Mid-hip to mid-shoulder line from the vertical."""
    name = f"trunk_angle_{scene.moment.instant}_deg"
    measure = scene.moment.contact.measures.get(name)
    hip, shoulder = scene.hip_m, mid_shoulder_m(scene.motion, scene.moment.row)
    if not isinstance(measure, Measured) or not np.isfinite([hip, shoulder]).all():
        return None
    lean = float(np.arctan2(shoulder[1] - hip[1], shoulder[0] - hip[0]))
    _guide(scene, np.array([hip, hip + np.array([0.0, 0.62])]), 0.0)
    at = np.array([hip[0], hip[1], 0.0])
    middle = _arc(scene, at, 0.56, (np.pi / 2.0, lean), ink.BODY)
    return label_for(name, "trunk", measure, middle, ink.BODY)


def hip_height(scene: Scene) -> Label | None:
    """A vertical measure line from the runway up to the mid-hip at its lowest."""
    measure = scene.moment.contact.measures.get("hip_height_lowest_m")
    hip = scene.hip_m
    if not isinstance(measure, Measured) or not np.isfinite(hip).all():
        return None
    line = scene.at(np.array([[hip[0], 0.0], hip]), 0.0)
    measure_line(scene, line)
    return label_for("hip_height_lowest_m", "hip height", measure, line[0] * 0.55 + line[1] * 0.45, ink.BLACK)


def hip_drop(scene: Scene) -> Label | None:
    """The headline: how much lower the hip is than at its lowest over the third-last support."""
    measure = scene.analysis.penultimate.get("penultimate_hip_drop_m")
    before = scene.analysis.contact(-2)
    level = before.measures.get("hip_height_lowest_m") if before else None
    hip = scene.hip_m
    if not isinstance(measure, Measured) or not isinstance(level, Measured) or not np.isfinite(hip).all():
        return None
    above = hip[1] + measure.value  # from this picture's own hip, so that the gap drawn is the drop measured
    x = hip[0] - 0.62
    for level_m in (above, hip[1]):
        _guide(scene, np.array([[x - 0.16, level_m], [hip[0] + 0.05, level_m]]), 0.0)
    gap = scene.at(np.array([[x, above], [x, hip[1]]]), 0.0)
    measure_line(scene, gap)
    what = "hip drop above the runway" if drops.has_mats(scene.analysis) else "hip drop"
    return label_for("penultimate_hip_drop_m", what, measure, gap[0], ink.BLACK)


def touchdown_distance(scene: Scene) -> Label | None:
    """How far the toe is ahead of the hips, as a bracket below the ground line."""
    measure = scene.moment.contact.measures.get("touchdown_distance_m")
    hip, toe = scene.hip_m, scene.body("toe")
    if not isinstance(measure, Measured) or not np.isfinite([hip, toe[:2]]).all():
        return None
    ends = scene.at(np.array([[hip[0], 0.0], [hip[0] + measure.value, 0.0]]), 0.0)
    _guide(scene, np.array([hip, [hip[0], 0.0]]), 0.0)
    below = ends + np.array([0.0, 56.0])
    measure_line(scene, below)
    return label_for("touchdown_distance_m", "foot ahead of hips", measure, below.mean(axis=0), ink.BLACK)


def mat(scene: Scene) -> Label | None:
    """The height of the mat's surface, as a bracket from the runway up to it, just ahead of the toe."""
    contact = scene.moment.contact
    measure, toe = contact.measures.get("support_height_m"), scene.body("toe")
    thickness_m = mats_of(scene.analysis).get(contact.number)
    if thickness_m is None or not np.isfinite(toe).all():
        return None
    top = draw_mat_at(scene.image, scene.view, scene.camera, float(toe[0]), thickness_m)
    return label_for("support_height_m", "mat", measure, top, ink.MAT) if scene.moment.instant == "lowest" else None


def takeoff_angle(scene: Scene) -> Label | None:
    """The velocity of the centre of mass as an arrow, and its angle from the horizontal."""
    measure = scene.analysis.takeoff.get("takeoff_angle_deg")
    centre = scene.motion.mass_centre_m[scene.moment.row]
    start = centre if np.isfinite(centre).all() else scene.hip_m
    if not isinstance(measure, Measured) or not np.isfinite(start).all():
        return None
    rise = float(np.deg2rad(measure.value))
    tip = start + 0.85 * np.array([np.cos(rise), np.sin(rise)])
    ends = scene.at(np.array([start, tip]), 0.0)
    _guide(scene, np.array([start, start + np.array([0.8, 0.0])]), 0.0)
    ink.arrow(scene.image, ends[0], ends[1], ink.BLACK, 4.0, outline=ink.WHITE)
    scene.drawn_px.append(ends[0] + np.linspace(0.0, 1.0, 17)[:, None] * (ends[1] - ends[0]))
    middle = _arc(scene, np.array([start[0], start[1], 0.0]), 0.6, (0.0, rise), ink.BLACK)
    return label_for("takeoff_angle_deg", "take-off angle", measure, middle, ink.BLACK)


def drawn_at(contact: Contact, instant: str, *, has_takeoff: bool) -> tuple[Annotation, ...]:
    """Return what is drawn at an instant of a contact, the most important first."""
    if instant == "touchdown":
        return (mat, leg_angle, knee_angle, foot_angle, trunk_angle, touchdown_distance)
    if instant == "lowest":
        return (mat, hip_drop, hip_height, knee_angle) if contact.number == -1 else (mat, hip_height, knee_angle)
    if contact.number == 0 and has_takeoff:
        return (mat, takeoff_angle, leg_angle, knee_angle, trunk_angle)
    return (mat, leg_angle, knee_angle, trunk_angle)


def _guide(scene: Scene, xy_m: Floats, z_m: float) -> None:
    """Draw a thin dashed line that an angle or a distance refers to."""
    ends = scene.at(xy_m, float(z_m))
    ink.stroke(scene.image, ends, ink.BLACK, 1.5, outline=ink.WHITE, dash=(7.0, 5.0))
    scene.drawn_px.append(ends[0] + np.linspace(0.0, 1.0, 9)[:, None] * (ends[1] - ends[0]))


def _arc(scene: Scene, at_m: Floats, radius_m: float, ends: tuple[float, float], colour: ink.Colour) -> Floats:
    """Draw an arc about a place and return its middle in drawn pixels; angles in radians, forward is 0, up is +."""
    turn = np.linspace(*ends, 33)
    xy_m = at_m[:2] + radius_m * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    line = scene.at(xy_m, float(at_m[2]))
    ink.stroke(scene.image, line, colour, 3.0, outline=ink.WHITE)
    scene.drawn_px.append(line[::4])
    return np.asarray(line[16])


def measure_line(scene: Scene, ends_px: Floats) -> None:
    """Draw a measured length: a line with a bar across each end."""
    along = ends_px[1] - ends_px[0]
    unit = along / max(1e-9, float(np.hypot(*along)))
    across = 8.0 * np.array([-unit[1], unit[0]])
    scene.drawn_px.append(ends_px[0] + np.linspace(0.0, 1.0, 9)[:, None] * along)
    ink.stroke(scene.image, ends_px, ink.BLACK, 2.5, outline=ink.WHITE)
    for end in ends_px:
        ink.stroke(scene.image, np.array([end - across, end + across]), ink.BLACK, 2.5, outline=ink.WHITE)
