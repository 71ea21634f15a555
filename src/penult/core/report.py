"""Evidence with numbers, put together into an Analysis: measures, steps, take-off, warnings, what must be withheld."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from penult.core.checks import clock
from penult.core.checks.said_kind import BOX_LEAST_M, kind_notices
from penult.core.checks.sequence import ODD_FRAMES, without_spanned
from penult.core.checks.slow_frames import without_slow
from penult.core.checks.unseen_instants import withhold
from penult.core.checks.withheld import without_board, without_vague
from penult.core.measures.contact import contact_measures, strike
from penult.core.measures.evidence import SURE_FOOT, ContactEvidence, Event, FlightEvidence
from penult.core.measures.kinds import began_before, landing_of
from penult.core.measures.phase import NO_LANDING, PhaseEvidence, Told, mark_of, phase_measures, sequence_of
from penult.core.measures.step import StepEvidence, step_measures
from penult.core.measures.takeoff import (
    LANDING_DROP_M,
    STANDING_HIP_SHARE,
    TakeoffEvidence,
    check_measures,
    penultimate_measures,
    takeoff_measures,
)
from penult.core.numeric.seeds import Stream, generator
from penult.core.uncertainty.draws import Draws
from penult.core.uncertainty.expanded import to_measure
from penult.model.analysis import (
    Analysis,
    ClipRecord,
    Contact,
    Direction,
    JumpSequence,
    Mat,
    Notice,
    Phase,
    PhaseKind,
    Run,
    SeenFoot,
    Step,
)
from penult.model.arrays import Floats
from penult.model.calibration import LaneFit
from penult.model.catalogue.entry import Instant
from penult.model.clip import Clip
from penult.model.measured import Measure, Measured, NotMeasured
from penult.model.settings import Settings

MAT_LEAST_M = 0.015
"""A thinner surface is the runway itself: boards and their strips rise by up to 7 mm (competition rules)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Evidence with numbers, ready to be put into an Analysis."""

    contacts: list[ContactEvidence]
    flights: list[FlightEvidence]
    zero: int
    takeoff: int | None
    kinds: tuple[PhaseKind, ...]
    lowest_m: list[Floats]
    fit: LaneFit
    settings: Settings
    draws: Draws
    direction: Direction
    time_scale: float

    def analysis(self, clip: Clip, method: Mapping[str, Any], notices: Sequence[Notice]) -> Analysis:
        """Put all measures together, then ask whether clock and scale can be believed."""
        contacts = tuple(_contact(c, self.time_scale) for c in self._supports())
        told = self._told()
        run = self._run(contacts, told)
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
            penultimate=self._penultimate(),
            takeoff=takeoff_measures(self._takeoff_evidence(), self._toe_x_m()),
            checks=check_measures(self.flights, self.takeoff),
            warnings=(*notices, *self._warnings(run)),
            method=method,
            phases=tuple(t.phase for t in told),
            sequence=self._sequence(told),
        )
        result = result if self.fit.lane.board else without_board(result)
        result = clock.apply(result, self.time_scale)
        for reason in sorted({contact.event.unseen_reason for contact in self.contacts}, reverse=True):
            result = withhold(result, self._unseen(reason), reason)
        result = without_slow(without_vague(result), self.contacts[0].interval_s)
        odd = [i for i in method.get(ODD_FRAMES, ()) if 0 <= i < len(clip.time_s)]
        return without_spanned(result, clip.time_s[odd]) if odd else result

    def _supports(self) -> list[ContactEvidence]:
        """The contacts up to the closing jump: feet in the sand are no support of a run."""
        return self.contacts[: landing_of(self.kinds)]

    def _unseen(self, reason: str) -> Iterator[Instant]:
        """Ends of contacts that were not seen for a reason."""
        for event in (c.event for c in self.contacts if c.event.unseen_reason == reason):
            if not event.touchdown_seen:
                yield event.number, "touchdown"
            if not event.toe_off_seen:
                yield event.number, "toe_off"

    def _by_number(self) -> dict[int, ContactEvidence]:
        return {c.event.number: c for c in self.contacts}

    def _penultimate(self) -> dict[str, Measure]:
        """The hip drops before a take-off; a series of bounds, hops or skips has none."""
        out = penultimate_measures(self._by_number(), self._standing_hip_m())
        leaps = [k for k in self.kinds[self.takeoff or 0 :] if k != "run"]
        if self.takeoff is None or leaps[0] in ("jump", "takeoff") or "step" in leaps:
            return out
        return dict.fromkeys(out, NotMeasured(reason=NO_PENULTIMATE))

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
        supports = self._supports()
        for a, b, flight in zip(supports[:-1], supports[1:], self.flights, strict=False):
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
        height = self.contacts[self.takeoff].event.support_height_m
        if height[0] >= BOX_LEAST_M:  # from a box one falls so much farther
            drop += height
        return TakeoffEvidence(
            contact=self.contacts[self.takeoff],
            approach=self.flights[self.takeoff - 1] if self.takeoff > 0 else None,
            flight=self.flights[self.takeoff],
            landing_drop_m=drop,
        )

    def _told(self) -> list[Told]:
        """The phases from contact 0 on, each with its evidence; running steps between small take-offs are none."""
        if self.takeoff is None:
            return []
        return [self._phase(i) for i in range(self.takeoff, len(self.contacts)) if self.kinds[i] != "run"]

    def _phase(self, i: int) -> Told:
        contact, kind = self.contacts[i], self.kinds[i]
        after = self.contacts[i + 1] if i + 1 < len(self.contacts) else None
        sand = kind == "jump" and after is not None
        after = None if sand else after
        evidence = PhaseEvidence(
            contact=contact,
            flight=self.flights[i],
            before=self.flights[i - 1] if i > 0 else None,
            after=after,
            lowest_m=self.lowest_m[i],
            mark_m=self._mark_m() if after is None and kind == "jump" else None,
            in_sand=sand,
        )
        measures = phase_measures(evidence)
        if i == self.takeoff and kind == "hop" and self.fit.lane.board and after is not None:
            measures["hop_from_board_m"] = to_measure(after.event.toe_x_m, NO_LANDING)
        if kind == "takeoff":
            measures |= self._own_penultimate(i)
        phase = Phase(
            number=contact.event.number,
            kind=kind,
            foot=told_foot(contact.event),
            lands_on=told_foot(after.event) if after else "sand" if sand or evidence.mark_m is not None else "",
            measures=measures,
        )
        return Told(kind=kind, evidence=evidence, phase=phase)

    def _own_penultimate(self, i: int) -> dict[str, Measure]:
        """The hip drops before a take-off that is one of several in a run, from the two running contacts before it."""
        near = {k - i: self.contacts[k] for k in (i - 2, i - 1, i) if k >= 0 and (k == i or self.kinds[k] == "run")}
        return penultimate_measures(near, self._standing_hip_m())

    def _mark_m(self) -> Floats | None:
        """Where the mark in the sand lies, if its distance from the board was said and the lane file has a board."""
        official_m = self.settings.official_m
        if official_m is None or not self.fit.lane.board:
            return None
        return mark_of(official_m, len(self.draws.xy_m), generator(Stream.TYPED_MARK))

    def _sequence(self, told: Sequence[Told]) -> JumpSequence | None:
        if self.takeoff is None:
            return None
        whole = [i for i, c in enumerate(self.contacts) if c.wholly_seen]
        first = whole[0] if whole else 0
        return sequence_of(
            told,
            feet="".join(told_foot(c.event)[0].upper() for c in self._supports()[first:]),
            kinds=self.kinds[first : landing_of(self.kinds)],
            first=self.contacts[first].event.number,
            began=began_before(self.kinds, self.takeoff),
        )

    def _run(self, contacts: Sequence[Contact], told: Sequence[Told]) -> Run:
        said = self.settings
        return Run(
            direction=self.direction,
            kind=said.kind,
            has_takeoff=self.takeoff is not None,
            mats=said.mats or _measured_mats(contacts),
            athlete=said.athlete,
            takeoff_foot=self.contacts[self.takeoff].event.foot if self.takeoff is not None else None,
            sex=said.sex,
            height_m=said.height_m,
            phases=tuple((t.phase.number, t.kind) for t in told),
            official_m=said.official_m,
        )

    def _warnings(self, run: Run) -> list[Notice]:
        heights = [float(c.event.support_height_m[0]) for c in self.contacts]
        highest = max((h for h in heights if np.isfinite(h)), default=float("nan"))
        return [
            *_foot_notices(self._supports()),
            *kind_notices(run.kind, [kind for _, kind in run.phases], highest),
            *_mat_warnings(self.settings.mats, self._by_number()),
        ]


NO_PENULTIMATE = "a series of bounds, hops or skips begins there, no single take-off"


def told_foot(event: Event) -> SeenFoot:
    """The foot, '?' where it is not certain."""
    return event.foot if event.foot_sure >= SURE_FOOT else "?"


def _foot_notices(contacts: Sequence[ContactEvidence]) -> list[Notice]:
    """Feet that are not certain are said, with what to do."""
    unsure = [f"{c.event.number}" for c in contacts if told_foot(c.event) == "?"]
    if not unsure:
        return []
    which = f"contact {unsure[0]}" if len(unsure) == 1 else f"contacts {', '.join(unsure)}"
    text = f"it is not certain which foot stands at {which}; look at one of them in the review and name its foot"
    return [Notice(code="foot-unsure", text=text)]


def _contact(c: ContactEvidence, time_scale: float) -> Contact:
    measures = contact_measures(c)
    angle = measures["foot_angle_touchdown_deg"]
    return Contact(
        number=c.event.number,
        foot=c.event.foot,
        measures=measures,
        lowest_s=c.hips.lowest_s * time_scale if np.isfinite(c.hips.lowest_s) else None,
        strike=strike(angle.value) if isinstance(angle, Measured) else "",
        wholly_seen=c.wholly_seen,
        by_hand=c.event.by_hand,
        foot_sure=told_foot(c.event) != "?",
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
