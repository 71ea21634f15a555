"""The quantiser that the decoder tells is the one that the coder was given."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from penult.adapters.film import video


@pytest.mark.parametrize("wanted", [20, 36, 48])
def test_the_quantiser_is_that_of_the_coder(wanted: int, tmp_path: Path) -> None:
    """x264 at a constant quantiser without adaptation; fails if FFmpeg's record of it is read at a wrong place."""
    rng, path = np.random.default_rng(1), tmp_path / "clip.mp4"
    with av.open(str(path), "w") as container:
        options = {"x264-params": f"qp={wanted}:ipratio=1:pbratio=1:aq-mode=0:mbtree=0"}
        stream = container.add_stream("libx264", rate=Fraction(30), options=options)
        stream.width, stream.height, stream.pix_fmt = 192, 128, "yuv420p"
        for place in range(24):
            picture = rng.integers(0, 255, (128, 192, 3), dtype=np.uint8)
            frame = av.VideoFrame.from_ndarray(picture, "rgb24").reformat(format="yuv420p")
            frame.pts, frame.time_base = place, Fraction(1, 30)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())

    reading = video.FirstReading(path)
    assert reading.quantiser() is None
    list(reading.grey())

    assert reading.quantiser() == pytest.approx(wanted, abs=1.0)
    sizes = reading.picture_bytes()
    assert sizes is not None
    assert len(sizes) == 24
    assert 0 < path.stat().st_size - sizes.sum() < 3000  # what the container adds
