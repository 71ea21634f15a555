"""Marks clicked by hand: what they give so far, and the lane file that is written from them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from penult.adapters.lane_file import lane_from_text, read_lane, write_lane, write_still
from penult.core.lane import fit_lane
from penult.errors import CalibrationError, OutputError, PenultError
from penult.model.arrays import Image
from penult.model.calibration import LaneFile, LaneFit

FACTS = {"runway_width_m": 1.22, "board_length_m": 0.20, "board_width_m": 1.22, "edge_line_m": 0.05}
"""World Athletics technical rules 29.1 and 29.4 (from memory): ready choices on the page, to be confirmed by measuring.
No distance from board to pit is among them: it differs from place to place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picking:
    """A picture in which marks are clicked, and where the lane file will be written.

    Parameters
    ----------
    image : Image
        Upright RGB: the calibration still.
    source : str
        File name of the picture or clip that it came from.
    out : Path
        Lane file to be written; the still goes beside it.
    begun : LaneFile, optional
        Marks to begin with: an earlier lane file, or markers that were found.
    """

    image: Image
    source: str
    out: Path
    begun: LaneFile | None = None

    @property
    def size_px(self) -> tuple[int, int]:
        """Return width and height of the picture."""
        return self.image.shape[1], self.image.shape[0]

    def lane(self, draft: Mapping[str, Any]) -> LaneFile:
        """Return the lane that the page's marks and settings make, checked like a file.

        Raises
        ------
        CalibrationError
            Lists every fault.
        """
        content = {
            "format": "penult-calibration/1",
            "image_size_px": list(self.size_px),
            "marks": draft.get("marks", []),
            **{key: draft[key] for key in ("camera_distance_m", "board", "note", "pixel_sd_px") if key in draft},
        }
        lens = self.begun.lens if self.begun else None
        return replace(lane_from_text(json.dumps(content), "this page"), lens=lens)

    def fitted(self, draft: Mapping[str, Any]) -> LaneFit:
        """Return the camera that the marks give so far.

        Raises
        ------
        CalibrationError
            If they give none yet; says what is missing.
        """
        return fit_lane(self.lane(draft))

    def write(self, draft: Mapping[str, Any]) -> LaneFit:
        """Write lane file and still, if the marks give a camera, and return its fit.

        Raises
        ------
        CalibrationError
            If the marks give no camera.
        OutputError
            If the files cannot be written, or the place holds something else.
        """
        fit = self.fitted(draft)
        self._check_place()
        lane = replace(fit.lane, still=f"{self.out.stem}.jpg")
        write_still(self.out, lane, self.image)
        write_lane(self.out, lane)
        return replace(fit, lane=lane)

    def _check_place(self) -> None:
        """Refuse to write over a file that is no lane file."""
        if not self.out.exists():
            return
        try:
            read_lane(self.out)
        except PenultError as error:
            raise OutputError(
                f"{self.out} is there already and is no lane file", next_step="choose another name with -o"
            ) from error


def picking(image: Image, source: str, out: Path) -> Picking:
    """Return a picture to click marks in; an earlier lane file at `out` that fits the picture gives the marks to begin with.

    Raises
    ------
    OutputError
        If `out` holds something that is no lane file.
    """
    begun = None
    if out.exists():
        try:
            begun = read_lane(out)
        except CalibrationError as error:
            raise OutputError(
                f"{out} is there already and is no lane file", next_step="choose another name with -o"
            ) from error
        if begun.image_size_px != (image.shape[1], image.shape[0]):
            begun = None
    return Picking(image=image, source=source, out=out, begun=begun)
