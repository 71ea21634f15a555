"""Files that are not what they seem: each gives a plain sentence, or a clip with a notice of what it lacks."""

from __future__ import annotations

import json
import os
import struct
import subprocess
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from films_to_break import KINDS, film_bytes
from penult.adapters.film.video import frames, grey_frames, open_clip, sha256_of
from penult.errors import ClipError
from penult.model.clip import Clip

SMALL_STEPS = {"preset": "veryfast", "g": "15", "bf": "2", "crf": "12"}
INDEX_FIRST = {"movflags": "faststart"}


def text(clip: Clip, code: str) -> str:
    return next((notice.text for notice in clip.notices if notice.code == code), "")


def numbers(path: Path, clip: Clip, films: Any) -> list[int]:
    return [films.number_of(frame.image) for frame in frames(path, clip)]


def packet_places(path: Path) -> list[tuple[int, int]]:
    with av.open(str(path)) as container:
        return [(p.pos, p.size) for p in container.demux(video=0) if p.size]


# --- T15: cut off, damaged -------------------------------------------------------------------------------------


def test_a_file_without_its_index_is_incomplete(make_film: Any) -> None:
    path = make_film(count=60)
    path.write_bytes(path.read_bytes()[:-2000])  # the index stands at the end

    with pytest.raises(ClipError) as caught:
        open_clip(path)

    assert caught.value.what == "film.mp4 is incomplete: its index is missing or damaged"
    assert caught.value.next_step == "copy it again from the phone"


def test_a_file_that_ends_early_is_read_as_far_as_it_goes(make_film: Any, films: Any) -> None:
    path = make_film(count=60, file_options=INDEX_FIRST, options=SMALL_STEPS)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) * 6 // 10])

    clip = open_clip(path)

    count = len(clip.time_s)
    assert 20 < count < 45
    assert numbers(path, clip, films) == list(range(count))
    assert f"gives {count} of 60 frames; the last {(60 - count) / 30:.2f} s are missing" in text(clip, "cut-off")
    assert text(clip, "damaged") == ""


def noisy_film(path: Path, films: Any, options: dict[str, str], **recipe: Any) -> Path:
    """Write twenty pictures whose packets are big enough to be cut or scratched in their middle."""
    random = np.random.default_rng(3)
    grain = random.integers(0, 80, (20, 180, 320, 3), np.uint8)
    noisy = ((np.maximum(films.numbered_picture(i), grain[i]), i / 30) for i in range(20))
    return films.write(path, noisy, films.Recipe(options=options, **recipe))


@pytest.mark.parametrize("codec", ["libx264", "mpeg4", "mjpeg"])
def test_a_picture_that_is_half_there_is_not_shown(tmp_path: Path, films: Any, codec: str) -> None:
    """Its lower half would be made up by the decoder."""
    options = {"preset": "ultrafast", "g": "1"} if codec == "libx264" else {"g": "1"}
    pix_fmt = "yuvj420p" if codec == "mjpeg" else "yuv420p"
    tick_s = Fraction(1, 30)
    path = noisy_film(
        tmp_path / "film.mp4", films, options, file_options=INDEX_FIRST, codec=codec, pix_fmt=pix_fmt, tick_s=tick_s
    )
    at, size = packet_places(path)[10]
    path.write_bytes(path.read_bytes()[: at + size // 2])

    clip = open_clip(path)

    assert numbers(path, clip, films) == list(range(10))
    assert "gives 10 of 20 frames" in text(clip, "cut-off")


def test_a_cut_off_mkv_says_what_is_missing(make_film: Any, films: Any) -> None:
    path = make_film("film.mkv", count=90, options=SMALL_STEPS)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])

    clip = open_clip(path)

    count = len(clip.time_s)
    assert 20 < count < 70
    assert numbers(path, clip, films) == list(range(count))
    assert f"gives {count} frames; the last" in text(clip, "cut-off")


