"""The annotated film: a picture for every frame, quickly, the hip path growing with the run."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import pytest

from penult.adapters.film.writer import write_film
from penult.app.pictures import paced
from penult.model.clip import Frame, Planes
from penult.model.showing import LANGUAGES, UNITS, Shape, Showing
from penult.outputs.pictures import ink
from penult.outputs.pictures.film import Painter, cut_image, film_frames, playback_hz
from penult.outputs.pictures.film_holds import caption_sizes
from penult.outputs.pictures.follow import follow, whole_size_px
from penult.outputs.pictures.pair import Side, pair_frames, panes
from penult.outputs.texts import captions
from penult.outputs.texts.tongue import Tongue

from .conftest import FOCAL_PX, RATE_HZ, SPEED_M_PER_S, make_scene, touchdown_s


def painter_of(given: Any, shape: Shape = "landscape") -> Painter:
    return Painter(given.analysis, given.motion, Showing(film=shape))


def test_whole_pictures_are_reduced_where_they_are_wide_and_left_where_small() -> None:
    assert whole_size_px((1920, 1080)) == (960, 540)
    assert whole_size_px((3840, 2160)) == (960, 540)
    assert whole_size_px((720, 1280)) == (720, 1280)
    assert whole_size_px((640, 361)) == (640, 361)


@pytest.mark.parametrize("which", ["scene", "leftward", "with_mats", "run_through", "doubted"])
@pytest.mark.parametrize(
    ("shape", "size"), [("landscape", (540, 960)), ("portrait", (960, 540)), ("whole", (540, 960))]
)
def test_every_frame_gives_a_picture_of_one_size(
    which: str, shape: Shape, size: tuple[int, int], request: pytest.FixtureRequest
) -> None:
    given = request.getfixturevalue(which)
    frames = [given.frame(i) for i in range(5, 160, 11)]  # some lie before and after the tracked stretch

    drawn = list(film_frames(iter(frames), given.analysis, given.motion, Showing(film=shape)))

    assert {picture.shape for picture, _ in drawn} == {(*size, 3)}
    assert len(drawn) == len(frames)
    assert (frames[0].image == given.frame(5).image).all(), "the frame handed in is not drawn on"


@pytest.mark.parametrize("which", ["scene", "leftward"])
@pytest.mark.parametrize("shape", ["landscape", "portrait", "whole"])
def test_the_picture_stays_inside_the_clip_s(which: str, shape: Shape, request: pytest.FixtureRequest) -> None:
    given = request.getfixturevalue(which)

    path = follow(given.motion, shape)

    far = path.origin_px + np.array(path.size_px) / path.scale[:, None]
    assert path.origin_px.min() >= 0.0
    assert (far <= np.array([1280.0, 720.0]) + 1e-6).all()


def test_a_steady_run_is_followed_steadily_whatever_the_hips_jitter() -> None:
    """Closed form: at constant speed the picture goes by v f / d pixels a second, within a pixel of the film, and its second
    difference is that of whole pixels; jitter of 3 cm of the hips is none of the picture. Measured from the camera's own
    numbers, 8 m/s at 1400 px and 10 m."""
    given = make_scene()
    random = np.random.default_rng(1)
    hips = given.motion.hip_m + random.normal(0.0, 0.03, given.motion.hip_m.shape)
    wide = replace(given.motion.cameras[0], image_size_px=(6000, 1200), centre_px=(2999.5, 599.5))
    path = follow(replace(given.motion, hip_m=hips, cameras=(wide,)), "portrait")
    film_px = path.origin_px * path.scale[:, None]

    metre_px = FOCAL_PX / 10.0 * path.scale[0]
    inner = np.arange(36, len(hips) - 36)  # as far as the kernel reaches beyond the ends
    wanted = SPEED_M_PER_S * metre_px * (given.motion.pixels.time_s[inner] - given.motion.pixels.time_s[inner[0]])
    # 3 cm over the 42 rows that the kernel counts as: 3 / sqrt(42) = 0.5 cm, three of them at either end of the way
    assert np.abs(film_px[inner, 0] - film_px[inner[0], 0] - wanted).max() < 0.03 * metre_px + 1.0
    assert np.abs(np.diff(film_px[inner, 0], 2)).max() <= 2.0
    assert np.abs(np.diff(np.diff(hips[inner, 0]) * metre_px)).max() > 10.0, "as it would be without"
    assert np.ptp(film_px[:, 1]) <= 1.0, "the ground stays at one height"
    assert np.ptp(path.scale) == 0.0


def test_the_athlete_fills_about_half_of_the_height() -> None:
    """Ankle to ear is 1.57 m in the made-up runner, 1.75 m with foot and skull: 45 to 70 % of the film's height."""
    given = make_scene()
    for shape, height in (("landscape", 540), ("portrait", 960)):
        path = follow(given.motion, shape)  # type: ignore[arg-type]
        share = 1.75 * FOCAL_PX / 10.0 * path.scale[0] / height
        assert 0.45 < share < 0.7, shape


