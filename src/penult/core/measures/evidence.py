"""What each contact and flight shows: joints at its instants, lowest points, mass-centre fits. Draws lead every array.

Between the raw joints and the measures: everything here is fitted from raw samples around one instant or within one
support or flight, never through a whole clip.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from penult.core.joints.body import SegmentTable, knee_angle_deg, mass_centre, middle
from penult.core.joints.joint_bias import Posture, posture_of, standing_m, unseen_m
from penult.core.numeric.fits import GRAVITY_M_PER_S2, evaluate, flight, polynomial, window
from penult.core.numeric.seeds import Stream, generator
from penult.core.trunk.hip_heights import HipHeights
from penult.model.analysis import Foot, PhaseKind
from penult.model.arrays import Bools, Floats
from penult.model.skeleton import joint

INSTANT_S = 0.025
"""Half-width of the fit around an instant: a quadratic over 50 ms follows leg joints within 3 mm (their accelerations change
little in it) and averages a dozen frames at 240 Hz. 15 and 40 ms were tried: knee angle at touchdown 3.4 and 3.7 against
3.0 deg RMS on the films with known truth."""

FOOT_SPEED_S = 0.020
"""MEASURES.md section 2: the ankle's way in the last 20 ms before touchdown."""

FOOT_SPEED_FIT = 2.4
"""... from a quadratic over so many times that. Longer ones are steadier (from 40, 48 and 60 ms 0.73, 0.67 and 0.60 m/s RMS on
twelve films with known truth) but less true to a foot that is pulled back late (0.06, 0.12 and 0.24 m/s on an exact runner)."""

LANDING = 0.64
"""Share of the drift of flight that the ankle has which comes down: a leg stretched out ahead is seen better than one that
swings past the other. Beyond white noise its speed is 0.41 m/s off (RMS, 45 touchdowns of twelve films with known truth); with
all of that drift it would be 0.56."""

STEADY_M_PER_S = 6.0
"""A foot speed that changes by more than this when a single frame is left out is not given. With the ankle's usual noise of 2 cm
leaving out one sample changes it by up to 1.1 m/s (SD) of ten samples and 2.9 of five, as least squares have it."""

REACH_OFF, ANGLE_OFF_DEG = 0.01, 6.0
"""How far the distance from hip to ankle (as a share) and the knee angle of a single frame are off, one SD: 1 cm at each end of
0.8 m, and the knee angle's error in supports of the films with known truth."""

LENGTH_OFF = 0.011
"""How far the leg's length is off that the smallest knee angle rests on, as a share, one SD and alike in all supports of a
clip: the knee of the standing leg is seen too straight just when it is bent. What the joints' own spread leaves open of 4.1
deg RMS (151 supports of 39 films with known truth)."""

