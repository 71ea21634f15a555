"""Read `analysis.json` and `motion.npz` back: strictly, within bounds, every fault named in one error."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, NoReturn

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError, model_validator

from penult.adapters.files.npz import unpacked
from penult.errors import ResultError
from penult.model.analysis import Analysis, ClipRecord, Contact, JumpSequence, Mat, Notice, Phase, Run, Step
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.measured import Measure, Measured, NotMeasured
from penult.model.skeleton import JOINTS
from penult.model.track import Motion, PixelTrack, RunwayTrack
from penult.whole_file import TooLargeError, read_whole

FORMAT = "penult-analysis/1"
LARGEST_JSON_BYTES = 16_000_000
LARGEST_MOTION_BYTES = 400_000_000  # unpacked: about ten minutes at 240 fps
_MOST_FAULTS = 20

_Text = Annotated[str, StringConstraints(max_length=2000)]
_Real = Annotated[float, Field(allow_inf_nan=False, ge=-1e9, le=1e9)]
_Number = Annotated[int, Field(ge=-1000, le=1000)]
_MeasureName = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,79}$")]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class _Measure(_Strict):
    value: _Real | None = None
    u95: Annotated[float, Field(allow_inf_nan=False, ge=0.0, le=1e9)] | None = None
    by_hand: bool = False
    not_measured: _Text | None = None

    @model_validator(mode="after")
    def _one_or_the_other(self) -> _Measure:
        has_value = self.value is not None and self.u95 is not None
        has_reason = self.not_measured is not None
        if has_value == has_reason or (self.value is None) != (self.u95 is None) or (has_reason and self.by_hand):
            raise ValueError('must be {"value", "u95"} or {"not_measured"}')
        return self

    def record(self) -> Measure:
        if self.value is None or self.u95 is None:
            return NotMeasured(reason=self.not_measured or "")
        return Measured(value=self.value, u95=self.u95, by_hand=self.by_hand)


_Measures = Annotated[dict[_MeasureName, _Measure], Field(max_length=200)]


class _Clip(_Strict):
    file: _Text
    sha256: Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
    frames: Annotated[int, Field(ge=0, le=100_000_000)]
    capture_rate_hz: Annotated[float, Field(allow_inf_nan=False, ge=0.0, le=1e6)]
    capture_rate_from: _Text
    first_frame_s: _Real


class _Mat(_Strict):
    number: _Number
    thickness_m: Annotated[float, Field(allow_inf_nan=False, ge=-10.0, le=10.0)]


class _Run(_Strict):
    direction: Literal["left to right", "right to left"]
    kind: _Text
    mats: Annotated[list[_Mat], Field(max_length=100)]
    athlete: _Text
    takeoff_foot: Literal["left", "right"] | None
    has_takeoff: bool
    sex: _Text | None = None
    height_m: _Real | None = None
    official_m: _Real | None = None


class _Contact(_Strict):
    number: _Number
    foot: Literal["left", "right", "?"]
    joints_of: Literal["left", "right"] | None = None
    strike: _Text = ""
    lowest_s: _Real | None = None
    span_s: Annotated[list[_Real], Field(min_length=2, max_length=2)] | None = None
    wholly_seen: bool = True
    by_hand: bool = False
    measures: _Measures


class _Step(_Strict):
    number: _Number
    measures: _Measures


_Kind = Literal["run", "bound", "hop", "step", "jump", "takeoff", "skiphop", "skipstep", "?"]


class _Phase(_Strict):
    number: _Number
    kind: _Kind
    foot: Literal["left", "right", "?"]
    lands_on: Literal["left", "right", "?", "sand", ""]
    measures: _Measures


class _Sequence(_Strict):
    first_contact: _Number
    feet: Annotated[str, StringConstraints(pattern=r"^[LR?]{0,1000}$")]
    kinds: Annotated[list[_Kind], Field(max_length=1000)]
    began_before: bool
    shares_of_whole_phases: Annotated[list[_Measure], Field(max_length=1000)]
    measures: _Measures


class _Notice(_Strict):
    code: Annotated[str, StringConstraints(max_length=100)]
    text: _Text


class _File(_Strict):
    format: Literal["penult-analysis/1"]
    clip: _Clip
    run: _Run
    contacts: Annotated[list[_Contact], Field(max_length=1000)]
    steps: Annotated[list[_Step], Field(max_length=1000)]
    penultimate: _Measures
    takeoff: _Measures
    phases: Annotated[list[_Phase], Field(max_length=1000)] = []
    sequence: _Sequence | None = None
    run_up: _Measures = {}
    checks: _Measures
    warnings: Annotated[list[_Notice], Field(max_length=1000)]
    method: dict[str, Any]

    @model_validator(mode="after")
    def _numbers_differ(self) -> _File:
        for part, rows in (("contacts", self.contacts), ("steps", self.steps), ("phases", self.phases)):
            numbers = [row.number for row in rows]
            if len(set(numbers)) != len(numbers):
                raise ValueError(f"two {part} carry the same number")
        return self


def read_analysis(path: Path) -> Analysis:
    """Return the analysis that a result file holds.

    Parameters
    ----------
    path : Path
        Of `analysis.json`, or of the result folder that holds it.

    Returns
    -------
    Analysis
        SI units and degrees.

    Raises
    ------
    ResultError
        If there is no such file, or it is not a `penult-analysis/1` file; every fault is listed.
    """
    path = path / "analysis.json" if path.is_dir() else path
    content = _json(_bytes(path, LARGEST_JSON_BYTES), path)
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        found = content.get("format") if isinstance(content, dict) else None
        what = f"its format is {str(found)[:60]!r}" if found else "it names no format"
        raise ResultError(f"{path} is not a result of penult", what, f"wanted: {FORMAT}", next_step=_NEXT)
    try:
        file = _File.model_validate(_nested(content))
    except ValidationError as error:
        raise ResultError(f"{path} has faults", *_faults(error), next_step=_NEXT) from None
    return _record(file)


def read_motion(path: Path) -> Motion:
    """Return the joints, paths and cameras behind a result.

    Parameters
    ----------
    path : Path
        Of `motion.npz`, or of the result folder that holds it.

    Returns
    -------
    Motion
        Pixels in the upright picture, metres on the runway.

    Raises
    ------
    ResultError
        If there is no such file, or it does not hold a motion.
    """
    path = path / "motion.npz" if path.is_dir() else path
    data = _bytes(path, LARGEST_MOTION_BYTES)
    try:
        return _motion(unpacked(data, most_arrays=50, most_bytes=LARGEST_MOTION_BYTES))
    except (ValueError, KeyError, TypeError) as error:
        why = f"no array {error} in it" if isinstance(error, KeyError) else str(error)
        raise ResultError(f"{path} does not hold a motion", why[:200], next_step=_NEXT) from None


_NEXT = "analyse the clip again"


def _bytes(path: Path, most: int) -> bytes:
    try:
        return read_whole(path, most)
    except TooLargeError as error:
        raise ResultError(f"{path} is too large to be a result", str(error.strerror), next_step=_NEXT) from error
    except OSError as error:
        raise ResultError(f"{path} cannot be read", error.strerror or str(error), next_step=_NEXT) from error


def _json(data: bytes, path: Path) -> Any:
    def refuse(name: str) -> NoReturn:
        raise ValueError(f"{name} is not a number that a result may hold")

    def unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) != len(pairs):
            twice = next(k for k, _ in pairs if sum(k == other for other, _ in pairs) > 1)
            raise ValueError(f"the key {twice[:60]!r} stands twice in one object")
        return found

    try:
        return json.loads(data.decode("utf-8-sig"), parse_constant=refuse, object_pairs_hook=unique)
    except RecursionError:
        raise ResultError(f"{path} is not a result of penult", "nested too deeply", next_step=_NEXT) from None
    except ValueError as error:
        raise ResultError(f"{path} is not readable JSON", str(error)[:200], next_step=_NEXT) from None


def _nested(content: Mapping[str, Any]) -> dict[str, Any]:
    """Return the content with the measures of each contact and step, flat in the file, in a box of their own."""
    own = {
        "contacts": _Contact.model_fields.keys(),
        "steps": _Step.model_fields.keys(),
        "phases": _Phase.model_fields.keys(),
    }
    out = dict(content)
    if isinstance(content.get("sequence"), dict):
        out["sequence"] = _boxed(content["sequence"], _Sequence.model_fields.keys() - {"measures"})
    for part, fields in own.items():
        rows = content.get(part)
        if isinstance(rows, list):
            out[part] = [_boxed(row, fields - {"measures"}) if isinstance(row, dict) else row for row in rows]
    return out


def _boxed(row: Mapping[str, Any], fields: set[str]) -> dict[str, Any]:
    return {
        **{k: v for k, v in row.items() if k in fields},
        "measures": {k: v for k, v in row.items() if k not in fields},
    }


def _faults(error: ValidationError) -> list[str]:
    """Return one line a fault: where in the file, and what is wrong."""
    lines = []
    for fault in error.errors(include_url=False, include_input=False):
        place = ""
        for part in (p for p in fault["loc"] if p not in ("measures", "[key]")):
            place += f"[{part}]" if isinstance(part, int) else f".{str(part)[:80]}"
        lines.append(f"{place.lstrip('.') or 'the file'}: {fault['msg'].removeprefix('Value error, ')}")
    lines = list(dict.fromkeys(lines))
    more = len(lines) - _MOST_FAULTS
    return lines[:_MOST_FAULTS] + ([f"and {more} more"] if more > 0 else [])


def _record(file: _File) -> Analysis:
    run = file.run
    return Analysis(
        clip=ClipRecord(**file.clip.model_dump()),
        run=Run(
            direction=run.direction,
            kind=run.kind,
            has_takeoff=run.has_takeoff,
            mats=tuple(Mat(number=m.number, thickness_m=m.thickness_m) for m in run.mats),
            athlete=run.athlete,
            takeoff_foot=run.takeoff_foot,
            sex=run.sex,
            height_m=run.height_m,
            phases=tuple((p.number, p.kind) for p in file.phases),
            official_m=run.official_m,
        ),
        contacts=tuple(
            Contact(
                number=c.number,
                foot=c.joints_of or "left" if c.foot == "?" else c.foot,
                foot_sure=c.foot != "?",
                measures=_measures(c.measures),
                lowest_s=c.lowest_s,
                span_s=None if c.span_s is None else (c.span_s[0], c.span_s[1]),
                strike=c.strike,
                wholly_seen=c.wholly_seen,
                by_hand=c.by_hand,
            )
            for c in file.contacts
        ),
        steps=tuple(Step(number=s.number, measures=_measures(s.measures)) for s in file.steps),
        penultimate=_measures(file.penultimate),
        takeoff=_measures(file.takeoff),
        run_up=_measures(file.run_up),
        checks=_measures(file.checks),
        warnings=tuple(Notice(code=w.code, text=w.text) for w in file.warnings),
        method=file.method,
        phases=tuple(
            Phase(number=p.number, kind=p.kind, foot=p.foot, lands_on=p.lands_on, measures=_measures(p.measures))
            for p in file.phases
        ),
        sequence=None if file.sequence is None else _sequence(file.sequence),
    )


def _sequence(stored: _Sequence) -> JumpSequence:
    shares = [m.record() for m in stored.shares_of_whole_phases]
    return JumpSequence(
        first_contact=stored.first_contact,
        feet=stored.feet,
        kinds=tuple(stored.kinds),
        measures=_measures(stored.measures),
        shares_of_whole_phases=tuple(m for m in shares if isinstance(m, Measured)),
        began_before=stored.began_before,
    )


def _measures(measures: Mapping[str, _Measure]) -> dict[str, Measure]:
    return {name: measure.record() for name, measure in measures.items()}


def _motion(a: Mapping[str, Floats]) -> Motion:
    t, k, n = len(a["frame"]), len(JOINTS), len(a["camera_parameters"])
    if n not in (1, t):
        raise ValueError(f"{n} cameras for {t} rows")
    wanted: dict[str, tuple[tuple[int, ...], str]] = {
        "frame": ((t,), "i"),
        "time_s": ((t,), "f"),
        "xy_px": ((t, k, 2), "f"),
        "score": ((t, k), "f"),
        "filled": ((t, k), "b"),
        "xy_m": ((t, k, 2), "f"),
        "z_m": ((k,), "f"),
        "filled_m": ((t, k), "b"),
        "hip_m": ((t, 2), "f"),
        "mass_centre_m": ((t, 2), "f"),
        "camera_parameters": ((n, 9), "f"),
        "camera_covariance": ((n, 9, 9), "f"),
        "camera_size_px": ((n, 2), "i"),
        "camera_centre_px": ((n, 2), "f"),
    }
    for name, (shape, kind) in wanted.items():
        if a[name].shape != shape or a[name].dtype.kind != kind:
            raise ValueError(f"array {name} is {a[name].dtype} {a[name].shape}, wanted {shape}")
    pixels = PixelTrack(
        frame=a["frame"].astype(np.int64),
        time_s=a["time_s"],
        xy_px=a["xy_px"],
        score=a["score"],
        filled=a["filled"].astype(np.bool_),
    )
    runway = RunwayTrack(
        frame=pixels.frame, time_s=a["time_s"], xy_m=a["xy_m"], z_m=a["z_m"], filled=a["filled_m"].astype(np.bool_)
    )
    return Motion(
        pixels=pixels,
        runway=runway,
        hip_m=a["hip_m"],
        mass_centre_m=a["mass_centre_m"],
        cameras=tuple(_camera(a, i) for i in range(n)),
    )


def _camera(a: Mapping[str, Floats], row: int) -> Camera:
    width, height = (int(v) for v in a["camera_size_px"][row])
    centre_x, centre_y = (float(v) for v in a["camera_centre_px"][row])
    return Camera(
        parameters=a["camera_parameters"][row],
        covariance=a["camera_covariance"][row],
        image_size_px=(width, height),
        centre_px=(centre_x, centre_y),
    )
