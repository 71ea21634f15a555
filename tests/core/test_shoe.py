"""What the pixels of one shoe say, against drawn shoes whose instants, places and angles are known in closed form."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.ndimage import shift

import penult.core.shoe.contact
from drawn_shoe import LENGTH_M, Drawing, patches, rough
from penult.core.shoe.contact import _second_looks, refine, refine_all
from penult.core.shoe.onset import leaves, own_curve
from penult.core.shoe.pictures import Box, look, new_edges, steadied
from penult.model.shoe import ShoeContact, ShoePatches

FRAME_240_S = 1.0 / 240.0
WRONG = {"late_s": 0.012, "ahead_m": -0.03, "up_m": 0.02}
"""A rough contact as the joints give it: 12 ms late, toe and heel 3 cm behind, surface 2 cm too high."""

WHITE = {"shoe": (235.0, 235.0, 230.0), "stripes": 5.0}
DRAWINGS = {
    "flat": Drawing(),
    "heel first": Drawing(strike_deg=12.0),
    "forefoot": Drawing(strike_deg=-8.0),
    "mat of 5 cm": Drawing(height_m=0.05),
    "mat of 2 cm": Drawing(height_m=0.02),
    "black shoe": Drawing(shoe=(20.0, 20.0, 25.0), stripes=8.0),
    "white shoe": Drawing(**WHITE),
    "noisy": Drawing(noise=5.0),
}


@pytest.fixture(scope="module", params=DRAWINGS.values(), ids=DRAWINGS.keys())
def drawing(request: pytest.FixtureRequest) -> Drawing:
    return request.param


def test_instants_are_found_to_a_fraction_of_a_frame_and_places_to_a_pixel(drawing: Drawing) -> None:
    """Proves the whole chain at 240 per second for every strike, surface and colour; a frame is 4.2 ms, a pixel 6 mm."""
    found = refine(patches(drawing), rough(drawing, **WRONG))

    assert found.reason == ""
    assert found.touchdown_s == pytest.approx(drawing.touchdown_s, abs=0.6 * FRAME_240_S)
    assert found.toe_off_s == pytest.approx(drawing.toe_off_s, abs=0.6 * FRAME_240_S)
    assert found.toe_seen
    assert found.toe_x_m == pytest.approx(drawing.toe_x_m, abs=0.01)
    assert found.heel_x_m == pytest.approx(drawing.toe_x_m - LENGTH_M, abs=0.01)
    assert found.support_height_m == pytest.approx(drawing.height_m, abs=0.008)
    assert found.foot_angle_touchdown_deg == pytest.approx(drawing.strike_deg, abs=3.0)


def test_the_bare_runway_is_exactly_zero_and_certain() -> None:
    """Proves the mixture: no mat, no height; a coach's hip heights are not moved by a pixel of noise."""
    found = refine(patches(Drawing(seed=3)), rough(Drawing(), up_m=0.03))

    assert (found.support_height_m, found.support_height_sd_m) == (0.0, 0.0)


def test_a_mat_under_a_shoe_without_ends_is_not_claimed(monkeypatch: pytest.MonkeyPatch) -> None:
    """In the dark noise has borders: what lies under a shoe of which neither toe nor heel is seen is not known."""
    mat = Drawing(height_m=0.05)
    seen = refine(patches(mat), rough(mat, **WRONG))
    for name in ("toe_tip", "heel_edge"):
        whole = getattr(penult.core.shoe.contact, name)
        monkeypatch.setattr(
            penult.core.shoe.contact, name, lambda *given, whole=whole: replace(whole(*given), seen=False)
        )
    unseen, bare = (refine(patches(drawn), rough(drawn, **WRONG)) for drawn in (mat, Drawing(seed=3)))

    assert seen.support_height_m == pytest.approx(0.05, abs=0.008)
    assert math.isnan(unseen.support_height_m)
    assert unseen.touchdown_s == pytest.approx(mat.touchdown_s, abs=FRAME_240_S)
    assert bare.support_height_m == 0.0


