"""Decoded frames that are no pictures yet, and parts of them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from penult.adapters.film.colour import Box, Colour, Cut, cut_out
from penult.adapters.film.matrix import Turn
from penult.model.clip import Frame, Planes


@dataclass(frozen=True, slots=True, kw_only=True)
class Raw:
    """A decoded frame that is no picture yet: making one of it can be left to another thread, or left alone."""

    index: int
    time_s: float
    decoded: Any
    colour: Colour
    way: Turn

    def frame(self) -> Frame:
        """Return the upright RGB picture in full size."""
        return Frame(index=self.index, time_s=self.time_s, image=self.way.apply(self.colour.rgb(self.decoded)))

    def planes(self, size_px: tuple[int, int]) -> Planes:
        """Return the upright picture reduced to a width and height, as films store it; an odd side is padded."""
        stored = self.way.size_px(size_px)  # swapping the axes twice is no swap
        coded = replace(self.colour, size_px=stored).planes(self.decoded)
        return Planes(luma=self.way.apply(coded.luma), chroma=self.way.apply(coded.chroma))

    def part(self, box: Box) -> Part | None:
        """Return a part of the picture to be kept, at half the memory of RGB; None where the picture is turned or not 4:2:0.

        Parameters
        ----------
        box : (int, int, int, int)
            x0, y0, x1, y1: even pixels, the last ones not included.
        """
        if self.way != Turn() or (self.decoded.width, self.decoded.height) != self.colour.size_px:
            return None
        cut = cut_out(self.decoded, box)
        if cut is None:
            return None
        return Part(index=self.index, time_s=self.time_s, cut=cut, box=box, size_px=self.colour.size_px)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A part of a decoded frame, still as it was stored."""

    index: int
    time_s: float
    cut: Cut
    box: Box
    size_px: tuple[int, int]

    def frame(self) -> Frame:
        """Return the picture in full size, black beyond the part."""
        x0, y0, x1, y1 = self.box
        image = np.zeros((self.size_px[1], self.size_px[0], 3), dtype=np.uint8)
        if x1 > x0 and y1 > y0:
            image[y0:y1, x0:x1] = self.cut.rgb()
        return Frame(index=self.index, time_s=self.time_s, image=image)

    def shown(self, box: Box) -> Frame:
        """Return what the part shows of a box of the picture, a black pixel where that is nothing."""
        left, top = self.box[:2]
        x0, y0 = max(box[0], left), max(box[1], top)
        x1, y1 = min(box[2], self.box[2]), min(box[3], self.box[3])
        if x1 <= x0 or y1 <= y0:
            return Frame(index=self.index, time_s=self.time_s, image=np.zeros((1, 1, 3), dtype=np.uint8))
        image = self.cut.rgb((x0 - left, y0 - top, x1 - left, y1 - top))
        return Frame(index=self.index, time_s=self.time_s, image=image, corner_px=(x0, y0))

    def planes(self, box: Box) -> tuple[Planes, tuple[int, int]] | None:
        """Return what the part shows of a box, as films store it, and its corner in the picture; None where that is nothing."""
        left, top = self.box[:2]
        x0, y0 = max(box[0], left), max(box[1], top)
        x1, y1 = min(box[2], self.box[2]), min(box[3], self.box[3])
        if x1 <= x0 or y1 <= y0:
            return None
        return self.cut.planes((x0 - left, y0 - top, x1 - left, y1 - top)), (x0, y0)

    def shows(self, box: Box) -> bool:
        """Whether a box lies in the part, as far as it lies in the picture."""
        low, high = np.maximum(box[:2], 0), np.minimum(box[2:], self.size_px)
        return bool((low >= self.box[:2]).all() and (high <= self.box[2:]).all())
