"""`sighting.npz` in a result: what was seen in the film, so that a correction opens neither the film nor the pose model.

Numbers as plain arrays; words (settings, lane, shoes, notices) as JSON in an array of bytes. Read within bounds, without
pickled objects, and refused with one plain sentence when it is not whole.
"""

from __future__ import annotations

import dataclasses
import io
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import TypeAdapter, ValidationError

from penult.adapters.files.npz import unpacked
from penult.errors import ResultError
from penult.model.analysis import Notice
from penult.model.arrays import Floats
from penult.model.calibration import Camera, LaneFile, LaneFit, MarkResidual
from penult.model.clip import Clip
from penult.model.lane_profile import LaneProfile
from penult.model.settings import Settings
from penult.model.shoe import ShoeContact
from penult.model.sighting import Sighting
from penult.model.skeleton import JOINTS
from penult.model.track import PixelTrack
from penult.model.trunk import TrunkMotion, TrunkWindow
from penult.whole_file import TooLargeError, read_whole

NAME = "sighting.npz"
FORMAT = "penult-sighting/1"
LARGEST_BYTES = 400_000_000
_LARGEST_WORDS_BYTES = 8_000_000
_NEXT = "analyse the clip again"


@dataclasses.dataclass(frozen=True, kw_only=True)
class _Flight:
    """A TrunkMotion as plain numbers."""

    rows: list[int]
    time_s: list[float]
    path_m: list[tuple[float, float]]
    z_m: float
    centre_z_m: float
    lens_m: tuple[float, float, float]
    length_m: float
    shift_m: list[tuple[float, float]]
    turn_rad: list[float]
    jitter_m: float
    reason: str


def _to_flight(motion: TrunkMotion) -> _Flight:
    window = motion.window
    return _Flight(
        rows=window.rows.tolist(),
        time_s=window.time_s.tolist(),
        path_m=window.path_m.tolist(),
        z_m=float(window.z_m),
        centre_z_m=float(window.centre_z_m),
        lens_m=tuple(window.lens_m.tolist()),
        length_m=float(window.length_m),
        shift_m=motion.shift_m.tolist(),
        turn_rad=motion.turn_rad.tolist(),
        jitter_m=float(motion.jitter_m),
        reason=motion.reason,
    )


def _to_motion(flight: _Flight, rows: int) -> TrunkMotion:
    n, m = len(flight.rows), len(flight.turn_rad)
    if not (len(flight.time_s) == len(flight.path_m) == n and len(flight.shift_m) == m and m in (0, n)):
        raise ValueError("the arrays of a flight do not belong together")
    if n and not 0 <= min(flight.rows) <= max(flight.rows) < rows:
        raise ValueError("a flight lies outside the film")
    window = TrunkWindow(
        rows=np.array(flight.rows, dtype=np.int64),
        time_s=np.array(flight.time_s),
        path_m=np.array(flight.path_m).reshape(n, 2),
        z_m=flight.z_m,
        centre_z_m=flight.centre_z_m,
        lens_m=np.array(flight.lens_m),
        length_m=flight.length_m,
    )
    return TrunkMotion(
        window=window,
        shift_m=np.array(flight.shift_m).reshape(m, 2),
        turn_rad=np.array(flight.turn_rad),
        jitter_m=flight.jitter_m,
        reason=flight.reason,
    )


@dataclasses.dataclass(frozen=True, kw_only=True)
class _Words:
    """Everything in a sighting that is no array."""

    format: str
    file: str
    sha256: str
    size_px: tuple[int, int]
    capture_rate_hz: float
    capture_rate_from: str
    clip_notices: tuple[Notice, ...]
    settings: Settings
    lane: LaneFile
    residuals: tuple[MarkResidual, ...]
    rms_px: float
    depth_known: bool
    view_angle_deg: float
    shoes: tuple[ShoeContact | None, ...]
    trunks: tuple[_Flight, ...] = ()
    strides: tuple[_Flight, ...] = ()
    crossed: tuple[tuple[float, float], ...] = ()
    notices: tuple[Notice, ...]
    method: dict[str, Any]


