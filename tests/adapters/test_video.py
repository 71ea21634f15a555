"""The clip reader: frames, their times and their identity."""

from __future__ import annotations

import dataclasses
import os
import subprocess
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from penult.adapters.film.video import FirstReading, frames, grey_frames, open_clip
from penult.errors import ClipError
from penult.model.clip import Clip

B_FRAMES = {"preset": "ultrafast", "bf": "3", "b-adapt": "0"}


def codes(clip: Clip) -> set[str]:
    return {notice.code for notice in clip.notices}


def text(clip: Clip, code: str) -> str:
    return next(notice.text for notice in clip.notices if notice.code == code)


def test_every_frame_has_its_number_time_and_picture(make_film: Any, films: Any) -> None:
    path = make_film(count=30, options=B_FRAMES)

    clip = open_clip(path)
    seen = list(frames(path, clip))

    assert [f.index for f in seen] == [films.number_of(f.image) for f in seen] == list(range(30))
    assert [f.time_s for f in seen] == pytest.approx([i / 30 for i in range(30)], abs=1e-6)
    assert all(f.image.shape == (180, 320, 3) and f.image.flags.c_contiguous for f in seen)
    assert all(f.image.dtype == np.uint8 for f in seen)
    assert clip.size_px == (320, 180)
    assert clip.capture_rate_hz == pytest.approx(30)
    assert clip.capture_rate_from == "frame times"
    assert clip.notices == ()


def test_the_hash_is_that_of_the_bytes(make_film: Any) -> None:
    """Against sha256sum of the system, where there is one."""
    path = make_film(count=3)
    if not Path("/usr/bin/sha256sum").exists():
        pytest.skip("no sha256sum here")
    said = subprocess.run(["/usr/bin/sha256sum", str(path)], capture_output=True, text=True, check=True).stdout

    assert open_clip(path).sha256 == said.split()[0]


def test_frames_hidden_by_an_edit_list_are_not_counted(make_film: Any, films: Any) -> None:
    """T1: a trimmed clip whose header counts 30 frames, 5 of them before the start of its edit list."""
    path = make_film(time_s=[(i - 5) / 30 for i in range(30)], file_options={"avoid_negative_ts": "disabled"})

    clip = open_clip(path)

    assert len(clip.time_s) == 25
    assert [films.number_of(f.image) for f in frames(path, clip)] == list(range(5, 30))
    assert text(clip, "frame-count") == "The file's header counts 30 frames; 25 are shown."


def test_uneven_frames_keep_their_own_times(make_film: Any) -> None:
    """T2: times that no single rate describes."""
    time_s = np.cumsum([0.0, *np.tile([0.030, 0.034, 0.036, 0.0333], 8)])

    clip = open_clip(make_film(time_s=time_s))

    assert clip.time_s == pytest.approx(time_s, abs=1e-5)
    assert "30.0 ms at the shortest, 33.7 ms in the middle, 36.0 ms at the longest" in text(clip, "variable-rate")


def test_dropped_frames_are_told_with_their_place(make_film: Any) -> None:
    """T2: the rate is that between neighbours (120), not frames over time (102)."""
    kept = [i for i in range(60) if i not in (20, 21, 40)] + [60 + i for i in range(3)]
    time_s = [i / 120 for i in kept]

    clip = open_clip(make_film(time_s=time_s, rate_hz=120))

    assert clip.capture_rate_hz == pytest.approx(120, rel=1e-3)
    assert clip.time_s == pytest.approx(time_s, abs=1e-5)
    assert text(clip, "frames-dropped") == "3 frames are missing inside the film: 2 after 0.158 s, 1 after 0.325 s."
    assert "variable-rate" not in codes(clip)


def test_a_clock_of_1_ms_is_not_a_rate_of_1000(make_film: Any) -> None:
    """T3: 240 frames a second on a clock of whole milliseconds, where neighbours lie 4 or 5 ms apart."""
    path = make_film("film.mkv", time_s=[i / 240 for i in range(120)], tick_s=Fraction(1, 1000), rate_hz=240)

    clip = open_clip(path)

    assert set(np.rint(np.diff(clip.file_time_s) * 1e3)) == {4.0, 5.0}
    assert clip.capture_rate_hz == pytest.approx(240, rel=2e-3)
    assert codes(clip) == set()


def test_a_slow_motion_tag_scales_the_times(make_film: Any) -> None:
    """T4: captured at 240, played at 30."""
    tag = {"tags": {"com.android.capture.fps": "240.0"}, "file_options": {"movflags": "use_metadata_tags"}}
    path = make_film(count=24, **tag)

    clip = open_clip(path)

    assert clip.capture_rate_from == "container tag"
    assert clip.capture_rate_hz == 240
    assert clip.time_s == pytest.approx([i / 240 for i in range(24)], abs=1e-6)
    assert clip.file_time_s == pytest.approx([i / 30 for i in range(24)], abs=1e-5)
    assert "plays at 30 frames a second but was captured at 240" in text(clip, "slow-motion")


