# ruff: noqa: PLC0415, PLR0911
"""Broken and hostile files for every reader: what is mutated, how, and what a reader may do with it.

A reader may return, or raise a PenultError. Anything else, or more than SLOWEST_S, is a finding.
"""

from __future__ import annotations

import io
import json
import random
import sqlite3
import time
import traceback
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from penult.adapters import (
    corrections_text,
    keypoint_cache,
    logbook,
    result_file,
    result_folder,
    session_file,
    session_state,
)
from penult.adapters.lane_file import read_lane
from penult.adapters.logbook_csv import import_folder
from penult.adapters.sighting_file import NAME, read_sighting
from penult.core.lane import fit_lane
from penult.errors import PenultError
from penult.model.analysis import Mat
from penult.model.corrections import Corrections, FootChanged, InstantMoved, KindSet, MatsSet
from penult.model.logbook import Choice

SLOWEST_S = 10.0
ROOT = Path(__file__).resolve().parents[1]

ODD: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 2**31, 2**63, -(2**63) - 1, 10**400, 1e308, -1e308, 1e-320, float("nan"), float("inf"),
    "", " ", "\x00", "a" * 5000, "../../etc/passwd", "C:\\con", "<script>alert(1)</script>", "\"'>", "{{7*7}}", "\u202egnp.exe",
    "\ud800", "👟🏃‍♀️", "é" * 300, "1e5", "NaN", "-0", [], {}, [[]], [None] * 50, {"": None}, [0.0] * 3, [1e300, -1e300],
)  # fmt: skip
"""Values put in the place of others: borders of types, markup, paths, text that turns round, half a character."""


@dataclass(frozen=True)
class Target:
    """A reader, a sound file for it, and how one mutated file is handed to it."""

    name: str
    seeds: tuple[bytes, ...]
    read: Callable[[bytes, Path], object]
    kind: str = "json"


@dataclass
class Tally:
    """What came of the cases of one reader."""

    cases: int = 0
    read: int = 0
    refused: int = 0
    found: dict[str, bytes] = field(default_factory=dict)

    def one(self, target: Target, data: bytes, folder: Path) -> None:
        """Hand over one case."""
        self.cases += 1
        began = time.perf_counter()
        try:
            target.read(data, folder)
            self.read += 1
        except PenultError as error:
            self.refused += 1
            str(error).encode("utf-8", errors="backslashreplace")
        except Exception as error:  # any other exception is what is looked for
            place = traceback.extract_tb(error.__traceback__)[-1]
            ours = [f for f in traceback.extract_tb(error.__traceback__) if "penult" in f.filename]
            where = ours[-1] if ours else place
            self.found.setdefault(
                f"{type(error).__name__} at {Path(where.filename).name}:{where.lineno}: {str(error)[:90]}", data
            )
        if time.perf_counter() - began > SLOWEST_S:
            self.found.setdefault(f"slow: {time.perf_counter() - began:.0f} s", data)


def mutants(target: Target, draw: random.Random) -> Iterator[bytes]:
    """Yield broken versions of the target's files for ever."""
    while True:
        seed = draw.choice(target.seeds)
        if target.kind == "json" and draw.random() < 0.7:
            yield _json_mutant(seed, draw)
        elif target.kind == "csv" and draw.random() < 0.7:
            yield _csv_mutant(seed, draw)
        elif target.kind == "npz" and draw.random() < 0.8:
            yield _npz_mutant(seed, draw)
        else:
            yield bytes_mutant(seed, draw)


def bytes_mutant(seed: bytes, draw: random.Random) -> bytes:
    """Flip, cut, repeat and insert bytes."""
    data = bytearray(seed)
    for _ in range(draw.choice((1, 1, 2, 4, 16))):
        if not data:
            return bytes(data)
        at = draw.randrange(len(data))
        way = draw.randrange(6)
        if way == 0:
            data[at] ^= 1 << draw.randrange(8)
        elif way == 1:
            data[at] = draw.choice((0, 255, 0x7F, 0x80, draw.randrange(256)))
        elif way == 2:
            del data[at : at + draw.choice((1, 4, 64, 4096))]
        elif way == 3:
            data[at:at] = data[at : at + draw.choice((1, 8, 256))]
        elif way == 4:
            data[at:at] = draw.choice((b"[" * 3000, b"\xff\xfe", b"\x00", b"1e999", b'"', b"{" * 900, b"\n", b",,"))
        else:
            del data[at:]
    return bytes(data)


