"""Films that play on phones and in browsers: H.264 in MP4 (PyAV with libx264).

4:2:0, limited range, BT.709, even size, index before the data, no metadata. Written under another name in the same
folder, opened again and counted, and only then given its name.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from penult.adapters.film.probe import packets
from penult.errors import ClipError, OutputError
from penult.model.arrays import Image
from penult.model.clip import Planes

_TICK = Fraction(1, 90_000)
_BT709, _LIMITED = 1, 1  # as ITU-T H.273 numbers them
# the least work for the coder: three quarters of the time of the next preset, at 1.4 times the size (3.1 MB for 1.4 s at
# 240 frames a second); no pictures out of order, so that even a simple player shows the times as they are; one thread, so that the
# same pictures give the same bytes on every machine
_CODER = {"preset": "ultrafast", "crf": "24", "bf": "0", "threads": "1"}
_FILE = {"movflags": "faststart", "fflags": "+bitexact"}


def write_film(
    path: Path,
    size_px: tuple[int, int],
    frames: Iterable[tuple[Image | Planes, float]],
    *,
    playback_rate_hz: float | None = None,
) -> int:
    """Write pictures as a film.

    Parameters
    ----------
    path : Path
        Ends in .mp4; an existing file is replaced once the new one is whole.
    size_px : (int, int)
        Width and height of every picture. An odd side is padded by one pixel, the last column or row repeated, so
        that coordinates stay.
    frames : iterable of (image, time_s)
        (height, width, 3) uint8 RGB, or `Planes` whose odd sides are padded already, and when it is to be shown, in
        seconds, rising.
    playback_rate_hz : float, optional
        Show the pictures evenly at this rate, whatever their times.

    Returns
    -------
    int
        How many frames the finished file holds.

    Raises
    ------
    OutputError
        If the folder is missing or cannot be written, the disk is full, or the finished file does not read back.
    ValueError
        If a picture has another size or type, or the times do not rise.
    """
    path = Path(path)
    if path.is_dir():
        raise OutputError(f"{path} is a folder", next_step="choose a file name for the film")
    part = path.with_name(f".film-{secrets.token_hex(6)}.part")
    try:
        count = _write(part, path, size_px, frames, playback_rate_hz)
        _check(part, path, count)
        with _as_output_error(path):
            part.replace(path)
    finally:
        _remove(part)
    return count


def _write(
    part: Path,
    path: Path,
    size_px: tuple[int, int],
    frames: Iterable[tuple[Image | Planes, float]],
    rate_hz: float | None,
) -> int:
    film = _Film(size_px=size_px, playback_rate_hz=rate_hz)
    with _as_output_error(path):
        film.start(part)
    try:
        for image, time_s in frames:
            picture = film.checked(image, time_s)
            with _as_output_error(path):
                film.add(picture)
        if film.count == 0:
            raise OutputError(f"{path.name} was not written: there is no picture for it")
        with _as_output_error(path):
            film.finish()
    finally:
        film.drop()
    return film.count


@dataclass(slots=True, kw_only=True)
class _Film:
    """A film being written: its file, its coder, and the stamp of its last picture."""

    size_px: tuple[int, int]
    playback_rate_hz: float | None
    count: int = 0
    first_s: float = 0.0
    stamp: int = -1
    container: Any = field(default=None)
    stream: Any = field(default=None)

    def start(self, part: Path) -> None:
        import av

        self.container = av.open(f"file:{part}", "w", format="mp4", options=_FILE)
        rate = Fraction(self.playback_rate_hz or 30).limit_denominator(1001)
        self.stream = self.container.add_stream("libx264", rate=rate, options=_CODER)
        width, height = self.size_px
        self.stream.width, self.stream.height = width + width % 2, height + height % 2
        self.stream.pix_fmt = "nv12"  # how the coder is fed; the film is 4:2:0 all the same
        self.stream.codec_context.time_base = _TICK
        self.stream.codec_context.color_range = _LIMITED
        self.stream.codec_context.colorspace = _BT709
        self.stream.codec_context.color_primaries = _BT709
        self.stream.codec_context.color_trc = _BT709

    def checked(self, image: Image | Planes, time_s: float) -> Image | Planes:
        """Return the picture padded to even sides, and move on to its stamp."""
        width, height = self.size_px
        picture = image.luma if isinstance(image, Planes) else image
        wanted = (height + height % 2, width + width % 2) if isinstance(image, Planes) else (height, width, 3)
        if picture.shape != wanted or picture.dtype != np.uint8:
            msg = f"picture {self.count} is {picture.dtype} {picture.shape}; wanted uint8 {wanted}"
            raise ValueError(msg)
        if self.count == 0:
            self.first_s = time_s
        even = self.count / self.playback_rate_hz if self.playback_rate_hz else time_s - self.first_s
        stamp = round(even / _TICK)
        if stamp <= self.stamp:
            msg = f"picture {self.count} is to be shown at {time_s} s, not after the one before it"
            raise ValueError(msg)
        self.stamp = stamp
        if isinstance(image, Planes) or not (width % 2 or height % 2):
            return image
        return np.pad(image, ((0, height % 2), (0, width % 2), (0, 0)), mode="edge")

    def add(self, image: Image | Planes) -> None:
        frame = _coded(image)
        frame.pts, frame.time_base = self.stamp, _TICK
        for packet in self.stream.encode(frame):
            self.container.mux(packet)
        self.count += 1

    def finish(self) -> None:
        for packet in self.stream.encode():
            self.container.mux(packet)
        self.container.close()
        self.container = None

    def drop(self) -> None:
        """Let go of the file of a film that was not finished."""
        import av

        if self.container is None:
            return
        with suppress(av.FFmpegError, OSError):  # the fault that stopped the film is on its way already
            self.container.close()


def _coded(image: Image | Planes) -> Any:
    """Return the picture as the coder takes it, in limited range of BT.709."""
    import av

    if isinstance(image, Planes):
        rows = [image.luma, image.chroma.reshape(len(image.chroma), -1)]
        return av.VideoFrame.from_ndarray(np.concatenate(rows), "nv12")
    return av.VideoFrame.from_ndarray(np.ascontiguousarray(image), "rgb24").reformat(
        format="nv12",
        dst_colorspace="ITU709",
        dst_color_range="MPEG",
        interpolation="BILINEAR",
        threads=1,  # more of them are started anew for every picture, at four times the cost of the work
    )


def _check(part: Path, path: Path, count: int) -> None:
    """Open the finished file again and count its pictures."""
    try:
        found = len(packets(part).stamps)
    except ClipError as fault:
        raise _not_whole(path, str(fault.what)) from fault
    if found != count:
        raise _not_whole(path, f"{found} of {count} frames are in it")


def _not_whole(path: Path, why: str) -> OutputError:
    return OutputError(
        f"{path.name} could not be written whole", why, next_step="check the free space on the disk and try again"
    )


@contextmanager
def _as_output_error(path: Path) -> Iterator[None]:
    import av

    try:
        yield
    except (av.FFmpegError, OSError) as fault:
        reason = getattr(fault, "strerror", None) or str(fault)
        raise OutputError(
            f"{path} cannot be written",
            reason,
            next_step="check the folder, its rights and the free space on the disk",
        ) from fault


def _remove(part: Path) -> None:
    with suppress(OSError):  # a folder that cannot be written has nothing of ours in it
        part.unlink(missing_ok=True)