LONGEST_FLIGHT_S = 0.45
"""Of a longer flight only this much is used: landing postures fold the body and hide joints from each other."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyDraws:
    """Draws of the athlete over the clip, and which rows can be used.

    Parameters
    ----------
    time_s : (t,) float64
    xy_m : (s, t, k, 2) float64
        Draws of the joints, first row measured.
    weight : (t, k) float64
        0 for a sample that is not to be used.
    inside : (t,) bool
        The whole body is in the picture.
    table : SegmentTable
        For the mass centre.
    weights : (s, k) float64, optional
        Weights of the joints for the mass centre, drawn; without them the table's.
    hips : HipHeights, optional
        Height of the mid-hip where the trunk's pixels tell it.
    hand : (t, k) float64, optional
        How far each sample was put where it is by a person, 0 to 1.
    model_scale : float
        Body height over 1.75 m where the joints come from the pose model, whose standing leg is off in a known way; else 0.
    """

    time_s: Floats
    xy_m: Floats
    weight: Floats
    inside: Bools
    table: SegmentTable
    weights: Floats | None = None
    hips: HipHeights | None = None
    hand: Floats | None = None
    model_scale: float = 0.0

    @property
    def interval_s(self) -> float:
        """The usual frame interval."""
        return float(np.median(np.diff(self.time_s)))

    def measured(self) -> BodyDraws:
        """Return the scene with the measured joints alone, as its only draw."""
        weights = None if self.weights is None else self.weights[:1]
        return dataclasses.replace(self, xy_m=self.xy_m[:1], weights=weights, hips=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One contact's instants and places, drawn (s,): what the pictures of the shoe say, or else (`rough`) the joints.

    `foot_sure` is the probability that it is that foot, `same_foot` that it is the foot of the contact before (None: the two feet
    tell it); `phase_said` is what a person said that it takes off into; `unseen_reason` why an end
    was not seen, where it is not hidden.
    """

    foot: Foot
    touchdown_s: Floats
    toe_off_s: Floats
    toe_x_m: Floats
    support_height_m: Floats
    foot_angle_deg: Floats
    by_hand: bool = False
    foot_sure: float = 1.0
    same_foot: float | None = None
    phase_said: PhaseKind | None = None
    rough: bool = False
    touchdown_seen: bool = True
    toe_off_seen: bool = True
    number: int = 0
    foot_angle_reason: str = ""
    unseen_reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hips:
    """Height of the mid-hip over one support, drawn (s,), and when it is lowest (measured).

    `stretch` says with which other supports it shares a level that comes from pixels; -1: from joints.
    """

    touchdown_m: Floats
    lowest_m: Floats
    toe_off_m: Floats
    lowest_s: float
    stretch: int = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactEvidence:
    """Everything that a contact's measures are made of, each drawn (s, ...); NaN where it could not be seen.

    `hips` are the heights of the mid-hip from the trunk's pixels where there are any, else from the joints; `joint_hips` always
    from the joints.
    """

    event: Event
    interval_s: float
    touchdown_joints_m: Floats
    toe_off_joints_m: Floats
    ankle_before_m: Floats
    ankle_touchdown_m: Floats
    mass_centre_touchdown_m: Floats
    hips: Hips
    joint_hips: Hips
    knee_min_deg: Floats
    wholly_seen: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightEvidence:
    """The mass centre in one flight: place and velocity at toe-off (s, 2), its samples, and why it is missing."""

    position_m: Floats
    velocity_m_per_s: Floats
    time_s: Floats
    height_m: Floats
    reason: str = ""


def contact_evidence(scene: BodyDraws, event: Event, flying: BodyDraws) -> ContactEvidence:
    """Fit everything that a contact's measures need; `flying` is the scene with the drift that joints have in flight."""
    at_touchdown, at_toe_off = joints_at(scene, event.touchdown_s), joints_at(scene, event.toe_off_s)
    posture = posture_of(at_touchdown[0], at_toe_off[0], event.foot, scene.model_scale)
    at_touchdown = at_touchdown - _standing_m(scene, event, event.touchdown_s[:1], posture)[0]
    unseen = unseen_m(posture, scene.model_scale) * generator(Stream.STANDING_KNEE).normal(size=len(at_touchdown) - 1)
    at_touchdown[1:, joint(event.foot, "knee"), 0] += unseen
    at_toe_off = at_toe_off - _standing_m(scene, event, event.toe_off_s[:1], posture)[0]
    before, landing = _ankle_before(scene, event, flying)
    by_joints = _hips_of_joints(scene, event, at_touchdown, at_toe_off)
    return ContactEvidence(
        event=event,
        interval_s=scene.interval_s,
        touchdown_joints_m=at_touchdown,
        toe_off_joints_m=at_toe_off,
        ankle_before_m=before,
        ankle_touchdown_m=landing,
        mass_centre_touchdown_m=mass_centre(at_touchdown, scene.table, scene.weights),
        hips=_hips_of_pixels(scene, event) or by_joints,
        joint_hips=by_joints,
        knee_min_deg=_knee_min(scene, event, posture),
        wholly_seen=wholly_seen(scene, event),
    )


def wholly_seen(scene: BodyDraws, event: Event) -> bool:
    """Whether the whole body is in the picture over the whole support."""
    support = (scene.time_s >= event.touchdown_s[0]) & (scene.time_s <= event.toe_off_s[0])
    return bool(support.any() and scene.inside[support].all())


def lowest_mass_centre_m(scene: BodyDraws, event: Event) -> Floats:
    """Lowest height of the whole-body mass centre over a support (s,); NaN where it was not seen."""
    height = mass_centre(scene.xy_m, scene.table, scene.weights)[..., 1]
    known = np.isfinite(height).all(axis=0)
    return _lowest(scene, event, height, known.astype(float))[0]


SURE_FOOT = 0.95
"""Probability from which a foot is named: below it one in twenty of the feet that look certain would be the other one."""


