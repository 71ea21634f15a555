"""Withhold what rests on an instant that was not seen: a foot hidden just then may have landed or left at another time."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Set
from typing import Literal

from penult.model.analysis import Analysis
from penult.model.measured import Measures, NotMeasured

Instant = tuple[int, Literal["touchdown", "toe_off"]]
"""Number of the contact, and which end of it."""

UNSEEN = "the foot is hidden or out of the picture at that moment"

_LOWEST = frozenset({"hip_height_lowest_m", "hip_above_support_lowest_m", "knee_angle_min_deg"})


def withhold(analysis: Analysis, unseen: Iterable[Instant]) -> Analysis:
    """Return the analysis without every measure that rests on one of the instants.

    Parameters
    ----------
    analysis : Analysis
        As measured.
    unseen : iterable of (number, 'touchdown' or 'toe_off')
        Ends of contacts that only the joints tell, with no frame of the foot just outside of them.
    """
    doubted = set(unseen)
    if not doubted:
        return analysis
    contacts = tuple(
        dataclasses.replace(c, measures=_without(c.measures, _of_contact(c.number, doubted, c.measures)))
        for c in analysis.contacts
    )
    steps = tuple(
        dataclasses.replace(s, measures=_without(s.measures, _of_step(s.number, doubted, s.measures)))
        for s in analysis.steps
    )
    return dataclasses.replace(
        analysis,
        contacts=contacts,
        steps=steps,
        penultimate=_without(analysis.penultimate, _of_penultimate(doubted, analysis.penultimate)),
        takeoff=_without(analysis.takeoff, _of_takeoff(doubted, analysis.takeoff)),
    )


def _without(measures: Measures, names: Set[str]) -> Measures:
    if not names:
        return measures
    return {n: NotMeasured(reason=UNSEEN) if n in names and m else m for n, m in measures.items()}


def _of_contact(number: int, doubted: Set[Instant], measures: Measures) -> set[str]:
    ends = [end for end in ("touchdown", "toe_off") if (number, end) in doubted]
    names = {n for n in measures for end in ends if end in n}
    if ends:
        names |= {"contact_time_s", *_LOWEST}
    return names


def _of_step(number: int, doubted: Set[Instant], measures: Measures) -> set[str]:
    """A step runs from one touchdown to the next; its flight begins at the toe-off between them."""
    names: set[str] = set()
    lands = [
        (number, "touchdown") in doubted,
        (number - 1, "touchdown") in doubted,
        (number - 2, "touchdown") in doubted,
    ]
    if lands[0] or (number - 1, "toe_off") in doubted:
        names |= {"flight_time_s", "step_speed_m_per_s"}
    if lands[0] or lands[1]:
        names |= {"step_time_s", "step_rate_hz", "step_length_over_time_m_per_s"}
    if any(lands):
        names.add("step_time_ratio")
    return names & set(measures)


def _of_penultimate(doubted: Set[Instant], measures: Measures) -> set[str]:
    ends = {(number, end) for number in (-1, -2) for end in ("touchdown", "toe_off")}
    names: set[str] = {n for n in measures if n.startswith("penultimate_hip_drop")} if ends & doubted else set()
    if {(-1, "touchdown"), (0, "touchdown")} & doubted:
        names.add("hip_drop_to_takeoff_m")
    return names


def _of_takeoff(doubted: Set[Instant], measures: Measures) -> set[str]:
    after = set(measures) - {"toe_to_board_m", "approach_speed_m_per_s"}
    names: set[str] = after if (0, "toe_off") in doubted else set()
    if {(0, "touchdown"), (-1, "toe_off")} & doubted:
        names |= {"approach_speed_m_per_s", "speed_loss_m_per_s", "speed_loss_percent"}
    return names
