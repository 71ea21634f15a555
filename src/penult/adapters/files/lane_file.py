"""Lane files: `penult-calibration/1` to records and back (pydantic), and the still picture that lies beside one.

People edit these files by hand, so every fault is listed at once, with its place, and an unknown key names the known
key that was probably meant.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from penult.adapters.files.picture_file import decoded_picture
from penult.core.lane.remeasured import remeasured
from penult.errors import CalibrationError, OutputError
from penult.model.arrays import Image
from penult.model.calibration import LaneFile, Lens, Mark
from penult.whole_file import TooLargeError, read_whole, write_whole

FORMAT = "penult-calibration/1"
_MOST_BYTES = 1 << 20
_MOST_STILL_BYTES = 100 << 20
_STILL_NAME = r"^[^/\\:*?\"<>|\x00-\x1f]{1,200}\.([jJ][pP][eE]?[gG]|[pP][nN][gG])$"
_PANORAMA_NAME = r"^[^/\\:*?\"<>|\x00-\x1f]{1,200}\.npz$"
_STILL_QUALITY = 95

Pixel = Annotated[float, Field(ge=-1e5, le=1e5)]
Along = Annotated[float, Field(ge=-300.0, le=300.0)]
Aside = Annotated[float, Field(ge=-100.0, le=100.0)]
Side = Annotated[int, Field(ge=16, le=16384)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)


class MarkEntry(_Strict):
    """One mark: `pixel` x right, y down; `runway_m` x forward, y up, z to the athlete's right."""

    name: str = Field(min_length=1, max_length=80)
    pixel: tuple[Pixel, Pixel]
    runway_m: tuple[Along, Annotated[float, Field(ge=-10.0, le=50.0)], Aside]


class LensEntry(_Strict):
    """What a lens calibration found, in pixels of this very picture size."""

    fx_px: float = Field(ge=10.0, le=1e5)
    fy_px: float = Field(ge=10.0, le=1e5)
    cx_px: Pixel
    cy_px: Pixel
    k1: float = Field(default=0.0, ge=-2.0, le=2.0)
    k2: float = Field(default=0.0, ge=-2.0, le=2.0)


class LaneEntry(_Strict):
    """A lane: marks of known place on the runway, seen from one camera position."""

    format: Literal["penult-calibration/1"]
    image_size_px: tuple[Side, Side]
    marks: list[MarkEntry] = Field(min_length=1, max_length=500)
    pixel_sd_px: float = Field(default=1.0, ge=0.01, le=50.0)
    camera_distance_m: float | None = Field(default=None, ge=0.5, le=300.0)
    lens: LensEntry | None = None
    board: bool = True
    still: str | None = Field(default=None, pattern=_STILL_NAME)
    note: str = Field(default="", max_length=2000)
    panorama: str | None = Field(default=None, pattern=_PANORAMA_NAME)
    measured_again: list[Annotated[str, Field(min_length=1, max_length=200)]] = Field(default=[], max_length=20)


def read_lane(path: Path) -> LaneFile:
    """Return a lane file's content.

    Raises
    ------
    CalibrationError
        If it cannot be read or has faults; lists every one of them with its place in the file.
    """
    return lane_from_text(_text(path), str(path))


def lane_from_text(text: str, name: str) -> LaneFile:
    """Return a lane from the text of its file; `name` says in a fault what the text is.

    Raises
    ------
    CalibrationError
        Lists every fault with its place in the text.
    """
    content = _parsed(name, text)
    faults = _repeated(content)
    try:
        entry = LaneEntry.model_validate_json(text)
    except ValidationError as error:
        faults += [_fault(e["type"], e["loc"], e.get("input"), e["msg"]) for e in error.errors(include_url=False)]
    if faults:
        raise CalibrationError(
            f"{name} has {len(faults)} fault{'s' if len(faults) > 1 else ''}",
            *faults,
            next_step="correct these places in the file, or make it anew with 'penult calibrate'",
        )
    lane = _lane(entry)
    for words in lane.measured_again:
        remeasured(words, lane.marks)  # raises where it cannot be read
    return lane


