"""How the stored picture must be turned to stand upright: the whole display matrix, a mirror included.

Both PyAV's angle and OpenCV's drop the mirror, so the nine numbers themselves are read: from the first decoded
frame, or, where PyAV cannot list that frame's side data, from the track header of an MP4 or MOV file.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from penult.adapters.film.boxes import ONE, Matrix, track_header_matrix
from penult.errors import ClipError


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
        pixels : (height, width) or (height, width, n) uint8
            C-contiguous.

        Returns
        -------
        (height, width) or (height, width, n) uint8
            C-contiguous; the very input where nothing turns.
        """
        if not (self.swaps_axes or self.reverses_x or self.reverses_y):
            return pixels
        # three bytes moved as one are about three times quicker than one by one
        cells = pixels.view(f"V{pixels.shape[2]}")[..., 0] if pixels.ndim == 3 else pixels
        if self.swaps_axes:
            cells = cells.T
        cells = cells[:: -1 if self.reverses_y else 1, :: -1 if self.reverses_x else 1]
        upright = np.ascontiguousarray(cells)
        return upright.view(np.uint8).reshape(*upright.shape, pixels.shape[2]) if pixels.ndim == 3 else upright

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
    longer = max(abs(first), abs(second))
    is_known = min(abs(first), abs(second)) > 0.99 * longer > 0 and others == (0, 0) and u == v == 0
    if not is_known:
        shown = ", ".join(f"{n / ONE:g}" for n in (a, b, c, d))
        raise ClipError(
            f"{file} is marked to be shown in a way that is not supported",
            f"its display matrix is ({shown}); only quarter turns and mirrors are known",
            next_step="export it again with the turn applied to the pictures",
        )
    if swaps:
        return Turn(swaps_axes=True, reverses_x=c < 0, reverses_y=b < 0)
    return Turn(reverses_x=a < 0, reverses_y=d < 0)


def display_matrix(frame: Any, path: Path, track_id: int) -> Matrix | None:
    """Return the nine numbers that belong to a decoded frame, or None where there are none."""
    try:
        return struct.unpack("=9i", bytes(frame.side_data["DISPLAYMATRIX"]))
    except KeyError:
        return None
    except (ValueError, struct.error):  # side data of a kind that PyAV has no name for hides all the rest
        return track_header_matrix(path, track_id)
