"""Strokes and text on a picture: colours with a meaning, outlined lines, text as cached masks.

A picture is RGB, or brightness and colour as films store them; on the latter everything is drawn twice, at the full and at
half the size, which is still quicker than turning a whole picture into RGB and back.

Lines are drawn by OpenCV at a sixteenth of a pixel; text by Pillow from the one typeface that comes with matplotlib,
because OpenCV's own letters know neither a degree sign nor a plus-minus.
"""

from __future__ import annotations

import importlib.util
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate, pairwise
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image as PillowImage
from PIL import ImageDraw, ImageFont

from penult.model.arrays import Bools, Floats, Image
from penult.model.clip import Planes
from penult.outputs.drawing.measures import RGB

Colour = tuple[int, int, int]
Picture = Image | Planes

COLOURS: Mapping[str, Colour] = RGB
SUPPORT, OTHER, BODY, RUNWAY = (RGB[name] for name in ("support", "other", "body", "track"))
MAT, BY_HAND, BLACK, WHITE = (RGB[name] for name in ("mat", "hand", "ink", "paper"))

_SHIFT = 4
_SUB = 1 << _SHIFT

_COLOUR_LIES = np.array([0.0, 0.25])


def hex_colour(colour: Colour) -> str:
    """Return the colour as pages and charts write it."""
    return "#{:02X}{:02X}{:02X}".format(*colour)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What is drawn on in one go: an array, its pixels per pixel of the picture, and how it holds a colour."""

    pixels: NDArray[np.uint8]
    scale: float = 1.0
    coded: Callable[[Colour], tuple[int, ...]] = tuple

    def at(self, points_px: Floats) -> Floats:
        """Return pixels of the picture as pixels of the sheet; colour lies between two lines of brightness, as in MPEG-2."""
        return points_px if self.scale == 1.0 else points_px * self.scale - _COLOUR_LIES

    def width(self, width: float) -> int:
        """Return a line's width in whole pixels."""
        return max(1, round(width * self.scale))


def sheets(picture: Picture) -> tuple[Sheet, ...]:
    """Return what a picture is made of."""
    if isinstance(picture, Planes):
        luma = Sheet(pixels=picture.luma, coded=lambda colour: _video(colour)[:1])
        return luma, Sheet(pixels=picture.chroma, scale=0.5, coded=lambda colour: _video(colour)[1:])
    return (Sheet(pixels=picture),)


@lru_cache(maxsize=64)
def _video(colour: Colour) -> tuple[int, ...]:
    """Brightness and two colour differences of BT.709 in limited range (ITU-R BT.709-6, items 3.2 to 3.5)."""
    red, green, blue = (v / 255.0 for v in colour)
    luma = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    return (
        round(16.0 + 219.0 * luma),
        round(128.0 + 224.0 * (blue - luma) / 1.8556),
        round(128.0 + 224.0 * (red - luma) / 1.5748),
    )


def stroke(
    image: Picture,
    points_px: Floats,
    colour: Colour,
    width: float = 2.0,
    *,
    outline: Colour | None = None,
    dash: tuple[float, float] | None = None,
) -> None:
    """Draw a line through points, broken where a point is NaN.

    Parameters
    ----------
    image : (h, w, 3) uint8 or Planes
        Changed in place.
    points_px : (n, 2) float64
        Pixels of `image`, y down.
    colour, outline : RGB
        The outline is a thin contrary edge, so that the line reads on any ground.
    width : float
        Pixels, without the outline.
    dash : (float, float), optional
        Lengths drawn and left out, in pixels.
    """
    runs = _unbroken(np.asarray(points_px, dtype=np.float64))
    if not runs:
        return
    pieces = [piece for run in runs for piece in _dashes(run, dash)] if dash else runs
    for sheet in sheets(image):
        if outline is not None:  # whole under a dashed line too: it then reads as one line on any ground
            _lines(sheet, runs, outline, width + 2.0)
        _lines(sheet, pieces, colour, width)


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """Drawn once, laid on many pictures: for every sheet its corner (x, y), what is added there, and what stays of the ground."""

    parts: tuple[tuple[tuple[int, int], NDArray[np.uint8], NDArray[np.uint8]], ...]

    def lay_on(self, picture: Picture, shift: tuple[int, int] = (0, 0)) -> None:
        """Draw it on a picture whose top left pixel lies at `shift` (x, y) of the one that it was made for."""
        for sheet, (corner, added, stays) in zip(sheets(picture), self.parts, strict=True):
            x, y = (c - math.floor(s * sheet.scale) for c, s in zip(corner, shift, strict=True))
            height, width = sheet.pixels.shape[:2]
            x0, y0, x1, y1 = max(x, 0), max(y, 0), min(x + added.shape[1], width), min(y + added.shape[0], height)
            if x1 <= x0 or y1 <= y0:
                continue
            part = np.s_[y0 - y : y1 - y, x0 - x : x1 - x]
            ground = sheet.pixels[y0:y1, x0:x1]
            ground[:] = cv2.add(cv2.multiply(ground, stays[part], scale=1.0 / 255.0), added[part]).reshape(ground.shape)