def with_place_if_seen(contact: ContactEvidence) -> ContactEvidence:
    """Return the contact without a place of its toe where neither end of it was seen, or a body not all in view says too little.

    Where only joints tell of it, or it is not even certain which foot stands there, the joints may be somebody else's, or made
    up by a pose model that squeezes a body into the picture: such toes were once 2.28 m off, and 0.43 m.
    """
    event = contact.event
    told = contact.wholly_seen or (not event.rough and event.foot_sure >= SURE_FOOT)
    seen = (event.touchdown_seen or event.toe_off_seen) and told
    if seen:
        return contact
    return dataclasses.replace(contact, event=dataclasses.replace(event, toe_x_m=np.full_like(event.toe_x_m, np.nan)))


def joints_at(scene: BodyDraws, instant_s: Floats) -> Floats:
    """Joints (s, k, 2) at an instant that has its own draw in every row (s,); NaN unless the body is in the picture."""
    rows = window(scene.time_s, float(instant_s[0]), INSTANT_S, INSTANT_S)
    rows &= scene.inside
    near = np.abs(scene.time_s - instant_s[0]) <= max(INSTANT_S, 1.6 * scene.interval_s)
    out = np.full((scene.xy_m.shape[0], *scene.xy_m.shape[2:]), np.nan)
    if rows.sum() < 3 or not _reaches(scene.time_s[rows & near], float(instant_s[0]), scene.interval_s):
        return out
    t = scene.time_s[rows] - instant_s[0]
    for k in range(out.shape[1]):
        weight = scene.weight[rows, k]
        if (weight > 0).sum() < 3:
            continue
        for d in (0, 1):
            fit = polynomial(t, scene.xy_m[:, rows, k, d], 2, weight)
            out[:, k, d] = evaluate(fit, instant_s - instant_s[0])
    return out


def _standing_m(scene: BodyDraws, event: Event, time_s: Floats, posture: Posture) -> Floats:
    """What the pose model puts the standing leg beside its place at times of a support (n,), (n, k, 2); 0 where a person did."""
    touchdown_s, toe_off_s = float(event.touchdown_s[0]), float(event.toe_off_s[0])
    off = standing_m(event.foot, (time_s - touchdown_s) / (toe_off_s - touchdown_s), scene.model_scale, posture)
    if scene.hand is None:
        return off
    rows = np.abs(scene.time_s[None] - time_s[:, None]).argmin(axis=1)
    return np.asarray(off * (1.0 - scene.hand[rows][..., None]))


def _hips_of_joints(scene: BodyDraws, event: Event, touchdown_m: Floats, toe_off_m: Floats) -> Hips:
    height = middle(scene.xy_m, "hip")[..., 1]
    weight = scene.weight[:, joint("left", "hip")] * scene.weight[:, joint("right", "hip")]
    lowest, lowest_s = _lowest(scene, event, height, weight)
    ends = (middle(joints, "hip")[..., 1] for joints in (touchdown_m, toe_off_m))
    return Hips(touchdown_m=next(ends), lowest_m=lowest, toe_off_m=next(ends), lowest_s=lowest_s)


def _hips_of_pixels(scene: BodyDraws, event: Event) -> Hips | None:
    """None unless the trunk was followed over the whole support and its ends."""
    if scene.hips is None:
        return None
    known = np.isfinite(scene.hips.y_m[0])
    lowest, lowest_s = _lowest(scene, event, scene.hips.y_m, known.astype(float))
    ends = []
    for instant_s in (event.touchdown_s, event.toe_off_s):
        rows = window(scene.time_s, float(instant_s[0]), INSTANT_S, INSTANT_S) & known
        if rows.sum() < 3 or not _reaches(scene.time_s[rows], float(instant_s[0]), scene.interval_s):
            return None
        fit = polynomial(scene.time_s[rows] - instant_s[0], scene.hips.y_m[:, rows], 2)
        ends.append(evaluate(fit, instant_s - instant_s[0]))
    if not np.isfinite(lowest[0]):
        return None
    at = int(np.abs(scene.time_s - lowest_s).argmin())
    stretch = int(scene.hips.stretch[at])
    return Hips(touchdown_m=ends[0], lowest_m=lowest, toe_off_m=ends[1], lowest_s=lowest_s, stretch=stretch)