def test_the_command_line_goes_before_the_tag(make_film: Any) -> None:
    tag = {"tags": {"com.android.capture.fps": "240.0"}, "file_options": {"movflags": "use_metadata_tags"}}

    clip = open_clip(make_film(count=24, **tag), capture_rate_hz=120)

    assert (clip.capture_rate_hz, clip.capture_rate_from) == (120, "command line")
    assert np.median(np.diff(clip.time_s)) == pytest.approx(1 / 120)


def test_a_camera_note_at_the_end_of_the_file_scales_the_times(make_film: Any) -> None:
    """T4: the XML of some cameras, in a box of its own; made after published examples of it."""
    path = make_film(count=24)
    note = b'<VideoFrame videoCodec="AVC_1920_1080_HP@L51" captureFps="119.88p" formatFps="29.97p"/>'
    body = b"\0\0\0\0" + (8 + 4 + len(note)).to_bytes(4, "big") + b"xml \0\0\0\0" + note
    with path.open("ab") as file:
        file.write((8 + len(body)).to_bytes(4, "big") + b"meta" + body)

    clip = open_clip(path)

    assert (clip.capture_rate_hz, clip.capture_rate_from) == (119.88, "container tag")
    assert clip.time_s[-1] == pytest.approx(23 / 119.88)


def test_times_that_run_backwards_are_rebuilt(make_film: Any, films: Any) -> None:
    """T5: AVI stores no presentation times, so reordered frames come with those of others."""
    path = make_film("film.avi", count=40, options=B_FRAMES, tick_s=Fraction(1, 30))

    clip = open_clip(path)
    seen = [(f.index, films.number_of(f.image)) for f in frames(path, clip)]
    late = [(i, films.number_of(image)) for i, _, image in grey_frames(path, clip, first=25, last=30)]

    assert "assumed 30 frames a second" in text(clip, "times-rebuilt")
    assert not np.all(np.diff(clip.file_time_s) > 0)
    assert clip.time_s == pytest.approx([i / 30 for i in range(40)])
    assert seen == [(i, i) for i in range(40)]
    assert late == [(i, i) for i in range(25, 31)]


def test_times_that_are_all_zero_are_rebuilt(make_film: Any, films: Any) -> None:
    """T5: the table of durations in the file says 0 for every frame."""
    path = make_film(count=12, options={"preset": "ultrafast", "bf": "0"})
    data = bytearray(path.read_bytes())
    at = data.index(b"stts") + 8
    entries = int.from_bytes(data[at : at + 4], "big")
    for i in range(entries):
        data[at + 8 + 8 * i : at + 12 + 8 * i] = bytes(4)
    path.write_bytes(data)

    clip = open_clip(path)

    assert "times-rebuilt" in codes(clip)
    assert np.all(np.diff(clip.time_s) > 0)
    assert [films.number_of(f.image) for f in frames(path, clip)] == list(range(12))


def test_a_clip_that_starts_late_starts_at_zero(make_film: Any) -> None:
    """T6: the file's own stamp stays on record."""
    clip = open_clip(make_film("film.mkv", time_s=[10 + i / 30 for i in range(10)]))

    assert clip.time_s[0] == 0.0
    assert clip.time_s[-1] == pytest.approx(9 / 30, abs=1e-3)
    assert clip.file_time_s[0] == pytest.approx(10)


UNEVEN_S = np.cumsum([0.0, *np.tile([1 / 30, 1 / 30, 1 / 15, 1 / 60], 60)])


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("film.mp4", {"preset": "ultrafast", "g": "120", "bf": "0"}),
        ("film.mp4", {"preset": "veryfast", "g": "40", "bf": "3"}),
        ("film.mkv", {"preset": "veryfast", "x264-params": "keyint=40:bframes=3:open-gop=1:b-pyramid=normal"}),
        ("film.ts", {"preset": "veryfast", "g": "60", "bf": "2"}),
    ],
)
def test_frame_n_is_the_same_frame_wherever_reading_starts(
    make_film: Any, films: Any, name: str, options: dict[str, str]
) -> None:
    """T8: number, time and picture agree after every jump."""
    path = make_film(name, time_s=UNEVEN_S, options=options)
    clip = open_clip(path)

    for first in (0, 1, 39, 40, 41, 79, 119, 120, 121, 200, 240):
        seen = list(frames(path, clip, first=first, last=first + 2, threads=1 + first % 2))
        wanted = list(range(first, min(first + 3, 241)))
        assert [f.index for f in seen] == wanted
        assert [films.number_of(f.image) for f in seen] == wanted
        assert [f.time_s for f in seen] == clip.time_s[wanted].tolist()


def test_nothing_is_read_beyond_the_ends(make_film: Any) -> None:
    path = make_film(count=8)
    clip = open_clip(path)

    assert [f.index for f in frames(path, clip, first=6, last=99)] == [6, 7]
    assert list(frames(path, clip, first=8)) == []
    assert list(frames(path, clip, first=5, last=4)) == []