def test_a_surface_of_which_no_border_is_seen_is_not_taken_for_the_runway(monkeypatch: pytest.MonkeyPatch) -> None:
    """A dark shoe on a dark ground: 0 with 3 mm stated would be a guess. Times and toe stay."""
    whole = penult.core.shoe.contact.surface
    monkeypatch.setattr(penult.core.shoe.contact, "surface", lambda *given: replace(whole(*given), seen=False))
    drawing = Drawing(seed=3)
    found = refine(patches(drawing), rough(drawing, **WRONG))

    assert math.isnan(found.support_height_m)
    assert found.touchdown_s == pytest.approx(drawing.touchdown_s, abs=FRAME_240_S)
    assert found.toe_x_m == pytest.approx(drawing.toe_x_m, abs=0.01)


@pytest.mark.parametrize(("rate_hz", "frames"), [(120.0, 0.6), (60.0, 0.6)])
def test_lower_rates_keep_the_right_frame_and_say_so(rate_hz: float, frames: float) -> None:
    """Proves that at 120 and 60 per second the instants stay within 0.6 of a frame and within 2.5 of their own SD."""
    for phase in (0.1, 0.4, 0.7):
        drawing = Drawing(rate_hz=rate_hz, phase=phase)
        found = refine(patches(drawing), rough(drawing, **WRONG))

        for at_s, sd_s, true_s in (
            (found.touchdown_s, found.touchdown_sd_s, drawing.touchdown_s),
            (found.toe_off_s, found.toe_off_sd_s, drawing.toe_off_s),
        ):
            assert abs(at_s - true_s) < frames / rate_hz
            assert abs(at_s - true_s) < 2.5 * sd_s
            assert sd_s < 1.0 / rate_hz


@pytest.mark.parametrize("phase", [0.0, 0.4, 0.6])
def test_a_rough_contact_two_frames_late_at_60_hz_is_mended(phase: float) -> None:
    """The first frames of a support may have their legs confused: its instants are looked for a frame farther."""
    drawing = Drawing(rate_hz=60.0, phase=phase, speed_m_per_s=2.0)
    late = replace(rough(drawing), start_s=drawing.touchdown_s + 0.030, end_s=drawing.toe_off_s - 0.010)
    found = refine(patches(drawing), late)

    assert found.reason == ""
    assert abs(found.touchdown_s - drawing.touchdown_s) < 2.0 * found.touchdown_sd_s


def test_stated_sd_hold_over_random_shoes_and_phases() -> None:
    """Proves honesty: 2 SD hold at least 85 % of 24 instants, and are at most 4 times the RMS error of clean drawings."""
    rng = np.random.default_rng(7)
    errors, sds = [], []
    for seed in range(12):
        drawing = Drawing(
            strike_deg=float(rng.uniform(-8, 14)),
            shoe=tuple(rng.uniform(20, 235, 3)),
            stripes=float(rng.uniform(5, 50)),
            speed_m_per_s=float(rng.uniform(2.0, 4.0)),
            phase=float(rng.uniform()),
            seed=seed,
            slowing_m_per_s2=float(rng.uniform(0.0, 170.0)),  # 85 on films with known truth
        )
        found = refine(patches(drawing), rough(drawing, late_s=float(rng.uniform(-0.02, 0.02))))
        errors += [found.touchdown_s - drawing.touchdown_s, found.toe_off_s - drawing.toe_off_s]
        sds += [found.touchdown_sd_s, found.toe_off_sd_s]

    held = np.abs(errors) <= 2.0 * np.array(sds)
    assert held.mean() >= 0.85
    assert 2.0 * np.median(sds) <= 4.0 * np.sqrt(np.mean(np.square(errors)))


@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(later_s=st.floats(-5.0, 50.0), ahead_m=st.floats(-30.0, 5.0))
def test_another_origin_of_time_and_place_moves_the_answer_with_it(later_s: float, ahead_m: float) -> None:
    """Proves that nothing depends on where the clip begins or where on the runway the contact lies."""
    here, there = Drawing(), Drawing()
    pictures = patches(here)
    moved = ShoePatches(
        time_s=pictures.time_s + later_s,
        images=pictures.images,
        x_m=pictures.x_m + ahead_m,
        y_m=pictures.y_m,
        z_m=pictures.z_m,
    )
    hint = rough(there)
    found = refine(pictures, hint)
    found_there = refine(
        moved,
        replace(
            hint,
            start_s=hint.start_s + later_s,
            end_s=hint.end_s + later_s,
            toe_x_m=hint.toe_x_m + ahead_m,
            heel_x_m=hint.heel_x_m + ahead_m,
        ),
    )

    assert found_there.touchdown_s - later_s == pytest.approx(found.touchdown_s, abs=2e-4)
    assert found_there.toe_off_s - later_s == pytest.approx(found.toe_off_s, abs=2e-4)
    assert found_there.toe_x_m - ahead_m == pytest.approx(found.toe_x_m, abs=2e-3)


