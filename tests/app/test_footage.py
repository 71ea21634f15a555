"""The pictures of a run, decoded once: what was kept is what would be decoded again, to the pixel."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from penult.adapters.files.lane_file import read_lane
from penult.adapters.film import video
from penult.adapters.film.colour import Box
from penult.adapters.film.raw import Raw
from penult.adapters.pose import Crop, square_of
from penult.app import footage as module
from penult.app.footage import Footage, Shot, box_about, box_of, surroundings
from penult.core.lane.camera import project
from penult.core.lane.fit import fit_lane
from penult.model.clip import Clip, Frame

SIZE_PX = (320, 180)
FRAMES = np.arange(4, 16)
BOX: Box = (40, 20, 250, 150)
INNER: Box = (62, 48, 180, 130)
CROP = Crop(centre_px=(150.0, 90.0), side_px=200.0)


def one_by_one(items: Iterable[Any], work: Callable[[Any], Any]) -> Iterator[Any]:
    return (work(item) for item in items)


@pytest.fixture
def decoded(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The frames that are decoded from now on, in order."""
    seen: list[int] = []
    reader = video.raw_frames

    def counted(*given: Any, **named: Any) -> Iterator[Raw]:
        for raw in reader(*given, **named):
            seen.append(raw.index)
            yield raw

    monkeypatch.setattr(module.video, "raw_frames", counted)
    return seen


def part_of(image: Any, box: Box) -> Any:
    x0, y0, x1, y1 = box
    return image[y0:y1, x0:x1]


def shown_in(frame: Frame, box: Box) -> Any:
    """The box of the picture, from a frame that shows at least that."""
    left, top = frame.corner_px
    return part_of(frame.image, (box[0] - left, box[1] - top, box[2] - left, box[3] - top))


def both(one: Box, other: Box) -> Box:
    return min(one[0], other[0]), min(one[1], other[1]), max(one[2], other[2]), max(one[3], other[3])


def footage_of(path: Path, *, kept: bool = True) -> tuple[Clip, Footage]:
    clip = video.open_clip(path)
    boxes = [BOX] * len(FRAMES) if kept else []
    crops = [CROP if i % 2 else None for i in FRAMES] if kept else []
    return clip, Footage(path, clip, FRAMES, (160, 90), boxes, crops)


def test_a_second_pass_shows_the_same_without_decoding(make_film: Any, decoded: list[int]) -> None:
    path = make_film(count=20)
    clip, footage = footage_of(path)
    whole = {f.index: f.image for f in video.frames(path, clip)}
    small = {raw.index: raw.planes((160, 90)) for raw in video.raw_frames(path, clip)}
    decoded.clear()

    first = list(footage.passing(one_by_one, lambda shot: shot.index, lambda i: i % 3 == 0))
    again: list[Shot] = list(footage.passing(one_by_one, lambda shot: shot))

    assert first == [6, 9, 12, 15]
    assert decoded == FRAMES.tolist(), "once, all of them, though few were wanted"
    assert [shot.index for shot in again] == FRAMES.tolist()
    for shot in again:
        x0, y0, x1, y1 = BOX if shot.index % 2 == 0 else both(BOX, box_of(CROP, clip.size_px))
        image = shot.frame().image
        assert np.array_equal(image[y0:y1, x0:x1], whole[shot.index][y0:y1, x0:x1])
        assert image.sum() == image[y0:y1, x0:x1].sum(), "black beyond"
        if shot.index % 2:
            assert np.array_equal(shot.square(CROP), square_of(whole[shot.index], CROP))
        planes = shot.planes()
        assert np.array_equal(planes.luma, small[shot.index].luma)
        assert np.array_equal(planes.chroma, small[shot.index].chroma)
        assert shot.shows((x0, y0, x1, y1))
        assert not shot.shows((x0 - 2, y0, x1, y1)) or x0 == 0
        assert np.array_equal(footage.whole(shot.index).image, whole[shot.index])


def test_a_box_at_the_edge_shows_what_reaches_beyond_the_picture(make_film: Any) -> None:
    path = make_film(count=20)
    clip = video.open_clip(path)
    part = next(video.raw_frames(path, clip)).part((200, 100, 320, 180))

    assert part is not None
    assert part.shows((210, 120, 400, 300))
    assert not part.shows((190, 120, 400, 300))