def _reaches(time_s: Floats, instant_s: float, interval_s: float) -> bool:
    """The samples lie on both sides of the instant or within one interval of it."""
    return len(time_s) > 0 and time_s[0] <= instant_s + interval_s and time_s[-1] >= instant_s - interval_s


def _ankle_before(scene: BodyDraws, event: Event, flying: BodyDraws) -> tuple[Floats, Floats]:
    """x of the ankle 20 ms before touchdown and at touchdown (s,), from one fit to the swing before it."""
    td = float(event.touchdown_s[0])
    k = joint(event.foot, "ankle")
    rows = (
        (scene.time_s >= td - FOOT_SPEED_FIT * FOOT_SPEED_S - 1e-9)
        & (scene.time_s <= td + scene.interval_s / 4)
        & scene.inside
    )
    if (scene.weight[rows, k] > 0).sum() < 4:
        nothing = np.full(len(event.touchdown_s), np.nan)
        return nothing, nothing
    t, weight = scene.time_s[rows] - td, scene.weight[rows, k]
    x_m = (1.0 - LANDING) * scene.xy_m[:, rows, k, 0] + LANDING * flying.xy_m[:, rows, k, 0]
    fit = polynomial(t, x_m, 2, weight)
    before, at = (evaluate(fit, event.touchdown_s - td - early) for early in (FOOT_SPEED_S, 0.0))
    if _depends_on_single_sample(t, x_m[:1], weight, float(at[0] - before[0])):
        return np.full_like(before, np.nan), np.full_like(at, np.nan)
    return before, at


def _depends_on_single_sample(t: Floats, x_m: Floats, weight: Floats, way_m: float) -> bool:
    """Whether leaving out a single sample changes the ankle's way in FOOT_SPEED_S by more than a strike can differ."""
    for i in np.flatnonzero(weight > 0):
        fit = polynomial(t, x_m, 2, np.where(np.arange(len(t)) == i, 0.0, weight))
        ends = evaluate(fit, np.array([0.0])) - evaluate(fit, np.array([-FOOT_SPEED_S]))
        if abs(float(ends[0]) - way_m) > STEADY_M_PER_S * FOOT_SPEED_S:
            return True
    return False


def _within(scene: BodyDraws, event: Event) -> Bools:
    """Rows of the support to half a frame, body in the picture: such a frame is as near to it as to the flight."""
    slack = scene.interval_s / 2
    rows = (scene.time_s >= event.touchdown_s[0] - slack) & (scene.time_s <= event.toe_off_s[0] + slack)
    return np.asarray(rows & scene.inside)


def _lowest(scene: BodyDraws, event: Event, height: Floats, weight: Floats) -> tuple[Floats, float]:
    """Lowest of heights (s, t) in the support (s,) and when (measured), from a curve over the support."""
    grid, values = _over_support(scene, event, height, weight)
    if not len(grid):
        return np.full(len(height), np.nan), float("nan")
    return values.min(axis=1), float(event.touchdown_s[0] + grid[values[0].argmin()])


def _knee_min(scene: BodyDraws, event: Event, posture: Posture) -> Floats:
    """Smallest knee angle over the support (s,), from how near the hip comes to the ankle.

    Thigh and shank are rigid and nearly of one length, so that hip and ankle are L sin(A / 2) apart at a knee angle A
    (a triangle's closed form; thigh and shank that differ by a tenth move A by 0.1 deg). L comes from the knee angles of the
    same support, most from those of a straight leg, which depend on L the least. The knee itself is seen badly just when it is
    most bent: the other leg passes before or behind it. Where a person put the leg's joints, their own angle counts.
    """
    rows = _within(scene, event)
    leg = [joint(event.foot, part) for part in ("hip", "knee", "ankle")]
    hip, knee, ankle = leg
    angle, reach_m = np.full(scene.xy_m.shape[:2], np.nan), np.full(scene.xy_m.shape[:2], np.nan)
    xy_m = scene.xy_m[:, rows] - _standing_m(scene, event, scene.time_s[rows], posture)
    angle[:, rows] = knee_angle_deg(xy_m, event.foot)
    reach_m[:, rows] = np.linalg.norm(xy_m[:, :, hip] - xy_m[:, :, ankle], axis=-1)
    seen = scene.weight[:, hip] * scene.weight[:, ankle]
    off = np.hypot(REACH_OFF, np.radians(ANGLE_OFF_DEG) / 2.0 / np.tan(np.radians(angle[0] / 2.0)))
    worth = np.nan_to_num(np.where(rows, seen * scene.weight[:, knee] / off**2, 0.0))
    half = np.sin(np.radians(angle / 2.0))
    length_m = polynomial(scene.time_s, reach_m / half, 0, worth)
    if scene.hand is not None:
        hand = scene.hand[:, leg].max(axis=1)
        if (worth * (1.0 - hand)).any():
            length_m = polynomial(scene.time_s, reach_m / half, 0, worth * (1.0 - hand))
        reach_m = np.where(hand > 0.0, hand * length_m * half + (1.0 - hand) * reach_m, reach_m)
    grid, values = _over_support(scene, event, reach_m, seen)
    if not len(grid):
        return np.full(len(angle), np.nan)
    length_m[1:, 0] *= 1.0 + LENGTH_OFF * generator(Stream.LEG_LENGTH).normal(size=len(length_m) - 1)
    return np.asarray(np.degrees(2.0 * np.arcsin(np.clip(values.min(axis=1) / length_m[:, 0], 0.0, 1.0))))