def test_grey_pictures_are_the_luma_of_the_same_frames(make_film: Any, films: Any) -> None:
    path = make_film(count=6)
    clip = open_clip(path)

    full = list(grey_frames(path, clip))
    small = list(grey_frames(path, clip, reduce=4))

    assert [(i, films.number_of(image)) for i, _, image in full] == [(i, i) for i in range(6)]
    assert [t for _, t, _ in full] == clip.time_s.tolist()
    for (_, _, image), (_, _, quarter) in zip(full, small, strict=True):
        assert image.shape == (180, 320)
        blocks = image.astype(float).reshape(45, 4, 80, 4).mean(axis=(1, 3))
        assert np.abs(quarter - blocks).max() < 1.0


def test_the_file_of_another_clip_is_refused(make_film: Any) -> None:
    clip = open_clip(make_film("one.mp4", count=10))
    other = make_film("two.mp4", count=20)
    larger = make_film("three.mp4", count=10, size_px=(640, 360))

    for path in (other, larger):
        with pytest.raises(ClipError, match="has changed since it was opened"):
            list(frames(path, clip))


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="needs /proc")
def test_memory_stays_flat_over_a_thousand_frames(make_film: Any) -> None:
    """T28: a thousand pictures of 640 x 360 would fill 690 MB."""
    path = make_film(count=1000, size_px=(640, 360), options={"preset": "ultrafast", "crf": "30"})
    clip = open_clip(path)

    used_mb = []
    for frame in frames(path, clip):
        if frame.index % 100 == 50:
            pages = int(Path("/proc/self/statm").read_text().split()[1])
            used_mb.append(pages * os.sysconf("SC_PAGE_SIZE") / 1e6)

    assert len(used_mb) == 10
    assert max(used_mb) - used_mb[0] < 60


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="needs /proc")
def test_a_reader_that_is_dropped_closes_its_file(make_film: Any) -> None:
    """T28: containers do not pile up."""
    path = make_film(count=30)
    clip = open_clip(path)

    for _ in range(20):
        reader = frames(path, clip)
        next(reader)
        reader.close()

    open_files = [link for link in Path("/proc/self/fd").iterdir() if link.exists() and link.resolve() == path]
    assert open_files == []


def test_the_video_library_is_loaded_on_use_only() -> None:
    """T35: neither PyAV nor OpenCV comes in with the adapter."""
    code = (
        "import sys, penult.adapters.film.video, penult.adapters.film.writer\n"
        "print([m for m in ('av', 'cv2') if m in sys.modules])"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout

    assert said.strip() == "[]"


def test_the_first_reading_shows_what_later_ones_show_and_knows_the_clip(make_film: Any) -> None:
    """One pass for what `open_clip` and `grey_frames` take two for; pictures out of order, late start and all."""
    path = make_film(count=30, options=B_FRAMES, time_s=[3 + i / 30 for i in range(30)])
    reading = FirstReading(path, capture_rate_hz=240.0)

    shown = list(reading.grey())

    clip = open_clip(path, capture_rate_hz=240.0)
    later = list(grey_frames(path, clip))
    assert [(i, t) for i, t, _ in shown] == [(i, t) for i, t, _ in later]
    assert all(np.array_equal(a, b) for (_, _, a), (_, _, b) in zip(shown, later, strict=True))
    assert reading.was_as_expected is False  # nobody has asked yet
    assert_same_clip(reading.clip(), clip)
    assert reading.was_as_expected


def test_a_film_that_is_not_what_it_promised_is_told_so_and_read_again(make_film: Any) -> None:
    """A scratch in its middle: pictures that the packets promise and the decoder does not show."""
    path = make_film(count=60, options={**B_FRAMES, "g": "12"})
    data = bytearray(path.read_bytes())
    data[len(data) // 2 : len(data) // 2 + 400] = b"\xff" * 400
    path.write_bytes(data)
    reading = FirstReading(path)

    shown = list(reading.grey())

    assert reading.expected is not None
    assert len(shown) < 60
    assert_same_clip(reading.clip(), open_clip(path))
    assert "damaged" in codes(reading.clip())
    assert not reading.was_as_expected


def test_a_film_whose_pictures_come_with_the_stamps_of_others_is_read_again(make_film: Any) -> None:
    """T5: the packets promise a rising row of stamps, the decoder shows another order."""
    path = make_film("film.avi", count=40, options=B_FRAMES, tick_s=Fraction(1, 30))
    reading = FirstReading(path)

    shown = list(reading.grey())

    assert len(shown) < 40
    assert_same_clip(reading.clip(), open_clip(path))
    assert not reading.was_as_expected


def assert_same_clip(one: Clip, other: Clip) -> None:
    for place in dataclasses.fields(Clip):
        assert np.array_equal(getattr(one, place.name), getattr(other, place.name)), place.name