@pytest.mark.parametrize("slope_y", [0.1, -0.1])
def test_a_mat_seen_from_above_is_as_high_from_either_side(slope_y: float) -> None:
    """Proves the sign of the near side: the near border of the sole, 4.5 cm before its middle, seems 4.5 mm lower."""
    drawing = Drawing(height_m=0.05)
    level = refine(patches(drawing), rough(drawing))
    seen = refine(replace(patches(drawing), slope_y=slope_y), rough(drawing))

    assert seen.support_height_m - level.support_height_m == pytest.approx(0.0045, abs=1e-9)


def test_without_a_shoe_it_refuses() -> None:
    """Proves that an empty runway gives a reason, never an instant."""
    found = refine(patches(Drawing(still=True)), rough(Drawing()))

    assert "stand out" in found.reason
    assert math.isnan(found.touchdown_s)
    assert math.isnan(found.toe_off_s)
    assert found.quality == 0.0


def test_pictures_that_end_in_support_give_a_reason() -> None:
    """Proves the missing-data case: no picture without the shoe, so no background and no instant."""
    drawing = Drawing()
    all_of_it = patches(drawing)
    inside = (all_of_it.time_s > 0.11) & (all_of_it.time_s < 0.18)
    cut = replace(all_of_it, time_s=all_of_it.time_s[inside], images=all_of_it.images[inside])

    assert "too few pictures" in refine(cut, rough(drawing)).reason
    empty = replace(all_of_it, time_s=all_of_it.time_s[:0], images=all_of_it.images[:0])
    assert "too few pictures" in refine(empty, rough(drawing)).reason


def test_times_far_from_the_rough_ones_are_withheld() -> None:
    """Proves that something else that comes to rest there (60 ms off) is not sold as the contact."""
    found = refine(patches(Drawing()), rough(Drawing(), late_s=-0.06))

    assert found.reason


def test_a_background_from_elsewhere_serves_when_the_clip_has_none() -> None:
    """Proves that a given picture of the place replaces the median of pictures without the shoe."""
    drawing = Drawing()
    all_of_it = patches(drawing)
    empty = patches(replace(drawing, still=True)).images[0]
    inside = (all_of_it.time_s > 0.06) & (all_of_it.time_s < 0.25)
    cut = replace(all_of_it, time_s=all_of_it.time_s[inside], images=all_of_it.images[inside])

    found = refine(cut, rough(drawing), background=empty)

    assert found.touchdown_s == pytest.approx(drawing.touchdown_s, abs=0.6 * FRAME_240_S)


def _contact(toe_x_m: float, heel_x_m: float | None, *, toe_seen: bool = True) -> ShoeContact:
    found = refine(patches(Drawing(still=True, rate_hz=60.0)), rough(Drawing()))
    return replace(found, toe_x_m=toe_x_m, heel_x_m=heel_x_m, toe_seen=toe_seen, reason="")


@pytest.mark.parametrize(
    ("toe_x_m", "heel_x_m", "toe_seen", "expected_m"),
    [
        (0.08, -0.28, True, 0.0),  # an edge of the board taken for the toe: the heel says where it is
        (0.03, -0.28, False, 0.0),  # toe as white as the board
        (0.00, -0.20, True, None),  # the heel is what is wrong
        (0.01, -0.28, True, None),  # a shoe's length apart
        (0.09, None, True, 0.01),  # no heel: where the joints say, ahead by as much as elsewhere
    ],
)
def test_a_toe_that_cannot_be_right_is_looked_for_again(
    toe_x_m: float, heel_x_m: float | None, toe_seen: bool, expected_m: float | None
) -> None:
    """Proves the second look by hand: three shoes of 28 cm, toes 1 cm ahead of the joints', and a fourth in doubt."""
    sure = [_contact(x, x - LENGTH_M) for x in (-6.0, -4.0, -2.0)]
    hints = [replace(rough(Drawing()), toe_x_m=x - 0.01, heel_x_m=x - LENGTH_M) for x in (-6.0, -4.0, -2.0, 0.01)]

    looks = _second_looks([*sure, _contact(toe_x_m, heel_x_m, toe_seen=toe_seen)], hints)

    assert looks[:3] == [None] * 3
    if expected_m is None:
        assert looks[3] is None
    else:
        assert looks[3] is not None
        assert looks[3].toe_x_m == pytest.approx(expected_m, abs=1e-9)


