"""Published values for orientation, each with its source and whether it was read or only remembered."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal

Mark = Literal["SEEN", "MEMORY"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """A published value or range.

    Parameters
    ----------
    measure : str
        Its name in the result.
    number : int, optional
        Of the contact or step that it belongs to; None where there is one a clip.
    group : str
        Whom it describes.
    low, high : float
        In the unit of the result; equal for a single value; mean minus and plus one SD for 'mean and SD'.
    kind : str
        'range', 'mean and SD' or 'single'.
    source, source_short : str
        Where it was published.
    mark : {'SEEN', 'MEMORY'}
        Read in a stored page, or recalled and unverified.
    note : str
        How it differs, or how it was computed.
    same_definition : bool
        False where the published measure is another one; such a band is listed but never drawn on a scale.
    """

    measure: str
    number: int | None
    group: str
    low: float
    high: float
    kind: str
    source: str
    source_short: str
    mark: Mark
    note: str = ""
    same_definition: bool = True

    @property
    def mark_words(self) -> str:
        """How far the number may be trusted."""
        return "read" if self.mark == "SEEN" else "from memory, unverified"


@cache
def bands() -> tuple[Band, ...]:
    """Return every band that ships with the package."""
    content = json.loads(files("penult").joinpath("data/reference_bands.json").read_text("utf-8"))
    return tuple(
        Band(
            **{key: value for key, value in row.items() if key != "source"},
            source=content["sources"][row["source"]]["text"],
            source_short=content["sources"][row["source"]]["short"],
        )
        for row in content["bands"]
    )


def bands_for(measure: str, number: int | None = None) -> tuple[Band, ...]:
    """Return the bands of one measure of one contact or step, those that were read first."""
    found = [band for band in bands() if band.measure == measure and band.number == number]
    return tuple(sorted(found, key=lambda band: band.mark != "SEEN"))


def drawn_band(measure: str, number: int | None = None) -> Band | None:
    """Return the band to be drawn on a scale: of the same definition, with a width, and read, not remembered."""
    found = bands_for(measure, number)
    return next((b for b in found if b.mark == "SEEN" and b.same_definition and b.high > b.low), None)
