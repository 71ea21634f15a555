"""Array types, and the one way in which records keep arrays: copied once, locked."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Image = NDArray[np.uint8]
"""(height, width, 3) RGB, upright, C-contiguous."""


def locked(values: Any, dtype: type = np.float64) -> NDArray[Any]:
    """Return a read-only C-contiguous copy of `values`."""
    array: NDArray[Any] = np.array(values, dtype=dtype, order="C", copy=True)
    array.flags.writeable = False
    return array