def test_all_contacts_of_a_clip_come_back_in_their_order() -> None:
    """Proves that refining together leaves sure contacts as they are, white shoe on a white board included."""
    white = {"shoe": (235.0, 235.0, 230.0), "stripes": 5.0}
    drawings = [
        Drawing(toe_x_m=-4.0, seed=1, **white),
        Drawing(toe_x_m=-2.0, seed=2, **white),
        Drawing(toe_x_m=0.0, seed=3, board=(233.0, 233.0, 229.0), **white),
    ]

    found = refine_all([patches(d) for d in drawings], [rough(d, **WRONG) for d in drawings])

    assert [c.toe_x_m for c in found] == pytest.approx([-4.0, -2.0, 0.0], abs=0.01)


def test_an_oblique_view_widens_the_sd_by_the_depth_that_is_not_known() -> None:
    """Proves the closed form: a depth known to 3 cm, seen at a slope of 0.3, is 9 mm along the run."""
    drawing = Drawing()
    square = refine(patches(drawing), rough(drawing))
    oblique = refine(replace(patches(drawing), slope_x=0.3), rough(drawing))

    blunt = 0.3 * 0.01
    expected = math.sqrt(square.toe_x_sd_m**2 + (0.3 * 0.03) ** 2 + blunt**2)
    assert oblique.toe_x_sd_m == pytest.approx(expected, rel=1e-6)


def _sliding_edge(rate_hz: float, start_s: float, speed_m_per_s: float, pixel_m: float) -> tuple[Box, np.ndarray]:
    """Return a striped content that fills the box, stands until an instant and then slides up evenly."""
    time = np.arange(0.0, 0.1, 1.0 / rate_hz)
    rows = np.arange(24)[:, None] * pixel_m
    pictures = []
    for t in time:
        way = speed_m_per_s * max(t - start_s, 0.0)
        inside = np.clip((24 * pixel_m - way - rows) / pixel_m, 0.0, 1.0)
        stripes = 60.0 * np.sin(2.0 * np.pi * (rows + way) / 0.05)
        pictures.append(np.repeat((100.0 + inside * (80.0 + stripes))[..., None], 30, axis=1).repeat(3, axis=2))
    stack = np.stack(pictures).astype(np.float32)
    return Box(pictures=stack, empty=np.full((24, 30, 3), 100.0, dtype=np.float32)), time


@pytest.mark.parametrize("start_s", [0.0405, 0.0415, 0.0425, 0.0435])
def test_a_sliding_picture_leaves_when_it_does(start_s: float) -> None:
    """Proves the growth curve between frames 4.2 ms apart: four phases, each within 1 ms."""
    box, time = _sliding_edge(240.0, start_s, 3.0, 0.005)

    found = leaves(box, time, pixel_m=0.005, turning_m_per_s=0.1, share=0.4)

    assert found is not None
    assert found.at_s == pytest.approx(start_s, abs=0.001)


def test_two_bursts_of_change_in_the_dark_leave_the_instant_in_doubt_between_them() -> None:
    """There a film's coding changes pictures in bursts: two alike, 25 ms apart, hardly above the noise, and either may be it."""
    box, time = _sliding_edge(240.0, 0.0415, 3.0, 0.005)
    apart = 6
    twice = np.concatenate([box.pictures[:12], np.repeat(box.pictures[11:12], apart, axis=0), box.pictures[12:]])
    dark = np.random.default_rng(4).normal(0.0, 8.0, twice.shape).astype(np.float32)

    def sd_s(pictures: np.ndarray) -> float:
        found = leaves(
            Box(pictures=pictures, empty=box.empty),
            np.arange(len(pictures)) / 240.0,
            pixel_m=0.005,
            turning_m_per_s=0.1,
            share=0.4,
        )
        assert found is not None
        return found.sd_s

    assert sd_s(box.pictures) < 0.002
    assert sd_s(box.pictures + dark[: len(time)]) < 0.005
    assert sd_s(twice + dark) > 0.25 * apart / 240.0


