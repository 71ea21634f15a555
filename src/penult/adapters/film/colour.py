"""From a decoded picture to 8-bit RGB or grey, in the stored orientation.

HDR (PQ or HLG) becomes SDR in one defined way. Signal to light as ITU-R BT.2100 defines it, each channel by
itself; light over the reference white of 203 cd/m2 (ITU-R BT.2408); what is brighter than half of it rolled off so
that 1000 cd/m2 becomes white (Reinhard et al. 2002, equation 4); then the sRGB curve (IEC 61966-2-1). Primaries stay as
they are, so colours come out slightly pale: no measure rests on colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from penult.model.clip import Planes

Pixels = NDArray[np.uint8]
Box = tuple[int, int, int, int]
"""x0, y0, x1, y1 in pixels, all even, the last ones not included."""
PQ, HLG = 16, 18  # transfer characteristics as ITU-T H.273 numbers them
_LIMITED, _FULL = 1, 2
_ITU601, _ITU709, _BT2020 = 5, 1, 9  # of the scaler's tables
_MATRICES = {1: _ITU709, 5: _ITU601, 6: _ITU601, 9: _BT2020, 10: _BT2020}
_WHITE_CD_M2, _BRIGHTEST_CD_M2, _KNEE = 203.0, 1000.0, 0.5
_OVER_MAX = (_BRIGHTEST_CD_M2 / _WHITE_CD_M2 - _KNEE) / (1 - _KNEE)
_LUMA_FIRST = ("yuv420p", "yuvj420p", "yuv422p", "yuvj422p", "yuv444p", "yuvj444p", "nv12", "gray")
_LUMA_FIRST_10_BIT = ("yuv420p10le", "yuv422p10le", "yuv444p10le")


@dataclass(frozen=True, slots=True, kw_only=True)
class Colour:
    """How frames of one clip become 8-bit pictures; the size is of square pixels, not yet turned."""

    size_px: tuple[int, int]

    def rgb(self, frame: Any) -> Pixels:
        """Return (height, width, 3) uint8, C-contiguous."""
        width, height = self.size_px
        matrix, is_full = _matrix(frame), _is_full(frame)
        transfer = int(frame.color_trc)
        if width < frame.width and height < frame.height:  # in two steps, the scaler takes two thirds of the time
            kind = "yuv420p" if frame.format.name == "yuv420p10le" else frame.format.name
            frame = frame.reformat(width=width, height=height, format=kind, interpolation="BILINEAR", threads=1)
        elif frame.format.name == "yuv420p10le":  # by way of 8 bits, the scaler takes half the time
            frame = frame.reformat(format="yuv420p", threads=1)
        picture = frame.reformat(
            width=width,
            height=height,
            format="rgb24",
            src_colorspace=matrix,
            src_color_range=_FULL if is_full else _LIMITED,
            dst_color_range=_FULL,
            interpolation="BILINEAR",
            threads=1,  # decoding goes on beside it in its own threads
        )
        return _to_sdr(np.ascontiguousarray(picture.to_ndarray()), transfer)

    def planes(self, frame: Any) -> Planes:
        """Return brightness and colour as a film stores them; an odd side is padded, its last column or row repeated."""
        width, height = self.size_px
        transfer = int(frame.color_trc)
        if (
            _is_film_like(frame)
            and transfer not in (PQ, HLG)
            and _whole_times((frame.width, frame.height), self.size_px)
        ):
            return _averaged(frame, self.size_px)
        if transfer in (PQ, HLG) or width % 2 or height % 2:
            import av

            picture = np.pad(self.rgb(frame), ((0, height % 2), (0, width % 2), (0, 0)), mode="edge")
            frame, matrix, range_ = av.VideoFrame.from_ndarray(picture, "rgb24"), None, None
        else:
            matrix, range_ = _matrix(frame), _FULL if _is_full(frame) else _LIMITED
        coded = frame.reformat(
            width=width + width % 2,
            height=height + height % 2,
            format="yuv420p",  # the scaler takes half the time that it would for both colours in one plane
            src_colorspace=matrix,
            dst_colorspace=_ITU709,
            src_color_range=range_,
            dst_color_range=_LIMITED,
            interpolation="BILINEAR",
            threads=1,
        )
        luma, blue, red = (_rows(plane) for plane in coded.planes)
        return Planes(luma=luma.copy(), chroma=np.stack([blue, red], axis=-1))

    def grey(self, frame: Any) -> Pixels:
        """Return (height, width) uint8, C-contiguous: luma as stored, its range not stretched."""
        width, height = self.size_px
        transfer = int(frame.color_trc)
        is_square = (frame.width, frame.height) == self.size_px
        if is_square and frame.format.name in _LUMA_FIRST:
            return _to_sdr(np.array(_plane(frame, np.uint8), order="C"), transfer)
        if is_square and frame.format.name in _LUMA_FIRST_10_BIT:
            return _to_sdr((_plane(frame, "<u2") >> 2).astype(np.uint8), transfer)
        range_ = _FULL if _is_full(frame) else _LIMITED
        picture = frame.reformat(
            width=width, height=height, format="gray", src_color_range=range_, dst_color_range=range_, threads=1
        )
        return _to_sdr(np.ascontiguousarray(picture.to_ndarray()), transfer)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """A box of a decoded picture in 8 bits and 4:2:0, with what its colours mean."""

    samples: Pixels
    colorspace: int
    color_range: int
    color_trc: int
    is_low: bool

    def rgb(self, box: Box | None = None) -> Pixels:
        """Return (height, width, 3) uint8: the very pixels that `Colour.rgb` gives of the whole picture; or a box of them."""
        import av

        samples = self.samples if box is None else _packed(self._planes(), box)
        frame = av.VideoFrame.from_ndarray(samples, "yuv420p")
        is_full = self.color_range == _FULL
        matrix = _MATRICES.get(self.colorspace, _ITU601 if self.is_low else _ITU709)
        picture = frame.reformat(
            format="rgb24",
            src_colorspace=matrix,
            src_color_range=_FULL if is_full else _LIMITED,
            dst_color_range=_FULL,
            interpolation="BILINEAR",
            threads=1,
        )
        return _to_sdr(np.ascontiguousarray(picture.to_ndarray()), self.color_trc)

    def planes(self, box: Box) -> Planes:
        """Return a box of it as a film stores it, in full size: 8 bits, BT.709, limited range."""
        import av

        samples = _packed(self._planes(), box)
        known = _MATRICES.get(self.colorspace, _ITU601 if self.is_low else _ITU709)
        is_hdr_coded, is_full = self.color_trc in (PQ, HLG), self.color_range == _FULL
        if known == _ITU709 and not is_full and not is_hdr_coded:
            return _as_planes(samples)
        picture, kind = (self.rgb(box), "rgb24") if is_hdr_coded else (samples, "yuv420p")
        coded = av.VideoFrame.from_ndarray(picture, kind).reformat(
            format="yuv420p",
            src_colorspace=None if is_hdr_coded else known,
            dst_colorspace=_ITU709,
            src_color_range=None if is_hdr_coded else _FULL if is_full else _LIMITED,
            dst_color_range=_LIMITED,
            interpolation="BILINEAR",
            threads=1,
        )
        luma, blue, red = (_rows(plane) for plane in coded.planes)
        return Planes(luma=luma.copy(), chroma=np.stack([blue, red], axis=-1))

    def _planes(self) -> tuple[Pixels, Pixels, Pixels]:
        width, height = self.samples.shape[1], self.samples.shape[0] * 2 // 3
        colours = self.samples.reshape(-1)[width * height :].reshape(2, height // 2, width // 2)
        return self.samples[:height], colours[0], colours[1]


def cut_out(frame: Any, box: Box) -> Cut | None:
    """Return a box (x0, y0, x1, y1; all even) of a decoded picture, None if it is not 4:2:0 in three planes."""
    range_, trc, space = (int(v) for v in (frame.color_range, frame.color_trc, frame.colorspace))
    if frame.format.name == "yuv420p10le":
        frame = frame.reformat(format="yuv420p", threads=1)
    elif frame.format.name not in ("yuv420p", "yuvj420p"):
        return None
    samples = _packed([_rows(plane) for plane in frame.planes], box)
    full = _FULL if frame.format.name.startswith("yuvj") else range_
    return Cut(samples=samples, colorspace=space, color_range=full, color_trc=trc, is_low=frame.height < 720)


def _packed(planes: Sequence[Pixels], box: Box) -> Pixels:
    """Return a box of brightness and two half-size colours, one after the other in one array."""
    x0, y0, x1, y1 = box
    width, height = x1 - x0, y1 - y0
    samples = np.empty((height * 3 // 2, width), dtype=np.uint8)
    samples[:height] = planes[0][y0:y1, x0:x1]
    colours = samples.reshape(-1)[width * height :].reshape(2, height // 2, width // 2)
    for plane, room in zip(planes[1:], colours, strict=True):
        room[:] = plane[y0 // 2 : y1 // 2, x0 // 2 : x1 // 2]
    return samples


def _as_planes(samples: Pixels) -> Planes:
    """Return 8-bit 4:2:0 samples, three planes one after the other, as brightness and colour."""
    import cv2

    width, height = samples.shape[1], samples.shape[0] * 2 // 3
    blue, red = samples.reshape(-1)[width * height :].reshape(2, height // 2, width // 2)
    return Planes(luma=samples[:height], chroma=np.asarray(cv2.merge([blue, red])))


def is_hdr(frame: Any) -> bool:
    """Tell whether the picture is coded for a high dynamic range."""
    return int(frame.color_trc) in (PQ, HLG)


def reduced(grey: Pixels, factor: int) -> Pixels:
    """Average blocks of `factor` x `factor` pixels; rows and columns that fill no block are left out.

    Pixel (i, j) of the result covers the input's rows factor * i and the following ones, columns likewise: the
    centre of its top-left pixel lies at ((factor - 1) / 2, (factor - 1) / 2) of the input.
    """
    if factor == 1:
        return grey
    height, width = grey.shape[0] // factor, grey.shape[1] // factor
    total = np.zeros((height, width), np.uint16 if factor <= 16 else np.uint32)
    for i in range(factor):
        for j in range(factor):
            total += grey[i : height * factor : factor, j : width * factor : factor]
    return np.asarray(total // (factor * factor), dtype=np.uint8)


def _is_full(frame: Any) -> bool:
    return int(frame.color_range) == _FULL or frame.format.name.startswith("yuvj")


def _matrix(frame: Any) -> int:
    """Unmarked pictures: BT.709 from 720 rows up, BT.601 below, as players do."""
    return _MATRICES.get(int(frame.colorspace), _ITU709 if frame.height >= 720 else _ITU601)


def _plane(frame: Any, dtype: Any) -> NDArray[Any]:
    """Return a view of the frame's first plane, without the padding of its rows."""
    plane = frame.planes[0]
    samples = np.frombuffer(plane, dtype)
    return samples.reshape(-1, plane.line_size // samples.itemsize)[: frame.height, : frame.width]


def _is_film_like(frame: Any) -> bool:
    """Whether the picture is stored as films written here are: 4:2:0 in three planes, BT.709, limited range."""
    return frame.format.name == "yuv420p" and not _is_full(frame) and _matrix(frame) == _ITU709


def _whole_times(stored_px: tuple[int, int], size_px: tuple[int, int]) -> bool:
    """Whether a stored picture is a whole number of times an even size."""
    factor = stored_px[0] // size_px[0]
    return stored_px == (factor * size_px[0], factor * size_px[1]) and size_px[0] % 2 == size_px[1] % 2 == 0


def _averaged(frame: Any, size_px: tuple[int, int]) -> Planes:
    """Return blocks of the planes averaged: the same picture at a seventh of the scaler's time."""
    import cv2

    sizes = (size_px, (size_px[0] // 2, size_px[1] // 2), (size_px[0] // 2, size_px[1] // 2))
    luma, blue, red = (
        np.asarray(cv2.resize(_rows(plane), size, interpolation=cv2.INTER_AREA))
        for plane, size in zip(frame.planes, sizes, strict=True)
    )
    return Planes(luma=luma, chroma=np.asarray(cv2.merge([blue, red])))


def _rows(plane: Any) -> Pixels:
    """Return a view of a plane's rows without their padding."""
    return np.frombuffer(plane, np.uint8).reshape(-1, plane.line_size)[: plane.height, : plane.width]


def _to_sdr(pixels: Pixels, transfer: int) -> Pixels:
    if transfer not in (PQ, HLG):
        return pixels
    coded = bytearray(pixels).translate(sdr_table(transfer).tobytes())  # three times as quick as indexing
    return np.frombuffer(coded, np.uint8).reshape(pixels.shape)


@cache
def sdr_table(transfer: int) -> Pixels:
    """Return the (256,) table from an 8-bit PQ or HLG signal to an 8-bit SDR signal."""
    signal = np.arange(256) / 255.0
    light = (_pq_light(signal) if transfer == PQ else _hlg_light(signal)) / _WHITE_CD_M2
    over = np.clip((light - _KNEE) / (1 - _KNEE), 0, _OVER_MAX)
    rolled = np.minimum(light, _KNEE) + (1 - _KNEE) * over * (1 + over / _OVER_MAX**2) / (1 + over)
    coded = np.where(rolled <= 0.0031308, 12.92 * rolled, 1.055 * np.maximum(rolled, 1e-9) ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(255 * np.clip(coded, 0, 1)), dtype=np.uint8)


def _pq_light(signal: NDArray[np.float64]) -> NDArray[np.float64]:
    """cd/m2 of a PQ signal (BT.2100 table 4)."""
    m1, m2, c1, c2, c3 = 2610 / 16384, 2523 / 32, 3424 / 4096, 2413 / 128, 2392 / 128
    power = signal ** (1 / m2)
    return np.asarray(10_000.0 * (np.maximum(power - c1, 0) / (c2 - c3 * power)) ** (1 / m1), dtype=np.float64)


def _hlg_light(signal: NDArray[np.float64]) -> NDArray[np.float64]:
    """cd/m2 of an HLG signal on a 1000 cd/m2 display (BT.2100 table 5), the system gamma of 1.2 per channel."""
    a, b, c = 0.17883277, 0.28466892, 0.55991073
    scene = np.where(signal <= 0.5, signal**2 / 3, (np.exp((signal - c) / a) + b) / 12)
    return np.asarray(_BRIGHTEST_CD_M2 * scene**1.2, dtype=np.float64)
