"""What the start page does besides watching a folder: the jobs of other commands, each with the command that does the same."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from penult.adapters.files.lane_file import read_lane
from penult.adapters.logbook.place import default_place
from penult.app.day import Opened
from penult.app.staying import today_text
from penult.errors import InputError, OutputError, PenultError

if TYPE_CHECKING:
    from penult.app.picking import Picking
    from penult.app.review import Review

_LONGEST_LABEL, _LONGEST_NOTE = 200, 2000
_SMALL_PX = 480


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A page that was written, what it says first, and the command that does the same."""

    page: Path
    said: tuple[str, ...]
    command: str


def session_command(opened: Opened, logbook: Path) -> str:
    """Return the command that watches the same folder."""
    words = ["penult", "session", str(opened.folder), "--calib", str(opened.lane), "--stay"]
    return shlex.join([*words, *(["--log"] if opened.logs else []), *(_which(logbook) if opened.logs else [])])


def sound_lane(path: Path) -> None:
    """Raise unless a lane file can be used."""
    read_lane(path)


def lane_facts(path: Path) -> dict[str, Any]:
    """Return what a lane file is good enough for and which marks disagree, or what is wrong with it."""
    from penult.app.lanes import place_of
    from penult.core.lane.trust_map import disagreeing, expected_map, good_for

    command = shlex.join(["penult", "check", str(path)])
    try:
        fit, _ = place_of(path, read_lane(path))
    except PenultError as error:
        return {"good": "", "faults": [error.what, *error.details], "command": command}
    return {"good": good_for(fit, expected_map(fit)), "faults": disagreeing(fit), "command": command}


def small_jpeg(picture: Path) -> bytes:
    """Return a picture small enough to choose by."""
    import cv2

    from penult.adapters.pictures.still_source import read_picture

    image = read_picture(picture)
    scale = min(1.0, _SMALL_PX / max(image.shape[:2]))
    small = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    done, data = cv2.imencode(".jpg", small[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 85])
    if not done:
        raise OutputError("the picture could not be turned into JPEG")
    return bytes(data.tobytes())


