"""The result of one clip, as `penult-analysis/1` writes it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from penult.model.measured import Measured, Measures

Foot = Literal["left", "right"]
SeenFoot = Literal["left", "right", "?"]
"""A foot as it is told: '?' where it is not certain which of the two stands there."""

PhaseKind = Literal["run", "bound", "hop", "step", "jump", "takeoff", "skiphop", "skipstep", "?"]
"""What a contact takes off into (MEASURES.md section 4a); '?' where feet or flight do not tell it."""

Direction = Literal["left to right", "right to left"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """Something the coach should know: a short code for programs, a sentence for people."""

    code: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Mat:
    """A mat under a contact: the contact's number and the mat's thickness in metres."""

    number: int
    thickness_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ClipRecord:
    """Which clip was analysed and on what clock."""

    file: str
    sha256: str
    frames: int
    capture_rate_hz: float
    capture_rate_from: str
    first_frame_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Who ran, how, and what was on the runway.

    `phases` are number and kind of every contact that is followed by more than a running step; `official_m` is the distance that
    was measured with a tape, from the board's edge.
    """

    direction: Direction
    kind: str
    has_takeoff: bool
    mats: tuple[Mat, ...] = ()
    athlete: str = ""
    takeoff_foot: Foot | None = None
    sex: str | None = None
    height_m: float | None = None
    phases: tuple[tuple[int, PhaseKind], ...] = ()
    official_m: float | None = None

    @property
    def is_series(self) -> bool:
        """Whether more than one take-off is described: bounds, hops, skips, a triple jump, take-offs in a run."""
        return len(self.phases) > 1 or any(kind not in ("jump", "takeoff") for _, kind in self.phases)

    def phase_kind(self, number: int) -> PhaseKind:
        """Return what the contact of that number takes off into."""
        return next((kind for n, kind in self.phases if n == number), "run")


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """One support: its number (0 take-off, -1 penultimate ...), foot, and the measures of MEASURES section 2.

    `lowest_s` is the instant of the lowest hip in the support and `strike` the coach's word for the touchdown
    ('heel first', 'flat', 'forefoot'), '' where the foot angle is not measured. `span_s` is touchdown and toe-off on the
    clip's clock, by which pictures find them even where a doubted clock leaves the times not measured. Where the foot is not
    certain (`foot_sure` False) `foot` is only the name under which the standing leg's joints are kept, and `told_foot` is '?'.
    """

    number: int
    foot: Foot
    measures: Measures
    lowest_s: float | None = None
    span_s: tuple[float, float] | None = None
    strike: str = ""
    wholly_seen: bool = True
    by_hand: bool = False
    foot_sure: bool = True

    @property
    def told_foot(self) -> SeenFoot:
        """The foot, '?' where it is not certain."""
        return self.foot if self.foot_sure else "?"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step, numbered by the contact it ends at, with the measures of MEASURES section 3."""

    number: int
    measures: Measures


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase:
    """A contact and the flight after it (MEASURES.md section 4a), numbered by the contact that it takes off from.

    `lands_on` is the foot of the next contact, or 'sand'; '' where no landing is in the picture.
    """

    number: int
    kind: PhaseKind
    foot: SeenFoot
    lands_on: Literal["left", "right", "?", "sand", ""]
    measures: Measures


@dataclass(frozen=True, slots=True, kw_only=True)
class JumpSequence:
    """What all phases together show: feet and kinds in the order of time from contact `first_contact` on.

    `shares_of_whole_phases` are the distances of the phases measured whole over their sum, in the order of time.
    """

    first_contact: int
    feet: str
    kinds: tuple[PhaseKind, ...]
    measures: Measures
    shares_of_whole_phases: tuple[Measured, ...] = ()
    began_before: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis:
    """Everything measured in one clip."""

    clip: ClipRecord
    run: Run
    contacts: tuple[Contact, ...]
    steps: tuple[Step, ...]
    penultimate: Measures
    takeoff: Measures
    checks: Measures
    warnings: tuple[Notice, ...]
    method: Mapping[str, Any] = field(default_factory=dict)
    phases: tuple[Phase, ...] = ()
    sequence: JumpSequence | None = None
    run_up: Measures = field(default_factory=dict)

    def sets(self) -> Iterator[tuple[str, int | None, Measures]]:
        """Yield every set of measures: its part, the number of its contact or step (None: one a clip), the measures."""
        yield from (("contacts", c.number, c.measures) for c in self.contacts)
        yield from (("steps", s.number, s.measures) for s in self.steps)
        yield from (("penultimate", None, self.penultimate), ("takeoff", None, self.takeoff))
        yield from (("phases", p.number, p.measures) for p in self.phases)
        if self.sequence is not None:
            yield "sequence", None, self.sequence.measures
        if self.run_up:
            yield "run_up", None, self.run_up
        yield "checks", None, self.checks

    def changed(self, change: Callable[[str, int | None, Measures], Measures]) -> Analysis:
        """Return the result with `change(part, number, measures)` in the place of every set of measures."""
        return dataclasses.replace(
            self,
            contacts=tuple(
                dataclasses.replace(c, measures=change("contacts", c.number, c.measures)) for c in self.contacts
            ),
            steps=tuple(dataclasses.replace(s, measures=change("steps", s.number, s.measures)) for s in self.steps),
            penultimate=change("penultimate", None, self.penultimate),
            takeoff=change("takeoff", None, self.takeoff),
            phases=tuple(dataclasses.replace(p, measures=change("phases", p.number, p.measures)) for p in self.phases),
            sequence=self.sequence
            and dataclasses.replace(self.sequence, measures=change("sequence", None, self.sequence.measures)),
            run_up=change("run_up", None, self.run_up),
            checks=change("checks", None, self.checks),
        )

    def contact(self, number: int) -> Contact | None:
        """Return the contact of that number, or None."""
        return next((c for c in self.contacts if c.number == number), None)

    def step(self, number: int) -> Step | None:
        """Return the step that ends at that contact, or None."""
        return next((s for s in self.steps if s.number == number), None)

    def phase(self, number: int) -> Phase | None:
        """Return the phase that takes off from that contact, or None."""
        return next((p for p in self.phases if p.number == number), None)
