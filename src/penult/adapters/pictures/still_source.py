"""The picture that marks are taken from: a photograph, or the median of a clip's frames, in which passers-by vanish."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from penult.adapters.files.picture_file import decoded_picture
from penult.adapters.film import video
from penult.errors import ClipError
from penult.model.arrays import Image
from penult.model.clip import Clip, Frame
from penult.whole_file import TooLargeError, read_whole

PICTURES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".bmp", ".webp")
_MOST_BYTES = 200 << 20
_FRAMES = 15


def is_picture(path: Path) -> bool:
    """Tell a picture from a clip by its name."""
    return path.suffix.lower() in PICTURES


def read_picture(path: Path) -> Image:
    """Return a picture, upright RGB.

    Raises
    ------
    ClipError
        If it cannot be read or is no picture.
    """
    try:
        data = read_whole(path, _MOST_BYTES)
    except TooLargeError as error:
        raise ClipError(f"{path} is too large for a picture", next_step="save it as a JPEG") from error
    except OSError as error:
        raise ClipError(f"{path} cannot be read", error.strerror or str(error), next_step="check the path") from error
    image = decoded_picture(data)
    if image is None:
        raise ClipError(f"{path} is not a picture", next_step="give a JPEG or PNG picture, or the clip itself")
    return image


def median_picture(path: Path, clip: Clip) -> Image:
    """Return the median over frames spread evenly over a clip."""
    rows = np.unique(np.linspace(0, len(clip.time_s) - 1, _FRAMES).astype(int))
    images = [frame.image for frame in frames_at(path, clip, rows.tolist())]
    # a stripe at a time: the median of 15 pictures of 4K would need a gigabyte at once
    stripes = [
        np.median(np.stack([image[top : top + 64] for image in images]), axis=0)
        for top in range(0, images[0].shape[0], 64)
    ]
    return np.ascontiguousarray(np.concatenate(stripes).round().astype(np.uint8))


def frames_at(path: Path, clip: Clip, rows: list[int]) -> Iterator[Frame]:
    """Yield the frames of the given numbers, in order, in one pass."""
    wanted = set(rows)
    for raw in video.raw_frames(path, clip, last=max(rows)):
        if raw.index in wanted:
            yield raw.frame()
