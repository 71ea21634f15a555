"""Marks clicked by hand: what they give so far, and the lane file that is written from them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from penult.adapters.files.lane_file import lane_from_text
from penult.app.lanes import LaneFacts, check_place, lane_at, write_both
from penult.core.lane.fit import fit_lane
from penult.model.arrays import Image
from penult.model.calibration import LaneFile, LaneFit, Lens

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
    source : Path
        The picture or clip that it came from.
    out : Path
        Lane file to be written; the still goes beside it.
    begun : LaneFile, optional
        Marks to begin with: an earlier lane file.
    said : LaneFacts
        What was said on the command line; it goes before the earlier lane file's.
    lens : Lens, optional
        From the command line.
    """

    image: Image
    source: Path
    out: Path
    begun: LaneFile | None = None
    said: LaneFacts = field(default_factory=LaneFacts)
    lens: Lens | None = None

    @property
    def size_px(self) -> tuple[int, int]:
        """Return width and height of the picture."""
        return self.image.shape[1], self.image.shape[0]

    def start(self) -> dict[str, Any]:
        """Return marks and settings to begin with, as the page hands them back."""
        begun, said = self.begun, self.said
        marks = begun.marks if begun else ()
        return {
            "marks": [{"name": m.name, "pixel": list(m.pixel_px), "runway_m": list(m.runway_m)} for m in marks],
            "camera_distance_m": said.camera_distance_m or (begun.camera_distance_m if begun else None),
            "board": said.board and (begun is None or begun.board),
            "note": said.note or (begun.note if begun else ""),
        }

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
        lens = self.lens or (self.begun.lens if self.begun else None)
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
        lane = replace(fit.lane, still=f"{self.out.stem}.jpg")
        write_both(self.out, lane, self.image, self.source)
        return replace(fit, lane=lane)


def picking(image: Image, source: Path, out: Path, said: LaneFacts | None = None) -> Picking:
    """Return a picture to click marks in; an earlier lane file at `out` that fits the picture gives the marks to begin with.

    Parameters
    ----------
    image : Image
    source : Path
        Where it came from.
    out : Path
        The lane file.
    said : LaneFacts, optional
        Distance, lens, note and board from the command line: they stand in the page to begin with.

    Raises
    ------
    CalibrationError
        If the lens was made for another picture size.
    OutputError
        If a place to be written holds something else.
    """
    size_px = (image.shape[1], image.shape[0])
    check_place(out, f"{out.stem}.jpg", source)
    begun = lane_at(out)
    if begun is not None and begun.image_size_px != size_px:
        begun = None
    said = said or LaneFacts()
    return Picking(image=image, source=source, out=out, begun=begun, said=said, lens=said.lens(size_px))