def layer(like: Picture, draw: Callable[[Picture], None]) -> Layer:
    """Return what `draw` draws on a picture like this one: seen by drawing it on black and on white."""
    black, white = _flat(like, 0), _flat(like, 255)
    draw(black)
    draw(white)
    parts = []
    for on_black, on_white in zip(sheets(black), sheets(white), strict=True):
        added, stays = on_black.pixels, cv2.subtract(on_white.pixels, on_black.pixels)
        changed = (stays != 255) if stays.ndim == 2 else (stays != 255).any(axis=2)
        rows, columns = np.flatnonzero(changed.any(axis=1)), np.flatnonzero(changed.any(axis=0))
        box = (slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)) if len(rows) else (slice(0), slice(0))
        corner = (int(columns[0]), int(rows[0])) if len(rows) else (0, 0)
        parts.append((corner, added[box].copy(), stays[box].copy()))
    return Layer(parts=tuple(parts))


def _flat(like: Picture, value: int) -> Picture:
    if isinstance(like, Planes):
        return Planes(luma=np.full_like(like.luma, value), chroma=np.full_like(like.chroma, value))
    return np.full_like(like, value)


def _lines(sheet: Sheet, pieces: list[Floats], colour: Colour, width: float) -> None:
    # all at once: what takes time with short lines is the number of steps
    whole = np.rint(sheet.at(np.concatenate(pieces)) * _SUB).astype(np.int32)
    fixed = [whole[end - len(piece) : end] for piece, end in zip(pieces, accumulate(map(len, pieces)), strict=True)]
    cv2.polylines(sheet.pixels, fixed, False, sheet.coded(colour), sheet.width(width), cv2.LINE_AA, _SHIFT)


def ring(image: Picture, at_px: Floats, radius: float, colour: Colour, *, fill: Colour | None = WHITE) -> None:
    """Draw a small open circle; nothing where the point is NaN."""
    if not np.isfinite(at_px).all():
        return
    for sheet in sheets(image):
        x, y = sheet.at(np.asarray(at_px, dtype=np.float64)) * _SUB
        centre, fixed = (round(float(x)), round(float(y))), round(radius * sheet.scale * _SUB)
        if fill is not None:
            cv2.circle(sheet.pixels, centre, fixed, sheet.coded(fill), -1, cv2.LINE_AA, _SHIFT)
        cv2.circle(sheet.pixels, centre, fixed, sheet.coded(colour), sheet.width(2.0), cv2.LINE_AA, _SHIFT)


def arrow(image: Picture, start_px: Floats, end_px: Floats, colour: Colour, width: float, *, outline: Colour) -> None:
    """Draw a line with an open arrow head at its end."""
    along = end_px - start_px
    length = float(np.hypot(*along))
    if not np.isfinite(length) or length < 1.0:
        return
    unit = along / length
    across = np.array([-unit[1], unit[0]])
    head = min(0.4 * length, 4.0 + 3.0 * width)
    stroke(image, np.array([start_px, end_px]), colour, width, outline=outline)
    sides = np.array([end_px - head * (unit + 0.5 * across), end_px, end_px - head * (unit - 0.5 * across)])
    stroke(image, sides, colour, width, outline=outline)


def plate(image: Picture, box: tuple[float, float, float, float], colour: Colour, opacity: float) -> None:
    """Lay a flat see-through rectangle (x0, y0, x1, y1) on the picture."""
    for sheet in sheets(image):
        x0, y0, x1, y1 = (max(0, round(v * sheet.scale)) for v in box)
        part = sheet.pixels[y0:y1, x0:x1]
        if part.size:
            tint = np.empty_like(part)
            tint[:] = sheet.coded(colour) if part.ndim == 3 else sheet.coded(colour)[0]
            sheet.pixels[y0:y1, x0:x1] = cv2.addWeighted(part, 1.0 - opacity, tint, opacity, 0.0)


