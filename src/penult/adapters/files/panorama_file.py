"""The panorama that lies beside the lane file of a panned place (npz): cameras, and what its pictures are found again by."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from penult.adapters.files.npz import unpacked
from penult.errors import CalibrationError, OutputError
from penult.model.calibration import LaneFile
from penult.model.panorama import Panorama
from penult.model.sweep_picture import Key
from penult.whole_file import TooLargeError, read_whole, write_whole

FORMAT = "penult-panorama/1"
_MOST_BYTES = 200_000_000
_MOST_ARRAYS = 20


def panorama_path(lane_path: Path, lane: LaneFile) -> Path | None:
    """Return where a lane's panorama lies: beside the lane file; None for a lane that is not panned."""
    return None if lane.panorama is None else lane_path.parent / lane.panorama


def write_panorama(path: Path, panorama: Panorama, keys: list[Key], factor: int) -> None:
    """Write a panorama.

    Raises
    ------
    OutputError
        If the place cannot be written.
    """
    stream = io.BytesIO()
    counts = [[len(k.corners_px), len(k.words)] for k in keys]
    np.savez_compressed(
        stream,
        format=np.array(FORMAT),
        centre_m=panorama.centre_m,
        lens=np.array([panorama.log_focal, panorama.k1, panorama.noise_px]),
        turns=panorama.turns,
        covariance=panorama.covariance,
        numbers=np.array([*panorama.image_size_px, panorama.reference, factor]),
        frames=np.array([k.frame for k in keys]),
        at_px=np.stack([k.at_px for k in keys]),
        pictures=np.stack([k.small for k in keys]),
        counts=np.array(counts),
        corners=np.concatenate([k.corners_px for k in keys]).astype(np.float32),
        key_points=np.concatenate([k.key_points_px for k in keys]).astype(np.float32),
        words=np.concatenate([k.words for k in keys]).astype(np.uint8),
    )
    try:
        write_whole(path, stream.getvalue())
    except OSError as error:
        raise OutputError(
            f"{path} cannot be written", error.strerror or str(error), next_step="choose another place with -o"
        ) from error


def read_panorama(path: Path) -> tuple[Panorama, list[Key], int]:
    """Return a panorama, its pictures, and by how much these are reduced.

    Raises
    ------
    CalibrationError
        If the file is missing or is no panorama.
    """
    hint = "copy it there, or make the lane file anew: penult calibrate SWEEP --places CSV --clicks CSV"
    try:
        data = read_whole(path, _MOST_BYTES)
    except TooLargeError as error:
        raise CalibrationError(f"{path} is too large for a panorama", next_step=hint) from error
    except OSError as error:
        raise CalibrationError(
            f"the lane's panorama {path} cannot be read", error.strerror or str(error), next_step=hint
        ) from error
    try:
        return _place(unpacked(data, most_arrays=_MOST_ARRAYS, most_bytes=_MOST_BYTES))
    except (KeyError, ValueError, IndexError, TypeError) as error:
        raise CalibrationError(f"{path} is not a panorama", str(error)[:200], next_step=hint) from error


def _place(a: dict[str, NDArray[Any]]) -> tuple[Panorama, list[Key], int]:
    """Return what the arrays say; ValueError and its like where they do not go together."""
    if str(a["format"]) != FORMAT:
        raise ValueError(f"its format is {str(a['format'])[:40]!r}")
    width, height, reference, factor = (int(v) for v in a["numbers"])
    n = len(a["frames"])
    panorama = Panorama(
        centre_m=a["centre_m"].reshape(3),
        log_focal=float(a["lens"][0]),
        k1=float(a["lens"][1]),
        turns=a["turns"].reshape(n, 3, 3),
        covariance=a["covariance"].reshape(5 + 3 * n, 5 + 3 * n),
        image_size_px=(width, height),
        reference=reference,
        noise_px=float(a["lens"][2]),
    )
    ends = np.cumsum(a["counts"], axis=0)
    starts = ends - a["counts"]
    keys = [
        Key(
            frame=int(a["frames"][i]),
            small=np.ascontiguousarray(a["pictures"][i], dtype=np.uint8),
            at_px=a["at_px"][i].astype(np.float64),
            corners_px=a["corners"][starts[i, 0] : ends[i, 0]].astype(np.float64),
            key_points_px=a["key_points"][starts[i, 1] : ends[i, 1]].astype(np.float64),
            words=a["words"][starts[i, 1] : ends[i, 1]].astype(np.float32),
        )
        for i in range(n)
    ]
    if not (0 <= reference < n and 1 <= factor <= 16 and all(len(k.corners_px) for k in keys)):
        raise ValueError("its numbers do not go together")
    return panorama, keys, factor
