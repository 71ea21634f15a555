"""Statistics of many run-ups against made-up athletes: `python tests/bench/run_ups.py [ATHLETES]`.

Prints, for 5 to 15 run-ups of each athlete: coverage of the interval of an SD and of a share, how often steering is told,
how often it is told of athletes who do not steer and of shuffled runs, and whether the probabilities hold.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from athletes import MEASUREMENT_SD_M, MadeUpAthlete, athletes_who_do_not_steer, steering_athletes
from penult.core.clips.steering import adjustment_shares, scatter_of, steering
from penult.model.arrays import Floats
from penult.model.run_ups import Between, Steering


def sd_coverage(athletes: Iterable[MadeUpAthlete], runs: int, rng: np.random.Generator) -> float:
    """Share of true scatters inside their interval."""
    inside = []
    for a in athletes:
        places = a.runs(runs, rng)[1]
        u95 = np.full(runs, 2.0 * MEASUREMENT_SD_M)
        for i, true in enumerate(a.scatter_m):
            sd = scatter_of(a.numbers[i], places[:, i], u95).sd_m
            inside.append(isinstance(sd, Between) and sd.low <= true <= sd.high)
    return float(np.mean(inside))


def told(
    athletes: Iterable[MadeUpAthlete], runs: int, rng: np.random.Generator, shuffle: Callable[[Floats], Floats]
) -> float:
    """Share of athletes of whom steering is told."""
    found = [isinstance(steering(a.numbers, shuffle(a.runs(runs, rng)[1]), rng), Steering) for a in athletes]
    return float(np.mean(found))


def judged(athletes: Iterable[MadeUpAthlete], runs: int, rng: np.random.Generator) -> dict[str, float]:
    """Return how often steering is told, and how right it and the shares are where it is."""
    right, stated, covered, size, shares = [], [], [], [], []
    count = 0
    for a in athletes:
        count += 1
        places = a.runs(runs, rng)[1]
        found = steering(a.numbers, places, rng)
        if not isinstance(found, Steering):
            continue
        right.append(found.from_number == a.onset)
        stated.append(found.probability)
        covered.append(a.onset in found.likely)
        size.append(len(found.likely))
        none = np.full(places.shape, np.nan)
        for s in adjustment_shares(a.numbers, places, found.from_number, none, none) or ():
            shares.append(s.share.low <= a.share(s.number, found.from_number) <= s.share.high)
    means = {"told": len(right) / count}
    named = {"right": right, "stated": stated, "in likely": covered, "likely": size, "share inside": shares}
    return means | {name: float(np.mean(v)) for name, v in named.items()}


def main(count: int) -> None:
    """Print the table."""
    rng = np.random.default_rng(21)
    for runs in (5, 6, 8, 10, 15):
        row = {"SD inside": sd_coverage(steering_athletes(count, rng), runs, rng)}
        row |= judged(steering_athletes(count, rng), runs, rng)
        row["told of no steering"] = told(athletes_who_do_not_steer(count, rng), runs, rng, lambda x: x)
        row["runs shuffled"] = told(steering_athletes(count, rng), runs, rng, lambda x: rng.permuted(x, axis=0))
        row["contacts shuffled"] = told(steering_athletes(count, rng), runs, rng, lambda x: rng.permuted(x, axis=1))
        print(f"{runs:3} runs", "  ".join(f"{name} {value:.3f}" for name, value in row.items()), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
