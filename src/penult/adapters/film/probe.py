"""What is in a clip's chosen stream: its packets, the pictures that really come out of them, and what is lost."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

from penult.adapters.film.boxes import noted_capture_rate_hz
from penult.adapters.film.colour import is_hdr
from penult.adapters.film.matrix import Turn, display_matrix, turn
from penult.adapters.film.source import MAX_SIDE_PX, chosen_stream, demuxed, opened
from penult.errors import ClipError
from penult.model.analysis import Notice

MAX_FRAMES = 200_000
_TIMED_FORMATS = ("mov", "matroska")  # every packet carries the true time of its picture
_RATE_TAG = "com.android.capture.fps"
_WAITS_FOR_EVER = frozenset({"hevc"})
"""Decoders of which one thread waits without end for a picture that another could not make (found with FFmpeg 8, on a film
with a damaged header): these get one thread, unless the film is known to be sound."""

_BT2020, _BT2020_CONSTANT, _UNMARKED = 9, 10, 2  # matrices as ITU-T H.273 numbers them
_KNOWN_MATRICES = frozenset({0, 1, 2, 4, 5, 6, 7, 9})  # what FFmpeg 8 scales without an error, each tried
_KNOWN_RANGES = frozenset({0, 1, 2})
_SLACK_S = 0.5  # by which sound may outlast the pictures


@dataclass(frozen=True, slots=True, kw_only=True)
class Packets:
    """What the file says of the chosen stream without any decoding.

    Parameters
    ----------
    stamps : tuple of (int or None)
        Presentation stamps, in ticks, of the packets whose picture is to be shown, in file order.
    sizes : tuple of int
        Bytes of each of these packets.
    count, promised : int
        Packets that are there, those included that only serve to decode others (edit lists); and packets that the
        header promises, 0 where it says nothing.
    is_broken : bool
        A packet is cut short or marked as damaged, or reading stopped with an error.
    missing_s : float
        By how much the last packet ends before the stream or the file does, as its header has it.
    are_times : bool
        Whether this format stores the time of every picture.
    tick_s : Fraction
    header_rate_hz : float
    tag_rate_hz : float, optional
        Capture rate as a tag of the file states it.
    """

    stamps: tuple[int | None, ...]
    sizes: tuple[int, ...]
    count: int
    promised: int
    is_broken: bool
    missing_s: float
    are_times: bool
    tick_s: Fraction
    header_rate_hz: float
    tag_rate_hz: float | None

    @property
    def is_cut_off(self) -> bool:
        """Whether the file ends before its film does."""
        if self.promised and self.count >= self.promised:  # trimmed clips keep the length they had before
            return self.is_broken
        return self.is_broken or self.missing_s > (1.5 / self.header_rate_hz if self.promised else _SLACK_S)


@dataclass(slots=True, kw_only=True)
class Shown:
    """What one pass through the decoder showed."""

    stamps: list[int | None] = field(default_factory=list)
    flawed: list[int] = field(default_factory=list)
    faults: list[int] = field(default_factory=list)
    is_hdr: bool = False
    is_interlaced: bool = False
    stored_px: tuple[int, int] = (0, 0)
    square_px: tuple[int, int] = (0, 0)
    turn: Turn = field(default_factory=Turn)

    def add(self, frame: Any, stream: Any, path: Path) -> None:
        """Take note of the next picture.

        Raises
        ------
        ClipError
            If it cannot be turned upright, or is of another size than those before.
        """
        if not self.stamps:
            self.stored_px = (frame.width, frame.height)
            self.turn, self.square_px = geometry(frame, stream, path)
        elif (frame.width, frame.height) != self.stored_px:
            raise ClipError(
                f"the pictures of {path.name} change their size on the way", next_step="cut the run out of it"
            )
        if frame.is_corrupt:
            self.flawed.append(len(self.stamps))
        self.is_hdr = self.is_hdr or is_hdr(frame)
        self.is_interlaced = self.is_interlaced or frame.interlaced_frame
        self.stamps.append(frame.pts)


def packets(path: Path) -> Packets:
    """Read the packets of the chosen stream.

    Raises
    ------
    ClipError
        If the file holds no film, or far more pictures than a clip of a run can have.
    """
    import av

    with opened(path) as container:
        stream = chosen_stream(container, path)
        stamps: list[int | None] = []
        sizes: list[int] = []
        count, is_broken, end = 0, False, 0
        try:
            for packet in demuxed(container, stream):
                if not packet.size:
                    continue
                count += 1
                is_broken |= packet.is_corrupt
                end = max(end, (packet.pts or 0) + (packet.duration or 0))
                if not packet.is_discard:
                    stamps.append(packet.pts)
                    sizes.append(packet.size)
                if count > MAX_FRAMES:
                    raise _too_long(path)
        except av.FFmpegError:
            is_broken = True
        return Packets(
            stamps=tuple(stamps),
            sizes=tuple(sizes),
            count=count,
            promised=int(stream.frames),
            is_broken=is_broken,
            missing_s=_missing_s(container, stream, end),
            are_times=container.format.name.startswith(_TIMED_FORMATS),
            tick_s=Fraction(stream.time_base),
            header_rate_hz=float(stream.average_rate or stream.guessed_rate or 30),
            tag_rate_hz=_tag_rate_hz(container, stream, path),
        )


def decoded(path: Path, *, threads: int, most: int = 0) -> Shown:
    """Decode the clip, or at most so many of its pictures, without deblocking or colours, and note what was shown.

    Raises
    ------
    ClipError
        If the pictures cannot be turned upright or change their size on the way.
    """
    shown = Shown()
    with opened(path) as container:
        stream = chosen_stream(container, path)
        set_threads(stream, threads)
        stream.codec_context.options = {"skip_loop_filter": "all"}
        for frame in pictures(container, stream, shown.faults):
            shown.add(frame, stream, path)
            if len(shown.stamps) == most:
                break
    return shown


def pictures(container: Any, stream: Any, faults: list[int]) -> Iterator[Any]:
    """Yield decoded frames in the order shown.

    After a packet that does not decode, nothing is shown until the next keyframe: the pictures between are built
    upon one that is not there, and show a runner in two places.

    Parameters
    ----------
    faults : list
        The number of every packet that does not decode is appended.
    """
    import av

    source = demuxed(container, stream)
    number, waits, resume = 0, False, None
    while True:
        batch: list[Any] = []
        try:
            packet = next(source, None)
            if packet is None:
                return
            if packet.is_corrupt:
                faults.append(number)
                waits, resume = True, None
            else:
                if waits and resume is None and packet.is_keyframe:
                    resume = packet.pts
                batch = packet.decode()
        except av.EOFError:
            return
        except av.FFmpegError:
            faults.append(number)
            waits, resume = True, None
        number += 1
        for frame in batch:
            waits = waits and (resume is None or frame.pts is None or frame.pts < resume)
            if not waits:
                yield _with_known_colours(frame)


def _with_known_colours(frame: Any) -> Any:
    """Return the frame without marks of colours that the scaler does not know and would refuse; then the usual ones hold."""
    if int(frame.colorspace) not in _KNOWN_MATRICES:
        frame.colorspace = _BT2020 if int(frame.colorspace) == _BT2020_CONSTANT else _UNMARKED
    if int(frame.color_range) not in _KNOWN_RANGES:
        frame.color_range = 0
    return frame


def set_threads(stream: Any, threads: int, *, is_sound: bool = False) -> None:
    """Let the decoder use so many threads; 0 is one for each core.

    Parameters
    ----------
    is_sound : bool
        Every picture of this very stream was decoded before, by one thread and without a fault.
    """
    stream.thread_type = "AUTO"
    stream.thread_count = threads if is_sound or stream.codec_context.name not in _WAITS_FOR_EVER else 1


def geometry(frame: Any, stream: Any, path: Path) -> tuple[Turn, tuple[int, int]]:
    """Return the turn to upright, and the stored size in square pixels: no side gets shorter."""
    way = turn(display_matrix(frame, path, int(stream.id)), path.name)
    ratio = Fraction(stream.sample_aspect_ratio or 1)
    width, height = int(frame.width), int(frame.height)
    if ratio <= 0 or abs(ratio - 1) < Fraction(1, 1000):
        return way, (width, height)
    square_px = (round(width * ratio), height) if ratio > 1 else (width, round(height / ratio))
    if max(square_px) > MAX_SIDE_PX or not Fraction(1, 4) <= ratio <= 4:
        raise ClipError(
            f"the pixels of {path.name} are marked as {float(ratio):.3g} times as wide as high",
            next_step="export it again with square pixels",
        )
    return way, square_px


def losses(table: Packets, shown: Shown) -> list[Notice]:
    """Say what of the film is not there: its end, or pictures inside.

    Places are seconds of the film as it plays, from its first frame.
    """
    known = [s for s in shown.stamps if s is not None]
    start, last = (known[0], max(known)) if known else (0, 0)
    seen = set(known)
    lost = sorted(s for s in table.stamps if s is not None and s not in seen) if table.are_times else []
    notices = []
    if table.is_cut_off:
        lost = [s for s in lost if s < last]
        notices.append(_cut_off(table, shown, last))
    spans = _spans([float((s - start) * table.tick_s) for s in lost], 1.5 / table.header_rate_hz)
    if lost:
        text = f"The film is damaged inside: {_frames(len(lost))} cannot be shown, {spans}."
        notices.append(Notice(code="damaged", text=text))
    elif shown.faults and not table.is_cut_off:
        text = f"The film is damaged inside: {len(shown.faults)} of its {table.count} packets cannot be decoded."
        notices.append(Notice(code="damaged", text=text))
    if shown.flawed:
        at = [float(((shown.stamps[i] or start) - start) * table.tick_s) for i in shown.flawed]
        text = (
            f"{_frames(len(at)).capitalize()} of the film {'is' if len(at) == 1 else 'are'} damaged "
            f"({_spans(at, 1.5 / table.header_rate_hz)}); those that follow may carry traces of it."
        )
        notices.append(Notice(code="damaged", text=text))
    if not notices and 0 < table.promised != len(shown.stamps):
        text = f"The file's header counts {table.promised} frames; {len(shown.stamps)} are shown."
        notices.append(Notice(code="frame-count", text=text))
    return notices


def _cut_off(table: Packets, shown: Shown, last: int) -> Notice:
    have = f"{len(shown.stamps)} of {table.promised} frames" if table.promised else _frames(len(shown.stamps))
    after = [s for s in table.stamps if s is not None and s > last]
    missing_s = max(table.missing_s, 0.0) + float(((max(after) - last) if after else 0) * table.tick_s)
    end = f"the last {missing_s:.2f} s are missing" if missing_s > 0 else "how much is missing cannot be told"
    return Notice(code="cut-off", text=f"The file is cut off: it gives {have}; {end}. Copy it again from the phone.")


def _spans(at_s: list[float], step_s: float) -> str:
    """Word places in seconds, neighbours drawn together, at most five."""
    runs: list[list[float]] = []
    for t in at_s:
        if runs and t - runs[-1][1] <= step_s:
            runs[-1][1] = t
        else:
            runs.append([t, t])
    words = [f"at {a:.3f} s" if a == b else f"from {a:.3f} to {b:.3f} s" for a, b in runs[:5]]
    return ", ".join([*words, f"and {len(runs) - 5} more places"] if len(runs) > 5 else words)


def _frames(count: int) -> str:
    return "1 frame" if count == 1 else f"{count} frames"


def _missing_s(container: Any, stream: Any, end: int) -> float:
    """Return how long before its promised end the stream stops; 0 where the header promises nothing."""
    if stream.duration is not None and stream.frames:
        return float(((stream.start_time or 0) + stream.duration - end) * stream.time_base)
    if container.duration is None or stream.time_base is None:
        return 0.0
    start_s = (container.start_time or 0) / 1e6
    return float(start_s + container.duration / 1e6 - float(end * stream.time_base))


def _tag_rate_hz(container: Any, stream: Any, path: Path) -> float | None:
    tags = {key.lower(): value for key, value in (*container.metadata.items(), *stream.metadata.items())}
    try:
        return float(tags[_RATE_TAG])
    except (KeyError, ValueError):
        is_mp4 = container.format.name.startswith("mov")
        return noted_capture_rate_hz(path) if is_mp4 else None


def _too_long(path: Path) -> ClipError:
    return ClipError(
        f"{path.name} is too long: more than {MAX_FRAMES} frames", next_step="cut the run out of it and try again"
    )