_WORDS = TypeAdapter(_Words)


def sighting_to_bytes(sighting: Sighting) -> bytes:
    """Return the content of `sighting.npz`."""
    buffer = io.BytesIO()
    cameras = (sighting.fit.camera, *sighting.cameras)
    np.savez_compressed(
        buffer,
        allow_pickle=False,
        words=np.frombuffer(_text(sighting).encode(), dtype=np.uint8),
        time_s=sighting.clip.time_s,
        file_time_s=sighting.clip.file_time_s,
        frame=sighting.joints.frame,
        xy_px=sighting.joints.xy_px,
        score=sighting.joints.score,
        camera_parameters=np.array([c.parameters for c in cameras]),
        camera_covariance=np.array([c.covariance for c in cameras]),
        camera_centre_px=np.array([c.centre_px for c in cameras], dtype=np.float64),
        profile_time_s=sighting.profile.time_s,
        profile_x_m=sighting.profile.x_m,
        profile_cover=sighting.profile.cover,
        profile_ground_z_m=sighting.profile.ground_z_m,
    )
    return buffer.getvalue()


def read_sighting(folder: Path) -> Sighting:
    """Return what was seen in the film of a result.

    Raises
    ------
    ResultError
        If the result holds none (it is older than this way of keeping it), or it is damaged.
    """
    path = folder / NAME
    try:
        data = read_whole(path, LARGEST_BYTES)
    except TooLargeError as error:
        raise ResultError(f"{path} is too large", next_step=_NEXT) from error
    except OSError as error:
        why = "this result was written without it" if isinstance(error, FileNotFoundError) else str(error.strerror)
        raise ResultError(f"{path} cannot be read", why, next_step=_NEXT) from error
    try:
        return _sighting(unpacked(data, most_arrays=20, most_bytes=LARGEST_BYTES))
    except (*_DAMAGE, ValidationError) as error:
        why = f"no array {error} in it" if isinstance(error, KeyError) else " ".join(str(error).split())
        raise ResultError(f"{path} is damaged", why[:200], next_step=_NEXT) from None


_DAMAGE = (ValueError, KeyError, TypeError, IndexError, OverflowError)


def _text(sighting: Sighting) -> str:
    clip, fit = sighting.clip, sighting.fit
    words = _Words(
        format=FORMAT,
        file=clip.file,
        sha256=clip.sha256,
        size_px=clip.size_px,
        capture_rate_hz=clip.capture_rate_hz,
        capture_rate_from=clip.capture_rate_from,
        clip_notices=clip.notices,
        settings=sighting.settings,
        lane=fit.lane,
        residuals=fit.residuals,
        rms_px=fit.rms_px,
        depth_known=fit.depth_known,
        view_angle_deg=fit.view_angle_deg,
        shoes=sighting.shoes,
        trunks=tuple(_to_flight(motion) for motion in sighting.trunks),
        strides=tuple(_to_flight(motion) for motion in sighting.strides),
        crossed=sighting.crossed,
        notices=sighting.notices,
        method=dict(sighting.method),
    )
    return json.dumps(_without_nan(dataclasses.asdict(words)))


