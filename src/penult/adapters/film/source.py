"""Opening a clip's file: which formats, which stream; and the plain sentence when it cannot be done.

Only the file itself is ever opened: formats that name other files or addresses (playlists, picture series) are
not on the list, and no protocol but `file` is allowed.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from penult.errors import ClipError

MIN_SIDE_PX, MAX_SIDE_PX = 64, 8192
_FORMATS = "mov,mp4,matroska,webm,avi,mpeg,mpegts,asf,flv"
_OPTIONS = {"format_whitelist": _FORMATS, "protocol_whitelist": "file"}
_PICTURES = (b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"BM", b"II*\0", b"MM\0*")
_PICTURE_BRANDS = (b"heic", b"heix", b"mif1", b"msf1", b"avif", b"WEBP")
_SOUNDS = (b"ID3", b"OggS", b"fLaC", b"\xff\xfb", b"#!AMR")
_FILM_STARTS = (b"ftyp", b"mdat", b"moov", b"wide", b"free", b"skip")
_OTHER_FILM_STARTS = (b"\x1aE\xdf\xa3", b"RIFF", b"\0\0\x01\xba", b"FLV")


@contextmanager
def opened(path: Path) -> Iterator[Any]:
    """Open the file for reading, for as long as the block lasts.

    Raises
    ------
    ClipError
        If it is missing, a folder, empty, or nothing that is read here.
    """
    import av

    check_file(path)
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
        If no video stream is left, or its pictures are of a size that no clip has.
    """
    from av.stream import Disposition

    stills = Disposition.attached_pic | Disposition.timed_thumbnails | Disposition.still_image
    streams = [s for s in container.streams.video if not Disposition(int(s.disposition)) & stills]
    if not streams:
        what = "there is sound in it but no film" if container.streams.audio else "there are no pictures in it"
        raise ClipError(f"{path.name} is not a film", what, next_step="choose a video file")
    streams = [s for s in streams if s.codec_context is not None]  # the others have no size either
    if not streams:
        raise ClipError(f"{path.name} is coded in a way that cannot be read here", next_step="export it as H.264")
    if len(streams) > 1:
        counts = _packet_counts(path, {s.index for s in streams})
        streams.sort(key=lambda s: counts[s.index] * s.width * s.height, reverse=True)
    stream = streams[0]
    if min(stream.width, stream.height) < MIN_SIDE_PX or max(stream.width, stream.height) > MAX_SIDE_PX:
        raise ClipError(
            f"{path.name} has pictures of {stream.width} x {stream.height} px",
            f"each side must have {MIN_SIDE_PX} to {MAX_SIDE_PX} px",
        )
    return stream


def demuxed(container: Any, streams: Any) -> Iterator[Any]:
    """Yield the packets of one stream or some.

    PyAV 18 ends with an IndexError where a stream has turned up on the way of which it did not know at the opening: at
    the very end, over the packet that ends that stream. Those of the streams asked for were handed over before.
    """
    with suppress(IndexError):
        yield from container.demux(streams)


def _packet_counts(path: Path, streams: set[int]) -> dict[int, int]:
    """Count the packets to be shown of each stream, in a reading of its own: not every file can be wound back."""
    import av

    counts = dict.fromkeys(streams, 0)
    with opened(path) as container, suppress(av.FFmpegError):  # a cut-off file: what was counted so far decides
        for packet in demuxed(container, [container.streams[i] for i in streams]):
            if packet.stream_index in counts:  # the one that ends a stream bears number 0, whatever the stream
                counts[packet.stream_index] += bool(packet.size) and not packet.is_discard
    return counts


def check_file(path: Path) -> None:
    """See that there is a file with something in it.

    Raises
    ------
    ClipError
        If it is missing, a folder, empty, or may not be read.
    """
    if path.is_dir():
        raise ClipError(f"{path} is a folder, not a film", next_step="name the film inside it")
    if not path.exists():
        raise ClipError(f"{path} does not exist", next_step="check the name and the folder")
    if not path.is_file():
        raise ClipError(f"{path} is not a file")
    try:
        with path.open("rb") as file:
            is_empty = not file.read(1)
    except OSError as fault:
        raise ClipError(f"{path} cannot be opened", str(fault.strerror), next_step="check its rights") from fault
    if is_empty:
        raise ClipError(f"{path.name} is empty (0 bytes)", next_step="copy it again from the phone")


def _refusal(path: Path) -> ClipError:
    """Say in plain words why a file that exists does not open as a film."""
    with path.open("rb") as file:
        head = file.read(4096)
    another = "choose a video file"
    if head.startswith(_PICTURES) or head[8:12] in _PICTURE_BRANDS:
        return ClipError(f"{path.name} is a picture, not a film", next_step=another)
    if head.startswith(_SOUNDS) or head[8:12] == b"WAVE":
        return ClipError(f"{path.name} is a sound recording, not a film", next_step=another)
    if head[4:8] in _FILM_STARTS:
        return ClipError(
            f"{path.name} is incomplete: its index is missing or damaged",
            "the copy or the recording was interrupted",
            next_step="copy it again from the phone",
        )
    if head.startswith(_OTHER_FILM_STARTS):
        return ClipError(f"{path.name} is incomplete or damaged", next_step="copy it again from the camera")
    if b"\0" not in head:
        return ClipError(f"{path.name} is text, not a film", next_step=another)
    return ClipError(
        f"{path.name} is not a film that can be read here", next_step="choose an MP4, MOV, MKV or AVI file"
    )
