"""The trained networks that ship with the package."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import NDArray

from penult.adapters.files.npz import unpacked
from penult.core.shoe.network import Array, Network
from penult.errors import PenultError

FILE = "shoe_contact.npz"
SHA256 = "0db16de0c7b1508e2cabecaba07aefb67452d7d4d4296a4c63ec01a8425298c6"
MOST_ARRAYS, MOST_BYTES = 400, 20_000_000
SLOW, SCALE = "slow", ".scale"
"""Names of networks for few pictures a second begin with the one, names of scales end with the other."""


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
    names = sorted({name.split("/")[0] for name in arrays})
    return tuple(Network(weights=_weights(arrays, name), slow=name.startswith(SLOW)) for name in names)


def _weights(arrays: Mapping[str, NDArray[Any]], network: str) -> dict[str, Array]:
    """The layers of one network; whole numbers are in units of their layer's own scale, one for each output."""
    out = {}
    for name, values in arrays.items():
        owner, layer = name.split("/")
        if owner != network or layer.endswith(SCALE):
            continue
        scale = arrays.get(name + SCALE)
        wide = np.ascontiguousarray(values, dtype=np.float32)
        out[layer] = wide if scale is None else wide * scale.astype(np.float32).reshape(-1, *[1] * (values.ndim - 1))
    return out
