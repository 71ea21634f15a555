"""Touchdown as the end of the shoe's way, against drawn shoes that come down at a known instant and in closed form."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

import penult.core.shoe.events
from drawn_shoe import Drawing, patches, rough
from penult.core.shoe.arrival import _along, _end, _followed, arrival
from penult.core.shoe.contact import refine
from penult.core.shoe.events import FOREFOOT_BOX_M
from penult.core.shoe.onset import Onset
from penult.core.shoe.pictures import ShoePictures, look
from penult.model.shoe import ShoePatches

SINKING = 0.06


def drawn(drawing: Drawing) -> ShoePictures:
    scene = look(patches(drawing), rough(drawing))
    assert scene is not None
    return scene


def random_drawings(rate_hz: float, count: int) -> list[Drawing]:
    """Shoes of any colour, strike, speed and slowing (films with known truth: 85 m/s2), at any phase of the frames."""
    rng = np.random.default_rng(11)
    return [
        Drawing(
            strike_deg=float(rng.uniform(-8, 14)),
            shoe=tuple(rng.uniform(20, 235, 3)),
            stripes=float(rng.uniform(5, 50)),
            speed_m_per_s=float(rng.uniform(2.0, 4.0)),
            slowing_m_per_s2=float(rng.uniform(0.0, 170.0)),
            phase=float(rng.uniform()),
            rate_hz=rate_hz,
            seed=seed,
        )
        for seed in range(count)
    ]


@cache
def drawings(rate_hz: float) -> list[tuple[Drawing, ShoePatches]]:
    """Twelve of them, drawn once."""
    return [(d, patches(d)) for d in random_drawings(rate_hz, 12)]


def errors_s(rate_hz: float) -> np.ndarray:
    found = [(d, refine(pictures, rough(d, late_s=0.008))) for d, pictures in drawings(rate_hz)]
    return np.array([f.touchdown_s - d.touchdown_s for d, f in found if not f.reason])


@pytest.mark.parametrize(
    ("rate_hz", "rms_s", "mean_s"), [(480.0, 0.0004, 0.0003), (240.0, 0.0006, 0.0003), (120.0, 0.0014, 0.0008)]
)
def test_touchdown_is_known_to_an_eighth_of_a_frame_and_not_always_early(
    rate_hz: float, rms_s: float, mean_s: float
) -> None:
    """An early touchdown is a long contact: without the way they are 1.8 and 1.9 ms off at 240 and 120, most of it early."""
    errors = errors_s(rate_hz)

    assert len(errors) >= 11
    assert np.sqrt(np.mean(errors**2)) < rms_s
    assert abs(errors.mean()) < mean_s


def test_the_way_makes_touchdown_sharper(monkeypatch: pytest.MonkeyPatch) -> None:
    with_way = errors_s(240.0)
    monkeypatch.setattr(penult.core.shoe.events, "arrival", lambda scene, reach, place, roughly, turning: roughly)
    without = errors_s(240.0)

    assert np.sqrt(np.mean(with_way**2)) < 0.6 * np.sqrt(np.mean(without**2))


@pytest.mark.parametrize("rate_hz", [240.0, 120.0])
def test_the_shoe_is_followed_to_a_fraction_of_a_pixel(rate_hz: float) -> None:
    """Closed form: a flat shoe comes down at 3 m/s and forward at half of that; a pixel is 6 mm."""
    drawing = Drawing(rate_hz=rate_hz, phase=0.4)
    scene = drawn(drawing)
    rest = int(np.searchsorted(scene.time_s, drawing.touchdown_s)) + 1
    window = scene.rows(-0.005, 0.09), scene.columns(drawing.toe_x_m - 0.10, drawing.toe_x_m + 0.02)
    seen = _followed(scene, window, rest, drawing.touchdown_s - 0.015)

    assert len(seen) >= 2
    for at_s, place in seen:
        ahead_s = max(drawing.touchdown_s - at_s, 0.0)
        assert place.y_px * scene.pixel_m == pytest.approx(3.0 * ahead_s, abs=0.002)
        assert place.x_px * scene.pixel_m == pytest.approx(-1.5 * ahead_s, abs=0.004)


@pytest.mark.parametrize("speed_m_per_s", [2.0, 3.0, 6.0])
def test_the_end_of_an_exact_way_is_found(speed_m_per_s: float) -> None:
    """Closed form: a way v (t0 - t), seen every 1/240 s to 0.1 mm, ends at t0 whatever its speed."""
    at_s = np.array([0.0985, 0.0943, 0.0902, 0.0860])
    ways_m = speed_m_per_s * (0.1 - at_s)
    mean_s, sd_s = _end(np.stack([at_s, ways_m, np.full(4, 1e-4)], axis=1), 0.1027, 0.0)

    assert mean_s == pytest.approx(0.1, abs=0.0003)
    assert sd_s < 0.0006


def test_the_end_of_an_uncertain_way_is_uncertain() -> None:
    """One picture, 1 cm away: t0 lies 1 cm over any speed of a foot later, 2 to 6 ms."""
    one = np.array([[0.095, 0.010, 0.001]])
    mean_s, sd_s = _end(one, 0.1033, SINKING)

    assert 0.097 < mean_s < 0.101
    assert 0.001 < sd_s < 0.003


def test_no_way_no_change() -> None:
    """A shoe that is never followed, or pictures that end before it stands, leave what was known."""
    drawing = Drawing()
    still = drawn(replace(drawing, still=True))
    known = Onset(at_s=drawing.touchdown_s, sd_s=0.002, contrast=20.0)
    place = (drawing.toe_x_m, 0.0)

    assert _along([], 0.006) is None
    assert arrival(still, FOREFOOT_BOX_M, place, known, SINKING) is known
    late = replace(known, at_s=float(still.time_s[-1]))
    assert arrival(still, FOREFOOT_BOX_M, place, late, SINKING) is late


def test_what_the_ground_hides_is_not_followed() -> None:
    """A shoe of the ground's own colour: whatever is laid explains nothing, and the rough instant stays."""
    drawing = Drawing(shoe=(150.0, 75.0, 60.0), stripes=0.0, shadow=0.0, noise=4.0)
    scene = drawn(drawing)
    known = Onset(at_s=drawing.touchdown_s, sd_s=0.002, contrast=5.0)
    found = arrival(scene, FOREFOOT_BOX_M, (drawing.toe_x_m, 0.0), known, SINKING)

    assert abs(found.at_s - drawing.touchdown_s) < 2.0 * found.sd_s


def test_doubt_about_the_burst_stays() -> None:
    """Where another burst of change might be the instant, following the shoe at this one does not settle it."""
    drawing = Drawing(phase=0.3)
    scene = drawn(drawing)
    known = Onset(at_s=drawing.touchdown_s - 0.001, sd_s=0.012, contrast=20.0, doubt_s=0.012)
    found = arrival(scene, FOREFOOT_BOX_M, (drawing.toe_x_m, 0.0), known, SINKING)

    assert found.at_s == pytest.approx(drawing.touchdown_s, abs=0.0008)
    assert found.sd_s > 0.012
