"""`penult review` as a program: its address, how it ends, what it refuses, and how quick it is."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest

from page_driver import PATIENCE_S, Page, sized
from penult.adapters.files.sighting_file import read_sighting

pytestmark = pytest.mark.slow


@contextmanager
def program(*arguments: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Start `penult review` and give it with its address."""
    command = [sys.executable, "-m", "penult", "review", *arguments, "--no-browser"]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as process:
        try:
            assert process.stderr is not None
            for line in process.stderr:
                if found := re.match(r"open (http://127\.0\.0\.1:\d+/open\?token=\S{20,})", line):
                    yield process, found[1]
                    break
            else:
                pytest.fail("no address was printed")
        finally:
            if process.poll() is None:
                process.kill()


def base(address: str) -> str:
    return address.split("/open", maxsplit=1)[0]


def test_it_ends_when_its_page_is_closed(driver: Any, result: Path) -> None:
    """A reload is not the end; leaving the page is: exit status 0, a few seconds later."""
    sized(driver)
    with program(str(result)) as (process, address):
        page = Page(driver, address)
        driver.refresh()
        page.wait(lambda: page.body("firstMs"))
        time.sleep(1.0)
        assert process.poll() is None
        driver.get("about:blank")
        assert process.wait(timeout=PATIENCE_S) == 0


def test_ctrl_c_ends_it_and_it_says_what_is_not_in_the_files_yet(result: Path) -> None:
    """One correction made: saved, named, and what to do; exit status 0."""
    with program(str(result)) as (process, address), httpx.Client(timeout=PATIENCE_S) as there:
        there.get(address, follow_redirects=True)
        body = {"version": 0, "correction": {"kind": "kind-set", "word": "drill"}}
        assert there.post(f"{base(address)}/api/correct", json=body).status_code == 200
        process.send_signal(signal.SIGINT)
        assert process.stderr is not None
        said = process.stderr.read()
        assert process.wait(timeout=PATIENCE_S) == 0

    assert "1 correction is saved" in said
    assert "next:" in said
    assert (result / "corrections.json").exists()


def refused(*arguments: str) -> str:
    """Return what is said when the input is at fault."""
    command = [sys.executable, "-m", "penult", "review", *arguments, "--no-browser"]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=PATIENCE_S)
    assert done.returncode == 2, done.stderr
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    return done.stderr


def test_what_is_no_result_is_refused_in_words(result: Path, tmp_path: Path) -> None:
    """No folder, an empty one, a result without its film, without what was seen, with another film, with foreign corrections."""
    assert "cannot be read" in refused(str(tmp_path / "nowhere"))
    (tmp_path / "empty").mkdir()
    assert "cannot be read" in refused(str(tmp_path / "empty"))

    alone = tmp_path / "alone" / "clip_analysis"
    shutil.copytree(result, alone)
    assert "--clip" in refused(str(alone))
    other = tmp_path / "other.mp4"
    other.write_bytes(b"not that film")
    assert "is not the film" in refused(str(alone), "--clip", str(other))

    (alone / "corrections.json").write_text("{}")
    assert "corrections" in refused(str(alone), "--clip", str(result.parent / "clip.mp4"))
    (alone / "corrections.json").unlink()
    (alone / "sighting.npz").unlink()
    assert "analyse the clip again" in refused(str(alone), "--clip", str(result.parent / "clip.mp4"))


def test_a_film_elsewhere_is_taken_when_said(result: Path, tmp_path: Path) -> None:
    """--clip; the address is answered."""
    alone = tmp_path / "alone" / "clip_analysis"
    shutil.copytree(result, alone)
    with program(str(alone), "--clip", str(result.parent / "clip.mp4")) as (_, address):
        assert httpx.get(address).status_code == 303


FRAMES_OF_2_S = 480


def test_every_number_is_there_again_within_a_second(result: Path, contention: Callable[[], float]) -> None:
    """The bar is 1 s for 2 s at 240 frames a second; the sample has fewer frames, so it gets its share. Best of six."""
    share = len(read_sighting(result).joints.frame) / FRAMES_OF_2_S
    taken: list[float] = []
    with program(str(result)) as (_, address), httpx.Client(timeout=PATIENCE_S) as there:
        there.get(address, follow_redirects=True)
        for version in range(6):
            body = {"kind": "instant-moved", "near_frame": 180.0, "instant": "touchdown", "to_frame": 168.0 + version}
            slower, begun = contention(), time.perf_counter()
            answer = there.post(f"{base(address)}/api/correct", json={"version": version, "correction": body})
            taken.append((time.perf_counter() - begun) / max(slower, contention()))
            assert answer.status_code == 200, answer.text

    assert min(taken) < 1.0 * share, taken


def test_the_first_picture_within_a_second_and_a_step_within_a_twentieth(
    driver: Any, result: Path, contention: Callable[[], float]
) -> None:
    """From the address to the picture; from the key to the next frame on the canvas, median of thirty steps both ways."""
    sized(driver)
    with program(str(result)) as (_, address):
        slower = contention()
        page = Page(driver, address)
        first_ms = int(page.body("firstMs") or "0")
        slower = max(slower, contention())
        assert first_ms < 1000 * slower

        steps = []
        for key in ["\ue014"] * 20 + ["\ue012"] * 10:
            page.together("\ue008", key)  # with Shift: one frame
            page.frame  # noqa: B018 - wait for it
            steps.append(int(page.body("stepMs") or "0"))
        assert sorted(steps)[len(steps) // 2] < 50 * contention(), steps
        driver.get("about:blank")


def test_two_programs_do_not_answer_each_other(result: Path) -> None:
    """The cookie of one opens nothing on the other, though a browser sends it to every port."""
    with program(str(result)) as (_, one), program(str(result)) as (_, two), httpx.Client(timeout=PATIENCE_S) as there:
        there.get(one, follow_redirects=True)
        assert there.get(f"{base(one)}/").status_code == 200
        assert there.get(f"{base(two)}/").status_code == 403


@pytest.mark.skipif(not hasattr(os, "sched_getaffinity"), reason="tells the load apart on Linux only")
def test_help_is_quick_and_names_the_options() -> None:
    """No heavy library is loaded for it."""
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "penult", "review", "--help"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "--no-browser" in done.stdout
    for heavy in ("numpy", "cv2", "starlette", "av"):
        assert not re.search(rf"\| +{heavy}$", done.stderr, re.MULTILINE), heavy