def text_size(text: str, size: int, *, bold: bool = False) -> tuple[int, int]:
    """Return width and line height of a text in pixels."""
    mask = _mask(text, size, bold)
    return mask.shape[1], mask.shape[0]


def write(
    image: Picture, text: str, at_px: tuple[float, float], size: int, colour: Colour, *, bold: bool = False
) -> None:
    """Write text with its top left corner at a pixel; what lies outside the picture is left out."""
    for sheet in sheets(image):
        mask = _mask(text, size, bold) if sheet.scale == 1.0 else _small_mask(text, size, bold)
        x, y = (round(v * sheet.scale) for v in at_px)
        height, width = sheet.pixels.shape[:2]
        x0, y0 = max(0, x), max(0, y)
        x1, y1 = min(width, x + mask.shape[1]), min(height, y + mask.shape[0])
        if x1 > x0 and y1 > y0:
            _blend(sheet.pixels[y0:y1, x0:x1], mask[y0 - y : y1 - y, x0 - x : x1 - x], sheet.coded(colour))


def _blend(ground: NDArray[np.uint8], share: NDArray[np.uint8], value: tuple[int, ...]) -> None:
    """Lay a flat colour on a part of a picture, each pixel by its share of 255."""
    deep = share.astype(np.uint16)
    tint = np.array(value, dtype=np.uint16)
    if ground.ndim == 3:
        deep = deep[..., None]
    else:
        tint = tint[0]
    ground[:] = ((ground * (255 - deep) + tint * deep) // 255).astype(np.uint8)


@lru_cache(maxsize=512)
def _mask(text: str, size: int, bold: bool) -> NDArray[np.uint8]:
    face = _face(size, bold)
    ascent, descent = face.getmetrics()
    width = max(1, round(face.getlength(text)) + 1)
    picture = PillowImage.new("L", (width, ascent + descent), 0)
    ImageDraw.Draw(picture).text((0, 0), text, fill=255, font=face)
    mask = np.asarray(picture, dtype=np.uint8)
    mask.flags.writeable = False
    return mask


@lru_cache(maxsize=512)
def _small_mask(text: str, size: int, bold: bool) -> NDArray[np.uint8]:
    """Return the mask at half the size, an odd side rounded up."""
    mask = _mask(text, size, bold)
    even = np.pad(mask, ((0, mask.shape[0] % 2), (0, mask.shape[1] % 2)))
    return np.asarray(cv2.resize(even, (even.shape[1] // 2, even.shape[0] // 2), interpolation=cv2.INTER_AREA))


@lru_cache(maxsize=32)
def _face(size: int, bold: bool) -> ImageFont.FreeTypeFont:
    """Return the typeface; matplotlib is located without importing it, which would take longer than the drawing."""
    spec = importlib.util.find_spec("matplotlib")
    if spec is None or spec.origin is None:
        raise RuntimeError("matplotlib, which penult needs, is not installed")
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf" / name), size)


def _unbroken(points: Floats) -> list[Floats]:
    """Return the stretches of two and more points without a NaN between them."""
    good: Bools = np.asarray((np.abs(points) < 1e5).all(axis=1))  # False for NaN too
    if good.all():
        return [points] if len(points) > 1 else []
    edges = (np.flatnonzero(good[1:] != good[:-1]) + 1).tolist()
    return [points[a:b] for a, b in pairwise([0, *edges, len(points)]) if good[a] and b - a > 1]


def _dashes(points: Floats, dash: tuple[float, float]) -> list[Floats]:
    """Return the drawn pieces of a dashed line, each following the line's bends."""
    if len(points) == 2:  # what most are, in a third of the time
        way = points[1] - points[0]
        length = float(np.hypot(*way))
        starts = np.arange(0.0, length, sum(dash))
        shares = np.stack([starts, np.minimum(starts + dash[0], length)], axis=1) / max(length, 1e-9)
        return list(points[0] + shares[..., None] * way)
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(points, axis=0).T))]
    pieces = []
    for start in np.arange(0.0, along[-1], sum(dash)):
        end = min(start + dash[0], along[-1])
        stops = np.r_[start, along[(along > start) & (along < end)], end]
        pieces.append(np.stack([np.interp(stops, along, points[:, i]) for i in (0, 1)], axis=1))
    return pieces
