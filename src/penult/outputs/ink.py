"""Strokes and text on a picture: colours with a meaning, outlined lines, text as cached masks.

Lines are drawn by OpenCV at a sixteenth of a pixel; text by Pillow from the one typeface that comes with matplotlib,
because OpenCV's own letters know neither a degree sign nor a plus-minus.
"""

from __future__ import annotations

import importlib.util
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image as PillowImage
from PIL import ImageDraw, ImageFont

from penult.model.arrays import Bools, Floats, Image

Colour = tuple[int, int, int]

# Okabe and Ito's set (Color Universal Design, 2008): told apart by colour-blind people. RGB.
SUPPORT: Colour = (0xD5, 0x5E, 0x00)  # vermillion: the leg of the contact in question
OTHER: Colour = (0x56, 0xB4, 0xE9)  # sky blue: the other leg
BODY: Colour = (0x77, 0x77, 0x77)  # grey: trunk and arms
RUNWAY: Colour = (0x00, 0x9E, 0x73)  # bluish green: the surface
MAT: Colour = (0xE6, 0x9F, 0x00)  # orange
BY_HAND: Colour = (0xCC, 0x79, 0xA7)  # reddish purple: corrected by a person
BLACK: Colour = (0x11, 0x11, 0x11)
WHITE: Colour = (0xFF, 0xFF, 0xFF)

_SHIFT = 4
_SUB = 1 << _SHIFT


def hex_colour(colour: Colour) -> str:
    """Return the colour as pages and charts write it."""
    return "#{:02X}{:02X}{:02X}".format(*colour)


def stroke(
    image: Image,
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
    image : (h, w, 3) uint8
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
    for run in _unbroken(np.asarray(points_px, dtype=np.float64)):
        pieces = _dashes(run, dash) if dash else [run]
        fixed = [np.round(piece * _SUB).astype(np.int32).reshape(-1, 1, 2) for piece in pieces]
        if outline is not None:  # whole under a dashed line too: it then reads as one line on any ground
            whole = np.round(run * _SUB).astype(np.int32).reshape(-1, 1, 2)
            cv2.polylines(image, [whole], False, outline, max(1, round(width + 2.0)), cv2.LINE_AA, _SHIFT)
        cv2.polylines(image, fixed, False, colour, max(1, round(width)), cv2.LINE_AA, _SHIFT)


def ring(image: Image, at_px: Floats, radius: float, colour: Colour, *, fill: Colour | None = WHITE) -> None:
    """Draw a small open circle; nothing where the point is NaN."""
    if not np.isfinite(at_px).all():
        return
    centre = (round(float(at_px[0]) * _SUB), round(float(at_px[1]) * _SUB))
    fixed = round(radius * _SUB)
    if fill is not None:
        cv2.circle(image, centre, fixed, fill, -1, cv2.LINE_AA, _SHIFT)
    cv2.circle(image, centre, fixed, colour, 2, cv2.LINE_AA, _SHIFT)


def arrow(image: Image, start_px: Floats, end_px: Floats, colour: Colour, width: float, *, outline: Colour) -> None:
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


def plate(image: Image, box: tuple[float, float, float, float], colour: Colour, opacity: float) -> None:
    """Lay a flat see-through rectangle (x0, y0, x1, y1) on the picture."""
    x0, y0, x1, y1 = (max(0, round(v)) for v in box)
    part = image[y0:y1, x0:x1]
    if part.size:
        tint = np.full_like(part, colour)
        image[y0:y1, x0:x1] = cv2.addWeighted(part, 1.0 - opacity, tint, opacity, 0.0)


def text_size(text: str, size: int, *, bold: bool = False) -> tuple[int, int]:
    """Return width and line height of a text in pixels."""
    mask = _mask(text, size, bold)
    return mask.shape[1], mask.shape[0]


def write(
    image: Image, text: str, at_px: tuple[float, float], size: int, colour: Colour, *, bold: bool = False
) -> None:
    """Write text with its top left corner at a pixel; what lies outside the picture is left out."""
    mask = _mask(text, size, bold)
    x, y = round(at_px[0]), round(at_px[1])
    x0, y0 = max(0, x), max(0, y)
    x1, y1 = min(image.shape[1], x + mask.shape[1]), min(image.shape[0], y + mask.shape[0])
    if x1 <= x0 or y1 <= y0:
        return
    share = mask[y0 - y : y1 - y, x0 - x : x1 - x, None].astype(np.uint16)
    ground = image[y0:y1, x0:x1].astype(np.uint16)
    image[y0:y1, x0:x1] = ((ground * (255 - share) + np.array(colour, dtype=np.uint16) * share) // 255).astype(np.uint8)


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
    edges = np.flatnonzero(np.diff(good.astype(np.int8))) + 1
    return [run for run, ok in zip(np.split(points, edges), good[np.r_[0, edges]], strict=True) if ok and len(run) > 1]


def _dashes(points: Floats, dash: tuple[float, float]) -> list[Floats]:
    """Return the drawn pieces of a dashed line, each following the line's bends."""
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(points, axis=0).T))]
    pieces = []
    for start in np.arange(0.0, along[-1], sum(dash)):
        end = min(start + dash[0], along[-1])
        stops = np.r_[start, along[(along > start) & (along < end)], end]
        pieces.append(np.stack([np.interp(stops, along, points[:, i]) for i in (0, 1)], axis=1))
    return pieces
