"""Speeds of neighbouring running flights, tied together by the distance that the body covers from one to the next.

A flight of a tenth of a second gives a speed that noisy joints spoil; the way from the middle of one flight to that of the
next is twice as long and needs no slope. It ties the two speeds together, as far as one knows how much slower the support
between them is. On sharp films that adds next to nothing, on blurred ones a lot: the draws decide.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from penult.core.measures.evidence import Event, FlightEvidence
from penult.core.numeric.seeds import Stream, generator
from penult.model.arrays import Floats

DIP_M_PER_S = (0.15, 0.3)
"""By how much the mean speed in a running support lies below the mean of the speeds before and after it, and its SD. At 9 m/s
braking takes 2 to 5 % of the speed, which pushing gives back before toe-off: on average half of that is missing (published
ranges, from memory, to be confirmed). The SD is wide on purpose, twice the mean: on a sharp clip the flights are to say it."""

LEAST_SD_M_PER_S = 1e-3
"""Added to the spread of every speed, so that exact ones can be joined too."""


def joined(flights: Sequence[FlightEvidence], events: Sequence[Event], takeoff: int | None) -> list[FlightEvidence]:
    """Return the flights, running ones before the take-off with forward speeds that agree with the ways between them.

    Generalised least squares (Aitken 1935) of all speeds and ways of a chain of flights, with the covariance that their draws
    show; the same weights serve every draw.

    Parameters
    ----------
    flights : sequence of FlightEvidence
        The flight after each contact.
    events : sequence of Event
        The contacts, in order.
    takeoff : int, optional
        Index of the take-off contact: its flight is no running one.
    """
    out = list(flights)
    last = len(flights) if takeoff is None else takeoff
    chain: list[int] = []
    for i in range(last + 1):
        if i < last and not flights[i].reason and np.isfinite(flights[i].velocity_m_per_s).all():
            chain.append(i)
            continue
        for at, flight in zip(chain, _agreed([flights[k] for k in chain], [events[k] for k in chain]), strict=True):
            out[at] = flight
        chain = []
    return out


def _agreed(flights: list[FlightEvidence], events: list[Event]) -> list[FlightEvidence]:
    """Flights in a row; every event is the contact that its flight began at."""
    count = len(flights)
    if count < 2:
        return flights
    speed = np.stack([f.velocity_m_per_s[:, 0] for f in flights], axis=1)
    half_s = np.array([float(f.time_s.mean()) for f in flights])
    start_s = np.stack([e.toe_off_s for e in events], axis=1)
    # the times of a flight count from its measured toe-off, its place is that at the drawn one
    to_middle_s = half_s - (start_s - start_s[0])
    place_m = np.stack([f.position_m[:, 0] for f in flights], axis=1) + speed * to_middle_s
    support_s = start_s[0, 1:] - np.array([float(e.touchdown_s[0]) for e in events[1:]])
    between_s = start_s[0, 1:] + half_s[1:] - start_s[0, :-1] - half_s[:-1]
    mean, sd = DIP_M_PER_S
    dip = np.full((len(speed), count - 1), mean)
    dip[1:] += sd * generator(Stream.STANCE_DIP).normal(size=dip[1:].shape)
    way_m = np.diff(place_m, axis=1) + dip * support_s

    design = np.zeros((2 * count - 1, count))
    design[:count] = np.eye(count)
    for i in range(count - 1):
        after_s = half_s[i + 1] + support_s[i] / 2.0
        design[count + i, i], design[count + i, i + 1] = between_s[i] - after_s, after_s
    seen = np.concatenate([speed, way_m], axis=1)
    covariance = np.cov(seen[1:].T) + LEAST_SD_M_PER_S**2 * np.eye(2 * count - 1)
    weighted = np.linalg.solve(covariance, design)
    agreed = seen @ np.linalg.solve(design.T @ weighted, weighted.T).T
    return [_with_speed(f, agreed[:, i], to_middle_s[:, i]) for i, f in enumerate(flights)]


def _with_speed(flight: FlightEvidence, speed_m_per_s: Floats, to_middle_s: Floats) -> FlightEvidence:
    """The flight with another forward speed, its middle where it was."""
    velocity, position = np.array(flight.velocity_m_per_s), np.array(flight.position_m)
    position[:, 0] += (velocity[:, 0] - speed_m_per_s) * to_middle_s
    velocity[:, 0] = speed_m_per_s
    return dataclasses.replace(flight, velocity_m_per_s=velocity, position_m=position)
