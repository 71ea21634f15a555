"""The little that is read from an MP4 or MOV file by hand (ISO/IEC 14496-12): track matrix and camera notes.

Reads box headers and a bounded number of bytes only, and answers None for whatever is damaged.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import IO

Matrix = tuple[int, ...]
ONE = 1 << 16  # the matrix is in 16.16 fixed point, its last column in 2.30
_MAX_BOXES = 10_000
_MAX_NOTES_BYTES = 1 << 18
_FIRST_BOXES = frozenset({b"ftyp", b"mdat", b"moov", b"wide", b"free", b"skip", b"pnot"})
_TAIL_BYTES = 4096  # one block: what was given its length beforehand is zeros there until the end
# "Non-real-time metadata" of Sony cameras: a VideoFrame element with both rates, as in captureFps="119.88p"
_RATES = re.compile(rb'captureFps="([0-9]{1,5}(?:\.[0-9]{1,6})?)[pi]?"')


def track_header_matrix(path: Path, track_id: int) -> Matrix | None:
    """Read the display matrix of one track header (section 8.3.2).

    Parameters
    ----------
    path : Path
    track_id : int
        As the header states it.

    Returns
    -------
    nine int, or None
        a, b, u, c, d, v, x, y, w; None for the identity, too.
    """
    with path.open("rb") as file:
        for kind, start, stop in _boxes(file, 0, file.seek(0, 2)):
            if kind == b"moov":
                return _matrix_in_movie(file, start, stop, track_id)
    return None


def is_complete(path: Path) -> bool:
    """Tell whether a file's top-level boxes fill it exactly, its index among them, and its last bytes have been written.

    A copy that grows, or has its full length before its content, does not look so until its last byte has come.
    False says nothing of a file of another kind.
    """
    try:
        with path.open("rb") as file:
            end = file.seek(0, 2)
            file.seek(4)
            if file.read(4) not in _FIRST_BOXES:
                return False
            kinds, filled = set(), 0
            for kind, _start, stop in _boxes(file, 0, end):
                kinds.add(kind)
                filled = stop if _ends_there(file, filled, stop) else -1
                if filled < 0:
                    return False
            file.seek(max(0, end - _TAIL_BYTES))
            return filled == end and {b"moov", b"mdat"} <= kinds and any(file.read(_TAIL_BYTES))
    except OSError:
        return False


def _ends_there(file: IO[bytes], start: int, stop: int) -> bool:
    """Whether a box's own length leads to `stop`, not past the end of the file, where it would have been cut."""
    file.seek(start)
    head = file.read(16)
    size = int.from_bytes(head[:4], "big")
    return start + (int.from_bytes(head[8:16], "big") if size == 1 else size) == stop


def noted_capture_rate_hz(path: Path) -> float | None:
    """Return the capture rate in the XML notes that some cameras append to the file, or None."""
    with path.open("rb") as file:
        for kind, start, stop in _boxes(file, 0, file.seek(0, 2)):
            if kind == b"meta":
                file.seek(start)
                found = _RATES.search(file.read(min(stop - start, _MAX_NOTES_BYTES)))
                if found:
                    return float(found.group(1))
    return None


def _matrix_in_movie(file: IO[bytes], start: int, stop: int, track_id: int) -> Matrix | None:
    for kind, inner, inner_stop in _boxes(file, start, stop):
        if kind != b"trak":
            continue
        for leaf, body, body_stop in _boxes(file, inner, inner_stop):
            if leaf == b"tkhd":
                file.seek(body)
                found = _matrix_in_header(file.read(min(body_stop - body, 96)), track_id)
                if found is not None:
                    return found
    return None


def _matrix_in_header(body: bytes, track_id: int) -> Matrix | None:
    wide = body[:1] == b"\x01"  # version 1 has 64-bit times
    id_at, matrix_at = (20, 52) if wide else (12, 40)
    if len(body) < matrix_at + 36 or int.from_bytes(body[id_at : id_at + 4], "big") != track_id:
        return None
    matrix = struct.unpack(">9i", body[matrix_at : matrix_at + 36])
    return None if matrix[:5] == (ONE, 0, 0, 0, ONE) else matrix


def _boxes(file: IO[bytes], start: int, stop: int) -> Iterator[tuple[bytes, int, int]]:
    """Yield kind, first byte of the body and end of each box between two places."""
    at = start
    for _ in range(_MAX_BOXES):
        if at + 8 > stop:
            return
        file.seek(at)
        head = file.read(16)
        if len(head) < 8:
            return
        size, body = int.from_bytes(head[:4], "big"), 8
        if size == 1:
            size, body = int.from_bytes(head[8:16], "big"), 16
        elif size == 0:
            size = stop - at
        if size < body:
            return
        yield head[4:8], at + body, min(at + size, stop)
        at += size
