"""Pictures from others: every usual kind is read, and none makes the decoder fetch more memory than a picture needs."""

from __future__ import annotations

import struct
import time
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest

from penult.adapters.files import picture_file
from penult.adapters.files.picture_file import decoded_picture
from penult.adapters.pictures.still_source import read_picture
from penult.errors import ClipError

PICTURE = np.random.default_rng(2).integers(0, 255, (30, 40, 3), dtype=np.uint8)


def coded(suffix: str, picture: np.ndarray = PICTURE) -> bytes:
    return bytes(cv2.imencode(suffix, picture[..., ::-1])[1].tobytes())


def png(width: int, height: int, *, claimed_length: int | None = None) -> bytes:
    """A PNG that claims a size, with a hundred bytes of pixels; and, if wanted, that they are more."""

    def chunk(name: bytes, data: bytes, length: int | None = None) -> bytes:
        check = struct.pack(">I", zlib.crc32(name + data))
        return struct.pack(">I", len(data) if length is None else length) + name + data + check

    header = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    pixels = chunk(b"IDAT", zlib.compress(bytes(100)), claimed_length)
    return b"\x89PNG\r\n\x1a\n" + header + pixels + chunk(b"IEND", b"")


@pytest.mark.parametrize("suffix", [".png", ".bmp", ".tiff", ".jpg", ".webp"])
def test_every_usual_kind_is_read(suffix: str) -> None:
    """Exactly, where the kind keeps pixels exactly. Source: OpenCV's own coder."""
    picture = decoded_picture(coded(suffix))

    assert picture is not None
    assert picture.shape == PICTURE.shape
    assert picture.flags.c_contiguous
    if suffix in {".png", ".bmp", ".tiff"}:
        np.testing.assert_array_equal(picture, PICTURE)


def test_a_turned_photograph_comes_upright() -> None:
    """EXIF orientation 6 (turn a quarter to the right to view: EXIF 2.32, tag 0112)."""
    plain = coded(".jpg")
    tag = b"Exif\0\0" + b"MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\x06\0\0\0\0\0\0"
    turned = decoded_picture(plain[:2] + b"\xff\xe1" + struct.pack(">H", len(tag) + 2) + tag + plain[2:])
    upright = decoded_picture(plain)

    assert turned is not None
    assert upright is not None
    np.testing.assert_array_equal(turned, np.rot90(upright, -1))


@pytest.mark.parametrize(
    "data",
    [
        png(60_000, 60_000),
        png(2**31 - 1, 2**31 - 1),
        png(40, 30, claimed_length=0xF000_0E39),  # found by fuzzing: 190 bytes took 12 s and 4 GB
        coded(".bmp")[:18] + struct.pack("<ii", 60_000, -60_000) + coded(".bmp")[26:],
        coded(".bmp")[:20],
        coded(".jpg").replace(b"\x00\x1e\x00\x28", b"\xff\xff\xff\xff", 1),
        coded(".tiff").replace(struct.pack("<HHII", 256, 3, 1, 40), struct.pack("<HHII", 256, 4, 1, 2**31), 1),
        b"",
        b"II*\0\xff\xff\xff\xff",
    ],
    ids=[
        "large PNG",
        "immense PNG",
        "long chunk",
        "large BMP",
        "cut BMP",
        "large JPEG",
        "large TIFF",
        "empty",
        "cut TIFF",
    ],
)
def test_a_picture_that_would_burst_memory_is_refused_before_it_is_decoded(data: bytes, tmp_path: Path) -> None:
    """A decompression bomb costs no time, and is said to be no picture."""
    (tmp_path / "still.png").write_bytes(data)
    began = time.perf_counter()

    assert decoded_picture(data) is None
    with pytest.raises(ClipError, match="not a picture"):
        read_picture(tmp_path / "still.png")
    assert time.perf_counter() - began < 1.0


def test_the_limit_is_where_it_is_said_to_be(monkeypatch: pytest.MonkeyPatch) -> None:
    """A picture of exactly as many pixels is read, one more is not."""
    monkeypatch.setattr(picture_file, "MOST_PIXELS", 40 * 30)
    assert decoded_picture(coded(".png")) is not None
    monkeypatch.setattr(picture_file, "MOST_PIXELS", 40 * 30 - 1)
    assert decoded_picture(coded(".png")) is None
