"""A single file is written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from penult.whole_file import write_whole


def test_new_content_replaces_old_and_nothing_else_is_left(tmp_path: Path) -> None:
    (tmp_path / "läufer 跳.json").write_bytes(b"old")

    write_whole(tmp_path / "läufer 跳.json", b"new")

    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"läufer 跳.json": b"new"}


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_failure_at_any_step_leaves_the_old_content(
    step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    file = tmp_path / "a.json"
    file.write_bytes(b"old")
    monkeypatch.setattr(*((os, "fsync") if step == "fsync" else (Path, "replace")), full)

    with pytest.raises(OSError, match="No space left"):
        write_whole(file, b"new")

    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a.json": b"old"}
