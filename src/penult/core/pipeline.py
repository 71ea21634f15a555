"""The order of the stages, nothing else: joints in the picture -> supports -> (pictures of the shoe) -> measures."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from penult.core.checks import clock
from penult.core.checks.other_lane import refuse_other_lane
from penult.core.checks.rough_fall import rough_fall
from penult.core.checks.scale import SCALE_CHECK, lane_doubt, scale_check
from penult.core.checks.stature import body_height, height_method, height_notice
from penult.core.checks.turned_view import without_turned
from penult.core.joints.body import mass_centre, middle, segment_table, weight_draws
from penult.core.joints.clean import fill_gaps, smooth_path, trust
from penult.core.joints.confusion import confused, misshapen, straying, without_joints
from penult.core.joints.crossing import AROUND_S
from penult.core.joints.feet_order import fall_m_per_s2
from penult.core.joints.hidden import knee_worth, with_far_elbow
from penult.core.joints.identity import one_body, refuse_cut, without
from penult.core.joints.joint_bias import BODY_M, far_lead_m, without_mean
from penult.core.joints.locate import inside_picture, joint_depths, to_picture, to_runway
from penult.core.joints.sides import LEG, exchange, settle_arms
from penult.core.joints.supports import Support, find_supports
from penult.core.joints.walking import refuse_walk
from penult.core.lane.camera import position_m
from penult.core.measures.events import make_event, nearest_camera
from penult.core.measures.evidence import (
    BodyDraws,
    Event,
    FlightEvidence,
    contact_evidence,
    flight_evidence,
    lowest_mass_centre_m,
    wholly_seen,
    with_place_if_seen,
)
from penult.core.measures.joined_speeds import joined
from penult.core.measures.kinds import Flown, again, falls, into_sand, kinds_of, zero_of
from penult.core.measures.numbering import reference_index
from penult.core.measures.zones import run_up_measures
from penult.core.numeric.fits import GRAVITY_M_PER_S2
from penult.core.report import Report
from penult.core.trunk.flight_drift import Flight, airborne
from penult.core.trunk.hip_heights import HipHeights, cloth_factor, cloth_notices, hip_heights
from penult.core.uncertainty.draws import Draws, draw_track
from penult.errors import NoContactError, NotMeasurableError
from penult.model.analysis import Analysis, Direction, Notice, PhaseKind
from penult.model.arrays import Bools, Floats
from penult.model.calibration import Camera, LaneFit
from penult.model.clip import Clip
from penult.model.settings import Settings
from penult.model.shoe import ShoeContact
from penult.model.skeleton import joint
from penult.model.track import Motion, PixelTrack, RunwayTrack
from penult.model.trunk import TrunkMotion

EDGE_SHARE = 0.015
"""Joints nearer to the picture's edge than this share of the body's height may be cut off (about the pose model's noise)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Located:
    """The athlete on the runway, legs settled, with the supports that the joints show.

    `time_scale` is how many times the clip's stated clock runs too slowly (1: it is right); all times in here are on the
    corrected clock, so that a wrong one does not spoil lengths and angles.
    """

    pixels: PixelTrack
    runway: RunwayTrack
    weight: Floats
    inside: Bools
    supports: tuple[Support, ...]
    cameras: tuple[Camera, ...]
    time_scale: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """The analysis and what pictures need besides it."""

    analysis: Analysis
    motion: Motion


def locate(track: PixelTrack, cameras: Sequence[Camera], size_px: tuple[int, int], settings: Settings) -> Located:
    """Put the joints on the runway, find supports, settle left and right.

    Raises
    ------
    NoContactError
        If no support is found.
    NotMeasurableError
        If the clip has a cut in the run, or shows a walk.
    """
    flat = to_runway(track, cameras, joint_depths(0.0))
    refuse_cut(flat)
    track = without(track, ~one_body(flat))
    flat = to_runway(track, cameras, joint_depths(0.0))
    supports, swap = find_supports(flat, without_joints(flat, confused(flat) | misshapen(flat)))
    if not supports:
        raise NoContactError(
            "no contact of a foot with the runway was found",
            f"the athlete was seen in {int(np.isfinite(flat.xy_m[:, 0, 0]).sum())} frames",
            next_step="film side-on with the feet in the picture, and look at the pictures of the result of another clip",
        )
    refuse_walk(supports)
    slow = _slowness(flat, supports, is_stated=settings.capture_rate_hz is not None)
    track = settle_arms(exchange(track, swap, LEG))
    track = dataclasses.replace(track, time_s=track.time_s / slow)
    supports = tuple(dataclasses.replace(s, start_s=s.start_s / slow, end_s=s.end_s / slow) for s in supports)
    runway, weight, inside = place(track, cameras, size_px, joint_depths(_scale(settings)), supports)
    return Located(
        pixels=track,
        runway=runway,
        weight=weight,
        inside=inside,
        supports=supports,
        cameras=tuple(cameras),
        time_scale=slow,
    )


def place(
    track: PixelTrack,
    cameras: Sequence[Camera],
    size_px: tuple[int, int],
    z_m: Floats,
    supports: Sequence[Support],
    sure: Bools | None = None,
) -> tuple[RunwayTrack, Floats, Bools]:
    """Put settled joints on the runway: the track with its gaps filled, weights (t, k), rows with the whole body (t,).

    Samples that are `sure` (t, k), because a person put them there, are trusted whatever they look like.
    """
    lens_z_m = float(position_m(cameras[0])[2])
    raw = with_far_elbow(to_runway(track, cameras, z_m), lens_z_m, sure)
    weight = np.where(straying(raw, supports), 0.0, trust(raw))
    knee, worth = knee_worth(raw, lens_z_m)
    weight[:, knee] *= worth
    if sure is not None:
        weight = np.where(sure, 1.0, weight)
    height_px = float(np.nanmedian(np.ptp(track.xy_px[..., 1], axis=1)))
    return fill_gaps(raw, weight), weight, inside_picture(track, weight, size_px, EDGE_SHARE * height_px)


CROSSED = "crossed_s"
"""Under this name a result keeps from when to when somebody else overlaps the athlete, on its own clock."""

FALL_SHARE = 0.25
"""A body that falls in long flights with 9.81 m/s2 to within this share says that the stated clock is right: the wrong rates that
phones lead to are off by a factor of 2 and more, the fall then by 4."""


def _slowness(track: RunwayTrack, supports: Sequence[Support], *, is_stated: bool) -> float:
    """How many times too slowly the clip plays, from its step rate and the fall in flight.

    Bounds, hops and skips have two contacts a second at a right clock; their flights are long enough to show the fall. A rate that
    a person stated is overruled by the fall, never by the step rate alone.
    """
    middles = np.array([(s.start_s + s.end_s) / 2.0 for s in supports])
    rate = 1.0 / float(np.median(np.diff(middles))) if len(middles) > 1 else float("nan")
    value, u95 = rough_fall(track, supports)
    tells = clock.fall_tells(value, u95)
    slow = clock.likely_slowness(rate, float("nan"))
    if slow == 1.0:
        return clock.ratio_of_fall(value) if tells else slow
    height = mass_centre(track.xy_m, segment_table(None))[:, 1]
    falls = [
        fall_m_per_s2(track.time_s[rows], height[rows])
        for rows in ((track.time_s > a.end_s) & (track.time_s < b.start_s) for a, b in pairwise(supports))
    ]
    seen = [g for g in falls if np.isfinite(g)]
    fits = bool(seen) and abs(float(np.median(seen)) / GRAVITY_M_PER_S2 - 1.0) <= FALL_SHARE
    if fits or (is_stated and not tells):
        return 1.0
    return clock.likely_slowness(rate, value, u95) if tells else slow


def measure(
    found: Located,
    shoes: Sequence[ShoeContact | None],
    clip: Clip,
    fit: LaneFit,
    settings: Settings,
    method: Mapping[str, Any],
    notices: Sequence[Notice] = (),
    hand: Floats | None = None,
    trunks: Sequence[TrunkMotion] = (),
    strides: Sequence[TrunkMotion] = (),
    *,
    by_model: bool = False,
    crossed: Sequence[tuple[float, float]] = (),
) -> Outcome:
    """Measure everything that MEASURES.md defines, each with its uncertainty.

    Parameters
    ----------
    found : Located
        From `locate`.
    shoes : sequence of ShoeContact or None
        One for every support, from the pictures.
    clip, fit, settings
        What was analysed, with which lane, and what the coach said.
    method : mapping
        Versions and settings to be kept with the result.
    notices : sequence of Notice
        Already known, of the file and the camera.
    hand : (t, k) float64, optional
        How far each sample was put where it is by a person, 0 to 1.
    trunks : sequence of TrunkMotion
        How the trunk moves in the flights, from its pixels; without them hips and shoulders of the pose model serve.
    strides : sequence of TrunkMotion
        The same from each support into the next, for the height of the hips.
    by_model : bool
        The joints come from the pose model, whose mean bias is taken out (`joint_bias`).
    crossed : sequence of (float, float)
        From when to when somebody else overlaps the athlete, on the clip's clock.

    Raises
    ------
    NotMeasurableError
        The runner is in another lane, or the clip ends before the take-off.
    """
    z_m = found.runway.z_m
    scale = _scale(settings)
    drawn = found
    lead_m = None
    if by_model:
        lens_z_m = float(position_m(found.cameras[0])[2])
        lead_m = far_lead_m(found.runway.xy_m, lens_z_m)
        found = dataclasses.replace(found, runway=without_mean(found.runway, scale, hand, lens_z_m))
    cloth = cloth_factor(found.runway, strides) if by_model else 1.0
    draws = draw_track(
        found.pixels,
        found.cameras,
        z_m,
        found.runway.xy_m,
        found.weight,
        hand,
        cloth,
        _overlapped(found, crossed),
        lead_m,
    )
    refuse_other_lane(draws, found.supports, found.runway.time_s, has_mats=bool(settings.mats))
    events = [_event(found, s, shoe, draws) for s, shoe in zip(found.supports, shoes, strict=True)]
    events = _in_order(events)
    scene = BodyDraws(
        time_s=found.runway.time_s,
        xy_m=draws.xy_m,
        weight=found.weight,
        inside=found.inside & np.isfinite(found.runway.xy_m).all(axis=(1, 2)),
        table=segment_table(settings.sex),
        weights=weight_draws(settings.sex, len(draws.xy_m), draws.generator),
        hips=hip_heights(draws, found.runway, strides, hand),
        hand=hand,
        model_scale=scale if by_model else 0.0,
    )
    spans = _spans(scene, events, _told(scene, events, _flights(scene.measured(), events)))
    flying = dataclasses.replace(scene, xy_m=airborne(draws, found.runway, spans, trunks))
    contacts = [contact_evidence(scene, event, flying) for event in events]
    flights = _flights(flying, events)
    told = _told(scene, events, flights)
    flights = joined(flights, events, told.leap)
    places = [float(e.toe_x_m[0]) for e in events]
    zero = reference_index(told.leap, places, [c.wholly_seen for c in contacts], fit.lane.board)
    zero = len(events) - 1 if zero is None else zero
    if told.leap is None and fit.lane.board:
        _refuse_early_end(found.runway)
    contacts = [
        dataclasses.replace(c, event=dataclasses.replace(c.event, number=i - zero))
        for i, c in enumerate(map(with_place_if_seen, contacts))
    ]
    report = Report(
        contacts=contacts,
        flights=flights,
        zero=zero,
        takeoff=told.leap,
        kinds=told.kinds,
        lowest_m=[lowest_mass_centre_m(scene, e) for e in events] if told.leap is not None else [],
        fit=fit,
        settings=settings,
        draws=draws,
        direction=_direction(found.pixels),
        time_scale=found.time_scale,
    )
    tall = body_height(draws, contacts, found.runway.time_s)
    doubt = height_notice(tall, settings.height_m)
    notices = (*notices, *((doubt,) if doubt else ()), *cloth_notices(cloth, draws.noise_factor, strides))
    seen = {**method, **height_method(tall)}
    if crossed:
        seen[CROSSED] = [[round(t / found.time_scale, 3) for t in span] for span in crossed]
    analysis = report.analysis(clip, seen, notices)
    spans_s = [(c.event.number, float(c.event.touchdown_s[0]), float(c.event.toe_off_s[0])) for c in contacts]
    analysis = without_turned(analysis, found.cameras, found.runway.time_s, spans_s)
    analysis = lane_doubt(analysis, fit, tall, settings.height_m)
    analysis = dataclasses.replace(analysis, run_up=run_up_measures(analysis, has_board=fit.lane.board))
    checked = scale_check(analysis, tall, settings.height_m, fit)
    analysis = dataclasses.replace(analysis, method={**analysis.method, SCALE_CHECK: checked})
    return Outcome(analysis=analysis, motion=_motion(drawn, found.runway, settings, scene.hips))


def _overlapped(found: Located, crossed: Sequence[tuple[float, float]]) -> Bools:
    """Rows (t,) in which somebody else is before or behind the athlete."""
    time_s = found.runway.time_s * found.time_scale
    out = np.zeros(len(time_s), dtype=bool)
    for start_s, end_s in crossed:
        out |= (time_s >= start_s - AROUND_S) & (time_s <= end_s + AROUND_S)
    return out


def _scale(settings: Settings) -> float:
    """The body's height over the one that depths and biases of its joints are given for."""
    return settings.height_m / BODY_M if settings.height_m else 1.0


EARLY_END_M = 0.3
"""A trunk that never gets nearer to the board than this has not passed it (it lies ahead of the last toe by more)."""


def _refuse_early_end(track: RunwayTrack) -> None:
    """Without the board's contact the others have no numbers."""
    hips = middle(track.xy_m, "hip")[:, 0]
    seen = np.flatnonzero(np.isfinite(hips))
    if hips[seen].max(initial=-np.inf) > -EARLY_END_M:
        return
    raise NotMeasurableError(
        "the clip ends before the take-off",
        f"the athlete is last seen {-hips[seen[-1]]:.1f} m before the board, at {track.time_s[seen[-1]]:.2f} s",
        next_step='use a clip that shows the run until after the take-off, or a lane file with "board": false',
    )


def _event(found: Located, support: Support, shoe: ShoeContact | None, draws: Draws) -> Event:
    camera = nearest_camera(found.cameras, found.runway.time_s, support.start_s)
    return make_event(support, shoe, camera, float(found.runway.z_m[joint(support.foot, "toe")]), draws)


def _in_order(events: list[Event]) -> list[Event]:
    """Contacts follow one another; one that ends before it begins is left out (the pictures were misread there)."""
    return sorted((e for e in events if e.toe_off_s[0] > e.touchdown_s[0]), key=lambda e: float(e.touchdown_s[0]))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kinds:
    """Kind of every contact, and the index of contact 0 (None where all are running steps)."""

    kinds: tuple[PhaseKind, ...]
    leap: int | None


def _told(scene: BodyDraws, events: Sequence[Event], flights: Sequence[FlightEvidence]) -> _Kinds:
    """What every contact is followed by."""
    flown = []
    for i, (event, flight) in enumerate(zip(events, flights, strict=True)):
        after = events[i + 1] if i + 1 < len(events) else None
        flown.append(
            Flown(
                again=None if after is None else again(event, after),
                flight_s=float("nan")
                if after is None
                else float(after.touchdown_s[0] - event.toe_off_s[0]) - scene.interval_s,
                falls=falls(flight),
                rise_m_per_s=float(flight.velocity_m_per_s[0, 1]),
                whole=wholly_seen(scene, event),
                said=after is not None and after.same_foot is None,
                phase_said=event.phase_said,
                into_sand=after is not None
                and into_sand(
                    flight, float(after.touchdown_s[0] - event.toe_off_s[0]), float(event.support_height_m[0])
                ),
            )
        )
    kinds = kinds_of(flown)
    return _Kinds(kinds=kinds, leap=zero_of(kinds, flown))


def _spans(scene: BodyDraws, events: Sequence[Event], told: _Kinds) -> list[Flight]:
    """Rows of each flight; those from contact 0 on are no running steps, unless one runs on."""
    out = []
    for i, (e, end) in enumerate(zip(events, _ends(scene, events), strict=True)):
        rows = np.flatnonzero((scene.time_s >= e.toe_off_s[0]) & (scene.time_s <= end))
        running = told.leap is None or i < told.leap
        out.append(
            Flight(rows=rows, foot=e.foot, running=running, to_leap=told.leap is not None and i == told.leap - 1)
        )
    return out


def _ends(scene: BodyDraws, events: Sequence[Event]) -> list[float]:
    return [float(e.touchdown_s[0]) for e in events[1:]] + [float(scene.time_s[-1])]


def _flights(scene: BodyDraws, events: Sequence[Event]) -> list[FlightEvidence]:
    """The flight after each contact, until the next touchdown or the end of the track."""
    ends = _ends(scene, events)
    rows = len(scene.xy_m)
    return [flight_evidence(scene, e.toe_off_s[:rows], end) for e, end in zip(events, ends, strict=True)]


def _direction(track: PixelTrack) -> Direction:
    """Which way the run crosses the picture."""
    x_px = track.xy_px[:, joint("left", "hip"), 0]
    seen = np.flatnonzero(np.isfinite(x_px))
    return "left to right" if x_px[seen[-1]] > x_px[seen[0]] else "right to left"


def _motion(found: Located, measured: RunwayTrack, settings: Settings, hips: HipHeights | None) -> Motion:
    """What pictures draw: joints as they are seen, paths as measured; the mass centre only with the whole body in the picture."""
    path = np.array(middle(measured.xy_m, "hip"))
    if hips is not None:
        path[:, 1] = np.where(np.isfinite(hips.y_m[0]), hips.y_m[0], path[:, 1])
    centre = mass_centre(measured.xy_m, segment_table(settings.sex))
    time_s = found.pixels.time_s * found.time_scale
    return Motion(
        pixels=dataclasses.replace(to_picture(found.runway, found.pixels, found.cameras), time_s=time_s),
        runway=dataclasses.replace(found.runway, time_s=time_s),
        hip_m=smooth_path(path, found.runway.time_s),
        mass_centre_m=np.where(found.inside[:, None], centre, np.nan),
        cameras=found.cameras,
    )
