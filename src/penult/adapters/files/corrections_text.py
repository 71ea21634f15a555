"""Corrections as text: `penult-corrections/1`, one correction a line (pydantic).

The text may come from somebody else or be edited by hand: it is bounded, and every fault is listed with its place.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from difflib import get_close_matches
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError, model_validator

from penult.errors import ResultError
from penult.model import corrections as records
from penult.model.analysis import Mat
from penult.model.corrections import Correction, Corrections
from penult.model.skeleton import JOINTS

FORMAT = "penult-corrections/1"
_MOST = 20_000
_MOST_FAULTS = 20

_Position = Annotated[float, Field(allow_inf_nan=False, ge=-10.0, le=1e8)]
_Index = Annotated[int, Field(ge=0, le=100_000_000)]
_Pixel = Annotated[float, Field(allow_inf_nan=False, ge=-1e5, le=1e5)]
_Seconds = Annotated[float, Field(allow_inf_nan=False, ge=-10.0, le=1e6)]
_Foot = Literal["left", "right"]
_End = Literal["touchdown", "toe_off"]


class _Entry(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    made_at: Annotated[str, StringConstraints(max_length=40, pattern=r"^[0-9TZ:.+\-]*$")] = ""


class _InstantMoved(_Entry):
    kind: Literal["instant-moved"]
    near_frame: _Position
    instant: _End
    to_frame: _Position


class _InstantConfirmed(_Entry):
    kind: Literal["instant-confirmed"]
    near_frame: _Position
    instant: _End


class _FootChanged(_Entry):
    kind: Literal["foot-changed"]
    near_frame: _Position
    foot: _Foot
    everywhere: bool = False


class _ContactRelabelled(_Entry):
    kind: Literal["contact-relabelled"]
    near_frame: _Position
    phase: Literal["run", "bound", "hop", "step", "jump", "takeoff", "skiphop", "skipstep"]


class _ContactDeleted(_Entry):
    kind: Literal["contact-deleted"]
    near_frame: _Position


class _ContactAdded(_Entry):
    kind: Literal["contact-added"]
    foot: _Foot
    touchdown_frame: _Position
    toe_off_frame: _Position

    @model_validator(mode="after")
    def _ends_after_it_begins(self) -> _ContactAdded:
        if self.toe_off_frame <= self.touchdown_frame:
            raise ValueError("toe_off_frame must be larger than touchdown_frame")
        return self


class _JointDragged(_Entry):
    kind: Literal["joint-dragged"]
    frame: _Index
    joint: Literal[JOINTS]  # type: ignore[valid-type]
    to_px: tuple[_Pixel, _Pixel]


class _LegsSwapped(_Entry):
    kind: Literal["legs-swapped"]
    first_frame: _Index
    last_frame: _Index

    @model_validator(mode="after")
    def _in_order(self) -> _LegsSwapped:
        if self.last_frame < self.first_frame:
            raise ValueError("last_frame must not be smaller than first_frame")
        return self


class _MatEntry(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    number: Annotated[int, Field(ge=-20, le=0)]
    thickness_m: Annotated[float, Field(allow_inf_nan=False, gt=0.0, le=0.5)]


class _MatsSet(_Entry):
    kind: Literal["mats-set"]
    mats: Annotated[list[_MatEntry], Field(max_length=21)]

    @model_validator(mode="after")
    def _one_a_contact(self) -> _MatsSet:
        if len({mat.number for mat in self.mats}) < len(self.mats):
            raise ValueError("two mats lie under the same contact")
        return self


class _AthletePicked(_Entry):
    kind: Literal["athlete-picked"]
    run: Annotated[int, Field(ge=1, le=100)] = 1
    at: tuple[_Pixel, _Pixel, _Index] | None = None


class _CaptureRateSet(_Entry):
    kind: Literal["capture-rate-set"]
    capture_rate_hz: Annotated[float, Field(allow_inf_nan=False, ge=5.0, le=2000.0)]


class _KindSet(_Entry):
    kind: Literal["kind-set"]
    word: Annotated[str, StringConstraints(max_length=80, pattern=r"^[^\x00-\x1f\x7f]*$")]


_Any = Annotated[
    _InstantMoved
    | _InstantConfirmed
    | _FootChanged
    | _ContactRelabelled
    | _ContactDeleted
    | _ContactAdded
    | _JointDragged
    | _LegsSwapped
    | _MatsSet
    | _AthletePicked
    | _CaptureRateSet
    | _KindSet,
    Field(discriminator="kind"),
]


class _One(BaseModel):
    correction: _Any


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    format: Literal["penult-corrections/1"]
    clip_sha256: Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
    run: Annotated[int, Field(ge=1, le=100)] = 1
    at: tuple[_Pixel, _Pixel, _Seconds] | None = None
    version: Annotated[int, Field(ge=0, le=1_000_000_000)]
    corrections: Annotated[list[_Any], Field(max_length=_MOST)]
    undone: Annotated[list[_Any], Field(max_length=_MOST)]


_ENTRIES: dict[str, type[_Entry]] = {
    "instant-moved": _InstantMoved,
    "instant-confirmed": _InstantConfirmed,
    "foot-changed": _FootChanged,
    "contact-relabelled": _ContactRelabelled,
    "contact-deleted": _ContactDeleted,
    "contact-added": _ContactAdded,
    "joint-dragged": _JointDragged,
    "legs-swapped": _LegsSwapped,
    "mats-set": _MatsSet,
    "athlete-picked": _AthletePicked,
    "capture-rate-set": _CaptureRateSet,
    "kind-set": _KindSet,
}
_KIND_OF = {entry.__name__[1:]: kind for kind, entry in _ENTRIES.items()}


def to_text(corrections: Corrections) -> str:
    """Return the text of `corrections.json`, one correction a line."""
    head = {
        "format": FORMAT,
        "clip_sha256": corrections.clip_sha256,
        "run": corrections.run,
        "at": corrections.at,
        "version": corrections.version,
    }
    lines = [f"  {json.dumps(key)}: {json.dumps(value)}" for key, value in head.items()]
    for key, entries in (("corrections", corrections.done), ("undone", corrections.undone)):
        rows = ",\n".join("    " + json.dumps(to_plain(entry), ensure_ascii=False) for entry in entries)
        lines.append(f'  "{key}": [' + (f"\n{rows}\n  ]" if rows else "]"))
    return "{\n" + ",\n".join(lines) + "\n}\n"


def to_plain(correction: Correction) -> dict[str, Any]:
    """Return one correction as plain data, as the file holds it."""
    plain: dict[str, Any] = {"kind": _KIND_OF[type(correction).__name__], **asdict(correction)}
    if isinstance(correction, records.KindSet):
        plain = {"kind": "kind-set", "made_at": correction.made_at, "word": correction.kind}
    if not correction.made_at:
        del plain["made_at"]
    return {key: list(value) if isinstance(value, tuple) else value for key, value in plain.items()}


def from_text(data: bytes) -> Corrections:
    """Return the corrections that the text of `corrections.json` holds.

    Raises
    ------
    ResultError
        If it has faults; every one is listed.
    """
    try:
        file = _File.model_validate(_file_with_tuples(_json(data)))
    except ValidationError as error:
        raise ResultError("the corrections have faults", *_faults(error)) from None
    return Corrections(
        clip_sha256=file.clip_sha256,
        run=file.run,
        at=file.at,
        version=file.version,
        done=tuple(_record(entry) for entry in file.corrections),
        undone=tuple(_record(entry) for entry in file.undone),
    )


def from_plain(plain: object) -> Correction:
    """Return the correction that plain data describe.

    Raises
    ------
    ResultError
        If they describe none; every fault is listed.
    """
    try:
        return _record(_One.model_validate({"correction": _with_tuples(plain)}).correction)
    except ValidationError as error:
        raise ResultError("this is not a correction", *_faults(error)) from None


def _record(entry: _Entry) -> Correction:
    values = {name: value for name, value in entry.model_dump().items() if name != "kind"}
    if isinstance(entry, _KindSet):
        return records.KindSet(kind=entry.word, made_at=entry.made_at)
    if isinstance(entry, _MatsSet):
        mats = tuple(Mat(number=m.number, thickness_m=m.thickness_m) for m in entry.mats)
        return records.MatsSet(mats=mats, made_at=entry.made_at)
    record: Correction = getattr(records, type(entry).__name__[1:])(**values)
    return record


def _with_tuples(plain: Any) -> Any:
    """JSON knows lists only; strict reading wants the tuples that are meant."""
    if not isinstance(plain, dict):
        return plain
    return {k: tuple(v) if k in ("to_px", "at") and isinstance(v, list) else v for k, v in plain.items()}


def _file_with_tuples(content: object) -> object:
    if not isinstance(content, dict):
        return content
    lists = {
        key: [_with_tuples(entry) for entry in entries]
        for key in ("corrections", "undone")
        if isinstance(entries := content.get(key), list)
    }
    return {**_with_tuples(content), **lists}


def _faults(error: ValidationError) -> list[str]:
    lines = []
    for fault in error.errors(include_url=False, include_input=False):
        parts = [p for p in fault["loc"] if p != "correction"]
        kinds = [p for p in parts if p in _ENTRIES]
        place = "".join(f"[{p}]" if isinstance(p, int) else f".{str(p)[:80]}" for p in parts if p not in _ENTRIES)
        message = fault["msg"].removeprefix("Value error, ")
        if fault["type"] == "extra_forbidden":
            known = list(_ENTRIES[str(kinds[0])].model_fields) if kinds else list(_File.model_fields)
            near = get_close_matches(str(fault["loc"][-1]), known, n=1, cutoff=0.0)
            message = "unknown key" + (f"; the nearest known key is {near[0]!r}" if near else "")
        lines.append(f"{place.lstrip('.') or 'the file'}: {message}")
    lines = list(dict.fromkeys(lines))
    more = len(lines) - _MOST_FAULTS
    return lines[:_MOST_FAULTS] + ([f"and {more} more"] if more > 0 else [])


def _json(data: bytes) -> Any:
    def unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) != len(pairs):
            raise ValueError("a key stands twice in one object")
        return {
            key: tuple(value) if key in ("to_px", "at") and isinstance(value, list) else value for key, value in pairs
        }

    try:
        return json.loads(data.decode("utf-8-sig"), object_pairs_hook=unique)
    except RecursionError:
        raise ResultError("the file holds no corrections", "nested too deeply") from None
    except ValueError as error:
        raise ResultError("the corrections are not readable JSON", str(error)[:200]) from None
