"""The film writer: plays on phones, or says why it could not be written."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from penult.adapters.film import writer
from penult.adapters.film.video import frames, open_clip, raw_frames
from penult.adapters.film.writer import write_film
from penult.errors import ClipError, OutputError


def pictures(films: Any, count: int = 20, size_px: tuple[int, int] = (320, 180)) -> Iterator[tuple[Any, float]]:
    return ((films.numbered_picture(i, size_px), i / 30) for i in range(count))


def boxes(data: bytes) -> list[bytes]:
    """Top-level boxes of an MP4 file in order (ISO/IEC 14496-12 section 4.2)."""
    found, at = [], 0
    while at < len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        found.append(data[at + 4 : at + 8])
        at += size if size > 1 else int.from_bytes(data[at + 8 : at + 16], "big")
    return found


def test_what_is_written_reads_back_frame_by_frame(tmp_path: Path, films: Any) -> None:
    path = tmp_path / "film.mp4"

    count = write_film(path, (320, 180), pictures(films))

    clip = open_clip(path)
    seen = list(frames(path, clip))
    assert count == len(seen) == 20
    assert [films.number_of(f.image) for f in seen] == list(range(20))
    assert clip.time_s == pytest.approx([i / 30 for i in range(20)], abs=1e-5)
    assert clip.notices == ()
    assert np.abs(seen[3].image[-40:].astype(int) - films.numbered_picture(3)[-40:]).mean() < 4


def test_it_is_what_phones_and_browsers_play(tmp_path: Path, films: Any) -> None:
    """T37, T38: H.264, 4:2:0, limited range, index before the data, no pictures out of order, nothing of us in it."""
    path = tmp_path / "film.mp4"
    write_film(path, (320, 180), pictures(films))
    order = boxes(path.read_bytes())

    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        context = stream.codec_context
        found = (context.name, context.pix_fmt, int(context.color_range), int(context.colorspace), context.has_b_frames)
        stamps = [(p.pts, p.dts) for p in container.demux(stream) if p.size]
        tags = {**container.metadata, **stream.metadata}
    assert found == ("h264", "yuv420p", 1, 1, False)
    assert order.index(b"moov") < order.index(b"mdat")
    assert all(pts == dts for pts, dts in stamps)
    assert set(tags) <= {"major_brand", "minor_version", "compatible_brands", "language", "handler_name"}


def test_the_same_pictures_give_the_same_bytes(tmp_path: Path, films: Any) -> None:
    write_film(tmp_path / "a.mp4", (320, 180), pictures(films))
    write_film(tmp_path / "b.mp4", (320, 180), pictures(films))

    assert (tmp_path / "a.mp4").read_bytes() == (tmp_path / "b.mp4").read_bytes()


def test_true_times_are_kept(tmp_path: Path, films: Any) -> None:
    time_s = 5.0 + np.cumsum([0.0, 0.010, 0.004, 0.030, 0.0101])

    write_film(tmp_path / "film.mp4", (320, 180), ((films.numbered_picture(i), t) for i, t in enumerate(time_s)))

    assert open_clip(tmp_path / "film.mp4").time_s == pytest.approx(time_s - 5.0, abs=1e-5)


@pytest.mark.parametrize("rate_hz", [25.0, 29.97, 12.5])
def test_a_playback_rate_spaces_the_pictures_evenly(tmp_path: Path, films: Any, rate_hz: float) -> None:
    path = tmp_path / "film.mp4"

    write_film(path, (320, 180), ((p, 0.0) for p, _ in pictures(films)), playback_rate_hz=rate_hz)

    clip = open_clip(path)
    assert clip.time_s == pytest.approx(np.arange(20) / rate_hz, abs=2e-5)
    assert clip.capture_rate_hz == pytest.approx(rate_hz, rel=1e-3)


@pytest.mark.parametrize("size_px", [(321, 181), (320, 181), (321, 180)])
def test_an_odd_side_is_padded_and_coordinates_stay(tmp_path: Path, films: Any, size_px: tuple[int, int]) -> None:
    """T39."""
    path = tmp_path / "film.mp4"

    write_film(path, size_px, pictures(films, 5, size_px))

    clip = open_clip(path)
    assert clip.size_px == (size_px[0] + size_px[0] % 2, size_px[1] + size_px[1] % 2)
    for frame in frames(path, clip):
        drawn = films.numbered_picture(frame.index, size_px)
        assert films.number_of(frame.image) == frame.index
        assert np.abs(frame.image[: size_px[1], : size_px[0]].astype(int) - drawn).mean() < 5
        assert np.abs(frame.image[-1, -1].astype(int) - drawn[-1, -1]).max() < 40  # the rim goes on, no black line


def test_views_and_slices_are_written_as_they_look(tmp_path: Path, films: Any) -> None:
    path = tmp_path / "film.mp4"
    big = [films.numbered_picture(i, (640, 360)) for i in range(4)]

    write_film(path, (320, 180), ((p[::-1, ::-1][::2, ::2], i / 30) for i, p in enumerate(big)))

    image = next(frames(path, open_clip(path))).image
    assert np.abs(image.astype(int) - big[0][::-1, ::-1][::2, ::2]).mean() < 5


@pytest.mark.parametrize("name", ["läufer 跳.mp4", "50% #1 [a].mp4", "%03d.mp4"])
def test_any_file_name_works(tmp_path: Path, films: Any, name: str) -> None:
    """T18."""
    folder = tmp_path / "läufer 跳"
    folder.mkdir()

    write_film(folder / name, (320, 180), pictures(films, 3))

    assert [p.name for p in folder.iterdir()] == [name]


def test_a_film_of_before_stays_until_the_new_one_is_whole(tmp_path: Path, films: Any) -> None:
    """T40: the source fails half-way, with its own error."""
    path = tmp_path / "film.mp4"
    write_film(path, (320, 180), pictures(films, 5))
    before = path.read_bytes()

    def broken() -> Iterator[tuple[Any, float]]:
        yield from pictures(films, 3)
        raise ClipError("the source ended")

    with pytest.raises(ClipError, match="the source ended"):
        write_film(path, (320, 180), broken())
    assert path.read_bytes() == before
    write_film(path, (320, 180), pictures(films, 8))
    assert len(open_clip(path).time_s) == 8
    assert [p.name for p in tmp_path.iterdir()] == ["film.mp4"]


def test_a_full_disk_gives_a_message(tmp_path: Path) -> None:
    """T40: a limit on the size of files stands for the full disk; in a process of its own, for it cannot be undone."""
    resource = pytest.importorskip("resource")
    assert resource
    code = f"""
