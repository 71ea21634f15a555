"""Pictures that somebody else may have saved, decoded only when their own header asks for a bearable size (OpenCV)."""

from __future__ import annotations

import struct
from collections.abc import Iterator

import numpy as np

from penult.model.arrays import Image

MOST_PIXELS = 220_000_000
"""The largest sensors of phones have 200 million; a decoded picture of them takes 660 MB."""

_PNG = b"\x89PNG\r\n\x1a\n"
_TIFF = {b"II*\0": "<", b"MM\0*": ">"}
_NO_SIZE_MARKERS = (0xC4, 0xC8, 0xCC)  # JPEG: tables, not a frame


def decoded_picture(data: bytes) -> Image | None:
    """Return a picture as RGB, turned as its file says; None if it is none, damaged, or would be of more than MOST_PIXELS."""
    import cv2

    try:
        sizes = list(_sizes_px(data))
    except (struct.error, IndexError):  # it ends within its header
        return None
    if any(width * height > MOST_PIXELS for width, height in sizes):
        return None
    try:
        decoded = cv2.imdecode(np.frombuffer(data, dtype=np.uint8), cv2.IMREAD_COLOR) if data else None
    except cv2.error:  # what it says of itself does not fit together
        return None
    return None if decoded is None else np.ascontiguousarray(decoded[..., ::-1])


def _sizes_px(data: bytes) -> Iterator[tuple[int, int]]:
    """Yield the sizes that a header states: the decoder makes room for them before it has seen a pixel."""
    if data.startswith(_PNG):
        yield from _of_png(data)
    elif data.startswith(b"\xff\xd8"):
        yield from _of_jpeg(data)
    elif data.startswith(b"BM"):
        width, height = struct.unpack_from("<ii", data, 18)
        yield abs(width), abs(height)
    elif data[:4] in _TIFF:
        yield from _of_tiff(data, _TIFF[data[:4]])
    # WebP cannot state more than 16383 x 16383


def _of_png(data: bytes) -> Iterator[tuple[int, int]]:
    """Refuse a chunk that is longer than the file as well: 190 bytes made the decoder fetch 4 GB."""
    at = len(_PNG)
    while at + 8 <= len(data):
        length, name = struct.unpack_from(">I4s", data, at)
        if at + 8 + length > len(data):
            raise struct.error("a chunk runs over the end")
        if name in {b"IHDR", b"fcTL"}:
            yield struct.unpack_from(">II", data, at + (8 if name == b"IHDR" else 12))
        if name == b"IEND":
            return
        at += 12 + length


def _of_jpeg(data: bytes) -> Iterator[tuple[int, int]]:
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xFF:  # padding
            at += 1
            continue
        if marker == 0xDA:  # pixels begin
            return
        if 0xC0 <= marker <= 0xCF and marker not in _NO_SIZE_MARKERS:
            height, width = struct.unpack_from(">HH", data, at + 5)
            yield width, height
        at += 2 + struct.unpack_from(">H", data, at + 2)[0]


def _of_tiff(data: bytes, order: str) -> Iterator[tuple[int, int]]:
    (at,) = struct.unpack_from(f"{order}I", data, 4)
    (count,) = struct.unpack_from(f"{order}H", data, at)
    sides = {256: 0, 257: 0}
    for i in range(count):
        tag, kind, _, value = struct.unpack_from(f"{order}HHII", data, at + 2 + 12 * i)
        if tag in sides:
            short = struct.unpack_from(f"{order}H", data, at + 2 + 12 * i + 8)[0]
            sides[tag] = short if kind == 3 else value
    yield sides[256], sides[257]
