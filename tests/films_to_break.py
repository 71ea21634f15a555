"""Small sound films of every kind that phones and their programs write; made to be broken."""

from __future__ import annotations

import struct
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

SIZE_PX, FRAMES = (96, 64), 6


@dataclass(frozen=True, kw_only=True)
class Kind:
    """How a film is coded."""

    suffix: str = "mp4"
    codec: str = "libx264"
    pix_fmt: str = "yuv420p"
    options: dict[str, str] = field(default_factory=dict)
    file_options: dict[str, str] = field(default_factory=dict)
    tags: dict[str, str] = field(default_factory=dict)
    is_turned: bool = False
    has_sound: bool = False
    shape: Fraction = Fraction(1)
    """Of a pixel: its width over its height."""


KINDS = {
    "as a phone writes it, turned": Kind(is_turned=True),
    "index in front, slow motion": Kind(
        file_options={"movflags": "faststart+use_metadata_tags"}, tags={"com.android.capture.fps": "240.0"}
    ),
    "pictures out of order": Kind(suffix="mov", options={"bf": "3"}),
    "in fragments": Kind(file_options={"movflags": "frag_keyframe+empty_moov"}),
    "10 bit": Kind(codec="libx265", pix_fmt="yuv420p10le", options={"x265-params": "log-level=none"}),
    "with sound": Kind(suffix="mov", has_sound=True, options={"g": "2"}),
    "pixels not square, ProRes": Kind(suffix="mov", codec="prores_ks", pix_fmt="yuv422p10le", shape=Fraction(4, 3)),
    "index in pieces": Kind(file_options={"movflags": "frag_every_frame+global_sidx+default_base_moof"}),
    "MKV": Kind(suffix="mkv", codec="libvpx-vp9"),
    "WebM": Kind(suffix="webm", codec="libvpx", options={"lag-in-frames": "0"}),
    "AVI": Kind(suffix="avi", codec="mpeg4"),
    "MPEG": Kind(suffix="mpg", codec="mpeg2video"),
    "transport stream": Kind(suffix="ts"),
    "ASF": Kind(suffix="asf", codec="wmv2"),
    "FLV": Kind(suffix="flv"),
}


def films(folder: Path) -> tuple[bytes, ...]:
    """Return the bytes of one film of every kind."""
    return tuple(film_bytes(folder / f"seed.{kind.suffix}", kind) for kind in KINDS.values())


def film_bytes(path: Path, kind: Kind) -> bytes:
    """Return the bytes of a film of that kind; `path` serves to make it and is gone afterwards."""
    rate_hz = 25 if kind.suffix == "mpg" else 30
    pictures = np.random.default_rng(4).integers(0, 255, (FRAMES, SIZE_PX[1] // 8, SIZE_PX[0] // 8, 3), dtype=np.uint8)
    with av.open(str(path), "w", options=kind.file_options) as container:
        container.metadata.update(kind.tags)
        stream = container.add_stream(kind.codec, rate=rate_hz, options=kind.options)
        (stream.width, stream.height), stream.pix_fmt = SIZE_PX, kind.pix_fmt
        stream.sample_aspect_ratio = kind.shape
        sound = container.add_stream("aac", rate=48_000, layout="mono") if kind.has_sound else None
        for i, small in enumerate(pictures):
            frame = av.VideoFrame.from_ndarray(small.repeat(8, axis=0).repeat(8, axis=1), "rgb24")
            frame = frame.reformat(format=kind.pix_fmt)
            frame.pts, frame.time_base = i, Fraction(1, rate_hz)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
        if sound is not None:
            silence = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), "fltp", "mono")
            silence.sample_rate, silence.pts = 48_000, 0
            container.mux([*sound.encode(silence), *sound.encode()])
    data = bytearray(path.read_bytes())
    path.unlink()
    if kind.is_turned:
        at = data.index(b"tkhd") + 4 + 40
        data[at : at + 36] = struct.pack(">9i", 0, 65536, 0, -65536, 0, 0, 0, 0, 1 << 30)
    return bytes(data)