import resource, signal, sys
from pathlib import Path
import numpy as np
from penult.adapters.film.writer import write_film
from penult.errors import OutputError
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, 60_000))
random = np.random.default_rng(1)
noise = ((random.integers(0, 255, (180, 320, 3), np.uint8), i / 30) for i in range(60))
try:
    write_film(Path({str(tmp_path / "film.mp4")!r}), (320, 180), noise)
except OutputError as fault:
    print(fault.what, "|", fault.next_step)
"""
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout

    assert "film.mp4 cannot be written" in said or "film.mp4 could not be written whole" in said
    assert "free space" in said
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_read_only_folder_gives_a_message(tmp_path: Path, films: Any) -> None:
    folder = tmp_path / "locked"
    folder.mkdir(mode=0o555)

    with pytest.raises(OutputError, match="cannot be written"):
        write_film(folder / "film.mp4", (320, 180), pictures(films))


@pytest.mark.parametrize("place", ["missing/film.mp4", "file/film.mp4", "folder"])
def test_a_place_that_is_no_place_gives_a_message(tmp_path: Path, films: Any, place: str) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").write_text("x")

    with pytest.raises(OutputError) as caught:
        write_film(tmp_path / place, (320, 180), pictures(films))

    assert caught.value.exit_status == 2
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file", "folder"]


def test_a_refusal_by_the_system_is_worded(tmp_path: Path, films: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """T40: what a read-only folder answers, for those who run the tests as superuser."""

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("av.open", refuse)

    with pytest.raises(OutputError) as caught:
        write_film(tmp_path / "film.mp4", (320, 180), pictures(films))

    assert caught.value.details == ("Permission denied",)


def test_a_film_that_lost_pictures_is_not_kept(tmp_path: Path, films: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """T40: the finished file is opened again and counted."""
    add = writer._Film.add

    def forgetful(self: Any, image: Any) -> None:
        add(self, image)
        self.count += self.count == 3

    monkeypatch.setattr(writer._Film, "add", forgetful)

    with pytest.raises(OutputError, match="could not be written whole") as caught:
        write_film(tmp_path / "film.mp4", (320, 180), pictures(films))
    assert caught.value.details == ("20 of 21 frames are in it",)
    assert list(tmp_path.iterdir()) == []


def test_no_pictures_make_no_film(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="there is no picture for it"):
        write_film(tmp_path / "film.mp4", (320, 180), [])
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("image", "time_s"),
    [
        (np.zeros((180, 322, 3), np.uint8), 1.0),
        (np.zeros((180, 320), np.uint8), 1.0),
        (np.zeros((180, 320, 3), np.float64), 1.0),
        (np.zeros((180, 320, 3), np.uint8), 0.0),
    ],
)
def test_a_picture_that_does_not_fit_is_our_own_fault(tmp_path: Path, films: Any, image: Any, time_s: float) -> None:
    with pytest.raises(ValueError, match="picture 1 is"):
        write_film(tmp_path / "film.mp4", (320, 180), [(films.numbered_picture(0), 0.0), (image, time_s)])
    assert list(tmp_path.iterdir()) == []


def test_planes_are_written_as_the_same_pictures_in_rgb(tmp_path: Path, films: Any) -> None:
    write_film(tmp_path / "rgb.mp4", (320, 180), pictures(films, 6))
    clip = open_clip(tmp_path / "rgb.mp4")
    planes = [(raw.planes((320, 180)), raw.time_s) for raw in raw_frames(tmp_path / "rgb.mp4", clip)]

    write_film(tmp_path / "planes.mp4", (320, 180), planes)

    again = open_clip(tmp_path / "planes.mp4")
    pairs = zip(frames(tmp_path / "rgb.mp4", clip), frames(tmp_path / "planes.mp4", again), strict=True)
    for one, other in pairs:
        assert films.number_of(other.image) == other.index
        assert np.abs(one.image.astype(int) - other.image).mean() < 2
    with pytest.raises(ValueError, match="wanted uint8"):
        write_film(tmp_path / "wrong.mp4", (322, 180), planes)
