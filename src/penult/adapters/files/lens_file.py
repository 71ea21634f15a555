"""Lens files: `penult-lens/1`, what a chessboard said of a phone's lens at one picture size."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, ValidationError

from penult.adapters.files.lane_file import LensEntry, Side
from penult.errors import CalibrationError
from penult.model.calibration import Lens
from penult.whole_file import read_whole

FORMAT = "penult-lens/1"
_MOST_BYTES = 1 << 16


class LensFileEntry(BaseModel):
    """A lens and the picture size that it holds for."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)

    format: Literal["penult-lens/1"]
    image_size_px: tuple[Side, Side]
    lens: LensEntry


def lens_text(lens: Lens, image_size_px: tuple[int, int]) -> str:
    """Return a lens as the text of its file."""
    entry = {"format": FORMAT, "image_size_px": list(image_size_px), "lens": asdict(lens)}
    return json.dumps(entry, indent=1, allow_nan=False) + "\n"


def read_lens(path: Path) -> tuple[Lens, tuple[int, int]]:
    """Return a lens and the picture size that it holds for.

    Raises
    ------
    CalibrationError
        If the file cannot be read or has faults; lists every one of them.
    """
    try:
        data = read_whole(path, _MOST_BYTES)
    except OSError as error:
        raise CalibrationError(
            f"{path} cannot be read as a lens file", error.strerror or str(error), next_step="make one: 'penult lens'"
        ) from error
    try:
        entry = LensFileEntry.model_validate_json(data)
    except ValidationError as error:
        faults = [f"{'.'.join(map(str, e['loc'])) or 'the file'}: {e['msg']}" for e in error.errors(include_url=False)]
        raise CalibrationError(
            f"{path} is not a lens file", *faults, next_step="make one with 'penult lens'"
        ) from error
    return Lens(**entry.lens.model_dump()), entry.image_size_px
