"""Films with streams beside the pictures: in front of them, or not there yet when the file is opened."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from penult.adapters.film.video import frames, grey_frames, open_clip

RATE_HZ = 25
FRAME = {"aac": 1024, "mp2": 1152}  # samples (ISO/IEC 14496-3, ISO/IEC 11172-3)
NO_SPARING = {"qmin": "1", "qmax": "1", "b": "60M"}


def silence(stream: Any, at_s: float) -> list[Any]:
    """Return a second of sound that begins at that time, coded."""
    size, rate = FRAME[stream.codec_context.name], stream.codec_context.sample_rate
    form = stream.codec_context.format.name
    samples = np.zeros((1, size), np.int16 if form.startswith("s16") else np.float32)
    packets = []
    for i in range(rate // size):
        frame = av.AudioFrame.from_ndarray(samples, form, "mono")
        frame.sample_rate, frame.pts, frame.time_base = rate, round(at_s * rate) + i * size, Fraction(1, rate)
        packets += stream.encode(frame)
    return packets


def film_stream(container: Any, codec: str, size_px: tuple[int, int], **options: str) -> Any:
    stream = container.add_stream(codec, rate=RATE_HZ, options=options)
    stream.width, stream.height, stream.pix_fmt = *size_px, "yuv420p"
    return stream


def coded(stream: Any, picture: Any, number: int) -> Any:
    frame = av.VideoFrame.from_ndarray(picture, "rgb24").reformat(format="yuv420p")
    frame.pts, frame.time_base = number, Fraction(1, RATE_HZ)
    return stream.encode(frame)


@pytest.mark.parametrize("name", ["film.mp4", "film.mov", "film.mkv"])
def test_a_film_and_a_smaller_one_behind_their_sound(name: str, tmp_path: Path, films: Any) -> None:
    """The end of every stream is told by a packet that bears the number of the first one, here the sound's."""
    path = tmp_path / name
    with av.open(str(path), "w") as container:
        sound = container.add_stream("aac", rate=48_000, layout="mono")
        small = film_stream(container, "libx264", (160, 90))
        film = film_stream(container, "libx264", (320, 180))
        container.mux(silence(sound, 0.0))
        for i in range(20):
            container.mux(coded(small, films.numbered_picture(900, (160, 90)), i))
            container.mux(coded(film, films.numbered_picture(i), i))
        container.mux([*small.encode(), *film.encode(), *sound.encode()])

    clip = open_clip(path)

    assert clip.size_px == (320, 180)
    assert [films.number_of(frame.image) for frame in frames(path, clip)] == list(range(20))


@pytest.mark.parametrize("tracks", [1, 2])
def test_a_sound_that_begins_on_the_way(tracks: int, tmp_path: Path, films: Any) -> None:
    """A program stream has no table of its streams: opening it looks at 7 s and at its end, and finds pictures only.

    Found with such a film: the video library trips over a stream that it did not know of, at the very end.
    """
    random, count = np.random.default_rng(3), 330
    path = tmp_path / "film.mpg"
    with av.open(str(path), "w") as container:
        others = [film_stream(container, "mpeg2video", (96, 64)) for _ in range(tracks - 1)]
        film = film_stream(container, "mpeg2video", (224, 128), **NO_SPARING)
        sound = container.add_stream("mp2", rate=44_100, layout="mono")
        for i in range(count):
            for other in others:
                container.mux(coded(other, films.numbered_picture(900, (96, 64)), i))
            grain = random.integers(
                0, 60, (128, 224, 3), np.uint8
            )  # big packets: the end that is looked at is a short one
            picture = np.maximum(films.numbered_picture(i, (224, 128)), grain)
            container.mux(coded(film, picture, i))
        container.mux(silence(sound, 7.6))
        container.mux([p for stream in (*others, film, sound) for p in stream.encode()])
    with av.open(str(path)) as container:
        assert [stream.type for stream in container.streams] == ["video"] * tracks

    clip = open_clip(path)

    assert clip.size_px == (224, 128)
    assert [films.number_of(grey) for _, _, grey in grey_frames(path, clip)] == list(range(count))
    assert [notice.code for notice in clip.notices] == []