def _without_nan(value: Any) -> Any:
    """JSON has no such number: it becomes a word that only our own reader knows."""
    if isinstance(value, dict):
        return {key: _without_nan(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [_without_nan(entry) for entry in value]
    if isinstance(value, float) and not math.isfinite(value):
        return {"not": "nan"} if math.isnan(value) else {"not": "inf" if value > 0 else "-inf"}
    return value.item() if isinstance(value, np.generic) else value


def _with_nan(value: dict[str, Any]) -> Any:
    return float(value["not"]) if value.keys() == {"not"} else value


def _sighting(a: dict[str, Floats]) -> Sighting:
    words = _read_words(a["words"])
    t, n, m = len(a["frame"]), len(a["time_s"]), len(a["camera_parameters"]) - 1
    _check(a, t, n, m)
    size_px = words.size_px
    cameras = tuple(_camera(a, row, size_px) for row in range(m + 1))
    clip = Clip(
        file=words.file,
        sha256=words.sha256,
        size_px=size_px,
        time_s=a["time_s"],
        file_time_s=a["file_time_s"],
        capture_rate_hz=words.capture_rate_hz,
        capture_rate_from=words.capture_rate_from,
        notices=words.clip_notices,
    )
    fit = LaneFit(
        lane=words.lane,
        camera=cameras[0],
        residuals=words.residuals,
        rms_px=words.rms_px,
        depth_known=words.depth_known,
        view_angle_deg=words.view_angle_deg,
    )
    joints = PixelTrack(
        frame=a["frame"].astype(np.int64),
        time_s=a["time_s"][a["frame"]],
        xy_px=a["xy_px"],
        score=a["score"],
        filled=np.zeros(a["score"].shape, dtype=np.bool_),
    )
    return Sighting(
        clip=clip,
        fit=fit,
        cameras=cameras[1:],
        settings=words.settings,
        joints=joints,
        profile=LaneProfile(
            time_s=a["profile_time_s"],
            x_m=a["profile_x_m"],
            cover=a["profile_cover"],
            ground_z_m=a["profile_ground_z_m"],
        ),
        shoes=words.shoes,
        trunks=tuple(_to_motion(flight, t) for flight in words.trunks),
        strides=tuple(_to_motion(flight, t) for flight in words.strides),
        crossed=words.crossed,
        notices=words.notices,
        method=words.method,
    )


def _read_words(stored: Floats) -> _Words:
    if stored.dtype != np.uint8 or stored.ndim != 1 or stored.size > _LARGEST_WORDS_BYTES:
        raise ValueError("its words are no text")
    try:
        content = json.loads(stored.tobytes().decode(), object_hook=_with_nan)
    except RecursionError:
        raise ValueError("nested too deeply") from None
    words = _WORDS.validate_python(content)
    if words.format != FORMAT:
        raise ValueError(f"its format is {words.format[:60]!r}, wanted {FORMAT}")
    return words


def _check(a: dict[str, Floats], t: int, n: int, m: int) -> None:
    k, p, w = len(JOINTS), len(a["profile_time_s"]), len(a["profile_x_m"])
    wanted: dict[str, tuple[tuple[int, ...], str]] = {
        "time_s": ((n,), "f"),
        "file_time_s": ((n,), "f"),
        "frame": ((t,), "i"),
        "xy_px": ((t, k, 2), "f"),
        "score": ((t, k), "f"),
        "camera_parameters": ((m + 1, 9), "f"),
        "camera_covariance": ((m + 1, 9, 9), "f"),
        "camera_centre_px": ((m + 1, 2), "f"),
        "profile_time_s": ((p,), "f"),
        "profile_x_m": ((w,), "f"),
        "profile_cover": ((p, w), "f"),
        "profile_ground_z_m": ((p, w), "f"),
    }
    for name, (shape, kind) in wanted.items():
        if a[name].shape != shape or a[name].dtype.kind != kind:
            raise ValueError(f"array {name} is {a[name].dtype} {a[name].shape}, wanted {shape}")
    if m not in (1, n) or n < 2 or not t:
        raise ValueError(f"{m} cameras for {n} frames")
    if not (np.diff(a["time_s"]) > 0).all() or not (np.diff(a["frame"]) > 0).all():
        raise ValueError("its times do not rise")
    if a["frame"][0] < 0 or a["frame"][-1] >= n:
        raise ValueError("it speaks of frames that the clip has not")


def _camera(a: dict[str, Floats], row: int, size_px: tuple[int, int]) -> Camera:
    x, y = a["camera_centre_px"][row].tolist()
    return Camera(
        parameters=a["camera_parameters"][row],
        covariance=a["camera_covariance"][row],
        image_size_px=size_px,
        centre_px=(x, y),
    )
