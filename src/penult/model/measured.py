"""A value with its uncertainty, or the reason why there is none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A value and its expanded uncertainty.

    Parameters
    ----------
    value : float
        In the unit that the measure's name ends with.
    u95 : float
        Expanded uncertainty, k = 2 (JCGM 100:2008, 6.2): twice the standard deviation, in the unit of `value`.
    by_hand : bool
        True when the value rests on a correction that a person made.
    """

    value: float
    u95: float
    by_hand: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class NotMeasured:
    """Why a measure has no value; false in a truth test."""

    reason: str

    def __bool__(self) -> bool:
        return False


Measure = Measured | NotMeasured
Measures = Mapping[str, Measure]
