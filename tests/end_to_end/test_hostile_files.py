"""Files from others are untrusted: broken ones never crash a reader (the long run: tests/bench/fuzz.py)."""

from __future__ import annotations

import random
import warnings
from pathlib import Path
from typing import Any

import pytest

from fuzzing import Tally, mutants, targets

pytestmark = pytest.mark.slow

CASES = 150


def test_no_broken_file_crashes_any_reader(small_job: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every reader gets CASES broken files; it reads them or says what is wrong with them."""
    monkeypatch.setenv("PENULT_CACHE", str(tmp_path / "cache"))
    found: dict[str, Any] = {}
    counts = {}
    folder = tmp_path / "case"
    folder.mkdir()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # numpy warns of the odd numbers that are put into arrays here
        for target in targets(small_job.result, tmp_path):
            tally = Tally()
            for _, data in zip(range(CASES), mutants(target, random.Random(11)), strict=False):
                tally.one(target, data, folder)
            counts[target.name] = tally.cases
            found.update({f"{target.name}: {what}": None for what in tally.found})

    assert list(found) == []
    assert min(counts.values()) == CASES
