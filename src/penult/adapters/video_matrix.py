"""How the stored picture must be turned to stand upright: the whole display matrix, a mirror included.

Both PyAV's angle and OpenCV's drop the mirror, so the nine numbers themselves are read: from the first decoded
frame, or, where PyAV cannot list that frame's side data, from the track header of an MP4 or MOV file.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from penult.errors import ClipError

_ONE = 1 << 16  # 16.16 fixed point; the last column is 2.30 (ISO/IEC 14496-12, section 6.2.2)
_MAX_BOXES = 10_000
Matrix = tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """Stored to upright: exchange the axes first, then reverse columns, then reverse rows."""

    swaps_axes: bool = False
    reverses_x: bool = False
    reverses_y: bool = False

    def apply(self, pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Turn a picture.

        Parameters
        ----------
        pixels : (height, width) or (height, width, 3) uint8

        Returns
        -------
        (height, width) or (height, width, 3) uint8
            C-contiguous; the very input where nothing turns.
        """
        if not (self.swaps_axes or self.reverses_x or self.reverses_y):
            return pixels
        # three bytes moved as one are about three times quicker than one by one
        cells = pixels.view("V3")[..., 0] if pixels.ndim == 3 else pixels
        if self.swaps_axes:
            cells = cells.T
        cells = cells[:: -1 if self.reverses_y else 1, :: -1 if self.reverses_x else 1]
        upright = np.ascontiguousarray(cells)
        return upright.view(np.uint8).reshape(*upright.shape, 3) if pixels.ndim == 3 else upright

    def size_px(self, stored_px: tuple[int, int]) -> tuple[int, int]:
        """Return width and height of the upright picture."""
        return (stored_px[1], stored_px[0]) if self.swaps_axes else stored_px


def turn(matrix: Matrix | None, file: str) -> Turn:
    """Read a display matrix (a, b, u, c, d, v, x, y, w): right goes to (a, b), down goes to (c, d).

    The shift x, y and one size factor for both axes do not matter to the picture itself.

    Raises
    ------
    ClipError
        If it is not one of the eight quarter turns with or without a mirror.
    """
    if matrix is None:
        return Turn()
    a, b, u, c, d, v, _, _, _ = matrix
    swaps = a == d == 0
    first, second = (b, c) if swaps else (a, d)
    others = (a, d) if swaps else (b, c)
    size = max(abs(first), abs(second))
    sound = min(abs(first), abs(second)) > 0.99 * size > 0 and others == (0, 0) and u == v == 0
    if not sound:
        shown = ", ".join(f"{n / _ONE:g}" for n in (a, b, c, d))
        raise ClipError(
            f"{file} is marked to be shown in a way that is not supported",
            f"its display matrix is ({shown}); only quarter turns and mirrors are known",
            next_step="export it again with the turn applied to the pictures",
        )
    if swaps:
        return Turn(swaps_axes=True, reverses_x=c < 0, reverses_y=b < 0)
    return Turn(reverses_x=a < 0, reverses_y=d < 0)


def display_matrix(frame: Any, path: Path, track_id: int) -> Matrix | None:
    """Return the nine numbers that belong to the first decoded frame, or None where there are none."""
    try:
        side_data = frame.side_data
        return struct.unpack("=9i", bytes(side_data["DISPLAYMATRIX"]))
    except KeyError:
        return None
    except (ValueError, struct.error):  # side data of a kind that PyAV has no name for hides all the rest
        return track_header_matrix(path, track_id)


def track_header_matrix(path: Path, track_id: int) -> Matrix | None:
    """Read the matrix of one track header of an MP4 or MOV file (ISO/IEC 14496-12, section 8.3.2).

    Never reads more than the box headers and the track headers, and never fails on a damaged file: None then.
    The identity gives None too.
    """
    with path.open("rb") as file:
        end = file.seek(0, 2)
        for kind, start, stop in _boxes(file, 0, end):
            if kind == b"moov":
                return _matrix_in_movie(file, start, stop, track_id)
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
    return None if matrix[:5] == (_ONE, 0, 0, 0, _ONE) else matrix


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
