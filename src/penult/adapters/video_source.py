"""Opening a clip's file: which formats, which stream, which packets; and the plain sentence when it cannot be done.

Only the file itself is ever opened: formats that name other files or addresses (playlists, picture series) are
not on the list, and no protocol but `file` is allowed.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from penult.errors import ClipError

FORMATS = "mov,mp4,matroska,webm,avi,mpeg,mpegts,asf,flv"
MAX_FRAMES = 200_000
MIN_SIDE_PX, MAX_SIDE_PX = 64, 8192
_OPTIONS = {"format_whitelist": FORMATS, "protocol_whitelist": "file"}
_TIMED_FORMATS = ("mov", "matroska")  # every packet carries the true time of its picture
_PICTURES = (b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"BM", b"II*\0", b"MM\0*")
_PICTURE_BRANDS = (b"heic", b"heix", b"mif1", b"avif", b"msf1")
_SOUNDS = (b"ID3", b"OggS", b"fLaC", b"\xff\xfb", b"#!AMR")
_FILM_STARTS = (b"ftyp", b"mdat", b"moov", b"wide", b"free", b"skip")


@dataclass(frozen=True, slots=True, kw_only=True)
class Packets:
    """What the packets of the chosen stream say, without any decoding.

    Parameters
    ----------
    stream : int
        Its index in the file.
    stamps : tuple of (int or None)
        Presentation stamps, in ticks, of the packets whose picture is to be shown, in file order.
    hidden : int
        Packets that only serve to decode others (edit lists).
    faulty : bool
        A packet is cut short or marked as damaged, or reading stopped with an error.
    promised_end : int or None
        End of the stream as its header promises, in ticks.
    stamps_are_times : bool
        Whether this format stores the time of every picture.
    """

    stream: int
    stamps: tuple[int | None, ...]
    hidden: int
    faulty: bool
    promised_end: int | None
    stamps_are_times: bool


@contextmanager
def opened(path: Path) -> Iterator[Any]:
    """Open the file for reading, for as long as the block lasts.

    Raises
    ------
    ClipError
        If it is missing, a folder, empty, or nothing that is read here.
    """
    import av

    _check_file(path)
    try:
        # `file:` keeps a name such as "a:b.mp4" from being read as an address
        container = av.open(f"file:{path}", metadata_errors="replace", container_options=_OPTIONS)
    except (av.FFmpegError, OSError, ValueError) as fault:
        raise _refusal(path) from fault
    with container:
        yield container


def chosen_stream(container: Any, path: Path) -> Any:
    """Return the video stream that shows most pixels over its length: area times packets.

    Covers, thumbnails and still pictures are left out by their mark, empty tracks and the few big stills that some
    phones keep beside the film by the count.

    Raises
    ------
    ClipError
        If no video stream is left.
    """
    from av.stream import Disposition

    stills = Disposition.attached_pic | Disposition.timed_thumbnails | Disposition.still_image
    streams = [s for s in container.streams.video if not Disposition(int(s.disposition)) & stills]
    if not streams:
        raise ClipError(
            f"{path.name} holds no film",
            "there is sound or data in it but no pictures",
            next_step="choose a video file",
        )
    if len(streams) > 1:
        counts = _packet_counts(container, streams)
        container.seek(0)
        streams.sort(key=lambda s: counts[s.index] * s.width * s.height, reverse=True)
    if streams[0].codec_context is None:
        raise ClipError(f"{path.name} is coded in a way that cannot be read here")
    _check_size(streams[0].width, streams[0].height, path)
    return streams[0]


def _packet_counts(container: Any, streams: list[Any]) -> dict[int, int]:
    import av

    counts = dict.fromkeys((s.index for s in streams), 0)
    try:
        for packet in container.demux(streams):
            counts[packet.stream_index] += bool(packet.size) and not packet.is_discard
    except av.FFmpegError:
        pass  # a cut-off file: what was counted so far decides
    return counts


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
        hidden, faulty = 0, False
        try:
            for packet in container.demux(stream):
                if not packet.size:
                    continue
                faulty |= packet.is_corrupt
                hidden += packet.is_discard
                if not packet.is_discard:
                    stamps.append(packet.pts)
                if len(stamps) + hidden > MAX_FRAMES:
                    raise ClipError(
                        f"{path.name} is too long",
                        f"more than {MAX_FRAMES} frames",
                        next_step="cut the run out of it and try again",
                    )
        except av.FFmpegError:
            faulty = True
        end = None if stream.duration is None else (stream.start_time or 0) + stream.duration
        return Packets(
            stream=stream.index,
            stamps=tuple(stamps),
            hidden=hidden,
            faulty=faulty,
            promised_end=end,
            stamps_are_times=container.format.name.startswith(_TIMED_FORMATS),
        )


def _check_size(width_px: int, height_px: int, path: Path) -> None:
    if min(width_px, height_px) < MIN_SIDE_PX or max(width_px, height_px) > MAX_SIDE_PX:
        raise ClipError(
            f"{path.name} has pictures of {width_px} x {height_px} px",
            f"a side must have {MIN_SIDE_PX} to {MAX_SIDE_PX} px",
        )


def _check_file(path: Path) -> None:
    if path.is_dir():
        raise ClipError(f"{path} is a folder, not a film", next_step="name the film inside it")
    if not path.exists():
        raise ClipError(f"{path} does not exist", next_step="check the name and the folder")
    if not path.is_file():
        raise ClipError(f"{path} is not a file")
    try:
        size = path.stat().st_size
        with path.open("rb"):
            pass
    except OSError as fault:
        raise ClipError(f"{path.name} cannot be opened", str(fault.strerror)) from fault
    if size == 0:
        raise ClipError(f"{path.name} is empty (0 bytes)", next_step="copy it again from the phone")


def _refusal(path: Path) -> ClipError:
    """Say in plain words why a file that exists does not open as a film."""
    with path.open("rb") as file:
        head = file.read(4096)
    if head.startswith(_PICTURES) or head[8:12] in _PICTURE_BRANDS or head[8:12] == b"WEBP":
        return ClipError(f"{path.name} is a picture, not a film", next_step="choose a video file")
    if head.startswith(_SOUNDS) or head[8:12] == b"WAVE":
        return ClipError(f"{path.name} is a sound recording, not a film", next_step="choose a video file")
    if head[4:8] in _FILM_STARTS:
        return ClipError(
            f"{path.name} is incomplete: its index is missing or damaged",
            "the copy or the recording was interrupted",
            next_step="copy it again from the phone",
        )
    if head.startswith(b"\x1aE\xdf\xa3") or head[8:12] == b"AVI ":
        return ClipError(f"{path.name} is incomplete or damaged", next_step="copy it again from the camera")
    if b"\0" not in head:
        return ClipError(f"{path.name} is a text file or the like, not a film", next_step="choose a video file")
    return ClipError(
        f"{path.name} is not a film that can be read here", next_step="choose an MP4, MOV, MKV or AVI file"
    )
