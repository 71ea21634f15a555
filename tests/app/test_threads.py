"""Threads on one clip: order kept, little held at a time, faults passed on; the pose model sees the same in any thread."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from penult.adapters.film import video
from penult.adapters.film.raw import Raw
from penult.adapters.pose import Crop, square_of
from penult.app.poses import PosePool
from penult.app.threads import AHEAD, MOST_WORKERS, in_order, worker_count
from penult.model.arrays import Floats

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "full_240" / "clip.mp4"


def test_results_come_in_the_order_of_the_items_whoever_is_first_done() -> None:
    def slow_when_even(i: int) -> int:
        time.sleep(0.02 if i % 2 == 0 else 0.0)
        return i * i

    with ThreadPoolExecutor(4) as threads:
        assert list(in_order(range(20), slow_when_even, threads, 4)) == [i * i for i in range(20)]


def test_few_items_are_alive_however_many_there_are() -> None:
    taken, given_back, most = [0], [0], [0]

    def items() -> Iterator[int]:
        for i in range(500):
            taken[0] += 1
            most[0] = max(most[0], taken[0] - given_back[0])
            yield i

    with ThreadPoolExecutor(2) as threads:
        for _ in in_order(items(), abs, threads, 2):
            given_back[0] += 1

    assert given_back[0] == 500
    assert most[0] <= 2 * AHEAD + 1


def test_a_fault_of_one_item_is_raised_and_the_rest_is_not_begun() -> None:
    begun: list[int] = []

    def fails_at_ten(i: int) -> int:
        begun.append(i)
        if i == 10:
            raise ValueError("ten")
        return i

    with ThreadPoolExecutor(2) as threads, pytest.raises(ValueError, match="ten"):
        list(in_order(range(1000), fails_at_ten, threads, 2))

    assert max(begun) <= 10 + 2 * AHEAD


@pytest.mark.parametrize(("said", "expected"), [("1", 1), ("3", 3), ("99", MOST_WORKERS)])
def test_the_number_of_threads_can_be_said(said: str, expected: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PENULT_WORKERS", said)

    assert worker_count() == expected


@pytest.mark.slow
def test_joints_do_not_depend_on_the_number_of_threads() -> None:
    """Bit for bit: a result must not tell on how many cores it was made."""
    clip = video.open_clip(SAMPLE)
    crop = Crop(centre_px=(900.0, 560.0), side_px=900.0)
    found = []
    for workers in (1, 3):
        with PosePool(workers) as pool:

            def seen(raw: Raw, pool: PosePool = pool) -> Floats | None:
                return pool.look(square_of(raw.frame().image, crop), crop, 330.0)

            raws = video.raw_frames(SAMPLE, clip, first=150, last=155)
            found.append(np.array(list(pool.in_order(raws, seen)), dtype=float))

    assert np.isfinite(found[0]).all(), "somebody is there"
    assert found[0].tobytes() == found[1].tobytes()
    assert not [t for t in threading.enumerate() if t.name.startswith("pose")], "no thread is left behind"
