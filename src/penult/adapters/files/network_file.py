"""The trained networks that ship with the package."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib import resources

import numpy as np

from penult.adapters.files.npz import unpacked
from penult.core.shoe.network import Network
from penult.errors import PenultError

FILE = "shoe_contact.npz"
SHA256 = "0dcaf0943f3652280e25e7eb2d0ccd5fdbb75f0232b01f40a8943ea3e2736b26"
MOST_ARRAYS, MOST_BYTES = 200, 20_000_000


@cache
def shoe_networks() -> tuple[Network, ...]:
    """Return the networks that tell when a shoe bears.

    Raises
    ------
    PenultError
        If their file is missing or damaged: the installation is broken.
    """
    packed = resources.files("penult") / "data" / "models" / FILE
    data = packed.read_bytes() if packed.is_file() else b""
    if hashlib.sha256(data).hexdigest() != SHA256:
        raise PenultError(
            f"the trained networks {FILE} are missing or damaged",
            f"got {len(data)} bytes that do not match SHA-256 {SHA256[:12]}...",
            next_step="install penult again",
        )
    arrays = unpacked(data, most_arrays=MOST_ARRAYS, most_bytes=MOST_BYTES)
    numbers = sorted({name.split("/")[0] for name in arrays})
    return tuple(
        Network(
            weights={
                name.split("/")[1]: np.ascontiguousarray(values, dtype=np.float32)
                for name, values in arrays.items()
                if name.startswith(f"{number}/")
            }
        )
        for number in numbers
    )
