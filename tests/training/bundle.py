"""Put trained networks into the file that ships: python bundle.py OUT SLOW src/penult/data/models/shoe_contact.npz

OUT holds net0.npz, net1.npz, ... for 60 pictures a second and more, SLOW those for fewer. Prints the SHA-256 that
`adapters/files/network_file.py` holds the file against.
"""

from __future__ import annotations

import hashlib
import sys
from pathlib import Path

import numpy as np


def main(usual: Path, slow: Path, target: Path) -> None:
    """Write the usual ones in half precision (a tenth of a millisecond changes by it at most), the slow ones in whole numbers.

    A slow one's weights are whole numbers to 127 of the largest of their output: its instants change by 0.2 ms at most.
    """
    arrays = {}
    for i, file in enumerate(sorted(usual.glob("net*.npz"))):
        with np.load(file) as network:
            arrays |= {f"{i}/{name}": network[name].astype(np.float16) for name in network.files}
    for i, file in enumerate(sorted(slow.glob("net*.npz"))):
        with np.load(file) as network:
            for name in network.files:
                arrays |= _small(f"slow{i}/{name}", network[name])
    np.savez_compressed(target, **arrays)
    print(hashlib.sha256(target.read_bytes()).hexdigest())


def _small(name: str, values: np.ndarray) -> dict[str, np.ndarray]:
    if values.ndim == 1:
        return {name: values.astype(np.float16)}
    scale = (np.abs(values).reshape(len(values), -1).max(axis=1) / 127.0).clip(1e-9).astype(np.float32)
    whole = np.round(values / scale.reshape(-1, *[1] * (values.ndim - 1)))
    return {name: whole.astype(np.int8), name + ".scale": scale}


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), Path(sys.argv[3]))
