"""Clips as files: every shown frame with its own time, upright (PyAV).

`open_clip` decodes the whole clip once, as cheaply as can be (no deblocking, no colours), because nothing less tells
how many frames are really shown. Frames are then known by their presentation stamps, so that frame 17 is the same
picture and time wherever reading starts.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from penult.adapters.video_clock import clock
from penult.adapters.video_colour import Colour, is_hdr, reduced
from penult.adapters.video_matrix import Turn, display_matrix, turn
from penult.adapters.video_source import MAX_SIDE_PX, Packets, chosen_stream, opened, packets
from penult.errors import ClipError
from penult.model.analysis import Notice
from penult.model.arrays import Floats
from penult.model.clip import Clip, Frame

Grey = NDArray[np.uint8]
_RATE_TAGS = ("com.android.capture.fps",)
_CHUNK_BYTES = 1 << 20
_ONE_BY_ONE = {"damaged", "cut-off"}  # after a fault, decoding in parallel loses sound pictures: one thread then
_COUNTED = "times-rebuilt"  # stamps that do not tell frames apart: their order does


@dataclass(slots=True, kw_only=True)
class _Shown:
    """What one pass through the decoder showed."""

    stamps: list[int | None] = field(default_factory=list)
    broken: list[int] = field(default_factory=list)
    faults: int = 0
    is_hdr: bool = False
    is_interlaced: bool = False
    size_px: tuple[int, int] = (0, 0)
    square_px: tuple[int, int] = (0, 0)
    turn: Turn = field(default_factory=Turn)


def open_clip(path: Path, *, capture_rate_hz: float | None = None) -> Clip:
    """Read what is known of a clip without keeping a picture.

    Parameters
    ----------
    path : Path
    capture_rate_hz : float, optional
        True capture rate of a slow-motion export; the container's tag, then the frame times, stand in for it.
        Within 1 % of the frame times it confirms them and they stay as they are.

    Returns
    -------
    Clip
        With the frames that really decode, and notices of all that a person should know of the file.

    Raises
    ------
    ClipError
        If there is no film in it, or one that cannot be analysed.
    """
    path = Path(path)
    table = packets(path)
    shown = _decoded(path, threads=0)
    if table.faulty or shown.faults or shown.broken or len(shown.stamps) != len(table.stamps):
        shown = _decoded(path, threads=1)
    if len(shown.stamps) < 2:
        raise _too_few(path, len(shown.stamps))
    tick, header_rate_hz, tag_rate_hz = _header(path)
    times = clock(
        _seconds(shown.stamps, tick),
        tick_s=float(tick),
        header_rate_hz=header_rate_hz,
        stated_rate_hz=capture_rate_hz,
        tag_rate_hz=tag_rate_hz,
    )
    notices = (*times.notices, *_losses(table, shown, times.time_s, tick), *_kind(shown))
    return Clip(
        file=path.name,
        sha256=_sha256(path),
        size_px=shown.turn.size_px(shown.square_px),
        time_s=times.time_s,
        file_time_s=times.file_time_s,
        capture_rate_hz=times.capture_rate_hz,
        capture_rate_from=times.capture_rate_from,
        notices=notices,
    )


def frames(path: Path, clip: Clip, *, first: int = 0, last: int | None = None, threads: int = 0) -> Iterator[Frame]:
    """Yield frames as upright RGB pictures, one at a time.

    Parameters
    ----------
    path : Path
    clip : Clip
        As `open_clip` read it from the same file.
    first, last : int
        First and last frame wanted, both included; None is the clip's last.
    threads : int
        Of the decoder and the colour conversion; 0 is one for each core.

    Yields
    ------
    Frame
        Its image a C-contiguous array of its own.

    Raises
    ------
    ClipError
        If the file is not the one that the clip was read from.
    """
    for index, pixels in _upright(path, clip, (first, last), threads, Colour.rgb):
        yield Frame(index=index, time_s=float(clip.time_s[index]), image=pixels)


def grey_frames(
    path: Path, clip: Clip, *, first: int = 0, last: int | None = None, reduce: int = 1, threads: int = 0
) -> Iterator[tuple[int, float, Grey]]:
    """Yield index, capture time and upright grey picture; the cheap way for passes that need no colour.

    Parameters
    ----------
    path, clip, first, last, threads
        As for `frames`.
    reduce : int
        Blocks of reduce x reduce pixels are averaged into one.

    Yields
    ------
    (int, float, (height // reduce, width // reduce) uint8)
        Luma as stored (16 to 235 in most clips).
    """
    for index, pixels in _upright(path, clip, (first, last), threads, Colour.grey):
        yield index, float(clip.time_s[index]), reduced(pixels, reduce)


def _upright(
    path: Path, clip: Clip, span: tuple[int, int | None], threads: int, convert: Callable[[Colour, Any], Grey]
) -> Iterator[tuple[int, Grey]]:
    path = Path(path)
    colour, way = None, Turn()
    for index, frame, stream in _wanted(path, clip, span, threads):
        if colour is None:
            way, square_px = _geometry(frame, stream, path)
            if way.size_px(square_px) != clip.size_px:
                raise _other_file(path)
            colour = Colour(size_px=square_px, threads=threads)
        yield index, way.apply(convert(colour, frame))


def _wanted(path: Path, clip: Clip, span: tuple[int, int | None], threads: int) -> Iterator[tuple[int, Any, Any]]:
    """Yield index, decoded frame and stream from the first to the last frame wanted."""
    count = len(clip.time_s)
    first, last = max(span[0], 0), count - 1 if span[1] is None else min(span[1], count - 1)
    if first > last:
        return
    codes = {notice.code for notice in clip.notices}
    threads = 1 if codes & _ONE_BY_ONE else threads
    counted = _COUNTED in codes
    ways = (False,) if first == 0 or counted else (True, False)
    for seeks in ways:
        start_s = clip.file_time_s[first] if seeks else None
        for index, frame, stream in _indexed(path, clip, threads, counted=counted, start_s=start_s):
            if seeks and index > first:
                break  # the keyframe lies behind the frame wanted: read from the start instead
            seeks = False
            if index > last:
                return
            if index >= first:
                yield index, frame, stream
        else:
            if not seeks:
                return


def _indexed(
    path: Path, clip: Clip, threads: int, *, counted: bool, start_s: float | None
) -> Iterator[tuple[int, Any, Any]]:
    """Yield decoded frames with the index that `open_clip` gave them."""
    with opened(path) as container:
        stream = chosen_stream(container, path)
        _set_threads(stream, threads)
        tick = stream.time_base
        index_of = {} if counted else {t: i for i, t in enumerate(clip.file_time_s.tolist())}
        if start_s is not None:
            container.seek(round(start_s / tick), stream=stream, backward=True, any_frame=False)
        for place, frame in enumerate(_decode(container, stream, [])):
            index = place if counted else index_of.get(float(frame.pts * tick) if frame.pts is not None else np.nan)
            if index is None or index >= len(clip.time_s):
                if start_s is None and not counted:
                    raise _other_file(path)
                continue  # after a jump, pictures of a part that the edit list hides
            yield index, frame, stream


def _decoded(path: Path, *, threads: int) -> _Shown:
    """Decode the whole clip without deblocking, and note what was shown."""
    shown = _Shown()
    faults: list[int] = []
    with opened(path) as container:
        stream = chosen_stream(container, path)
        _set_threads(stream, threads)
        stream.codec_context.options = {"skip_loop_filter": "all"}
        for frame in _decode(container, stream, faults):
            if not shown.stamps:
                shown.size_px = (frame.width, frame.height)
                shown.turn, shown.square_px = _geometry(frame, stream, path)
            elif (frame.width, frame.height) != shown.size_px:
                raise ClipError(f"the pictures of {path.name} change their size on the way")
            if frame.is_corrupt:
                shown.broken.append(len(shown.stamps))
            shown.is_hdr = shown.is_hdr or is_hdr(frame)
            shown.is_interlaced = shown.is_interlaced or frame.interlaced_frame
            shown.stamps.append(frame.pts)
    shown.faults = len(faults)
    return shown


def _decode(container: Any, stream: Any, faults: list[int]) -> Iterator[Any]:
    """Yield decoded frames in the order shown, going on after packets that do not decode."""
    import av

    packet_stream = container.demux(stream)
    number = 0
    while True:
        try:
            packet = next(packet_stream, None)
        except av.FFmpegError:
            packet = None
            faults.append(number)
            yield from _rest(stream)
        if packet is None:
            return
        try:
            pictures = packet.decode()
        except av.EOFError:
            return
        except av.FFmpegError:
            faults.append(number)
            pictures = []
        number += 1
        yield from pictures


def _rest(stream: Any) -> list[Any]:
    """Return the pictures that still wait in the decoder after reading has stopped."""
    import av

    try:
        return list(stream.codec_context.decode(None))
    except av.FFmpegError:
        return []


def _set_threads(stream: Any, threads: int) -> None:
    stream.thread_type = "AUTO"
    stream.thread_count = threads


def _geometry(frame: Any, stream: Any, path: Path) -> tuple[Turn, tuple[int, int]]:
    """Return the turn to upright, and the stored size in square pixels: the longer side of a pixel is kept."""
    ratio = Fraction(stream.sample_aspect_ratio or 1)
    way = turn(display_matrix(frame, path, int(stream.id)), path.name)
    width, height = int(frame.width), int(frame.height)
    if ratio <= 0 or abs(ratio - 1) < Fraction(1, 1000):
        return way, (width, height)
    square_px = (round(width * ratio), height) if ratio > 1 else (width, round(height / ratio))
    if max(square_px) > MAX_SIDE_PX or not Fraction(1, 4) <= ratio <= 4:
        raise ClipError(f"the pixels of {path.name} are said to be {float(ratio):.3g} times as wide as high")
    return way, square_px


def _header(path: Path) -> tuple[Fraction, float, float | None]:
    """Return the stream's clock tick in seconds, its stated rate, and the capture rate that a tag states."""
    with opened(path) as container:
        stream = chosen_stream(container, path)
        rate = stream.average_rate or stream.guessed_rate or 30
        tags = {k.lower(): v for k, v in (*container.metadata.items(), *stream.metadata.items())}
        stated = next((tags[name] for name in _RATE_TAGS if name in tags), None)
        try:
            tag_rate_hz = None if stated is None else float(stated)
        except ValueError:
            tag_rate_hz = None
        return Fraction(stream.time_base), float(rate), tag_rate_hz


def _seconds(stamps: list[int | None], tick: Fraction) -> Floats:
    return np.array([np.nan if s is None else float(s * tick) for s in stamps])


def _losses(table: Packets, shown: _Shown, time_s: Floats, tick: Fraction) -> list[Notice]:
    """Say what of the film is not there: its end, or pictures inside."""
    return []


def _kind(shown: _Shown) -> list[Notice]:
    notices = []
    if shown.is_hdr:
        text = "The film is HDR (high dynamic range). It was brought to the normal range in one fixed way."
        notices.append(Notice(code="hdr-source", text=text))
    if shown.square_px != shown.size_px:
        text = "The pixels of the film are not square. The pictures were stretched to their true shape."
        notices.append(Notice(code="pixels-not-square", text=text))
    if shown.is_interlaced:
        text = "The film is interlaced: every picture mixes two instants, which blurs whatever moves."
        notices.append(Notice(code="interlaced", text=text))
    return notices


def _too_few(path: Path, count: int) -> ClipError:
    if count == 1:
        return ClipError(f"{path.name} has a single picture, not a film", next_step="choose a video file")
    return ClipError(f"no picture of {path.name} can be decoded", next_step="copy it again from the phone")


def _other_file(path: Path) -> ClipError:
    return ClipError(f"{path.name} has changed since it was opened", next_step="start again with the file as it is now")


def _sha256(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK_BYTES):
            digest.update(chunk)
    return digest.hexdigest()