def test_damage_inside_is_told_with_its_place(make_film: Any, films: Any) -> None:
    """Wiped packets: nothing is shown from there to the next keyframe, and all else keeps its number and time."""
    path = make_film(count=90, options={**SMALL_STEPS, "bf": "0", "sc_threshold": "0"})
    data = bytearray(path.read_bytes())
    for at, size in packet_places(path)[33:36]:
        data[at : at + size] = bytes(size)
    path.write_bytes(data)

    clip = open_clip(path)

    kept = [*range(33), *range(45, 90)]
    assert numbers(path, clip, films) == kept
    assert [f.index for f in frames(path, clip)] == list(range(78))
    assert clip.time_s == pytest.approx([n / 30 for n in kept], abs=1e-5)
    assert "12 frames cannot be shown, from 1.100 to 1.467 s" in text(clip, "damaged")
    assert text(clip, "frames-dropped") == ""


def test_a_scratched_picture_is_told(tmp_path: Path, films: Any) -> None:
    """Bits changed within one big picture: it decodes, with something made up in it."""
    path = noisy_film(tmp_path / "film.mp4", films, SMALL_STEPS)
    at, size = packet_places(path)[0]
    data = bytearray(path.read_bytes())
    data[at + size // 2 : at + size // 2 + 60] = bytes(60)
    path.write_bytes(data)

    clip = open_clip(path)

    assert len(clip.time_s) == 20
    assert "at 0.000 s" in text(clip, "damaged")


def test_a_film_of_which_nothing_decodes_is_refused(make_film: Any) -> None:
    path = make_film(count=10)
    data = bytearray(path.read_bytes())
    for at, size in packet_places(path):
        data[at : at + size] = bytes(size)
    path.write_bytes(data)

    with pytest.raises(ClipError, match="no picture of film"):
        open_clip(path)


@pytest.mark.parametrize("name", ["film.mp4", "film.mkv", "film.avi"])
def test_no_damage_brings_the_reader_down(make_film: Any, name: str) -> None:
    """Forty damaged copies of each kind: a clip whose frames can be read, or a ClipError, and nothing else."""
    path = make_film(name, count=12, options={"preset": "ultrafast", "bf": "2"})
    sound = path.read_bytes()
    random = np.random.default_rng(11)
    outcomes = set()

    for turn in range(40):
        damaged = bytearray(sound if turn % 2 else sound[: random.integers(1, len(sound))])
        for at in random.integers(len(damaged), size=6):
            damaged[at] = random.integers(256)
        path.write_bytes(damaged)
        try:
            clip = open_clip(path)
        except ClipError:
            outcomes.add("refused")
        else:
            outcomes.add("read")
            assert [i for i, _, _ in grey_frames(path, clip)] == list(range(len(clip.time_s)))

    assert outcomes == {"refused", "read"}


def test_a_damaged_header_of_an_hevc_film_does_not_make_the_reader_wait_for_ever(tmp_path: Path) -> None:
    """Found by fuzzing: with several threads, one waits without end for a picture that another could not decode."""
    path = tmp_path / "film.mp4"
    data = bytearray(film_bytes(path, KINDS["10 bit"]))
    at = data.index(b"\x44\x01\xc1\x72", data.index(b"hvcC"))  # its picture parameters (ITU-T H.265 section 7.3.2.3)
    data[at + 4 : at + 8] = b"\xff" * 4
    path.write_bytes(data)
    read = (
        "import sys; from penult.adapters.film import video; from penult.errors import ClipError\n"
        "for _ in range(40):\n"
        "    try: clip = video.open_clip(sys.argv[1]); print(sum(1 for _ in video.frames(sys.argv[1], clip)))\n"
        "    except ClipError as error: print(error.what)"
    )

    done = subprocess.run(
        [sys.executable, "-c", read, str(path)], capture_output=True, text=True, timeout=60, check=True
    )

    assert len(done.stdout.splitlines()) == 40
    assert len(set(done.stdout.splitlines())) == 1


# --- T7: times of a program stream ----------------------------------------------------------------------------


def test_an_mpeg_program_stream_has_the_times_of_its_frames(tmp_path: Path, films: Any) -> None:
    """Its frames have stamps of their own clock, which does not begin at zero; a common reader says 0.0 for all."""
    pictures = ((films.numbered_picture(i), i / 25) for i in range(30))
    recipe = films.Recipe(codec="mpeg2video", rate_hz=25, tick_s=Fraction(1, 25), options={"b": "4M", "bf": "2"})
    path = films.write(tmp_path / "film.mpg", pictures, recipe)

    clip = open_clip(path)

    assert clip.time_s == pytest.approx([i / 25 for i in range(30)], abs=2e-5)  # 90 kHz
    assert clip.file_time_s[0] > 0.1
    assert clip.file_time_s - clip.file_time_s[0] == pytest.approx(clip.time_s, abs=2e-5)
    assert numbers(path, clip, films) == list(range(30))


# --- T16: several streams --------------------------------------------------------------------------------------


def add_stream(container: Any, codec: str, size_px: tuple[int, int], pix_fmt: str = "yuv420p") -> Any:
    stream = container.add_stream(codec, rate=30)
    stream.width, stream.height, stream.pix_fmt = *size_px, pix_fmt
    return stream


def encode(container: Any, stream: Any, pictures: list[Any]) -> None:
    for i, picture in enumerate(pictures):
        frame = av.VideoFrame.from_ndarray(picture, "rgb24").reformat(format=stream.pix_fmt)
        frame.pts, frame.time_base = i, Fraction(1, 30)
        container.mux(stream.encode(frame))
    container.mux(stream.encode())


def test_the_film_is_found_among_other_streams(tmp_path: Path, films: Any) -> None:
    """A thumbnail track and a sound track in front, and two stills that are larger than the film behind it."""
    path = tmp_path / "many.mkv"
    with av.open(str(path), "w") as container:
        thumbnails = add_stream(container, "libx264", (96, 64))
        sound = container.add_stream("aac", rate=48_000, layout="mono")
        film = add_stream(container, "libx264", (320, 180))
        stills = add_stream(container, "libx264", (640, 360))
        silence = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), "fltp", "mono")
        silence.sample_rate, silence.pts = 48_000, 0
        encode(container, thumbnails, [films.numbered_picture(999, (96, 64))] * 30)
        container.mux([*sound.encode(silence), *sound.encode()])
        encode(container, film, [films.numbered_picture(i) for i in range(30)])
        encode(container, stills, [films.numbered_picture(888, (640, 360))] * 2)

    clip = open_clip(path)

    assert clip.size_px == (320, 180)
    assert numbers(path, clip, films) == list(range(30))