def test_at_a_low_rate_the_instant_is_as_uncertain_as_the_frames_are_apart() -> None:
    """Proves that a curve which is full at once leaves at least the SD of a flat interval, dt / sqrt(12)."""
    box, time = _sliding_edge(40.0, 0.040, 4.0, 0.005)

    found = leaves(box, time, pixel_m=0.005, turning_m_per_s=0.1, share=0.4)

    assert found is not None
    assert abs(found.at_s - 0.040) < 0.025
    assert found.sd_s > 0.5 * 0.025 / math.sqrt(12.0)


def test_what_still_grows_where_the_pictures_end_has_no_instant() -> None:
    """A camera that turns away in the push-off: the content may leave later than anybody saw."""
    box, time = _sliding_edge(240.0, 0.0415, 3.0, 0.005)
    end = int(np.abs(np.diff(box.pictures, axis=0)).mean(axis=(1, 2, 3)).argmax()) + 2
    cut = Box(pictures=box.pictures[:end], empty=box.empty)

    assert leaves(box, time, pixel_m=0.005, turning_m_per_s=0.1, share=0.4) is not None
    assert leaves(cut, time[:end], pixel_m=0.005, turning_m_per_s=0.1, share=0.4) is None


def test_a_box_in_which_nothing_moves_has_no_onset() -> None:
    """Proves the refusal of the lowest part."""
    still = Box(pictures=np.full((20, 8, 8, 3), 90.0, dtype=np.float32), empty=np.zeros((8, 8, 3), dtype=np.float32))

    assert leaves(still, np.arange(20) / 240.0, pixel_m=0.006, turning_m_per_s=0.1, share=0.4) is None


def test_fine_stripes_grow_unlike_themselves_faster_than_coarse_ones() -> None:
    """Proves the scale that turns change into way: stripes of 2 cm against 16 cm, over the same ground."""
    rows = np.arange(24)[:, None] * 0.005

    def striped(wave_m: float) -> np.ndarray:
        grey = 150.0 + 60.0 * np.sign(np.sin(2.0 * np.pi * (rows + 0.003) / wave_m))
        return np.repeat(np.repeat(grey[..., None], 24, axis=1), 3, axis=2).astype(np.float32)

    empty = np.full((24, 24, 3), 40.0, dtype=np.float32)
    (ways_m, fine), (_, coarse) = own_curve(striped(0.02), empty, 0.005), own_curve(striped(0.16), empty, 0.005)

    assert np.interp(0.01, ways_m, fine) > 1.5 * np.interp(0.01, ways_m, coarse)
    assert fine[0] == coarse[0] == 0.0
    assert np.all(np.diff(coarse) >= 0.0)
    assert max(fine.max(), coarse.max()) < 1.0


def test_a_soft_shadow_makes_no_new_edge_and_a_shoe_does() -> None:
    """Proves the Lambertian model: a smooth factor on all colours leaves steps of the log ratio an order below a shoe's."""
    drawing = Drawing(noise=0.0, shadow=0.0)
    scene = look(patches(drawing), rough(drawing))
    assert scene is not None
    x = np.linspace(0.0, 1.0, scene.background.shape[1])
    shade = (1.0 - 0.4 * np.exp(-(((x - 0.5) / 0.2) ** 2)))[None, :, None].astype(np.float32)

    shadow_along, _ = new_edges(scene, scene.background * shade)
    shoe_along, _ = new_edges(scene, scene.support)

    assert shadow_along.max() < 0.1 * shoe_along.max()


@pytest.mark.parametrize("off_px", [(0.4, -0.3), (-0.7, 0.2)])
def test_a_shaken_picture_is_laid_back_on_the_background(off_px: tuple[float, float]) -> None:
    """Proves the sign and the size of the steadying: what is left is less than a third of the shake."""
    rng = np.random.default_rng(1)
    ground = np.kron(rng.uniform(60, 200, (12, 16)), np.ones((6, 6)))
    empty = shift(ground, 0.5, order=1, mode="nearest")[..., None].repeat(3, axis=2).astype(np.float32)
    smooth = np.stack([shift(empty[..., k], (1e-3, 1e-3), order=1, mode="nearest") for k in range(3)], axis=-1)
    shaken = np.stack([shift(smooth[..., k], off_px, order=3, mode="nearest") for k in range(3)], axis=-1)

    steady = steadied(shaken[None].astype(np.float32), empty)[0]

    inner = (slice(3, -3), slice(3, -3))
    assert np.abs(steady - empty)[inner].mean() < 0.5 * np.abs(shaken - empty)[inner].mean()
