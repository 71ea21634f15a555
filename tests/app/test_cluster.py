"""Clips on a Dask cluster: the same function elsewhere, a killed worker's clips tried again, faults told in plain words."""

from __future__ import annotations

import os
import socket
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from penult.app import cluster as dask
from penult.errors import InputError

distributed = pytest.importorskip("distributed", reason="the extra penult[cluster] is not installed")

pytestmark = pytest.mark.filterwarnings("ignore")  # of the library's own


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1", silence_logs=50
    ) as local:
        yield local.scheduler_address


def _square_once_killed(number: int, folder: str) -> tuple[int, str, int]:
    """The worker that is the first to be given number 3 dies over it."""
    mark = Path(folder) / "killed"
    if number == 3 and not mark.exists():
        mark.write_text("")
        os._exit(9)
    return number**2, os.environ["PENULT_WORKERS"], os.getpid()


def _refuse(number: int) -> None:
    raise InputError(f"clip {number} is no film")


def test_clips_of_a_killed_worker_are_analysed_all_the_same(address: str, tmp_path: Path) -> None:
    with dask.cluster(address) as executor:
        futures = [executor.submit(_square_once_killed, i, str(tmp_path)) for i in range(6)]
        found = [future.result(timeout=60) for future in futures]

    assert (tmp_path / "killed").exists()
    assert [square for square, _, _ in found] == [0, 1, 4, 9, 16, 25]
    assert {threads for _, threads, _ in found} == {"1"}, "a clip on a worker leaves the other cores to other clips"
    assert os.getpid() not in {process for _, _, process in found}


def test_our_own_errors_come_back_as_they_are(address: str) -> None:
    with dask.cluster(address) as executor:
        error = executor.submit(_refuse, 7).exception(timeout=60)

    assert isinstance(error, InputError)
    assert "clip 7 is no film" in str(error)


def test_no_scheduler_at_the_address_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(dask, "PATIENCE_S", 0.5)
    with socket.socket() as held:  # a port at which nobody listens
        held.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{held.getsockname()[1]}"
        with pytest.raises(InputError, match="no Dask scheduler answers"):
            dask.cluster(address)


def test_a_missing_library_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    gone: Any = None
    monkeypatch.setitem(sys.modules, "distributed", gone)

    with pytest.raises(InputError, match="not installed") as caught:
        dask.cluster("tcp://127.0.0.1:1")

    assert 'pip install "penult[cluster]"' in str(caught.value)