def make_unknown(path: Path) -> None:
    """Give the first track's sample entry a kind that nobody knows (ISO/IEC 14496-12 section 8.5.2)."""
    data = bytearray(path.read_bytes())
    at = data.index(b"stsd") + 16
    assert data[at : at + 4] == b"avc1"
    data[at : at + 4] = b"dpth"
    path.write_bytes(data)


def test_a_track_of_an_unknown_kind_is_passed_over(tmp_path: Path, films: Any) -> None:
    """Found by fuzzing: such a track has no size. Phones keep depth and the like beside the film in kinds of their own."""
    path = tmp_path / "two.mp4"
    with av.open(str(path), "w") as container:
        other = add_stream(container, "libx264", (640, 360))
        film = add_stream(container, "libx264", (320, 180))
        encode(container, other, [films.numbered_picture(777, (640, 360))] * 9)
        encode(container, film, [films.numbered_picture(i) for i in range(8)])
    make_unknown(path)

    clip = open_clip(path)

    assert clip.size_px == (320, 180)
    assert numbers(path, clip, films) == list(range(8))


def test_a_film_of_an_unknown_kind_is_refused(make_film: Any) -> None:
    path = make_film(count=4)
    make_unknown(path)

    with pytest.raises(ClipError, match="coded in a way that cannot be read here"):
        open_clip(path)


