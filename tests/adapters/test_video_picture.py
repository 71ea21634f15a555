"""The clip reader: pictures upright, of square pixels, in the right colours."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import pytest

from penult.adapters.film.boxes import track_header_matrix
from penult.adapters.film.colour import HLG, PQ, Colour, reduced, sdr_table
from penult.adapters.film.colour import _hlg_light as hlg_light
from penult.adapters.film.colour import _pq_light as pq_light
from penult.adapters.film.matrix import Turn, display_matrix, turn
from penult.adapters.film.video import frames, grey_frames, open_clip, raw_frames
from penult.errors import ClipError

MATRICES = {
    "upright": (1, 0, 0, 1),
    "quarter turn clockwise": (0, 1, -1, 0),
    "half turn": (-1, 0, 0, -1),
    "quarter turn anticlockwise": (0, -1, 1, 0),
    "mirror": (-1, 0, 0, 1),
    "upside-down mirror": (1, 0, 0, -1),
    "mirror and quarter turn": (0, 1, 1, 0),
    "mirror and the other quarter turn": (0, -1, -1, 0),
}


@pytest.mark.parametrize("matrix", MATRICES.values(), ids=MATRICES.keys())
@pytest.mark.parametrize("size_px", [(320, 180), (324, 178)])
def test_all_eight_display_matrices_come_out_upright(
    tmp_path: Path, films: Any, matrix: tuple[int, int, int, int], size_px: tuple[int, int]
) -> None:
    """T9, T10: stored as the file format's own definition has it, shown as drawn; mirrors are no half turns."""
    stored = [films.stored_for(films.numbered_picture(i, size_px), matrix) for i in range(4)]
    recipe = films.Recipe(size_px=(stored[0].shape[1], stored[0].shape[0]), options={"preset": "fast", "crf": "5"})
    path = films.write(tmp_path / "turned.mp4", ((p, i / 30) for i, p in enumerate(stored)), recipe)
    films.set_matrix(path, matrix)

    clip = open_clip(path)

    assert clip.size_px == size_px
    for frame, (_, _, grey) in zip(frames(path, clip), grey_frames(path, clip), strict=True):
        drawn = films.numbered_picture(frame.index, size_px)
        assert frame.image.shape == drawn.shape
        assert np.abs(frame.image.astype(int) - drawn).mean() < 6
        assert films.number_of(grey) == frame.index
        assert frame.image.flags.c_contiguous
        assert grey.flags.c_contiguous


@pytest.mark.parametrize("matrix", [(0.7, 0.7, -0.7, 0.7), (1, 0.5, 0, 1), (0, 0, 0, 0), (1, 0, 0, 0.5)])
def test_any_other_matrix_is_refused(matrix: tuple[float, ...]) -> None:
    """T10: neither guessed nor passed over."""
    a, b, c, d = (round(n * 65536) for n in matrix)

    with pytest.raises(ClipError, match="display matrix is"):
        turn((a, b, 0, c, d, 0, 0, 0, 1 << 30), "clip.mp4")


def test_a_matrix_that_also_enlarges_turns_all_the_same() -> None:
    assert turn((0, 131072, 0, -131072, 0, 0, 5, 7, 1 << 30), "clip.mp4") == Turn(swaps_axes=True, reverses_x=True)


def test_side_data_without_a_name_does_not_hide_the_matrix(make_film: Any, films: Any) -> None:
    """T10: PyAV cannot list such a frame's side data; the track header is read instead, and agrees with FFmpeg."""

    class Frame:
        @property
        def side_data(self) -> object:
            msg = "29 is not a valid Type"
            raise ValueError(msg)

    path = make_film(count=2)
    films.set_matrix(path, (0, 1, 1, 0))
    with av.open(str(path)) as container:
        track_id = container.streams.video[0].id
        truth = display_matrix(next(container.decode(video=0)), path, track_id)

    assert truth is not None
    assert truth[:6] == (0, 65536, 0, 65536, 0, 0)
    assert display_matrix(Frame(), path, track_id) == truth
    assert track_header_matrix(path, track_id + 1) is None


def test_the_box_reader_survives_any_damage(make_film: Any, films: Any) -> None:
    path = make_film(count=2)
    films.set_matrix(path, (0, 1, 1, 0))
    sound = path.read_bytes()
    random = np.random.default_rng(7)

    for _ in range(300):
        damaged = bytearray(sound[: random.integers(len(sound))])
        for at in random.integers(max(len(damaged), 1), size=8):
            damaged[at : at + 1] = random.bytes(1)
        path.write_bytes(damaged)
        matrix = track_header_matrix(path, 1)
        assert matrix is None or len(matrix) == 9


