"""Files from others are untrusted: broken ones never crash a reader (the long run: tests/bench/fuzz.py)."""

from __future__ import annotations

import io
import os
import random
import shutil
import struct
import tempfile
import warnings
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fuzz_targets import targets
from fuzzing import Tally, mutants
from penult.adapters.caches import keypoint_cache
from penult.adapters.files.result_file import read_motion
from penult.adapters.files.sighting_file import NAME, read_sighting
from penult.errors import ResultError

pytestmark = pytest.mark.slow

CASES, OF_A_TABLE = 150, 20
"""The tables of an exported logbook have one reader."""


def test_no_broken_file_crashes_any_reader(small_job: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every reader gets CASES broken files; it reads them or says what is wrong with them."""
    memory = Path("/dev/shm")
    place = Path(tempfile.mkdtemp(dir=memory)) if memory.is_dir() and os.access(memory, os.W_OK) else tmp_path
    monkeypatch.setenv("PENULT_CACHE", str(tmp_path / "cache"))
    found: dict[str, Any] = {}
    counts = {}
    folder = place / "case"
    folder.mkdir()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # numpy warns of the odd numbers that are put into arrays here
        for target in targets(small_job.result, tmp_path):
            tally = Tally()
            cases = OF_A_TABLE if target.name.startswith("logbook ") else CASES
            for _, data in zip(range(cases), mutants(target, random.Random(11)), strict=False):
                tally.one(target, data, folder)
            counts[target.name] = tally.cases
            found.update({f"{target.name}: {what}": None for what in tally.found})

    shutil.rmtree(place, ignore_errors=True)

    assert list(found) == []
    assert set(counts.values()) == {CASES, OF_A_TABLE}
    assert len(counts) > 25


def archive(*, way: int = 0, flag: int = 0, header: str = "") -> bytes:
    """An npz file that says of its one array that it is packed in another way, or encrypted, or of another shape."""
    member = io.BytesIO()
    np.save(member, np.arange(40))
    content = member.getvalue()
    if header:
        text = header.encode().ljust(117) + b"\n"
        content = b"\x93NUMPY\x01\x00" + struct.pack("<H", len(text)) + text
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as file:
        file.writestr("frame.npy", content)
    data = bytearray(out.getvalue())
    entry = data.index(b"PK\x01\x02")
    for at in (4, entry + 6):  # minimum version, flags, way of packing: in both headers
        struct.pack_into("<HH", data, at + 2, flag, way)
    return bytes(data)


@pytest.mark.parametrize(
    "data",
    [
        archive(way=99),
        archive(flag=1),
        archive(header=f"{{'descr': '<f8', 'fortran_order': False, 'shape': ({2**60},)}}"),
        archive(header=f"{{'descr': '<f8', 'fortran_order': False, 'shape': ({2**70}, 9)}}"),
        archive(header="[" * 100),
    ],
    ids=["unknown packing", "encrypted", "an array of exabytes", "beyond any size", "nested header"],
)
def test_an_archive_that_lies_is_damage_and_no_fault_of_ours(
    data: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Found by fuzzing (unknown packing), or made to be worse; the keypoint cache takes it for no entry."""
    monkeypatch.setenv("PENULT_CACHE", str(tmp_path))
    for name in ("motion.npz", NAME, "k.npz"):
        (tmp_path / name).write_bytes(data)

    with pytest.raises(ResultError, match="does not hold a motion"):
        read_motion(tmp_path / "motion.npz")
    with pytest.raises(ResultError, match="is damaged"):
        read_sighting(tmp_path)
    assert keypoint_cache.read("k") is None
