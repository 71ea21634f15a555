"""How coarsely a coder quantised a picture, where the decoder says it (H.264 in FFmpeg; not HEVC)."""

from __future__ import annotations

import struct
from typing import Any

import numpy as np

OPTIONS = {"export_side_data": "venc_params"}
"""For the decoder, before its first picture."""

_KIND = "VIDEO_ENC_PARAMS"
_HEADER = struct.Struct("<I4xQQii")
"""FFmpeg's AVVideoEncParams (libavutil/video_enc_params.h): blocks, offset of the first, size of each, kind, QP of the picture."""

_DELTA_AT = 16
"""In a block: after its place and size, four whole numbers of 32 bits."""


def quantiser_of(frame: Any) -> float | None:
    """Return the median quantiser (QP, 0 to 51) of a decoded picture's blocks, None where the decoder does not say."""
    for data in frame.side_data:
        if _KIND not in str(data.type):
            continue
        raw = bytes(data)
        if len(raw) < _HEADER.size:
            return None
        count, offset, size, _, base = _HEADER.unpack_from(raw)
        if size < _DELTA_AT + 4 or len(raw) < offset + count * size or not count:
            return float(base)
        blocks = np.frombuffer(raw, dtype=np.uint8, offset=offset, count=count * size).reshape(count, size)
        delta = np.ascontiguousarray(blocks[:, _DELTA_AT : _DELTA_AT + 4]).view("<i4")[:, 0]
        return float(base + np.median(delta))
    return None
