"""What clips in a row share, and whose turn it is; crops on a grid."""

from __future__ import annotations

import threading
from contextlib import nullcontext
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.app import workshop as module
from penult.app.athlete import GRID_BODIES, GRID_SIZES, on_grid
from penult.app.plan import CROP_BODIES
from penult.app.workshop import Workshop


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of what was loaded, in order; nothing is."""
    out: list[str] = []

    def stand_in(name: str) -> Any:
        def make() -> Any:
            out.append(name)
            return nullcontext(name)

        return make

    monkeypatch.setattr(module, "PageProcess", stand_in("page"))
    monkeypatch.setattr(module, "PosePool", stand_in("pool"))
    return out


def test_what_is_needed_is_loaded_once_and_not_before_the_first_clip(made: list[str]) -> None:
    with Workshop(lasts=True) as shop:
        assert made == []
        for _ in range(3):
            turn = shop.begin()
            assert (turn.page, turn.pool) == ("page", "pool")
            turn.end()
    assert made == ["page", "pool"]


def test_the_next_clip_waits_until_the_one_before_is_measured(made: list[str]) -> None:
    """Fails if two clips are looked at together: twice the memory."""
    began = threading.Event()
    with Workshop(lasts=True) as shop:
        first = shop.begin()

        def follow() -> None:
            shop.begin().end()
            began.set()

        follower = threading.Thread(target=follow)
        follower.start()
        assert not began.wait(0.05)
        first.end()
        first.end()  # once more does no harm
        assert began.wait(10.0)
        follower.join()


def test_a_clip_whose_helpers_cannot_be_had_does_not_stop_the_next(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused() -> Any:
        raise OSError("no process")

    monkeypatch.setattr(module, "PageProcess", refused)
    shop = Workshop(lasts=True)
    for _ in range(2):
        with pytest.raises(OSError, match="no process"):
            shop.begin()


@given(x=st.floats(-50.0, 4000.0), y=st.floats(-50.0, 2200.0), height=st.floats(60.0, 1200.0))
def test_crops_of_the_grid_lie_where_they_were_asked_for(x: float, y: float, height: float) -> None:
    """Within half a step of the grid, and half a step of sizes: 0.8 % of a body height, 1.1 % of the side."""
    crop, tall = on_grid((x, y), height)

    step = 2.0 ** (0.5 / GRID_SIZES) * (1.0 + 1e-9)
    assert 1.0 / step <= tall / height <= step
    assert crop.side_px == CROP_BODIES * tall
    for got, asked in zip(crop.centre_px, (x, y), strict=True):
        assert abs(got - asked) <= 0.5 * GRID_BODIES * tall * (1.0 + 1e-9)
    assert on_grid(crop.centre_px, tall) == (crop, tall)
