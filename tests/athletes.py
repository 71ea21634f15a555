"""Made-up athletes whose run-ups scatter in a known way: the truth against which the statistics of many run-ups are tested.

Toe places are a chain: each contact's error is the error before it times `kept`, plus a fresh error. Everything that is
true of such an athlete (scatter by contact, where it is largest, each step's share) follows in closed form.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from penult.model.arrays import Floats

MEASUREMENT_SD_M = 0.008
"""Half the u95 of a toe place in a sharp clip."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeUpAthlete:
    """Numbers (contacts,) up to 0, share of the error kept and fresh error's SD at each contact."""

    numbers: tuple[int, ...]
    kept: Floats
    fresh_m: Floats

    @property
    def scatter_m(self) -> Floats:
        """True SD of the toe's place, (contacts,)."""
        return np.sqrt(np.diag(self.covariance_m2))

    @property
    def covariance_m2(self) -> Floats:
        """True covariance of the toe places, (contacts, contacts)."""
        n = len(self.numbers)
        spread = np.zeros((n, n))  # place = spread @ fresh errors
        for i in range(n):
            if i:
                spread[i] = self.kept[i] * spread[i - 1]
            spread[i, i] = self.fresh_m[i]
        return spread @ spread.T

    @property
    def onset(self) -> int:
        """True number of the last contact with the largest scatter, to 2 %."""
        large = np.flatnonzero(self.scatter_m >= 0.98 * self.scatter_m.max())
        return self.numbers[int(large[-1])]

    def share(self, step: int, since: int) -> float:
        """True share of a step in what is made up for since a contact: ratio of slopes on the place there."""
        cov = self.covariance_m2
        i, s = self.numbers.index(step), self.numbers.index(since)
        return float((cov[i, s] - cov[i - 1, s]) / (cov[-1, s] - cov[s, s]))

    def runs(self, count: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
        """True and measured toe errors of some runs, (count, contacts) each."""
        places = np.zeros((count, len(self.numbers)))
        for i in range(len(self.numbers)):
            fresh = rng.normal(0.0, self.fresh_m[i], count)
            places[:, i] = (self.kept[i] * places[:, i - 1] if i else 0.0) + fresh
        return places, places + rng.normal(0.0, MEASUREMENT_SD_M, places.shape)


def steering_athletes(count: int, rng: np.random.Generator) -> Iterator[MadeUpAthlete]:
    """Yield athletes who begin to steer two to six contacts before the board; 6 to 13 contacts are seen."""
    for _ in range(count):
        seen = int(rng.integers(6, 14))
        onset = -int(rng.integers(2, min(6, seen - 2) + 1))
        numbers = tuple(range(1 - seen, 1))
        kept, fresh = np.ones(seen), np.full(seen, rng.uniform(0.02, 0.07))
        fresh[0] = rng.uniform(0.05, 0.15)
        falls = rng.dirichlet(np.linspace(1.0, 4.0, -onset))  # most of it late, as published
        left = rng.uniform(0.15, 0.5)
        for i, number in enumerate(numbers):
            if number > onset:
                kept[i], fresh[i] = left ** falls[number - onset - 1], rng.uniform(0.01, 0.04)
        yield MadeUpAthlete(numbers=numbers, kept=kept, fresh_m=fresh)


def athletes_who_do_not_steer(count: int, rng: np.random.Generator) -> Iterator[MadeUpAthlete]:
    """Yield athletes who never make up for anything: the scatter stays (half of them) or grows to the board."""
    for i in range(count):
        seen = int(rng.integers(6, 14))
        fresh = np.full(seen, 1e-6 if i % 2 else rng.uniform(0.01, 0.07))
        fresh[0] = rng.uniform(0.05, 0.25)
        yield MadeUpAthlete(numbers=tuple(range(1 - seen, 1)), kept=np.ones(seen), fresh_m=fresh)
