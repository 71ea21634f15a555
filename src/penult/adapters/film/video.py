"""Clips as files: every shown frame with its own time, upright (PyAV).

`open_clip` decodes the whole clip once, as cheaply as can be (no deblocking, no colours), because nothing less tells
how many frames are really shown: headers, packets and pictures disagree in trimmed, cut-off and damaged files. From
then on a frame is known by its presentation stamp, so that frame 17 is the same picture and time wherever reading
starts. Pictures are handed on one by one; nothing but numbers is kept.
"""

from __future__ import annotations

import hashlib
from collections.abc import Generator, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from penult.adapters.film.clock import clock
from penult.adapters.film.colour import Colour, reduced
from penult.adapters.film.matrix import Turn
from penult.adapters.film.probe import Packets, Shown, decoded, geometry, losses, packets, pictures, set_threads
from penult.adapters.film.quantiser import OPTIONS, quantiser_of
from penult.adapters.film.raw import Raw
from penult.adapters.film.source import check_file, chosen_stream, opened
from penult.errors import ClipError
from penult.model.analysis import Notice
from penult.model.arrays import Floats
from penult.model.clip import Clip, Frame
from penult.whole_file import told

Grey = NDArray[np.uint8]
_Place = tuple[int, Any, Any]  # index, decoded frame, its stream
_CHUNK_BYTES = 1 << 20
QUANTISER_EVERY = 8  # pictures whose blocks are looked at: of a run of 1.4 s at 240 Hz some forty
_ONE_BY_ONE = {"damaged", "cut-off"}  # after a fault, decoding in parallel loses sound pictures: one thread then
_COUNTED = "times-rebuilt"  # stamps that do not tell frames apart: their order does


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
        With the frames that really decode, and notices of all that a person should know of the file. Codes:
        times-rebuilt, slow-motion, variable-rate, frames-dropped, cut-off, damaged, frame-count, hdr-source,
        pixels-not-square, interlaced.

    Raises
    ------
    ClipError
        If there is no film in it, or one that cannot be analysed.
    """
    path = Path(path)
    table = packets(path)
    return _clip(path, table, _sound(path, table, decoded(path, threads=0)), capture_rate_hz, sha256_of(path))


def _sound(path: Path, table: Packets, shown: Shown) -> Shown:
    """Return what was shown, of another pass without haste where anything was amiss."""
    if table.is_cut_off or shown.faults or shown.flawed or len(shown.stamps) != len(table.stamps):
        return decoded(path, threads=1)
    return shown


def _clip(path: Path, table: Packets, shown: Shown, capture_rate_hz: float | None, sha256: str) -> Clip:
    if len(shown.stamps) < 2:
        raise _too_few(path, len(shown.stamps))
    times = clock(
        _seconds(shown.stamps, table.tick_s),
        tick_s=float(table.tick_s),
        header_rate_hz=table.header_rate_hz,
        stated_rate_hz=capture_rate_hz,
        tag_rate_hz=table.tag_rate_hz,
    )
    lost = losses(table, shown)
    if any(notice.code == "damaged" for notice in lost):  # its gaps are told there
        times = replace(times, notices=tuple(n for n in times.notices if n.code != "frames-dropped"))
    return Clip(
        file=told(path.name),
        sha256=sha256,
        size_px=shown.turn.size_px(shown.square_px),
        time_s=times.time_s,
        file_time_s=times.file_time_s,
        capture_rate_hz=times.capture_rate_hz,
        capture_rate_from=times.capture_rate_from,
        notices=(*times.notices, *lost, *_kind(shown)),
    )


class FirstReading:
    """The first pass through a clip: its pictures in grey while they are decoded, and at the end what clip it is.

    A sound file says beforehand what its decoding will show; one that does not is read twice.

    Parameters
    ----------
    path, capture_rate_hz
        As for `open_clip`.

    Attributes
    ----------
    expected : Clip or None
        The clip that the file promises; None where its promise is not to be trusted.
    was_as_expected : bool
        After `clip`: whether `grey` has yielded all pictures of the clip as it turned out to be.

    Raises
    ------
    ClipError
        If there is no film in it, or one that cannot be analysed.
    """

    def __init__(self, path: Path, *, capture_rate_hz: float | None = None) -> None:
        self.path, self._rate_hz = Path(path), capture_rate_hz
        self._table, self._sha256 = packets(self.path), sha256_of(self.path)
        self._shown: Shown | None = None
        self._clip: Clip | None = None
        self._quantisers: list[float] = []
        self.expected = self._foreseen()
        self.was_as_expected = False

    def _foreseen(self) -> Clip | None:
        stamps = [s for s in self._table.stamps if s is not None]
        if self._table.is_cut_off or len(set(stamps)) != len(self._table.stamps) or len(stamps) < 2:
            return None
        foreseen = replace(decoded(self.path, threads=1, most=1), stamps=[*sorted(stamps)])
        return _clip(self.path, self._table, foreseen, self._rate_hz, self._sha256)

    def picture_bytes(self) -> Floats | None:
        """Return how many bytes the file spends on each picture, in the order shown; None where the file does not say."""
        if self.expected is None:
            return None
        pairs = sorted(zip((s for s in self._table.stamps if s is not None), self._table.sizes, strict=True))
        return np.array([size for _, size in pairs], dtype=np.float64)

    def quantiser(self) -> float | None:
        """Return the median quantiser of the pictures read so far (H.264's QP, 0 to 51); None where the decoder does not say."""
        return float(np.median(self._quantisers)) if self._quantisers else None

    def grey(self) -> Iterator[tuple[int, float, Grey]]:
        """Yield what `grey_frames` would of the clip foreseen, for as long as the pictures keep to it."""
        clip, shown = self.expected, Shown()
        if clip is None:
            return
        with opened(self.path) as container:
            stream = chosen_stream(container, self.path)
            set_threads(stream, 0)
            stream.codec_context.options = dict(OPTIONS)
            tick_s, keeps = Fraction(stream.time_base), True
            for index, frame in enumerate(pictures(container, stream, shown.faults)):
                shown.add(frame, stream, self.path)
                keeps = keeps and index < len(clip.time_s) and frame.pts is not None
                keeps = keeps and float(frame.pts * tick_s) == clip.file_time_s[index] and not frame.is_corrupt
                if index % QUANTISER_EVERY == 0 and (quantiser := quantiser_of(frame)) is not None:
                    self._quantisers.append(quantiser)
                if keeps:
                    grey = Colour(size_px=shown.square_px).grey(frame)
                    yield index, float(clip.time_s[index]), shown.turn.apply(grey)
        self._shown = shown

    def clip(self) -> Clip:
        """Return the clip as it was read."""
        if self._clip is None:
            shown = _sound(self.path, self._table, self._shown or decoded(self.path, threads=0))
            self._clip = _clip(self.path, self._table, shown, self._rate_hz, self._sha256)
            self.was_as_expected = shown is self._shown and _are_same(self.expected, self._clip)
        return self._clip


def _are_same(one: Clip | None, other: Clip) -> bool:
    """Whether both have the same pictures at the same times."""
    if one is None or one.size_px != other.size_px:
        return False
    pairs = ((one.time_s, other.time_s), (one.file_time_s, other.file_time_s))
    return all(np.array_equal(a, b) for a, b in pairs)


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
        Of the decoder; 0 is one for each core.

    Yields
    ------
    Frame
        Its image a C-contiguous array of its own.

    Raises
    ------
    ClipError
        If the file is not the one that the clip was read from.
    """
    for raw in raw_frames(path, clip, first=first, last=last, threads=threads):
        yield raw.frame()


def raw_frames(path: Path, clip: Clip, *, first: int = 0, last: int | None = None, threads: int = 0) -> Iterator[Raw]:
    """Yield frames as they come from the decoder; parameters and errors as for `frames`."""
    path = Path(path)
    for index, frame, colour, way in _placed(path, clip, _Span.of(clip, first, last), threads):
        yield Raw(index=index, time_s=float(clip.time_s[index]), decoded=frame, colour=colour, way=way)


def grey_frames(
    path: Path, clip: Clip, *, first: int = 0, last: int | None = None, reduce: int = 1, threads: int = 0
) -> Iterator[tuple[int, float, Grey]]:
    """Yield index, capture time and upright grey picture; the cheap way for passes that need no colour.

    Parameters
    ----------
    path, clip, first, last, threads
        As for `frames`.
    reduce : int
        Blocks of reduce x reduce pixels are averaged into one (see `reduced`).

    Yields
    ------
    (int, float, (height // reduce, width // reduce) uint8)
        Luma as stored (16 to 235 in most clips).
    """
    for index, frame, colour, way in _placed(Path(path), clip, _Span.of(clip, first, last), threads):
        yield index, float(clip.time_s[index]), reduced(way.apply(colour.grey(frame)), reduce)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Span:
    first: int
    last: int

    @classmethod
    def of(cls, clip: Clip, first: int, last: int | None) -> _Span:
        end = len(clip.time_s) - 1
        return cls(first=max(first, 0), last=end if last is None else min(last, end))


def _placed(path: Path, clip: Clip, span: _Span, threads: int) -> Iterator[tuple[int, Any, Colour, Turn]]:
    """Yield index and decoded frame, and how it becomes an upright picture."""
    colour, way = None, Turn()
    for index, frame, stream in _wanted(path, clip, span, threads):
        if colour is None:
            way, square_px = geometry(frame, stream, path)
            if way.size_px(square_px) != clip.size_px:
                raise _other_file(path)
            colour = Colour(size_px=square_px)
        yield index, frame, colour, way


def _wanted(path: Path, clip: Clip, span: _Span, threads: int) -> Iterator[_Place]:
    """Yield index, decoded frame and stream from the first to the last frame wanted."""
    if span.first > span.last:
        return
    codes = {notice.code for notice in clip.notices}
    threads = 1 if codes & _ONE_BY_ONE else threads
    is_counted = _COUNTED in codes
    if span.first > 0 and not is_counted:
        walk = _indexed(path, clip, threads, start_s=float(clip.file_time_s[span.first]))
        landed = next(walk, None)
        if landed is not None and landed[0] <= span.first:
            yield from _cut(chain([landed], walk), span)
            return
        walk.close()  # the keyframe lies behind the frame wanted: read from the start instead
    yield from _cut(_indexed(path, clip, threads, is_counted=is_counted), span)


def _cut(walk: Iterator[_Place], span: _Span) -> Iterator[_Place]:
    for index, frame, stream in walk:
        if index > span.last:
            return
        if index >= span.first:
            yield index, frame, stream


def _indexed(
    path: Path, clip: Clip, threads: int, *, is_counted: bool = False, start_s: float | None = None
) -> Generator[_Place]:
    """Yield decoded frames with the index that `open_clip` gave them."""
    import av

    with opened(path) as container:
        stream = chosen_stream(container, path)
        set_threads(stream, threads, is_sound=not {n.code for n in clip.notices} & _ONE_BY_ONE)
        tick_s = Fraction(stream.time_base)
        index_of = {time_s: i for i, time_s in enumerate(clip.file_time_s.tolist())}
        if start_s is not None:
            try:
                container.seek(round(start_s / tick_s), stream=stream, backward=True, any_frame=False)
            except av.FFmpegError:
                return  # a file without the means to do so
        for place, frame in enumerate(pictures(container, stream, [])):
            index = place if is_counted else index_of.get(np.nan if frame.pts is None else float(frame.pts * tick_s))
            if index is not None and index < len(clip.time_s):
                yield index, frame, stream
            elif start_s is None:
                raise _other_file(path)


def _seconds(stamps: list[int | None], tick_s: Fraction) -> Floats:
    return np.array([np.nan if s is None else float(s * tick_s) for s in stamps])


def _kind(shown: Shown) -> list[Notice]:
    notices = []
    if shown.is_hdr:
        text = "The film is HDR (high dynamic range). It was brought to the normal range in one fixed way."
        notices.append(Notice(code="hdr-source", text=text))
    if shown.square_px != shown.stored_px:
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


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file, read in pieces.

    Raises
    ------
    ClipError
        If there is no such file, or it is empty or may not be read.
    """
    check_file(path)
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK_BYTES):
            digest.update(chunk)
    return digest.hexdigest()