@pytest.mark.parametrize("why", ["too much", "turned", "4:4:4", "nothing asked for"])
def test_what_is_not_kept_is_decoded_again_as_far_as_wanted(
    make_film: Any, films: Any, decoded: list[int], monkeypatch: pytest.MonkeyPatch, why: str
) -> None:
    path = make_film(count=20, **({"pix_fmt": "yuv444p"} if why == "4:4:4" else {}))
    if why == "turned":
        films.set_matrix(path, (-1, 0, 0, -1))
    if why == "too much":
        monkeypatch.setattr(module, "MOST_KEPT_BYTES", 1000)
    clip, footage = footage_of(path, kept=why != "nothing asked for")
    whole = {f.index: f.image for f in video.frames(path, clip)}
    decoded.clear()

    for turn in range(2):
        seen = list(footage.passing(one_by_one, lambda shot: shot, lambda i: 6 <= i <= 9))

        assert [shot.index for shot in seen] == [6, 7, 8, 9]
        if turn == 1:  # the first time it was meant to be kept
            assert set(decoded) <= {*range(6, 10)} if why in ("too much", "nothing asked for") else decoded
        for shot in seen:
            assert np.array_equal(shot.frame().image, whole[shot.index])
            assert np.array_equal(shot.square(CROP), square_of(whole[shot.index], CROP))
            assert shot.shows((0, 0, 320, 180))
            assert np.array_equal(shown_in(shot.around(INNER), INNER), part_of(whole[shot.index], INNER))


def test_a_pass_that_is_broken_off_leaves_nothing_half_kept(make_film: Any) -> None:
    _, footage = footage_of(make_film(count=20))
    broken = footage.passing(one_by_one, lambda shot: shot.index)
    assert [next(broken) for _ in range(3)] == [4, 5, 6]
    broken.close()  # type: ignore[attr-defined]

    assert list(footage.passing(one_by_one, lambda shot: shot.index)) == FRAMES.tolist()


def test_full_range_ten_bits_and_hdr_come_out_as_without_keeping(make_film: Any) -> None:
    """The colours of a part are those of the whole picture, whatever the coding."""
    kinds: list[dict[str, Any]] = [
        {"pix_fmt": "yuvj420p"},
        {"pix_fmt": "yuv420p10le", "codec": "libx265"},
        {"pix_fmt": "yuv420p10le", "codec": "libx265", "settings": {"color_trc": 18, "colorspace": 9}},
    ]
    for how in kinds:
        path = make_film(count=20, **how)
        clip, footage = footage_of(path)
        whole = {f.index: f.image for f in video.frames(path, clip)}
        list(footage.passing(one_by_one, lambda shot: shot.index))

        for shot in footage.passing(one_by_one, lambda shot: shot):
            assert np.array_equal(part_of(shot.frame().image, BOX), part_of(whole[shot.index], BOX)), how
            seen = shot.around(INNER)
            assert seen.corner_px == INNER[:2]
            assert np.array_equal(seen.image, part_of(whole[shot.index], INNER)), how


def test_beyond_what_was_kept_there_is_nothing_to_be_shown(make_film: Any) -> None:
    path = make_film(count=20)
    _, footage = footage_of(path)
    list(footage.passing(one_by_one, lambda shot: shot.index))
    shot = footage.kept(int(FRAMES[0]))

    assert shot is not None
    assert shot.around((0, 0, 60, 40)).corner_px == BOX[:2]
    assert shot.around((0, 0, 60, 40)).image.shape == (20, 20, 3)
    assert shot.around((260, 20, 300, 60)).image.shape == (1, 1, 3)


def test_a_box_holds_its_places_with_room_within_the_picture() -> None:
    places = np.array([[100.2, 50.7], [np.nan, 3.0], [130.9, 40.1]])

    assert box_about(places, (320, 180), 4.0) == (96, 36, 134, 54), (
        "100.2 - 4 down to even, 130.9 + 4 up to whole, then even"
    )
    assert box_about(places, (110, 180), 4.0) == (96, 36, 110, 54)
    assert box_about(places[1:2], (320, 180)) == (0, 0, 0, 0)


def test_the_surroundings_hold_the_body_and_the_feet_and_lie_in_the_picture(samples: Path) -> None:
    """Against the camera's own formula: feet, raised hands and a stride either side of the hips."""
    camera = fit_lane(read_lane(samples / "full_240" / "lane.json")).camera
    width, height = camera.image_size_px
    for x_m in (-7.0, -3.0, 0.0):
        x0, y0, x1, y1 = surroundings(camera, x_m)
        places = np.array([[x_m + dx, y, 0.0] for dx in (-1.9, 1.9) for y in (0.0, 2.4)])
        px = project(camera, places)
        inside = (px >= 0).all(axis=1) & (px < [width, height]).all(axis=1)
        assert ((px[inside] >= [x0, y0]) & (px[inside] < [x1, y1])).all()
        assert 0 <= x0 < x1 <= width
        assert 0 <= y0 < y1 <= height
        assert not any(v % 2 for v in (x0, y0, x1, y1))
    assert surroundings(camera, float("nan")) == (0, 0, 0, 0)
