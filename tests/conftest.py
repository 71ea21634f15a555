"""What every test may use: the repository's samples, films with known truth where they are at hand, two profiles."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("dev", deadline=None, max_examples=25)
settings.register_profile("ci", deadline=None, max_examples=60, derandomize=True, database=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci" if os.environ.get("CI") else "dev"))


@pytest.fixture(scope="session")
def films() -> Path:
    """Return the folder of films with known truth; skips the test where it is not at hand."""
    folder = Path(os.environ.get("PENULT_SHARED", "missing")) / "films"
    if not folder.is_dir():
        pytest.skip("films with known truth are not at hand (PENULT_SHARED)")
    return folder


@pytest.fixture(scope="session")
def samples() -> Path:
    """Return the repository's folder of samples; skips the test in a copy without them."""
    folder = Path(__file__).parent.parent / "samples"
    if not folder.is_dir():
        pytest.skip("the samples are not part of this copy")
    return folder


@pytest.fixture(autouse=True, scope="session")
def _own_logbook(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep every test, and every program that it starts, away from the logbook and the list of places of this computer."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PENULT_LOGBOOK", str(tmp_path_factory.mktemp("book") / "log.sqlite"))
        yield