@pytest.mark.parametrize("matrix", [228, 14, 10, 8, 3])
def test_colours_marked_in_an_unknown_way_are_shown_all_the_same(make_film: Any, matrix: int) -> None:
    """Found by fuzzing: the scaler refuses them with an error of its own. Numbers of ITU-T H.273, some without a meaning."""
    oblong = {"sample_aspect_ratio": Fraction(4, 3)}  # so that the scaler is needed for grey pictures too
    path = make_film("film.mov", count=3, codec="prores_ks", pix_fmt="yuv422p10le", options={}, settings=oblong)
    sound = [grey for _, _, grey in grey_frames(path, open_clip(path))]
    data = bytearray(path.read_bytes())
    for at in (i for i in range(len(data)) if data[i : i + 4] == b"icpf"):
        data[at + 20] = matrix  # of the frame header (SMPTE RDD 36 section 5.1.1)
    path.write_bytes(data)

    clip = open_clip(path)

    marked = [grey for _, _, grey in grey_frames(path, clip)]
    # BT.2020, as which its rare sister (10) is taken, weighs the colours of this picture otherwise by up to 16 levels
    assert np.abs(np.array(sound, int) - np.array(marked, int)).max() <= (16 if matrix == 10 else 0)
    assert [f.image.shape for f in frames(path, clip)] == [(180, 427, 3)] * 3


def test_a_cover_picture_is_no_film(tmp_path: Path, films: Any) -> None:
    path = tmp_path / "cover.mp4"
    with av.open(str(path), "w") as container:
        cover = add_stream(container, "mjpeg", (1280, 720), "yuvj420p")
        cover.disposition = av.stream.Disposition.attached_pic
        film = add_stream(container, "libx264", (320, 180))
        encode(container, cover, [films.numbered_picture(777, (1280, 720))])
        encode(container, film, [films.numbered_picture(i) for i in range(8)])

    clip = open_clip(path)

    assert clip.size_px == (320, 180)
    assert numbers(path, clip, films) == list(range(8))


# --- T17: not a film ------------------------------------------------------------------------------------------


def sound_only(path: Path) -> None:
    with av.open(str(path), "w") as container:
        stream = container.add_stream("aac", rate=48_000, layout="mono")
        silence = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), "fltp", "mono")
        silence.sample_rate, silence.pts = 48_000, 0
        container.mux([*stream.encode(silence), *stream.encode()])


def png(path: Path) -> None:
    with av.open(str(path), "w", format="image2", options={"update": "1"}) as container:
        encode(container, add_stream(container, "png", (320, 180), "rgb24"), [np.zeros((180, 320, 3), np.uint8)])


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda path: None, "clip.mp4 does not exist"),
        (lambda path: path.mkdir(), "clip.mp4 is a folder, not a film"),
        (lambda path: path.write_bytes(b""), "clip.mp4 is empty (0 bytes)"),
        (lambda path: path.write_text("notes on the run\n" * 40), "clip.mp4 is text, not a film"),
        (lambda path: path.write_text("#EXTM3U\nfile:///etc/hostname\n"), "clip.mp4 is text, not a film"),
        (lambda path: path.write_text("ffconcat version 1.0\nfile 'other.mp4'\n"), "clip.mp4 is text, not a film"),
        (lambda path: path.write_bytes(bytes(range(256)) * 40), "clip.mp4 is not a film that can be read here"),
        (lambda path: path.write_bytes(b"ID3\x04" + bytes(3000)), "clip.mp4 is a sound recording, not a film"),
        (png, "clip.mp4 is a picture, not a film"),
        (sound_only, "clip.mp4 is not a film"),
    ],
)
def test_whatever_is_no_film_gets_one_plain_sentence(tmp_path: Path, make: Any, sentence: str) -> None:
    path = tmp_path / "clip.mp4"
    make(path)

    with pytest.raises(ClipError) as caught:
        open_clip(path)

    assert caught.value.what.removeprefix(f"{tmp_path}{os.sep}") == sentence
    assert caught.value.next_step
    assert caught.value.exit_status == 2