@pytest.mark.parametrize(
    ("ratio", "size_px"),
    [(Fraction(4, 3), (427, 180)), (Fraction(3, 4), (320, 240)), (Fraction(1, 1), (320, 180))],
)
def test_pixels_that_are_not_square_are_made_square(
    make_film: Any, films: Any, ratio: Fraction, size_px: tuple[int, int]
) -> None:
    """T12: by lengthening, so that nothing is thrown away."""
    path = make_film(count=3, settings={"sample_aspect_ratio": ratio})

    clip = open_clip(path)
    frame = next(frames(path, clip))
    _, _, grey = next(grey_frames(path, clip))

    assert clip.size_px == size_px
    assert frame.image.shape == (size_px[1], size_px[0], 3)
    assert grey.shape == (size_px[1], size_px[0])
    assert ("pixels-not-square" in {n.code for n in clip.notices}) == (ratio != 1)
    middle = round(size_px[0] / 2)
    assert frame.image[-5, middle - 8, 0] > 150 > frame.image[-5, middle + 8, 0]  # red ends in the middle


def test_odd_sizes_are_read_whole(make_film: Any, films: Any) -> None:
    """T39 from the reader's side."""
    path = make_film(count=3, size_px=(321, 181), pix_fmt="yuv444p")

    clip = open_clip(path)

    assert clip.size_px == (321, 181)
    assert [films.number_of(f.image) for f in frames(path, clip)] == [0, 1, 2]
    assert [image.shape for _, _, image in grey_frames(path, clip, reduce=2)] == [(90, 160)] * 3


@pytest.mark.parametrize("transfer", [HLG, PQ])
def test_hdr_is_said_and_converted(make_film: Any, films: Any, transfer: int) -> None:
    """T13: 10 bits, BT.2020; every picture still shows its number."""
    path = make_film(
        count=4,
        pix_fmt="yuv420p10le",
        settings={"color_trc": transfer, "color_primaries": 9, "colorspace": 9, "color_range": 1},
    )

    clip = open_clip(path)

    assert "hdr-source" in {n.code for n in clip.notices}
    assert [films.number_of(f.image) for f in frames(path, clip)] == [0, 1, 2, 3]
    assert [films.number_of(image) for _, _, image in grey_frames(path, clip)] == [0, 1, 2, 3]
    assert all(f.image.flags.writeable and f.image.flags.c_contiguous for f in frames(path, clip))


def test_a_10_bit_clip_without_hdr_is_left_as_it_is(make_film: Any) -> None:
    clip = open_clip(make_film(count=3, pix_fmt="yuv420p10le"))

    assert clip.notices == ()


def test_hdr_reference_white_lies_where_the_standard_puts_it() -> None:
    """ITU-R BT.2408: 203 cd/m2 is 75 % of an HLG signal and 58 % of a PQ signal."""
    assert hlg_light(np.array([0.75]))[0] == pytest.approx(203, rel=0.01)
    assert pq_light(np.array([0.58]))[0] == pytest.approx(203, rel=0.02)
    for transfer in (HLG, PQ):
        table = sdr_table(transfer).astype(int)
        assert (table[0], table[255]) == (0, 255)
        assert np.all(np.diff(table) >= 0)


@pytest.mark.parametrize(("colorspace", "kr", "kb"), [(1, 0.2126, 0.0722), (5, 0.299, 0.114)])
@pytest.mark.parametrize("is_full", [True, False])
def test_colour_matrix_and_range_are_honoured(
    tmp_path: Path, colorspace: int, kr: float, kb: float, *, is_full: bool
) -> None:
    """T14: known Y, Cb, Cr against the equations of ITU-R BT.709 and BT.601."""
    path = tmp_path / "colours.mp4"
    coded = [(120, 90, 170), (60, 140, 110), (200, 120, 135), (40, 128, 128)]
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=30, options={"qp": "0", "preset": "ultrafast"})
        stream.width, stream.height, stream.pix_fmt = 320, 180, "yuvj444p" if is_full else "yuv444p"
        stream.codec_context.colorspace = colorspace
        stream.codec_context.color_range = 2 if is_full else 1
        for number, values in enumerate(coded):
            frame = av.VideoFrame(320, 180, stream.pix_fmt)
            for plane, value in zip(frame.planes, values, strict=True):
                plane.update(bytes([value]) * plane.buffer_size)
            frame.pts, frame.time_base = number, Fraction(1, 30)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())

    clip = open_clip(path)

    for frame, (y, cb, cr) in zip(frames(path, clip), coded, strict=True):
        luma = y / 255 if is_full else (y - 16) / 219
        blue, red = ((c - 128) / (255 if is_full else 224) for c in (cb, cr))
        r, b = luma + 2 * (1 - kr) * red, luma + 2 * (1 - kb) * blue
        g = (luma - kr * r - kb * b) / (1 - kr - kb)
        wanted = np.clip(np.rint(255 * np.array([r, g, b])), 0, 255)
        assert np.abs(frame.image[90, 160].astype(int) - wanted).max() <= 2