FEW_SAMPLES = 8
"""Through more samples of a support a cubic, through so many, as 60 Hz gives, a parabola: a cubic through six follows every one
of them, also those with legs confused (smallest knee angle 7.2 and 3.1 deg RMS, one value 19 deg off; a blurred film with known
truth and eight lane files that differ by half a pixel)."""


def _over_support(scene: BodyDraws, event: Event, values: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """A curve through `values` (s, t) over the support, on a grid from touchdown to toe-off: (g,), (s, g); see FEW_SAMPLES."""
    rows = _within(scene, event)
    length = float(event.toe_off_s[0] - event.touchdown_s[0])
    if (weight[rows] > 0).sum() < 4 or rows.sum() * scene.interval_s < 0.6 * length:
        return np.zeros(0), np.zeros((len(values), 0))
    bends = 3 if (weight[rows] > 0).sum() > FEW_SAMPLES else 2
    fit = polynomial(scene.time_s[rows] - event.touchdown_s[0], values[:, rows], bends, weight[rows])
    grid = np.linspace(0.0, length, 41)
    return grid, fit @ np.vander(grid, bends + 1, increasing=True).T


def flight_evidence(scene: BodyDraws, toe_off_s: Floats, end_s: float) -> FlightEvidence:
    """Fit the mass centre from a toe-off to the next touchdown (or as long as the body is in the picture)."""
    start = float(toe_off_s[0])
    rows = (scene.time_s >= start) & (scene.time_s <= min(end_s, start + LONGEST_FLIGHT_S)) & scene.inside
    rows &= _unbroken(rows)
    rows &= np.isfinite(scene.xy_m[-1]).all(axis=(1, 2))  # a row that was filled in has no draws
    draws = len(scene.xy_m)
    if rows.sum() < 4 or scene.time_s[rows][-1] - scene.time_s[rows][0] < 0.03:
        nothing = np.full((draws, 2), np.nan)
        short, away = (
            "the flight is too short for this frame rate",
            "the athlete is not wholly in the picture in that flight",
        )
        why = short if rows.any() else away
        return FlightEvidence(
            position_m=nothing, velocity_m_per_s=nothing, time_s=np.zeros(0), height_m=np.zeros((draws, 0)), reason=why
        )
    t = scene.time_s[rows] - start
    cm = mass_centre(scene.xy_m[:, rows], scene.table, scene.weights)
    position, velocity = flight(t, cm)
    late = (toe_off_s - start)[:, None]
    fall = np.array([0.0, -GRAVITY_M_PER_S2])
    return FlightEvidence(
        position_m=position + velocity * late + fall * late**2 / 2.0,
        velocity_m_per_s=velocity + fall * late,
        time_s=t,
        height_m=cm[..., 1],
    )


def _unbroken(rows: Bools) -> Bools:
    """Only the first unbroken stretch of the marked rows (single missing rows are bridged)."""
    out = np.array(rows)
    marked = np.flatnonzero(rows)
    if len(marked):
        breaks = np.flatnonzero(np.diff(marked) > 2)
        if len(breaks):
            out[marked[breaks[0]] + 1 :] = False
    return out