@pytest.mark.parametrize("name", ["nothing.mp4", "."])
def test_the_hash_of_no_file_is_refused_alike(tmp_path: Path, name: str) -> None:
    with pytest.raises(ClipError, match=r"does not exist|is a folder"):
        sha256_of(tmp_path / name)


def test_a_playlist_cannot_make_another_file_be_read(make_film: Any, tmp_path: Path) -> None:
    make_film("other.mp4", count=5)
    path = tmp_path / "list.mp4"
    path.write_text("ffconcat version 1.0\nfile other.mp4\n")

    with pytest.raises(ClipError, match="is text"):
        open_clip(path)


def test_a_single_picture_is_no_film(make_film: Any) -> None:
    with pytest.raises(ClipError, match="has a single picture"):
        open_clip(make_film(count=1))


@pytest.mark.parametrize("size_px", [(62, 180), (320, 48)])
def test_tiny_pictures_are_refused(make_film: Any, size_px: tuple[int, int]) -> None:
    with pytest.raises(ClipError, match=f"has pictures of {size_px[0]} x {size_px[1]} px"):
        open_clip(make_film(count=3, size_px=size_px))


def test_huge_pictures_are_refused_before_they_are_decoded(make_film: Any) -> None:
    """A decompression bomb: 8,224 pixels wide and a few kilobytes long."""
    with pytest.raises(ClipError, match="has pictures of 8224 x 64 px"):
        open_clip(make_film(count=2, size_px=(8224, 64)))


