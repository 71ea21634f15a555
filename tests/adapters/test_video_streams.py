"""Films with streams beside the pictures."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from penult.adapters.video import frames, open_clip

RATE_HZ = 25
FRAME = {"aac": 1024}  # samples (ISO/IEC 14496-3)


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