@pytest.mark.parametrize(("pix_fmt", "middle"), [("yuv420p", 128), ("yuv420p10le", 512)])
@pytest.mark.parametrize(("range_", "shown"), [(1, 130), (2, 128)])
def test_the_range_counts_where_the_format_does_not_tell_it(pix_fmt: str, middle: int, range_: int, shown: int) -> None:
    """T14: 255 * (128 - 16) / 219 in the limited range, 128 in the full one."""
    frame = av.VideoFrame(320, 180, pix_fmt)
    for plane in frame.planes:
        samples = np.full(plane.buffer_size // (1 + (middle > 255)), middle, np.uint16 if middle > 255 else np.uint8)
        plane.update(samples.tobytes())
    frame.color_range = range_

    picture = Colour(size_px=(320, 180)).rgb(frame)

    assert np.abs(picture.astype(int) - shown).max() <= 1


def test_reducing_by_one_changes_nothing_and_odd_rests_are_left_out() -> None:
    grey = np.arange(35, dtype=np.uint8).reshape(5, 7)

    assert reduced(grey, 1) is grey
    assert reduced(grey, 2).tolist() == [[4, 6, 8], [18, 20, 22]]
    assert reduced(np.full((40, 40), 255, np.uint8), 20).tolist() == [[255, 255], [255, 255]]


@pytest.mark.parametrize(
    ("how", "size_px"),
    [
        ({}, (320, 180)),
        ({}, (160, 90)),
        ({}, (107, 61)),
        ({"pix_fmt": "yuv420p10le", "codec": "libx265"}, (160, 90)),
    ],
)
def test_planes_show_the_picture_that_rgb_shows(
    make_film: Any, films: Any, how: dict, size_px: tuple[int, int]
) -> None:
    """Turned into RGB by PyAV's own scaler; an odd side is padded by its last column or row."""
    path = make_film(count=3, **how)
    clip = open_clip(path)
    raw = list(raw_frames(path, clip))[1]

    planes = raw.planes(size_px)

    even = (size_px[0] + size_px[0] % 2, size_px[1] + size_px[1] % 2)
    assert planes.luma.shape == even[::-1]
    assert planes.chroma.shape == (even[1] // 2, even[0] // 2, 2)
    stored = np.concatenate([planes.luma, planes.chroma.reshape(even[1] // 2, even[0])])
    shown = av.VideoFrame.from_ndarray(stored, "nv12").reformat(
        format="rgb24", src_colorspace="ITU709", src_color_range="MPEG", dst_color_range="JPEG"
    )
    wanted = cv2.resize(raw.frame().image, size_px, interpolation=cv2.INTER_AREA)
    assert np.abs(shown.to_ndarray()[: size_px[1], : size_px[0]].astype(int) - wanted).mean() < 4


def test_planes_are_upright(make_film: Any, films: Any) -> None:
    path = make_film(count=2)
    films.set_matrix(path, (0, 1, -1, 0))
    clip = open_clip(path)
    raw = next(raw_frames(path, clip))

    planes = raw.planes(clip.size_px)

    assert planes.luma.shape == clip.size_px[::-1] == (320, 180)
    rgb = raw.frame().image.astype(float)
    red = rgb[..., 0] - rgb @ np.array([0.2126, 0.7152, 0.0722])  # as Cr is defined
    agree = np.corrcoef(cv2.resize(red.astype(np.float32), (90, 160)).ravel(), planes.chroma[..., 1].ravel())[0, 1]
    assert agree > 0.95