def test_too_many_frames_are_refused(make_film: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    path = make_film(count=40)
    monkeypatch.setattr("penult.adapters.film.probe.MAX_FRAMES", 39)

    with pytest.raises(ClipError, match="too long: more than 39 frames"):
        open_clip(path)


# --- T18: names -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["läufer 跳.mp4", "50% #1 [a]'b.mp4", "%03d.mp4", "-clip.mp4"])
def test_any_file_name_works(make_film: Any, films: Any, tmp_path: Path, name: str) -> None:
    folder = tmp_path / "läufer 跳"
    folder.mkdir()
    path = make_film(count=4).rename(folder / name)

    clip = open_clip(path)

    assert clip.file == name
    assert numbers(path, clip, films) == [0, 1, 2, 3]


# --- odd files from elsewhere ---------------------------------------------------------------------------------

SHARED = Path(os.environ.get("PENULT_SHARED", "")) if os.environ.get("PENULT_SHARED") else None
needs_shared = pytest.mark.skipif(SHARED is None, reason="PENULT_SHARED names no folder")

# file: frames, size, rate, capture rate from, notices
READS: dict[str, tuple[int, tuple[int, int], float, str, set[str]]] = {
    "c02_portrait_4k60_rot-90.mp4": (18, (2160, 3840), 60.06, "frame times", set()),
    "c03_rot_matrix_plus_reflection.mp4": (30, (720, 1080), 29.97, "frame times", set()),
    "c04_rot180.mp4": (36, (1920, 1080), 29.87, "frame times", set()),
    "c05_rot+90_two_hevc_tracks_vfr.mp4": (53, (1080, 1440), 30.0, "frame times", {"variable-rate"}),
    "c06_hevc10_hlg_rot-90_editlist_86hdr_77dec.mp4": (
        77,
        (1080, 1920),
        29.98,
        "frame times",
        {"frame-count", "hdr-source"},
    ),
    "c07_hevc10_editlist_negative_start.mp4": (
        68,
        (1080, 1920),
        29.98,
        "frame times",
        {"frame-count", "hdr-source", "frames-dropped"},
    ),
    "c08_editlist_starts_at_1s.mp4": (270, (1920, 1080), 30.0, "frame times", set()),
    "c09_first_pts_10s.mp4": (120, (1137, 640), 30.0, "frame times", {"pixels-not-square"}),
    "c10_slowmo_android_tag240_vfr.mp4": (7, (1280, 720), 240.0, "container tag", {"slow-motion", "frames-dropped"}),
    "c11_slowmo_samsung_tag240.mp4": (63, (320, 240), 240.0, "container tag", {"slow-motion", "frame-count"}),
    "c12_superslowmo_samsung_notag.mp4": (435, (160, 120), 30.0, "frame times", {"frame-count"}),
    "c13_hlg10_colour_chart.mp4": (9, (1920, 1080), 29.99, "frame times", {"hdr-source"}),
    "c14_hdr10_stream_sdr_container_vfr.mp4": (
        28,
        (1920, 1080),
        30.03,
        "frame times",
        {"hdr-source", "variable-rate", "frames-dropped"},
    ),
    "c16_mdat_too_long.mp4": (30, (1080, 720), 29.97, "frame times", set()),
    "c17_invalid_nal_dies_after_26_of_30.mp4": (26, (1080, 720), 29.97, "frame times", {"damaged"}),
    "c18_empty_extra_video_track.mp4": (30, (1080, 720), 29.97, "frame times", set()),
    "c19_fragmented_no_header_count.mp4": (30, (1080, 720), 29.97, "frame times", set()),
    "c20_mkv_claims_1000fps.mkv": (30, (1080, 720), 29.99, "frame times", set()),
    "c21_12_5fps_counter.mp4": (13, (1280, 720), 12.5, "frame times", set()),
    "c23_stereo_mvhevc_90fps_odd_size.mov": (5, (1934, 2160), 90.0, "frame times", set()),
    "c24_hidden_leadin_30hdr_25dec.mp4": (25, (64, 64), 25.0, "frame times", {"frame-count"}),
    "c25_odd_321x241_444.mp4": (25, (321, 241), 25.0, "frame times", set()),
    "c26_rot90_h264.mp4": (17, (270, 480), 29.97, "frame times", set()),
    "c27_bt709_full_range.mp4": (30, (1280, 720), 30.0, "frame times", set()),
    "c28_hdr_pq_hevc10.mp4": (325, (320, 180), 25.0, "frame times", {"hdr-source"}),
    "c29_mpeg_ps_opencv_time_stuck_0.mpg": (100, (128, 128), 25.0, "frame times", set()),
    "c31_av1.mkv": (125, (640, 360), 25.0, "frame times", set()),
    "c32_av1_10bit.mp4": (25, (320, 240), 25.0, "frame times", set()),
    "c33_sideways_picture_no_flag.mp4": (30, (720, 1080), 29.97, "frame times", set()),
    "c34_damaged_avi_steps_back.avi": (270, (720, 528), 30.0, "frame times", {"times-rebuilt"}),
    "bframes.avi": (60, (320, 180), 30.0, "frame times", {"times-rebuilt"}),
    "ms.mkv": (60, (320, 180), 239.8, "frame times", set()),
    "sar.mp4": (30, (427, 180), 30.0, "frame times", {"pixels-not-square"}),
    "hdr.mp4": (30, (320, 180), 30.0, "frame times", {"hdr-source"}),
    "slowmo_tag.mp4": (60, (320, 180), 240.0, "container tag", {"slow-motion"}),
    "trunc_fast.mp4": (19, (320, 180), 30.0, "frame times", {"cut-off"}),
    "läufer 跳.mp4": (10, (320, 180), 30.0, "frame times", set()),
    "odd_321x181_mpeg4_yuv420p.mp4": (10, (321, 181), 30.0, "frame times", set()),
    "seek.mp4": (240, (320, 180), 30.0, "frame times", set()),
    "vfr.mp4": (60, (320, 180), 30.0, "frame times", {"variable-rate", "frames-dropped"}),
}
# file: stamp of its first frame in seconds
STARTS = {
    "c07_hevc10_editlist_negative_start.mp4": -0.333,
    "c08_editlist_starts_at_1s.mp4": 1.0,
    "c09_first_pts_10s.mp4": 10.0,
    "c29_mpeg_ps_opencv_time_stuck_0.mpg": 0.54,
}
REFUSES = {
    "c15_audio_only.mp4": "is not a film",
    "c22_all_zero_timestamps_10x12.mp4": "has pictures of 10 x 12 px",
    "c30_single_frame.mp4": "has a single picture",
    "empty.mp4": "is empty",
    "text.mp4": "is text",
    "still_as.mp4": "is a picture",
    "trunc_moov_end.mp4": "is incomplete",
    "w_wrongsize.mp4": "is not a film",
}


# file: quarter turns against the clock that its display matrix asks for
TURNED: dict[str, int] = {
    "c02_portrait_4k60_rot-90.mp4": -1,
    "c04_rot180.mp4": 2,
    "c05_rot+90_two_hevc_tracks_vfr.mp4": 1,
    "c06_hevc10_hlg_rot-90_editlist_86hdr_77dec.mp4": -1,
    "c26_rot90_h264.mp4": 1,
}
MIRRORED = "c03_rot_matrix_plus_reflection.mp4"


def odd_file(name: str) -> Path:
    assert SHARED is not None
    found = sorted((SHARED / "clips").glob(f"*/{name}"))
    if not found:
        pytest.skip(f"{name} is not there")
    return found[0]


@needs_shared
@pytest.mark.parametrize("name", READS)
def test_the_facts_of_an_odd_file(name: str) -> None:
    """Against a list that was measured with other tools: count, size, rate, start."""
    count, size_px, rate_hz, source, notices = READS[name]
    path = odd_file(name)

    clip = open_clip(path)
    shown = [index for index, _, _ in grey_frames(path, clip, reduce=4)]
    last = [(f.index, f.image.shape) for f in frames(path, clip, first=count - 2)]

    assert (len(clip.time_s), clip.size_px, clip.capture_rate_from) == (count, size_px, source)
    assert clip.capture_rate_hz == pytest.approx(rate_hz, rel=1e-3)
    assert {n.code for n in clip.notices} == notices
    assert shown == list(range(count))
    assert last == [(i, (size_px[1], size_px[0], 3)) for i in (count - 2, count - 1)]
    assert np.all(np.diff(clip.time_s) > 0)
    assert clip.time_s[0] == 0
    if not {"variable-rate", "frames-dropped"} & notices:
        assert clip.time_s[-1] == pytest.approx((count - 1) / rate_hz, abs=0.6 / rate_hz)


def first_stored_luma(path: Path) -> np.ndarray:
    """The first picture as the decoder hands it over: not turned, of the stream that has most pictures."""
    with av.open(str(path)) as container:
        stream = max(container.streams.video, key=lambda s: s.frames * s.width * s.height)
        return next(container.decode(stream)).to_ndarray(format="gray").astype(float)


def likeness(path: Path, expected: np.ndarray) -> float:
    """How like the first picture that the reader shows is to the one expected: 1 where they are the same."""
    _, _, shown = next(grey_frames(path, open_clip(path)))
    assert shown.shape == expected.shape
    return float(np.corrcoef(shown.ravel(), expected.ravel())[0, 1])


@needs_shared
@pytest.mark.parametrize("name", TURNED)
def test_a_turned_odd_file_stands_upright(name: str) -> None:
    """T9, against the angle that was measured with another tool; the wrong way round would show as unlikeness."""
    path = odd_file(name)
    stored = first_stored_luma(path)

    assert (
        likeness(path, np.rot90(stored, TURNED[name])) > 0.95
    )  # 0.954 for a nearly black picture, else 0.997 and more
    assert likeness(path, np.rot90(stored, TURNED[name] + 2)) < 0.75


@needs_shared
@pytest.mark.parametrize("name", [MIRRORED])
def test_an_odd_file_that_is_turned_and_mirrored_is_both(films: Any, name: str) -> None:
    """T10: pixel by pixel as ISO/IEC 14496-12 section 6.2.2 places them, with the numbers that stand in the file."""
    path = odd_file(name)
    data = path.read_bytes()
    at = data.index(b"tkhd") + 4 + (52 if data[data.index(b"tkhd") + 4] == 1 else 40)
    a, b, _, c, d = (n // 65536 for n in struct.unpack_from(">5i", data, at))
    _, _, shown = next(grey_frames(path, open_clip(path)))
    stored = first_stored_luma(path)

    assert a * d - b * c == -1
    assert np.corrcoef(films.stored_for(shown, (a, b, c, d)).ravel(), stored.ravel())[0, 1] > 0.99


@needs_shared
@pytest.mark.parametrize(("name", "start_s"), STARTS.items())
def test_the_stamp_of_the_first_frame_is_kept(name: str, start_s: float) -> None:
    """T6."""
    assert open_clip(odd_file(name)).file_time_s[0] == pytest.approx(start_s, abs=1e-3)


@needs_shared
@pytest.mark.parametrize("name", REFUSES)
def test_an_odd_file_is_refused(name: str) -> None:
    with pytest.raises(ClipError, match=REFUSES[name]):
        open_clip(odd_file(name))


@needs_shared
@pytest.mark.parametrize(
    ("name", "turned"),
    [
        ("mirror.mp4", lambda image: image[:, ::-1]),
        ("rot90.mp4", lambda image: np.rot90(image, -1)),
        ("rot90mirror.mp4", lambda image: image.transpose(1, 0, 2)),
    ],
)
def test_turned_copies_of_one_film_agree(name: str, turned: Any) -> None:
    """T9, T10: the same stored pictures with another matrix."""
    plain, path = odd_file("cfr.mp4"), odd_file(name)

    pairs = zip(frames(plain, open_clip(plain)), frames(path, open_clip(path)), strict=True)

    assert all(np.array_equal(turned(a.image), b.image) for a, b in pairs)


def film_folders() -> list[str]:
    return sorted(p.parent.name for p in (SHARED / "films").glob("*/clip.mp4")) if SHARED else []


@needs_shared
@pytest.mark.parametrize("name", film_folders())
def test_the_times_of_a_film_with_known_truth(name: str) -> None:
    """Every frame within 6 microseconds of the true instant; the dropped and upside-down film included."""
    assert SHARED is not None
    folder = SHARED / "films" / name
    truth = json.loads((folder / "truth.json").read_text())
    given = folder / "arguments.json"
    words = json.loads(given.read_text()) if given.exists() else []
    rate_hz = float(words[words.index("--capture-rate") + 1]) if "--capture-rate" in words else None

    clip = open_clip(folder / "clip.mp4", capture_rate_hz=rate_hz)

    assert clip.time_s == pytest.approx(np.array(truth["time_s"]), abs=6e-6)
    assert clip.capture_rate_hz == pytest.approx(truth["timing"]["capture_rate_hz"], rel=0.01)
    is_uneven = name.startswith("dropped")
    assert {"variable-rate", "frames-dropped"} <= {n.code for n in clip.notices} if is_uneven else True


@needs_shared
def test_the_upside_down_film_stands_upright() -> None:
    """T9: against the picture of the empty runway that was taken with it."""
    assert SHARED is not None
    folder = SHARED / "films" / "dropped_120"
    with av.open(str(folder / "still.jpg")) as container:
        still = next(container.decode(video=0)).to_ndarray(format="gray").astype(float)
    path = folder / "clip.mp4"
    _, _, grey = next(grey_frames(path, open_clip(path)))

    assert np.corrcoef(still.ravel(), grey.ravel())[0, 1] > 0.8
    assert np.corrcoef(still[::-1, ::-1].ravel(), grey.ravel())[0, 1] < 0.5