def _json_mutant(seed: bytes, draw: random.Random) -> bytes:
    """Change values, keys and lengths somewhere in the tree."""
    content = json.loads(seed)
    for _ in range(draw.choice((1, 1, 1, 2, 5))):
        content = _changed(content, draw)
    return json.dumps(content, ensure_ascii=draw.random() < 0.5).encode("utf-8", errors="surrogatepass")


def _changed(node: Any, draw: random.Random) -> Any:
    if isinstance(node, dict) and node and draw.random() < 0.9:
        key = draw.choice(list(node))
        way = draw.random()
        if way < 0.1:
            return {k: v for k, v in node.items() if k != key}
        if way < 0.2:
            return {**node, str(draw.choice(ODD)): node[key]}
        return {**node, key: _changed(node[key], draw)}
    if isinstance(node, list) and node and draw.random() < 0.9:
        at = draw.randrange(len(node))
        way = draw.random()
        if way < 0.1:
            return node[:at] + node[at + 1 :]
        if way < 0.15:
            return node * draw.choice((2, 30))
        return [*node[:at], _changed(node[at], draw), *node[at + 1 :]]
    if isinstance(node, int | float) and not isinstance(node, bool) and draw.random() < 0.5:
        try:
            return node * draw.choice((-1, 0, 0.5, 2, 1e3, 1e-6, 1e30))
        except OverflowError:
            return 0
    return draw.choice(ODD)


def _csv_mutant(seed: bytes, draw: random.Random) -> bytes:
    """Change cells, repeat and drop rows and columns."""
    rows = [line.split(",") for line in seed.decode("utf-8-sig").splitlines()]
    for _ in range(draw.choice((1, 2, 5))):
        row = draw.choice(rows)
        at = draw.randrange(len(row))
        way = draw.random()
        if way < 0.7:
            row[at] = str(draw.choice(ODD)).replace("\n", " ")[:400]
        elif way < 0.8:
            del row[at]
            row = row or [""]
        elif way < 0.9:
            row.append("x")
        else:
            rows.insert(draw.randrange(len(rows) + 1), list(row))
        rows = [r or [""] for r in rows]
    return "\n".join(",".join(r) for r in rows).encode("utf-8", errors="replace")


def _npz_mutant(seed: bytes, draw: random.Random) -> bytes:
    """Change arrays: values, shapes, types, names; the archive stays sound."""
    with np.load(io.BytesIO(seed), allow_pickle=False) as stored:
        arrays = {k: stored[k] for k in stored.files}
    for _ in range(draw.choice((1, 1, 3))):
        name = draw.choice(list(arrays))
        arrays[name] = _array_mutant(arrays[name], draw)
        if draw.random() < 0.1:
            arrays[draw.choice(("x", "../x", "é"))] = arrays.pop(name)
        if not arrays:
            break
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as file:
        for name, array in arrays.items():
            member = io.BytesIO()
            np.save(member, array, allow_pickle=False)
            file.writestr(f"{name}.npy", member.getvalue())
    return out.getvalue()


def _array_mutant(array: np.ndarray, draw: random.Random) -> np.ndarray:
    way = draw.randrange(6)
    if way == 0:
        return array[..., :-1] if array.ndim else array
    if way == 1:
        return np.zeros((0, *array.shape[1:]) if array.ndim else (0,), array.dtype)
    if way == 2:
        return array.reshape(-1)
    if way == 3:
        return array.astype(draw.choice(("f4", "i2", "U8", "c16", "?"))) if array.dtype.kind in "fiub" else array
    flat = np.array(array)
    if flat.size and flat.dtype.kind in "fi":
        borders = (0.0, -1.0, 3e38, np.nan, np.inf) if flat.dtype.kind == "f" else (0, -1, np.iinfo(flat.dtype).max)
        flat.reshape(-1)[draw.randrange(flat.size)] = draw.choice(borders)
    return flat


def _file(name: str, read: Callable[[Path], object], *, whole: bool = False) -> Callable[[bytes, Path], object]:
    """A reader of a path (or, `whole`, of the folder that the file lies in)."""

    def run(data: bytes, folder: Path) -> object:
        path = folder / name
        path.write_bytes(data)
        return read(folder if whole else path)

    return run


def _lane(path: Path) -> object:
    return fit_lane(read_lane(path)) if random.random() < 0.02 else read_lane(path)