def _text(path: Path) -> str:
    try:
        data = read_whole(path, _MOST_BYTES)
    except TooLargeError as error:
        raise CalibrationError(f"{path} is not a lane file", f"it is larger than {_MOST_BYTES >> 20} MB") from error
    except OSError as error:
        raise CalibrationError(
            f"{path} cannot be read as a lane file",
            error.strerror or str(error),
            next_step="check the path, or make a lane file with 'penult calibrate'",
        ) from error
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise CalibrationError(f"{path} is not a lane file", f"byte {error.start} is not text in UTF-8") from error


class _Pairs(list[tuple[str, Any]]):
    """A JSON object as it was written, repeated keys and all."""


def _parsed(name: str, text: str) -> Any:
    try:
        return json.loads(text, object_pairs_hook=_Pairs)
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}: {error.msg}"
        raise CalibrationError(f"{name} is not valid JSON", place, next_step="correct that place") from error
    except RecursionError as error:
        raise CalibrationError(f"{name} is not a lane file", "its brackets are nested too deeply") from error


def _repeated(content: Any, place: str = "") -> list[str]:
    """Return a line for every key that stands twice in one object; JSON readers silently take the last."""
    if isinstance(content, _Pairs):
        keys = [key for key, _ in content]
        twice = sorted({key for key in keys if keys.count(key) > 1})
        faults = [f"{_joined(place, key)}: stands twice" for key in twice]
        return faults + [line for key, value in content for line in _repeated(value, _joined(place, key))]
    if isinstance(content, list):
        return [line for i, value in enumerate(content) for line in _repeated(value, f"{place}[{i}]")]
    return []


def _joined(place: str, key: str) -> str:
    return f"{place}.{key}" if place else key


_KNOWN: dict[str, type[BaseModel]] = {"": LaneEntry, "marks": MarkEntry, "lens": LensEntry}
_WANTED = {
    "float_type": "a number is wanted",
    "float_parsing": "a number is wanted",
    "int_type": "a whole number is wanted",
    "int_from_float": "a whole number is wanted",
    "string_type": "text in quotes is wanted",
    "bool_type": "true or false is wanted",
    "finite_number": "a finite number is wanted",
    "tuple_type": "a list [...] is wanted",
    "list_type": "a list [...] is wanted",
    "string_pattern_mismatch": "the bare name of a .jpg or .png file beside the lane file is wanted, without a folder",
    "literal_error": f'"{FORMAT}" is wanted',
    "model_type": "an object {...} is wanted",
    "model_attributes_type": "an object {...} is wanted",
}


def _fault(kind: str, place: tuple[int | str, ...], got: Any, message: str) -> str:
    """Return one line for one fault, in plain words."""
    where = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in place).lstrip(".") or "the file"
    if kind == "missing":
        counted = place and isinstance(place[-1], int)
        return f"{where}: missing" + (" (too few numbers in the list)" if counted else "")
    if kind == "extra_forbidden":
        return f"{where}: unknown key{_nearest(place)}"
    if kind == "too_long" and isinstance(got, list):
        return f"{where}: too many entries in the list ({len(got)})"
    shown = json.dumps(got, default=str)
    shown = shown if len(shown) <= 60 else shown[:57] + "..."
    wanted = _WANTED.get(kind) or message[0].lower() + message[1:].replace("Input should be", "it should be")
    return f"{where}: {wanted}, got {shown}"


def _nearest(place: tuple[int | str, ...]) -> str:
    parent = next((str(part) for part in place[:-1] if isinstance(part, str)), "")
    known = sorted(_KNOWN.get(parent, LaneEntry).model_fields)
    match = get_close_matches(str(place[-1]), known, n=1, cutoff=0.0)
    return f"; the nearest known key is {match[0]!r}" if match else ""


def _lane(entry: LaneEntry) -> LaneFile:
    return LaneFile(
        image_size_px=entry.image_size_px,
        marks=tuple(Mark(name=m.name, pixel_px=m.pixel, runway_m=m.runway_m) for m in entry.marks),
        pixel_sd_px=entry.pixel_sd_px,
        camera_distance_m=entry.camera_distance_m,
        lens=None if entry.lens is None else Lens(**entry.lens.model_dump()),
        board=entry.board,
        still=entry.still,
        note=entry.note,
        panorama=entry.panorama,
        measured_again=tuple(entry.measured_again),
    )


