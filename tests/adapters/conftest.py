"""Small films that the tests of the video adapter make themselves.

Every picture carries its own number in ten blocks along its top, and tells up from down and left from right: its
lower left is red, its lower right green. So an answer can be checked frame by frame.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]
RED, GREEN = (200, 50, 50), (60, 200, 60)


def numbered_picture(number: int, size_px: tuple[int, int] = (320, 180)) -> Pixels:
    """Draw the picture of that number."""
    width, height = size_px
    picture = np.full((height, width, 3), 90, np.uint8)
    picture[height // 2 :, : width // 2] = RED
    picture[height // 2 :, width // 2 :] = GREEN
    for bit in range(10):
        picture[4:20, 10 + 20 * bit : 26 + 20 * bit] = 255 * (number >> bit & 1)
    return picture


def number_of(picture: Pixels) -> int:
    """Read the number that is drawn in a picture, colour or grey."""
    grey = picture if picture.ndim == 2 else picture[..., 1]
    return sum(int(grey[8:16, 14 + 20 * bit : 22 + 20 * bit].mean() > 128) << bit for bit in range(10))


def stored_for(upright: Pixels, matrix: tuple[int, int, int, int]) -> Pixels:
    """Return what a camera stores so that the display matrix a, b, c, d shows `upright`.

    Pixel by pixel as ISO/IEC 14496-12 section 6.2.2 has it: a stored (x, y) is shown at (a x + c y, b x + d y),
    shifted into view.
    """
    a, b, c, d = matrix
    height, width = upright.shape[:2] if b == c == 0 else upright.shape[1::-1]
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    shown_x, shown_y = a * x + c * y, b * x + d * y
    return np.ascontiguousarray(upright[shown_y - shown_y.min(), shown_x - shown_x.min()])


def set_matrix(path: Path, matrix: tuple[int, int, int, int]) -> None:
    """Write a display matrix into the first track header of an MP4 file."""
    a, b, c, d = (n * 65536 for n in matrix)
    data = bytearray(path.read_bytes())
    body = data.index(b"tkhd") + 4
    at = body + (52 if data[body] == 1 else 40)
    data[at : at + 36] = struct.pack(">9i", a, b, 0, c, d, 0, 0, 0, 1 << 30)
    path.write_bytes(data)


@dataclass(frozen=True, kw_only=True)
class Recipe:
    """How a film is coded."""

    codec: str = "libx264"
    pix_fmt: str = "yuv420p"
    size_px: tuple[int, int] = (320, 180)
    tick_s: Fraction = Fraction(1, 90_000)
    rate_hz: int = 30
    options: dict[str, str] = field(default_factory=lambda: {"preset": "ultrafast"})
    file_options: dict[str, str] = field(default_factory=dict)
    tags: dict[str, str] = field(default_factory=dict)
    settings: dict[str, Any] = field(default_factory=dict)


def write(path: Path, pictures: Iterable[tuple[Pixels, float]], recipe: Recipe) -> Path:
    """Write pictures with their times in seconds."""
    with av.open(f"file:{path}", "w", options=recipe.file_options) as container:
        container.metadata.update(recipe.tags)
        stream = container.add_stream(recipe.codec, rate=recipe.rate_hz, options=recipe.options)
        stream.width, stream.height = recipe.size_px
        stream.pix_fmt = recipe.pix_fmt
        stream.codec_context.time_base = recipe.tick_s
        for name, value in recipe.settings.items():
            setattr(stream.codec_context, name, value)
        for picture, time_s in pictures:
            frame = av.VideoFrame.from_ndarray(picture, "rgb24").reformat(format=recipe.pix_fmt)
            frame.pts, frame.time_base = round(time_s / recipe.tick_s), recipe.tick_s
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


MakeFilm = Callable[..., Path]


@pytest.fixture
def make_film(tmp_path: Path) -> MakeFilm:
    """Return a function that writes a numbered film and returns its path."""

    def make(name: str = "film.mp4", count: int = 30, *, time_s: Iterable[float] | None = None, **recipe: Any) -> Path:
        kind = Recipe(**recipe)
        times = [i / kind.rate_hz for i in range(count)] if time_s is None else list(time_s)
        pictures = ((numbered_picture(i, kind.size_px), t) for i, t in enumerate(times))
        return write(tmp_path / name, pictures, kind)

    return make


class Tools:
    """The functions above, for tests that cannot import this file."""

    Recipe = Recipe
    numbered_picture = staticmethod(numbered_picture)
    number_of = staticmethod(number_of)
    stored_for = staticmethod(stored_for)
    set_matrix = staticmethod(set_matrix)
    write = staticmethod(write)


@pytest.fixture
def films() -> type[Tools]:
    """Return the functions that draw, read, turn and write pictures."""
    return Tools