def _key(folder: Path) -> object:
    """A keypoint entry: read through the cache's own folder."""
    import os

    os.environ["PENULT_CACHE"] = str(folder)
    return keypoint_cache.read("k")


def _logbook(path: Path) -> object:
    try:
        with logbook.opened(path) as log:
            log.check()
            return [log.contents(), log.labels(), log.trials(Choice())]
    finally:
        for beside in path.parent.glob(path.name + "-*"):
            beside.unlink()


def _import(table: str, export: dict[str, bytes]) -> Callable[[bytes, Path], object]:
    def run(data: bytes, folder: Path) -> object:
        place = folder / "export"
        place.mkdir(exist_ok=True)
        for name, content in export.items():
            (place / name).write_bytes(content if name != table else data)
        path = folder / "import.sqlite"
        try:
            with logbook.opened(path, create=True) as log:
                return import_folder(log, place)
        finally:
            for file in folder.glob("import.sqlite*"):
                file.unlink()

    return run


def targets(result: Path, work: Path) -> list[Target]:
    """Return every reader with sound files: of a sample lane, and of a result folder."""
    lane = (ROOT / "samples" / "full_240" / "lane.json").read_bytes()
    analysis, motion = (result / "analysis.json").read_bytes(), (result / "motion.npz").read_bytes()
    corrections = _corrections()
    said = json.dumps(
        {"format": "penult-said/1", "date": "2026-05-01", "session": "x", "approach_strides": 9, "note": "n"}
    )
    state = json.dumps({"format": session_state.FORMAT, "clips": {"a.mp4": {"status": "done", "key": "x"}}})
    book, export = _filled_logbook(result, work)
    entry = io.BytesIO()
    np.savez_compressed(entry, frame=np.arange(4), joints=np.zeros((4, 17, 3), np.float32))
    files = ["a.mp4", "b.mp4"]
    session = session_file.template(files)
    out = [
        Target("lane file", (lane,), _file("lane.json", _lane)),
        Target("corrections", (corrections,), lambda data, _: corrections_text.from_text(data)),
        Target("analysis", (analysis,), _file("analysis.json", result_file.read_analysis)),
        Target("motion", (motion,), _file("motion.npz", result_file.read_motion), "npz"),
        Target("sighting", ((result / NAME).read_bytes(),), _file(NAME, read_sighting, whole=True), "npz"),
        Target("keypoint cache", (entry.getvalue(),), _file("k.npz", _key, whole=True), "npz"),
        Target("said", (said.encode(),), _file("said.json", result_folder.read_said, whole=True)),
        Target(
            "hip path",
            ((result / "hip_path.csv").read_bytes(),),
            _file("hip_path.csv", result_folder.read_hip_path),
            "csv",
        ),
        Target(
            "session file",
            (session, SESSION),
            _file("session.csv", lambda p: session_file.read_session(p, files)),
            "csv",
        ),
        Target("session state", (state.encode(),), _file(session_state.STATE, session_state.read_state, whole=True)),
        Target("logbook", (book,), _file("log.sqlite", _logbook), "bytes"),
    ]
    return (
        out
        + [Target(f"logbook {n}", (c,), _import(n, export), "csv") for n, c in export.items() if n.endswith(".csv")][:4]
    )


SESSION = b"file,athlete,kind\na.mp4,A1,full approach\nb.mp4,A2,mat drill\n"


def _corrections() -> bytes:
    """One correction of every kind that a sound file may hold."""
    moved = InstantMoved(near_frame=100.0, instant="touchdown", to_frame=101.5)
    done = (
        moved,
        KindSet(kind="full approach"),
        FootChanged(near_frame=90.0, foot="left"),
        MatsSet(mats=(Mat(number=-1, thickness_m=0.05),)),
    )
    return corrections_text.to_text(
        Corrections(clip_sha256="0" * 64, run=1, at=None, done=done, undone=(moved,))
    ).encode()


def _filled_logbook(result: Path, work: Path) -> tuple[bytes, dict[str, bytes]]:
    """A logbook with one trial, and its export."""
    from penult.adapters.logbook_csv import export

    path = work / "seed.sqlite"
    with logbook.opened(path, create=True) as log:
        log.put_trials([result_folder.read_trial(result)])
        export(log, work / "seed_export")
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.execute("PRAGMA journal_mode = DELETE")
    return path.read_bytes(), {p.name: p.read_bytes() for p in (work / "seed_export").iterdir() if p.is_file()}