def lane_text(lane: LaneFile) -> str:
    """Return a lane as the text of its file: one mark a line, easy to edit by hand."""
    marks = [
        {
            "name": m.name,
            "pixel": [round(v, 2) for v in m.pixel_px],
            "runway_m": [round(v, 4) + 0.0 for v in m.runway_m],
        }
        for m in lane.marks
    ]
    values: dict[str, Any] = {
        "format": FORMAT,
        "image_size_px": list(lane.image_size_px),
        "marks": marks,
        "pixel_sd_px": lane.pixel_sd_px,
        "camera_distance_m": lane.camera_distance_m,
        "lens": None if lane.lens is None else asdict(lane.lens),
        "board": lane.board,
        "still": lane.still,
        "note": lane.note,
    }
    if lane.panorama is not None:
        values["panorama"] = lane.panorama
    if lane.measured_again:
        values["measured_again"] = list(lane.measured_again)
    lines = [f"  {json.dumps(key)}: {_value_text(value)}" for key, value in values.items()]
    return "{\n" + ",\n".join(lines) + "\n}\n"


def _value_text(value: Any) -> str:
    if not (isinstance(value, list) and value and isinstance(value[0], dict)):
        return json.dumps(value, ensure_ascii=False, allow_nan=False)
    rows = ",\n".join("    " + json.dumps(row, ensure_ascii=False, allow_nan=False) for row in value)
    return f"[\n{rows}\n  ]"


def write_lane(path: Path, lane: LaneFile) -> None:
    """Write a lane file, aside first and then in one step, so that a failure leaves the old file whole.

    Raises
    ------
    OutputError
        If the place cannot be written.
    CalibrationError
        If the lane holds what `read_lane` would refuse (a path as its still, numbers out of bounds).
    """
    text = lane_text(lane)
    try:
        LaneEntry.model_validate_json(text)
    except ValidationError as error:
        faults = [_fault(e["type"], e["loc"], e.get("input"), e["msg"]) for e in error.errors(include_url=False)]
        raise CalibrationError("this lane cannot be written", *faults, next_step="correct these values") from error
    _write_bytes(path, text.encode("utf-8"))


def _write_bytes(path: Path, data: bytes) -> None:
    try:
        write_whole(path, data)
    except OSError as error:
        raise OutputError(
            f"{path} cannot be written", error.strerror or str(error), next_step="choose another place with -o"
        ) from error


def still_path(path: Path, lane: LaneFile) -> Path | None:
    """Return where a lane's still lies: beside the lane file."""
    return None if lane.still is None else path.parent / lane.still


def read_still(path: Path, lane: LaneFile) -> Image | None:
    """Return the picture that a lane's marks were taken from, upright RGB, or None if the lane names none.

    Raises
    ------
    CalibrationError
        If the picture is missing, is no picture, or is not of the lane's picture size.
    """
    place = still_path(path, lane)
    if place is None:
        return None
    image = _picture(place)
    size_px = (image.shape[1], image.shape[0])
    if size_px != lane.image_size_px:
        raise CalibrationError(
            f"{place} does not fit {path}",
            f"the picture is {size_px[0]} x {size_px[1]} px; the lane file says "
            f"{lane.image_size_px[0]} x {lane.image_size_px[1]} px",
            next_step="put the picture that the marks were taken from beside the lane file",
        )
    return image


def _picture(place: Path) -> Image:
    hint = 'copy it there, or take the line "still" out of the lane file if the tripod was not touched'
    try:
        data = read_whole(place, _MOST_STILL_BYTES)
    except TooLargeError as error:
        raise CalibrationError(f"{place} is too large for a still", next_step="save it as a JPEG") from error
    except OSError as error:
        reason = error.strerror or str(error)
        raise CalibrationError(f"the lane's still {place} cannot be read", reason, next_step=hint) from error
    image = decoded_picture(data)
    if image is None:
        raise CalibrationError(f"the lane's still {place} is not a picture", next_step=hint)
    return image


def write_still(path: Path, lane: LaneFile, image: Image) -> None:
    """Write the picture of a lane beside its lane file `path`, under the name that the lane gives.

    Raises
    ------
    OutputError
        If the place cannot be written.
    """
    import cv2

    place = still_path(path, lane)
    if place is None:
        return
    suffix = place.suffix.lower()
    done, data = cv2.imencode(suffix, image[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, _STILL_QUALITY])
    if not done:
        raise OutputError(f"{place} cannot be written", "the picture could not be encoded")
    _write_bytes(place, data.tobytes())
