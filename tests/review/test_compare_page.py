"""Two results side by side in a real browser: on one clock at the take-off, moved through together."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from page_driver import PATIENCE_S, Page, Serve, opened, served, sized
from penult.adapters.files.result_file import read_analysis

pytestmark = pytest.mark.slow
LEFT, RIGHT, SHIFT = "\ue012", "\ue014", "\ue008"


class Sides(Page):
    """The comparison."""

    def __init__(self, driver: Any, address: str) -> None:
        self.driver, self.address = driver, address
        driver.get("about:blank")
        driver.get_log("browser")
        driver.get(address)
        self.wait(lambda: len(self.frames) == 2)

    @property
    def frames(self) -> list[int]:
        """The frames shown, once all pictures are there."""
        found = self.js("return [...document.querySelectorAll('figure canvas')].map(c => c.dataset.frame)")
        return [int(frame) for frame in found] if all(found) else []

    @property
    def ms(self) -> float:
        """Time from zero."""
        return float(self.body("ms") or "nan")


@pytest.fixture
def sides(driver: Any, analysed: Path, analysed_mat: Path) -> Iterator[Sides]:
    """Return the comparison of the two samples."""
    sized(driver)
    with served(analysed / "clip_analysis", analysed_mat / "clip_analysis") as server:
        yield Sides(driver, server.address)
        driver.get("about:blank")


def instants(folder: Path, end: int) -> float:
    span = read_analysis(folder / "clip_analysis").contact(0).span_s  # type: ignore[union-attr]
    assert span is not None
    return span[end]


@pytest.mark.parametrize("end", [0, 1])
def test_both_stand_at_the_take_off_and_move_together(
    sides: Sides, analysed: Path, analysed_mat: Path, end: int
) -> None:
    """At zero each shows the frame nearest to its own touchdown or toe-off; 100 ms later both are 24 frames on."""
    sides.driver.find_elements("name", "align")[end].click()
    zero = [round(instants(folder, end) * 240.0) for folder in (analysed, analysed_mat)]
    sides.wait(lambda: all(abs(f - z) <= 1 for f, z in zip(sides.frames, zero, strict=True)))
    at = sides.frames

    slide = "const s = document.getElementById('time'); s.value = arguments[0]; s.dispatchEvent(new Event('input'));"
    sides.js(slide, "100")
    sides.wait(lambda: [f - z for f, z in zip(sides.frames, at, strict=True)] == [24, 24], PATIENCE_S)
    assert "100.0 ms" in sides.element("time-out").text
    assert not sides.faults()


def test_keys_and_hands_move_both(sides: Sides) -> None:
    """Shift and arrow: one frame in both; an arrow alone: to an instant of either; a drag on one picture moves the other too."""
    before = sides.frames
    sides.together(SHIFT, RIGHT)
    sides.wait(lambda: sides.frames == [f + 1 for f in before])
    sides.together(SHIFT, LEFT)
    sides.wait(lambda: sides.frames == before)
    sides.keys(LEFT)
    sides.wait(lambda: -400.0 < sides.ms < -50.0)
    first = sides.ms
    sides.keys(RIGHT)
    sides.wait(lambda: sides.ms > first)

    now = sides.frames
    sides.drag(sides.driver.find_elements("css selector", "figure canvas")[1], 50)
    sides.wait(lambda: sides.frames == [f + 10 for f in now])


def test_it_plays_and_stops(sides: Sides) -> None:
    """Both go on while it plays."""
    before = sides.frames
    sides.click("play")
    sides.wait(lambda: sides.frames and all(f > b + 4 for f, b in zip(sides.frames, before, strict=True)))
    sides.click("play")
    assert sides.element("play").text == "Play"


def test_numbers_stand_side_by_side_with_their_intervals(sides: Sides, analysed: Path, analysed_mat: Path) -> None:
    """A row a measure, a column a clip."""
    table = sides.element("table")
    heads = [cell.text for cell in table.find_elements("css selector", "thead th")]
    assert heads == ["1: clip.mp4", "2: clip.mp4"]
    cells = sides.js(
        "return [...document.querySelectorAll('tbody tr')].map(r => [...r.children].map(c => c.textContent))"
    )
    row = next(cells_of for cells_of in cells if cells_of[0] == "take-off angle")
    for cell, folder in zip(row[1:], (analysed, analysed_mat), strict=True):
        value = read_analysis(folder / "clip_analysis").takeoff["takeoff_angle_deg"].value  # type: ignore[union-attr]
        assert float(cell.split()[0]) == pytest.approx(value, abs=0.6)
        assert "±" in cell


def test_nothing_can_be_changed_in_a_comparison(analysed: Path, analysed_mat: Path, serve: Serve) -> None:
    """The addresses that change a result are not there."""
    with opened(serve(analysed / "clip_analysis", analysed_mat / "clip_analysis")) as there:
        for name in ("correct", "undo", "redo", "write"):
            assert there.post(f"/api/{name}", json={"version": 0}).status_code == 404
        assert there.get("/api/clip/1").json()["clips"] == 2
        assert there.get("/api/clip/2").status_code == 404