def made_folder(folder: Path) -> None:
    """Make a folder where it is not there."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"the folder {folder} cannot be made", error.strerror or str(error)) from error


def marking(source: Path) -> Picking:
    """Return the task of clicking marks in a photo or clip; the lane file will lie beside it, over none that is there."""
    from penult.app.calibrate import picture_of
    from penult.app.picking import picking

    return picking(picture_of(source), source, _free_lane(source.parent))


def _free_lane(folder: Path) -> Path:
    places = (folder / ("lane.json" if n == 1 else f"lane_{n}.json") for n in range(1, 1000))
    return next(p for p in places if not p.exists() and not p.with_suffix(".jpg").exists())


def labels(logbook: Path) -> tuple[str, ...]:
    """Return the athletes of a logbook; one that is not there, or cannot be read, has none."""
    from penult.adapters.logbook.book import opened

    if not logbook.exists():
        return ()
    try:
        with opened(logbook) as log:
            return tuple(log.labels())
    except PenultError:
        return ()


def add_athlete(said: Mapping[str, Any], logbook: Path) -> str:
    """Add an athlete, or change what is known of one, and return the command that does the same."""
    from penult.app.log import put_athlete
    from penult.model.logbook import Athlete

    label = _label(said)
    sex = said.get("sex") or None
    if sex not in (None, "female", "male"):
        raise InputError("sex is female, male or not said")
    height_m = _metres(said.get("height"), "the height", 0.8, 2.5) if said.get("height") else None
    put_athlete(Athlete(label=label, sex=sex, height_m=height_m, leg_length_m=None), logbook=logbook)
    words = ["penult", "log", "athlete", label, *(["--sex", sex] if sex else [])]
    return shlex.join([*words, *(["--height", f"{height_m:g}"] if height_m else []), *_which(logbook)])


def add_tape(said: Mapping[str, Any], logbook: Path) -> dict[str, str]:
    """Add a tape-measured result of today."""
    from penult.app.log import put_tape
    from penult.model.logbook import TapeResult

    distance_m = _metres(said.get("distance"), "the distance", 0.5, 100.0)
    event = str(said.get("event") or "long jump").strip()[:_LONGEST_LABEL]
    label = _label(said)
    result = TapeResult(athlete=label, date=today_text(), event=event, distance_m=distance_m, note="")
    name = put_tape(result, logbook=logbook)
    words = ["penult", "log", "tape", label, f"{distance_m:g}", "--event", event, *_which(logbook)]
    return {"said": f"written as {name}" if name else "there already", "command": shlex.join(words)}


def add_note(said: Mapping[str, Any], logbook: Path) -> dict[str, str]:
    """Add a note of today on an athlete."""
    from penult.app.log import put_note
    from penult.model.logbook import CoachNote

    label, text = _label(said), str(said.get("text") or "").strip()
    if not 1 <= len(text) <= _LONGEST_NOTE:
        raise InputError(f"a note has 1 to {_LONGEST_NOTE} characters")
    name = put_note(CoachNote(athlete=label, date=today_text(), text=text), logbook=logbook)
    words = ["penult", "log", "note", label, text, *_which(logbook)]
    return {"said": f"written as {name}" if name else "there already", "command": shlex.join(words)}


def log_content(logbook: Path) -> dict[str, Any]:
    """Return what a logbook holds, in short, as 'penult log show' does."""
    from penult.app.log import contents
    from penult.outputs.texts.plain import shown

    command = shlex.join(["penult", "log", "show", *_which(logbook)])
    if not logbook.exists():
        return {"athletes": [], "counts": {}, "first": "", "last": "", "command": command}
    found = contents(logbook)
    return {
        "athletes": [{"label": one.label, "shown": shown(one.label, 60), "clips": n} for one, n in found.athletes],
        "counts": dict(found.counts),
        "first": found.first_date,
        "last": found.last_date,
        "command": command,
    }


def opened_results(folders: Sequence[Path]) -> list[Review]:
    """Return results under review."""
    from penult.app.review import open_result

    return [open_result(folder, None, lambda _what, _share: None) for folder in folders]


def compare(folders: Sequence[Path], logbook: Path) -> Made:
    """Compare results: two with each other, more by the first thing in which they differ.

    Raises
    ------
    InputError
        Fewer than two, or more of which nothing makes groups.
    """
    from penult.app.compare import PAGE, SEVERAL_PAGE, Compared, compare_split, compare_two
    from penult.app.groups import Wanted
    from penult.outputs.texts.findings import comparison_findings
    from penult.outputs.texts.several_findings import several_findings

    if len(folders) < 2:
        raise InputError("two runs or more are wanted", next_step="choose them in the list")
    out = folders[0].parent / "comparison"
    words = ["penult", "compare", *map(str, folders)]
    if len(folders) == 2:
        first, second = (Wanted(places=(f,)) for f in folders)
        pair = compare_two(first, second, logbook=logbook, out=out)
        return Made(page=out / PAGE, said=tuple(comparison_findings(pair.comparison)), command=_joined(words, out))
    by = _by(folders)
    done = compare_split(Wanted(places=tuple(folders)), by, logbook=logbook, out=out)
    is_two = isinstance(done, Compared)
    said = comparison_findings(done.comparison) if isinstance(done, Compared) else several_findings(done.several)
    page = out / (PAGE if is_two else SEVERAL_PAGE)
    return Made(page=page, said=tuple(said), command=_joined([*words, "--by", by], out))


def _joined(words: Sequence[str], out: Path) -> str:
    return shlex.join([*words, "-o", str(out)])


def _by(folders: Sequence[Path]) -> str:
    """Return the first thing in which results differ."""
    from penult.app.groups import SPLITS, from_folders

    trials = from_folders(folders)
    for by in ("kind", "mats", "athlete", "date"):
        if len({SPLITS[by](t) for t in trials}) > 1:
            return by
    raise InputError(
        "the runs chosen make no groups: they are of one athlete, kind, mats and day",
        next_step="choose two of them, or look at all of them side by side",
    )


def season(label: str, logbook: Path, out: Path) -> Made:
    """Write an athlete's season beside the clips of the day."""
    from penult.adapters.files.incoming import safe_name
    from penult.app.season import PAGE, write_season
    from penult.model.logbook import Choice

    if not label:
        raise InputError("whose season?", next_step="choose an athlete")
    made_folder(out)
    place = out / f"season_{safe_name(label) or 'athlete'}"
    done = write_season(Choice(athlete=label), since="", logbook=logbook, out=place)
    words = ["penult", "season", "--athlete", label, "-o", str(place), *_which(logbook)]
    count = len(done.season.trials)
    return Made(page=place / PAGE, said=(f"{count} clip{'' if count == 1 else 's'}",), command=shlex.join(words))


def _label(said: Mapping[str, Any]) -> str:
    value = said.get("athlete")
    label = value.strip() if isinstance(value, str) else ""
    if not 1 <= len(label) <= _LONGEST_LABEL:
        raise InputError(
            f"a label has 1 to {_LONGEST_LABEL} characters", next_step="choose an athlete, or type a label"
        )
    return label


def _metres(value: object, what: str, low_m: float, high_m: float) -> float:
    from penult.core.typed import metres

    try:
        found_m = metres(str(value)[:40])
    except ValueError:
        found_m = float("nan")
    if not low_m <= found_m <= high_m:
        raise InputError(
            f"{what} cannot be {str(value)[:40]!r}", f"wanted: {low_m:g} to {high_m:g} metres, such as 1.72"
        )
    return found_m


def _which(logbook: Path) -> list[str]:
    return [] if logbook == default_place() else ["--logbook", str(logbook)]