def test_the_joints_are_where_the_picture_shows_them(scene: Any) -> None:
    """A white dot at the hip's own pixel is found where the view says, to half a pixel."""
    painter = painter_of(scene)
    row = 90
    x, y = np.rint(scene.motion.pixels.xy_px[row, 7]).astype(int)
    image = np.zeros((720, 1280, 3), dtype=np.uint8)
    image[y - 1 : y + 2, x - 1 : x + 2] = 255
    view = painter.view(int(scene.motion.pixels.frame[row]))

    cut = cut_image(image, (0, 0), view)

    rows, columns = np.nonzero(cut[..., 0] > 127)
    assert [columns.mean(), rows.mean()] == pytest.approx(view.of(np.array([x, y])).tolist(), abs=0.6)


def test_a_part_of_a_picture_is_cut_out_as_the_whole_is(scene: Any) -> None:
    painter = painter_of(scene)
    view = painter.view(80)
    random = np.random.default_rng(2)
    image = cv2.GaussianBlur(random.integers(0, 255, (720, 1280, 3), dtype=np.uint8), (0, 0), 3)
    x0, y0, x1, y1 = (int(v) for v in view.box_px())
    left, top = max(0, (x0 - 8) // 2 * 2), max(0, (y0 - 8) // 2 * 2)

    whole = cut_image(image, (0, 0), view)
    part = cut_image(image[top : y1 + 8, left : x1 + 8].copy(), (left, top), view)

    assert np.abs(whole.astype(int) - part).max() <= 1


def test_it_holds_half_a_second_at_the_four_instants(scene: Any) -> None:
    """120 Hz is shown at 20 pictures a second: ten of each of four pictures, whose numbers are those of the result."""
    shown = list(film_frames((scene.frame(i) for i in range(12, 156)), scene.analysis, scene.motion))
    held = [times for _, times in shown if times > 1]
    painter = painter_of(scene)

    assert playback_hz(120.0) == 20.0
    assert held == [10, 10, 10, 10]
    step = scene.analysis.step(-1).measures["step_length_m"]
    drop = scene.analysis.penultimate["penultimate_hip_drop_m"]
    assert [h.hold.name for h in painter.held] == list(captions.INSTANTS)
    said = [h.hold.numbers for h in painter.held]
    assert said[0] == (f"step {step.value:.2f} ± {step.u95:.2f} m",)
    assert said[1] == (f"hips {100 * drop.value:.1f} ± {100 * drop.u95:.1f} cm lower than in the contact before",)
    assert said[2] == ("leg 63.0 ± 1.1° to the ground",)
    assert said[3] == ("take-off angle 19.2 ± 0.8°",)


def test_with_mats_both_hip_drops_are_named(with_mats: Any) -> None:
    numbers = painter_of(with_mats).held[1].hold.numbers

    assert len(numbers) == 2
    assert "above the runway" in numbers[0]
    assert "above what each foot stood on" in numbers[1]


@pytest.mark.parametrize(("rate", "shown"), [(30.0, 20.0), (60.0, 20.0), (120.0, 20.0), (240.0, 30.0), (960.0, 60.0)])
def test_it_is_slowed_down(rate: float, shown: float) -> None:
    assert playback_hz(rate) == shown


def test_captions_fit_into_the_picture_in_every_language(with_mats: Any, run_through: Any, scene: Any) -> None:
    """The widest line at its size, against the width of a pane of two."""
    for language in LANGUAGES:
        for units in UNITS:
            tongue = Tongue(language=language, units=units)
            for given in (with_mats, run_through, scene):
                for hold in captions.holds(given.analysis, tongue):
                    small, large = caption_sizes(hold, 480)
                    assert ink.text_size(hold.title, small)[0] <= 460, (language, hold.title)
                    for text in hold.numbers:
                        assert ink.text_size(text, large, bold=True)[0] <= 470, (language, text)


def test_two_runs_meet_at_the_instant_and_hold_there(scene: Any, leftward: Any) -> None:
    """Both frames shown at zero are those nearest to their own touchdown; the pair is held there alone."""
    paths = panes(scene.motion, leftward.motion, "landscape")
    sides = []
    for given, path in zip((scene, leftward), paths, strict=True):
        painter = Painter(given.analysis, given.motion, Showing(), path=path)
        asked: list[int] = []

        def taken(index: int, painter: Painter = painter, asked: list[int] = asked, given: Any = given) -> Any:
            asked.append(index)
            return cut_image(given.frame(index).image, (0, 0), painter.view(index))

        sides.append((Side(painter=painter, taken=taken, motion=given.motion, zero_s=touchdown_s(0)), asked))
    both = (sides[0][0], sides[1][0])

    shown = list(pair_frames(both, "landscape", (RATE_HZ, RATE_HZ)))

    assert {p.shape for p, _ in shown} == {(540, 960, 3)}
    assert paths[0].scale[0] == pytest.approx(paths[1].scale[0])
    place = [k for k, (_, times) in enumerate(shown) if times > 1]
    assert [shown[k][1] for k in place] == [10]
    for given, (_, asked) in zip((scene, leftward), sides, strict=True):
        row = asked[place[0]] - 12
        assert abs(given.motion.pixels.time_s[row] - touchdown_s(0)) <= 0.5 / RATE_HZ + 1e-9


def test_a_camera_that_moves_has_its_own_lines_in_every_frame(scene: Any) -> None:
    moved = replace(
        scene.motion,
        cameras=tuple(
            replace(scene.motion.cameras[0], centre_px=(639.5, 359.5 + 40.0 * (row % 2)))
            for row in range(len(scene.motion.hip_m))
        ),
    )
    showing = Showing(film="whole")
    drawn = film_frames((scene.frame(i) for i in (60, 61)), scene.analysis, moved, showing)

    green = [np.flatnonzero((p == ink.RUNWAY).all(axis=2).any(axis=1)).min() for p, _ in drawn]
    assert abs(int(green[0]) - int(green[1])) == 30  # three quarters of 40


def test_the_path_grows_with_the_run(scene: Any) -> None:
    """Black of the hip path: more of it in a later frame."""
    blank = np.full((720, 1280, 3), 255, dtype=np.uint8)
    frames = (Frame(index=i, time_s=0.1 + (i - 12) / 120.0, image=blank) for i in (40, 130))
    early, late = film_frames(frames, scene.analysis, scene.motion, Showing(film="whole"))

    dark = [int((p[45:352].max(axis=2) < 40).sum()) for p, _ in (early, late)]
    assert dark[1] > 2 * dark[0]


def test_a_frame_costs_a_few_milliseconds(scene: Any) -> None:
    """Measured at 4 to 6 ms on one core of a small machine; the bound leaves room for a busy one."""
    frames = [scene.frame(i) for i in range(20, 60)]
    start = time.process_time()

    for _ in film_frames(frames, scene.analysis, scene.motion):
        pass

    assert (time.process_time() - start) / len(frames) < 0.04


def test_a_film_as_it_is_stored_looks_as_in_rgb(scene: Any) -> None:
    """Drawn on brightness and colour apart and turned into RGB by the formulas of ITU-R BT.709, limited range: the same
    picture as drawn in RGB, but for the colour's half resolution along edges."""
    painter = Painter(scene.analysis, scene.motion, Showing(film="whole"))
    for row in (20, 90, 150):
        frame = Frame(index=row, time_s=scene.frame(row).time_s, image=np.full((720, 1280, 3), 120, dtype=np.uint8))
        grey = round(16 + 219 * 120 / 255)
        planes = Planes(
            luma=np.full((540, 960), grey, dtype=np.uint8), chroma=np.full((270, 480, 2), 128, dtype=np.uint8)
        )

        in_rgb = painter.paint(frame)
        painter.draw_on(planes, frame.index, frame.time_s)

        off = np.abs(rgb_of(planes) - in_rgb).max(axis=2)
        drawn = (in_rgb != 120).any(axis=2)
        assert drawn.sum() > 5000
        assert (off > 3).sum() < 0.5 * drawn.sum()  # edges of lines three pixels wide
        flat = np.asarray(cv2.erode(drawn.astype(np.uint8), np.ones((9, 9), np.uint8)), dtype=bool)
        assert np.median(off[flat]) <= 3
        assert off[~np.asarray(cv2.dilate(drawn.astype(np.uint8), np.ones((7, 7), np.uint8)), dtype=bool)].max() <= 1


def rgb_of(planes: Planes) -> Any:
    luma = (planes.luma.astype(float) - 16) / 219
    blue, red = ((np.kron(planes.chroma[..., i], np.ones((2, 2))) - 128) / 224 for i in (0, 1))
    r, b = luma + 1.5748 * red, luma + 1.8556 * blue
    g = (luma - 0.2126 * r - 0.0722 * b) / 0.7152
    return 255 * np.clip(np.stack([r, g, b], axis=-1), 0, 1)


@pytest.mark.parametrize("kind", ["rgb", "planes"])
def test_a_layer_laid_on_a_picture_is_what_was_drawn(kind: str) -> None:
    random = np.random.default_rng(3)
    picture: Any = random.integers(0, 256, (120, 200, 3), dtype=np.uint8)
    if kind == "planes":
        picture = Planes(luma=picture[..., 0].copy(), chroma=picture[::2, ::2, 1:].copy())
    direct, laid = picture.copy(), picture.copy()

    def draw(on: Any) -> None:
        ink.stroke(on, np.array([[10.3, 20.7], [150.2, 90.1]]), ink.RUNWAY, 3.0, outline=ink.WHITE)
        ink.plate(on, (40, 30, 90, 60), ink.WHITE, 0.7)
        ink.write(on, "−3 m", (45, 32), 15, ink.BLACK)
        ink.ring(on, np.array([100.0, 50.0]), 6.0, ink.SUPPORT)

    draw(direct)
    ink.layer(picture, draw).lay_on(laid)

    for one, other in zip(ink.sheets(direct), ink.sheets(laid), strict=True):
        assert np.abs(one.pixels.astype(int) - other.pixels).max() <= 3
    assert ink.layer(picture, lambda on: None).parts[0][1].size == 0


def test_a_written_film_holds_as_long_as_it_says(scene: Any, tmp_path: Path) -> None:
    """Decoded again: the light caption stands in 4 x 10 of its pictures and no others, each hold half a second long."""
    shown = film_frames((scene.frame(i) for i in range(12, 156)), scene.analysis, scene.motion)
    rate_hz = playback_hz(RATE_HZ)
    place = tmp_path / "film.mp4"

    count = write_film(place, (960, 540), paced(shown, rate_hz), playback_rate_hz=rate_hz)

    with av.open(str(place)) as film:
        stream = film.streams.video[0]
        seen = [(float(f.time), f.to_ndarray(format="rgb24")[31, 60:100].mean() > 225) for f in film.decode(stream)]
        assert (stream.codec_context.name, stream.codec_context.pix_fmt) == ("h264", "yuv420p")
    assert len(seen) == count == 144 + 4 * 9
    held = [time_s for time_s, is_held in seen if is_held]
    assert len(held) == 40
    for first in range(0, 40, 10):
        assert held[first + 9] - held[first] == pytest.approx(0.45, abs=1e-3)  # the tenth is shown for 0.05 s too
