"""What the catalogue says of one measure: what it rests on, how it is read, where it is seen, where it is listed."""

from __future__ import annotations

from collections.abc import Mapping, Set
from dataclasses import dataclass, field
from typing import Literal

End = Literal["touchdown", "toe_off"]
Instant = tuple[int, End]
"""Number of a contact, and which end of it. In an entry the number counts from the entry's own contact or step."""

Moment = Literal["none", "touchdown", "middle", "lowest", "knee", "toe_off", "flight"]
"""The instant of a contact at which a measure is seen: 'knee' when it is bent most, 'flight' in the flight before it."""

Bound = Literal["", "degrees", "share"]
"""When a value is too uncertain to be given: an angle known to no better than some degrees, a time to half of itself."""

Page = Literal["season", "comparison", "review", "series comparison", "series review"]
"""The pages with main numbers of their own; those of a series have others than those of a single take-off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A unit as people read it, and the ending that the names of its measures have.

    Parameters
    ----------
    sign : str
        '' for a ratio.
    scale : float
        Shown value = value in the file x scale.
    ending : str
        Of the measure's name; '' for a pure number.
    si : str
        Of the value in the file; '' for a pure number.
    """

    sign: str
    scale: float
    ending: str
    si: str = ""


S = Unit(sign="s", scale=1.0, ending="_s", si="s")
MS = Unit(sign="ms", scale=1e3, ending="_s", si="s")
M = Unit(sign="m", scale=1.0, ending="_m", si="m")
CM = Unit(sign="cm", scale=1e2, ending="_m", si="m")
DEG = Unit(sign="°", scale=1.0, ending="_deg", si="deg")
M_PER_S = Unit(sign="m/s", scale=1.0, ending="_m_per_s", si="m/s")
M_PER_S2 = Unit(sign="m/s²", scale=1.0, ending="_m_per_s2", si="m/s2")
HZ = Unit(sign="/s", scale=1.0, ending="_hz", si="Hz")
PERCENT = Unit(sign="%", scale=1.0, ending="_percent", si="%")
SHARE = Unit(sign="%", scale=1e2, ending="")
RATIO = Unit(sign="", scale=1.0, ending="")
UNITS = (M_PER_S2, M_PER_S, PERCENT, DEG, HZ, S, MS, M, CM, SHARE, RATIO)
"""Longer endings first: '_m_per_s' ends with '_s'."""

LANDS: tuple[Instant, ...] = ((0, "touchdown"),)
LEAVES: tuple[Instant, ...] = ((0, "toe_off"),)
SUPPORT: tuple[Instant, ...] = (*LANDS, *LEAVES)
FLIGHT_BEFORE: tuple[Instant, ...] = ((-1, "toe_off"), (0, "touchdown"))
STEP: tuple[Instant, ...] = ((-1, "touchdown"), (0, "touchdown"))
FLIGHT_AFTER: tuple[Instant, ...] = ((0, "toe_off"), (1, "touchdown"))
PHASE: tuple[Instant, ...] = ((0, "touchdown"), (1, "touchdown"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One measure.

    Parameters
    ----------
    name : str
        As in the result file; ends with the unit's ending.
    part : str
        Part of the result file.
    words : str
        In a coach's words, without the unit.
    shown_in : Unit
        Unit that a person reads.
    definition : str
        What exactly is measured, one or two sentences.
    reason : str
        Said when there is no value; '' where what it is made of says it.
    clock : bool
        Rests on the clip's clock: withheld while the clock is doubted.
    lane : bool
        Rests on the lane file's lengths: never averaged over different lane files.
    board : bool
        Rests on the take-off line: withheld where the lane file has no board.
    instants : tuple of Instant
        Touchdowns and toe-offs that it rests on: withheld where one of them was not seen.
    is_time : bool
        Is itself an instant, or made of durations: withheld where a contact is seen in part only.
    bound : Bound
        How uncertain it may be before it is withheld.
    moment : Moment
        At which instant of its contact it is seen.
    drawing : str
        What is drawn for it on the picture; '' for nothing.
    above_runway : bool
        A height or a drop that a mat under a foot changes.
    compared : bool
        Whether clips may be compared by it.
    headline : mapping
        Pages that name it among their main numbers: page -> number of the contact or step (None: one a clip) -> place there.
    """

    name: str
    part: str
    words: str
    shown_in: Unit
    definition: str
    reason: str = ""
    clock: bool = False
    lane: bool = True
    board: bool = False
    instants: tuple[Instant, ...] = ()
    is_time: bool = False
    bound: Bound = ""
    moment: Moment = "none"
    drawing: str = ""
    above_runway: bool = False
    compared: bool = True
    headline: Mapping[Page, Mapping[int | None, int]] = field(default_factory=dict)

    @property
    def unit(self) -> str:
        """The unit that a person reads; '' for a ratio."""
        return self.shown_in.sign

    @property
    def scale(self) -> float:
        """Shown value = value in the file x scale."""
        return self.shown_in.scale

    @property
    def u95_name(self) -> str:
        """Name of its uncertainty in a table: the unit stays last."""
        return f"{self.name.removesuffix(self.shown_in.ending)}_u95{self.shown_in.ending}"

    def rests_on(self, instants: Set[Instant], number: int | None = None) -> bool:
        """Tell whether it rests on one of the instants; `number` is that of its contact or step, None if one a clip."""
        return any(((number or 0) + offset, end) in instants for offset, end in self.instants)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part of the result file.

    Parameters
    ----------
    contact : int, optional
        The contact that its measures are seen at; None where each row of the part has a number of its own.
    compared : tuple
        Numbers of the contacts or steps that comparisons look at, in the order in which they are read; empty for none.
    place : int
        In the order in which comparisons read the parts.
    """

    contact: int | None = None
    compared: tuple[int | None, ...] = ()
    place: int = 0
