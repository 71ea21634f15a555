"""The small films that the tests of the video adapter make themselves serve here too; nothing is kept from test to test."""

from pathlib import Path

import pytest

from adapters.conftest import films, make_film

__all__ = ["films", "make_film"]


@pytest.fixture(autouse=True)
def _own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PENULT_CACHE", str(tmp_path / "cache"))
