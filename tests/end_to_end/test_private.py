"""Nothing leaves the machine: the whole job works without any network, and a tracer sees no attempt to reach one."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from accidents import command, environment, fault_of

pytestmark = pytest.mark.slow

REACHES_OUT = re.compile(r"AF_INET6?\b|AF_PACKET")


def test_the_whole_job_reaches_for_no_network(small_job: Any, tmp_path: Path) -> None:
    """Pose model, pictures and sharing included; the namespace has no interface that is up."""
    if shutil.which("strace") is None or shutil.which("unshare") is None:
        pytest.skip("strace or unshare is not installed")
    if subprocess.run(
        ["unshare", "-rn", "strace", "-o", "/dev/null", "true"], capture_output=True, check=False
    ).returncode:
        pytest.skip("namespaces or tracing are not permitted here")
    log, result = tmp_path / "trace", tmp_path / "result"
    traced = ["unshare", "-rn", "strace", "-f", "-qq", "--seccomp-bpf", "-e", "trace=network", "-o", str(log)]

    analyse = command(small_job.film, small_job.lane, result)
    done = subprocess.run(
        [*traced, *analyse], env=environment(tmp_path / "cache"), capture_output=True, text=True, check=False
    )
    reached = [line for line in log.read_text().splitlines() if REACHES_OUT.search(line)]

    assert done.returncode == 0, done.stderr
    assert fault_of(result) is None
    assert reached == []


def test_the_tracer_would_have_seen_it(tmp_path: Path) -> None:
    """The same trace of a program that does try shows it, so that silence above means something."""
    if shutil.which("strace") is None or subprocess.run(["strace", "-o", "/dev/null", "true"], check=False).returncode:
        pytest.skip("tracing is not permitted here")
    log = tmp_path / "trace"
    reach = "import socket; s = socket.socket(); s.settimeout(0.1); s.connect_ex(('127.0.0.1', 9))"
    subprocess.run(["strace", "-f", "-e", "trace=network", "-o", str(log), "python3", "-c", reach], check=False)

    assert REACHES_OUT.search(log.read_text())
