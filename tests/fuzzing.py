# ruff: noqa: PLR0911
"""Broken and hostile files for every reader: what is mutated, how, and what a reader may do with it.

A reader may return, or raise a PenultError. Anything else, or more than SLOWEST_S, is a finding.
"""

from __future__ import annotations

import csv
import io
import json
import random
import re
import struct
import time
import traceback
import warnings
import zipfile
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from penult.errors import PenultError

SLOWEST_S = 10.0

ODD: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 2**31, 2**63, -(2**63) - 1, 10**400, 1e308, -1e308, 1e-320, float("nan"), float("inf"),
    "", " ", "\x00", "a" * 5000, "../../etc/passwd", "C:\\con", "<script>alert(1)</script>", "\"'>", "{{7*7}}", "\u202egnp.exe",
    "\ud800", "👟🏃‍♀️", "é" * 300, "1e5", "NaN", "-0", [], {}, [[]], [None] * 50, {"": None}, [0.0] * 3, [1e300, -1e300],
)  # fmt: skip
"""Values put in the place of others: borders of types, markup, paths, text that turns round, half a character."""

FILM_WORDS = re.compile(
    rb"moov|mvhd|tkhd|elst|mdhd|hdlr|stsd|stts|ctts|stss|stsc|stsz|stco|co64|avcC|hvcC|vpcC|colr|pasp|sidx|tfhd|tfdt|trex"
    rb"|fiel|trun|tref|avih|strh|strf|indx|idx1|meta|keys|ilst|udta|ftyp|onMetaData"  # codespell:ignore
    rb"|\x1a\x45\xdf\xa3|\x16\x54\xae\x6b|\x15\x49\xa9\x66|\x1f\x43\xb6\x75|\x1c\x53\xbb\x6b"  # EBML, Tracks, Info, Cluster, Cues
    rb"|\x00\x00\x01[\xba\xb3\xb5\xe0]|\x47[\x40-\x5f]|\x91\x07\xdc\xb7|\xa1\xdc\xab\x8c"  # MPEG headers, ASF objects
)
"""Boxes and chunks of films: sizes, counts, times and matrices stand in them."""


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
            again_s = _seconds(target, data, folder)  # the machine may have stood still
            if again_s > SLOWEST_S:
                self.found.setdefault(f"slow: {again_s:.0f} s", data)


def _seconds(target: Target, data: bytes, folder: Path) -> float:
    """How long one case takes."""
    began = time.perf_counter()
    with suppress(Exception):
        target.read(data, folder)
    return time.perf_counter() - began


def mutants(target: Target, draw: random.Random) -> Iterator[bytes]:
    """Yield broken versions of the target's files for ever."""
    while True:
        yield mutant(target, draw.choice(target.seeds), draw)


def mutant(target: Target, seed: bytes, draw: random.Random) -> bytes:
    """Return a broken version of a file of the target's kind (or of what is left of one)."""
    ways = {"json": _json_mutant, "csv": _csv_mutant, "npz": _npz_mutant, "film": _film_mutant}
    if target.kind in ways and draw.random() < 0.7:
        try:
            return ways[target.kind](seed, draw)
        except Exception:  # it is too broken already to be broken in style
            return bytes_mutant(seed, draw)
    return bytes_mutant(seed, draw)


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


def _film_mutant(seed: bytes, draw: random.Random) -> bytes:
    """Put odd whole numbers where a container keeps sizes, counts and times: in a box, near either end."""
    data = bytearray(seed)
    boxes = _boxes(seed)
    for _ in range(draw.choice((1, 1, 2, 4))):
        begin = draw.choice(boxes)
        at = max(min(begin + draw.randrange(-8, 120), len(data) - 8), 0)
        form = draw.choice((">I", "<I", ">H", ">Q", "<H"))
        size = struct.calcsize(form)
        number = draw.choice((0, 1, 2, 7, 255, 2**15, 2 ** (8 * size - 1), 2 ** (8 * size) - 1, draw.randrange(2**16)))
        data[at : at + size] = struct.pack(form, number % 2 ** (8 * size))
    return bytes(data)


@lru_cache(maxsize=64)
def _boxes(film: bytes) -> tuple[int, ...]:
    """Where boxes and chunks begin, and both ends of the film."""
    return (*(found.start() for found in FILM_WORDS.finditer(film)), 0, max(len(film) - 600, 0))


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
    """Change cells, repeat and drop rows and columns; mostly below the header, beyond which a broken one lets nothing."""
    text = seed.decode("utf-8-sig")
    quoted = '"' in text and draw.random() < 0.7  # else cells with commas and lines in them fall apart
    rows = (
        list(csv.reader(io.StringIO(text, newline=""))) if quoted else [line.split(",") for line in text.splitlines()]
    )
    for _ in range(draw.choice((1, 2, 5))):
        row = draw.choice(rows[1:] if len(rows) > 1 and draw.random() < 0.8 else rows)
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
    out = io.StringIO(newline="")
    if quoted:
        csv.writer(out, lineterminator="\n").writerows(rows)
    return (out.getvalue() or "\n".join(",".join(r) for r in rows)).encode("utf-8", errors="replace")


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
            content = member.getvalue()
            if draw.random() < 0.05:  # a header that promises another shape than the bytes have
                shape = draw.choice((b"(0,)", b"(2**9,)", b"(999999999999,)", b"(-1,)", b"(((", b"()"))
                content = content.replace(content[content.find(b"(") : content.find(b")") + 1], shape, 1)
            file.writestr(f"{name}.npy", content)
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
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # not a number becomes any whole number here
            return array.astype(draw.choice(("f4", "i2", "U8", "c16", "?"))) if array.dtype.kind in "fiub" else array
    flat = np.array(array)
    if flat.size and flat.dtype.kind in "fi":
        borders = (0.0, -1.0, 3e38, np.nan, np.inf) if flat.dtype.kind == "f" else (0, -1, np.iinfo(flat.dtype).max)
        flat.reshape(-1)[draw.randrange(flat.size)] = draw.choice(borders)
    return flat
