"""The order of the stages, nothing else: joints in the picture -> supports -> (pictures of the shoe) -> measures."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from penult.core import clock
from penult.core.body import mass_centre, middle, segment_table, weight_draws
from penult.core.carry import Flight, airborne
from penult.core.clean import fill_gaps, smooth_path, trust
from penult.core.contacts import Support, find_supports
from penult.core.doubt import Instant, withhold
from penult.core.draws import Draws, draw_track
from penult.core.events import make_event, nearest_camera
from penult.core.evidence import ContactEvidence, Event, FlightEvidence, Scene, contact_evidence, flight_evidence
from penult.core.identity import one_body, refuse_cut, without
from penult.core.locate import inside_picture, joint_depths, to_picture, to_runway
from penult.core.measures.contact import contact_measures, strike
from penult.core.measures.step import StepEvidence, step_measures
from penult.core.measures.takeoff import (
    LANDING_DROP_M,
    STANDING_HIP_SHARE,
    TakeoffEvidence,
    check_measures,
    penultimate_measures,
    takeoff_measures,
)
from penult.core.numbering import reference_index, takeoff_index
from penult.core.sides import LEG, exchange, settle_arms
from penult.errors import NotMeasurableError
from penult.model.analysis import Analysis, ClipRecord, Contact, Direction, Mat, Notice, Run, Step
from penult.model.arrays import Bools, Floats
from penult.model.calibration import Camera, LaneFit
from penult.model.clip import Clip
from penult.model.measured import Measured
from penult.model.settings import Settings
from penult.model.shoe import ShoeContact
from penult.model.skeleton import joint
from penult.model.track import Motion, PixelTrack, RunwayTrack
from penult.model.trunk import TrunkMotion

EDGE_SHARE = 0.015
"""Joints nearer to the picture's edge than this share of the body's height may be cut off (about the pose model's noise)."""

MAT_LEAST_M = 0.015
"""A thinner surface is the runway itself: boards and their strips rise by up to 7 mm (competition rules)."""


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
    NotMeasurableError
        If no support is found, or the clip has a cut in the run.
    """
    scale = settings.height_m / 1.75 if settings.height_m else 1.0
    flat = to_runway(track, cameras, joint_depths(0.0))
    refuse_cut(flat)
    track = without(track, ~one_body(flat))
    flat = to_runway(track, cameras, joint_depths(0.0))
    supports, swap = find_supports(flat)
    if not supports:
        raise NotMeasurableError(
            "no contact of a foot with the runway was found",
            f"the athlete was seen in {int(np.isfinite(flat.xy_m[:, 0, 0]).sum())} frames",
            next_step="film side-on with the feet in the picture, and look at the pictures of the result of another clip",
        )
    slow = _slowness(flat, supports)
    track = settle_arms(exchange(track, swap, LEG))
    track = dataclasses.replace(track, time_s=track.time_s / slow)
    supports = tuple(dataclasses.replace(s, start_s=s.start_s / slow, end_s=s.end_s / slow) for s in supports)
    runway, weight, inside = place(track, cameras, size_px, joint_depths(scale))
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
    track: PixelTrack, cameras: Sequence[Camera], size_px: tuple[int, int], z_m: Floats, sure: Bools | None = None
) -> tuple[RunwayTrack, Floats, Bools]:
    """Put settled joints on the runway: the track with its gaps filled, weights (t, k), rows with the whole body (t,).

    Samples that are `sure` (t, k), because a person put them there, are trusted whatever they look like.
    """
    raw = to_runway(track, cameras, z_m)
    weight = trust(raw)
    if sure is not None:
        weight = np.where(sure, 1.0, weight)
    height_px = float(np.nanmedian(np.ptp(track.xy_px[..., 1], axis=1)))
    return fill_gaps(raw, weight), weight, inside_picture(track, weight, size_px, EDGE_SHARE * height_px)


def _slowness(track: RunwayTrack, supports: Sequence[Support]) -> float:
    """How many times too slowly the clip plays, from its step rate and the fall in flight."""
    middles = np.array([(s.start_s + s.end_s) / 2.0 for s in supports])
    rate = 1.0 / float(np.median(np.diff(middles))) if len(middles) > 1 else float("nan")
    return clock.likely_slowness(rate, float("nan"))


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
    """
    z_m = found.runway.z_m
    draws = draw_track(found.pixels, found.cameras, z_m, found.runway.xy_m, found.weight, hand)
    events = [_event(found, s, shoe, draws) for s, shoe in zip(found.supports, shoes, strict=True)]
    events = _in_order(events)
    scene = Scene(
        time_s=found.runway.time_s,
        xy_m=draws.xy_m,
        weight=found.weight,
        inside=found.inside & np.isfinite(found.runway.xy_m).all(axis=(1, 2)),
        table=segment_table(settings.sex),
        weights=weight_draws(settings.sex, len(draws.xy_m), draws.generator),
    )
    contacts = [contact_evidence(scene, event) for event in events]
    flying = airborne(draws, found.runway, _spans(scene, events), trunks)
    flights = _flights(dataclasses.replace(scene, xy_m=flying), events)
    takeoff = takeoff_index(
        [float(f.velocity_m_per_s[0, 1]) for f in flights], [float(e.toe_x_m[0]) for e in events], fit.lane.board
    )
    zero = reference_index(
        takeoff, [float(e.toe_x_m[0]) for e in events], [c.wholly_seen for c in contacts], fit.lane.board
    )
    zero = len(events) - 1 if zero is None else zero
    if takeoff is None and fit.lane.board:
        _refuse_early_end(found.runway)
    contacts = [
        dataclasses.replace(c, event=dataclasses.replace(c.event, number=i - zero)) for i, c in enumerate(contacts)
    ]
    report = _Report(
        contacts=contacts, flights=flights, zero=zero, takeoff=takeoff, fit=fit, settings=settings, draws=draws
    )
    analysis = report.analysis(found, clip, method, notices)
    return Outcome(analysis=analysis, motion=_motion(found, settings))


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


def _spans(scene: Scene, events: Sequence[Event]) -> list[Flight]:
    """Rows of each flight; the last may be the leap, and stands alone."""
    out = []
    for i, (e, end) in enumerate(zip(events, _ends(scene, events), strict=True)):
        rows = np.flatnonzero((scene.time_s >= e.toe_off_s[0]) & (scene.time_s <= end))
        out.append(Flight(rows=rows, foot=e.foot, running=i + 1 < len(events)))
    return out


def _ends(scene: Scene, events: Sequence[Event]) -> list[float]:
    return [float(e.touchdown_s[0]) for e in events[1:]] + [float(scene.time_s[-1])]


def _flights(scene: Scene, events: Sequence[Event]) -> list[FlightEvidence]:
    """The flight after each contact, until the next touchdown or the end of the track."""
    ends = _ends(scene, events)
    return [flight_evidence(scene, e.toe_off_s, end) for e, end in zip(events, ends, strict=True)]


def _motion(found: Located, settings: Settings) -> Motion:
    """What pictures draw: joints and paths; the mass centre only where the whole body is in the picture."""
    centre = mass_centre(found.runway.xy_m, segment_table(settings.sex))
    time_s = found.pixels.time_s * found.time_scale
    return Motion(
        pixels=dataclasses.replace(to_picture(found.runway, found.pixels, found.cameras), time_s=time_s),
        runway=dataclasses.replace(found.runway, time_s=time_s),
        hip_m=smooth_path(middle(found.runway.xy_m, "hip"), found.runway.time_s),
        mass_centre_m=np.where(found.inside[:, None], centre, np.nan),
        cameras=found.cameras,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Report:
    """Evidence with numbers, ready to be put into an Analysis."""

    contacts: list[ContactEvidence]
    flights: list[FlightEvidence]
    zero: int
    takeoff: int | None
    fit: LaneFit
    settings: Settings
    draws: Draws

    def analysis(self, found: Located, clip: Clip, method: Mapping[str, Any], notices: Sequence[Notice]) -> Analysis:
        """Put all measures together, then ask whether clock and scale can be believed."""
        contacts = tuple(_contact(c, found.time_scale) for c in self.contacts)
        run = self._run(contacts, found)
        result = Analysis(
            clip=ClipRecord(
                file=clip.file,
                sha256=clip.sha256,
                frames=len(clip.time_s),
                capture_rate_hz=clip.capture_rate_hz,
                capture_rate_from=clip.capture_rate_from,
                first_frame_s=float(clip.file_time_s[0]),
            ),
            run=run,
            contacts=contacts,
            steps=self._steps(),
            penultimate=penultimate_measures(self._by_number(), self._standing_hip_m()),
            takeoff=takeoff_measures(self._takeoff_evidence(), self._toe_x_m(), board=self.fit.lane.board),
            checks=check_measures(self.flights),
            warnings=(*notices, *self._warnings(run)),
            method=method,
        )
        return withhold(clock.apply(result, found.time_scale), self._unseen())

    def _unseen(self) -> Iterator[Instant]:
        """Ends of contacts that were not seen."""
        for contact in self.contacts:
            event = contact.event
            if not event.touchdown_seen:
                yield event.number, "touchdown"
            if not event.toe_off_seen:
                yield event.number, "toe_off"

    def _by_number(self) -> dict[int, ContactEvidence]:
        return {c.event.number: c for c in self.contacts}

    def _standing_hip_m(self) -> float | None:
        said = self.settings
        if said.leg_length_m:
            return said.leg_length_m
        return said.height_m * STANDING_HIP_SHARE if said.height_m else None

    def _toe_x_m(self) -> Floats | None:
        zero = self.contacts[self.zero].event
        if self.takeoff is None and zero.toe_x_m[0] > 0.0:
            return None
        return zero.toe_x_m

    def _steps(self) -> tuple[Step, ...]:
        steps: list[Step] = []
        before: StepEvidence | None = None
        for a, b, flight in zip(self.contacts[:-1], self.contacts[1:], self.flights[:-1], strict=True):
            now = StepEvidence(
                start=a.event,
                end=b.event,
                flight=flight,
                interval_s=a.interval_s,
                before=before,
                part=any(c.event.rough and not c.wholly_seen for c in (a, b)),
            )
            steps.append(Step(number=b.event.number, measures=step_measures(now)))
            before = now
        return tuple(steps)

    def _takeoff_evidence(self) -> TakeoffEvidence | None:
        if self.takeoff is None:
            return None
        mean, sd = LANDING_DROP_M
        drop = np.full(len(self.draws.xy_m), mean)
        drop[1:] += sd * self.draws.generator.normal(size=len(drop) - 1)
        return TakeoffEvidence(
            contact=self.contacts[self.takeoff],
            approach=self.flights[self.takeoff - 1] if self.takeoff > 0 else None,
            flight=self.flights[self.takeoff],
            landing_drop_m=drop,
        )

    def _run(self, contacts: Sequence[Contact], found: Located) -> Run:
        x_px = found.pixels.xy_px[:, joint("left", "hip"), 0]
        seen = np.flatnonzero(np.isfinite(x_px))
        direction: Direction = "left to right" if x_px[seen[-1]] > x_px[seen[0]] else "right to left"
        said = self.settings
        return Run(
            direction=direction,
            kind=said.kind,
            has_takeoff=self.takeoff is not None,
            mats=said.mats or _measured_mats(contacts),
            athlete=said.athlete,
            takeoff_foot=self.contacts[self.takeoff].event.foot if self.takeoff is not None else None,
            sex=said.sex,
            height_m=said.height_m,
        )

    def _warnings(self, run: Run) -> list[Notice]:
        return [*_kind_warnings(run), *_mat_warnings(self.settings.mats, self._by_number())]


def _contact(c: ContactEvidence, time_scale: float) -> Contact:
    measures = contact_measures(c)
    angle = measures["foot_angle_touchdown_deg"]
    return Contact(
        number=c.event.number,
        foot=c.event.foot,
        measures=measures,
        lowest_s=c.lowest_s * time_scale if np.isfinite(c.lowest_s) else None,
        strike=strike(angle.value) if isinstance(angle, Measured) else "",
        wholly_seen=c.wholly_seen,
        by_hand=c.event.by_hand,
        span_s=(float(c.event.touchdown_s[0]) * time_scale, float(c.event.toe_off_s[0]) * time_scale),
    )


def _measured_mats(contacts: Sequence[Contact]) -> tuple[Mat, ...]:
    """Mats that the feet stood on, from the heights of the supports."""
    heights = {c.number: c.measures["support_height_m"] for c in contacts if c.number <= 0}
    return tuple(
        Mat(number=n, thickness_m=round(h.value, 3))
        for n, h in heights.items()
        if isinstance(h, Measured) and h.value >= MAT_LEAST_M
    )


def _kind_warnings(run: Run) -> list[Notice]:
    """The clip and the coach's word for it disagree about the take-off."""
    kind = run.kind.lower()
    if run.has_takeoff and kind in {"run-through", "run through"}:
        return [Notice(code="kind-disagrees", text="said to be a run-through, but the clip shows a take-off")]
    if not run.has_takeoff and kind and kind not in {"run-through", "run through"}:
        return [Notice(code="kind-disagrees", text=f"said to be a {run.kind}, but no take-off is seen in the clip")]
    return []


def _mat_warnings(said: Sequence[Mat], contacts: Mapping[int, ContactEvidence]) -> list[Notice]:
    """What the coach put down and what the feet stood on disagree."""
    out = []
    told = {m.number: m.thickness_m for m in said}
    for number, c in contacts.items():
        height = c.event.support_height_m
        if number > 0 or not np.isfinite(height[0]) or (not said):
            continue
        expected, spread = told.get(number, 0.0), 2.0 * float(np.nanstd(height[1:]))
        if abs(height[0] - expected) > max(spread, 0.02):
            out.append(
                Notice(
                    code="mat-disagrees",
                    text=f"contact {number}: the surface lies {100 * height[0]:.0f} cm above the runway, "
                    f"{100 * expected:.0f} cm was said",
                )
            )
    return out
