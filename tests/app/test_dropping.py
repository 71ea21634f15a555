"""Clips that are dropped in: names are made safe, nothing is written over, what is no film is refused and leaves nothing."""

from __future__ import annotations

import unicodedata
from pathlib import Path, PureWindowsPath

import av
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.adapters.files import incoming
from penult.adapters.files.incoming import Incoming, safe_name
from penult.adapters.film.boxes import is_complete
from penult.app import dropping
from penult.app.dropping import Drop
from penult.errors import InputError, OutputError


@pytest.fixture
def film(samples: Path) -> bytes:
    return (samples / "full_240" / "clip.mp4").read_bytes()


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def dropped(folder: Path, name: str, content: bytes) -> dropping.Dropped:
    with Drop(folder, name, len(content)) as drop:
        for begin in range(0, len(content), 500_000):
            drop.piece(content[begin : begin + 500_000])
        return drop.done()


@pytest.mark.parametrize(
    ("told", "safe"),
    [
        ("IMG_0001.MOV", "IMG_0001.MOV"),
        ("../../etc/passwd.mp4", "passwd.mp4"),
        ("C:\\clips\\run 1.mp4", "run 1.mp4"),
        ("CON.mp4", "CON_.mp4"),
        (".hidden.mp4", "hidden.mp4"),
        ('a<b>:"|?*.mp4', "a_b______.mp4"),
        ("ru\u202en4pm.mp4", "run4pm.mp4"),
        ("\0.mp4", ""),
        ("..", ""),
        ("", ""),
    ],
)
def test_a_name_is_made_safe(told: str, safe: str) -> None:
    assert safe_name(told) == safe


@given(st.text(max_size=300))
def test_whatever_a_name_is_it_stays_one_plain_visible_name(told: str) -> None:
    """On Windows too, whose rules are the strictest (pathlib's own list of reserved names as the judge)."""
    name = safe_name(told)
    assert name == Path(name).name
    assert not name.startswith(".")
    assert len(name.encode()) <= 400
    assert not any(unicodedata.category(c) in {"Cc", "Cf", "Cs"} for c in name)
    assert not name or not PureWindowsPath(name).is_reserved()
    assert safe_name(name) == name


def test_a_clip_is_copied_whole_and_once(tmp_path: Path, film: bytes) -> None:
    """Twice the same is there already; another film of the same name gets a number; a film that was there stays."""
    first = dropped(tmp_path, "run.mp4", film)
    again = dropped(tmp_path, "renamed.mp4", film)
    other = dropped(
        tmp_path, "run.mp4", film + b"\0\0\0\x08free"
    )  # an empty box at the end: another file, as good a film

    assert (first.path.name, again.path.name, other.path.name) == ("run.mp4", "run.mp4", "run_2.mp4")
    assert (first.was_there, again.was_there, other.was_there) == (False, True, False)
    assert (tmp_path / "run.mp4").read_bytes() == film
    assert names(tmp_path) == ["run.mp4", "run_2.mp4"]


@pytest.mark.parametrize("has_links", [True, False])
def test_nothing_that_is_there_is_written_over(
    tmp_path: Path, has_links: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Files, folders, links that lead elsewhere or nowhere: each keeps its name and content, on disks without hard links too."""

    def none(*_: object, **__: object) -> None:
        raise OSError(1, "no hard links here")

    if not has_links:
        monkeypatch.setattr(incoming.os, "link", none)
    (tmp_path / "a.mp4").write_bytes(b"mine")
    (tmp_path / "a_2.mp4").mkdir()
    (tmp_path / "a_3.mp4").symlink_to(tmp_path / "nowhere")
    with Incoming(tmp_path, "a.mp4") as file:
        file.write(b"new")
        file.end()
        given_to = file.give()

    assert given_to.name == "a_4.mp4"
    assert given_to.read_bytes() == b"new"
    assert (tmp_path / "a.mp4").read_bytes() == b"mine"
    assert not (tmp_path / "nowhere").exists()
    assert names(tmp_path) == ["a.mp4", "a_2.mp4", "a_3.mp4", "a_4.mp4"]


@pytest.mark.parametrize("name", ["notes.txt", "clip", "picture.jpg", "film.mp4.exe", ""])
def test_what_is_not_called_a_film_is_refused_before_it_is_copied(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match="no film"):
        Drop(tmp_path, name, 10)


def test_what_is_no_film_is_refused_and_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"notes\.mp4 is not film"):
        dropped(tmp_path, "notes.mp4", b"dear diary" * 1000)
    assert names(tmp_path) == []


def test_a_copy_that_is_given_up_leaves_nothing(tmp_path: Path, film: bytes) -> None:
    """The page is closed half way: what had come goes."""
    with Drop(tmp_path, "run.mp4", len(film)) as drop:
        drop.piece(film[:100_000])
        assert len(names(tmp_path)) == 1
    assert names(tmp_path) == []


def test_a_film_that_is_cut_off_is_taken_and_said(tmp_path: Path, samples: Path) -> None:
    """Its index stands in front, so that the beginning alone is a film."""
    whole = tmp_path / "whole.mp4"
    with (
        av.open(str(samples / "full_240" / "clip.mp4")) as source,
        av.open(str(whole), "w", options={"movflags": "faststart"}) as target,
    ):
        stream = target.add_stream_from_template(source.streams.video[0])
        for packet in source.demux(source.streams.video[0]):
            if packet.dts is not None:
                packet.stream = stream
                target.mux(packet)
    film = whole.read_bytes()
    whole.unlink()
    done = dropped(tmp_path, "run.mp4", film[: len(film) // 2])

    assert done.path.name == "run.mp4"
    assert "end is missing" in done.note


def test_a_folder_that_has_gone_is_said(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="nothing can be copied into"):
        Drop(tmp_path / "gone", "run.mp4", 10)


def test_too_large_and_no_room_are_told_before_anything_is_copied(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(InputError, match="too large"):
        Drop(tmp_path, "run.mp4", dropping.MOST_BYTES + 1)
    monkeypatch.setattr(dropping, "SPARE_BYTES", 10**18)
    with pytest.raises(OutputError, match="no room"):
        Drop(tmp_path, "run.mp4", 10)
    monkeypatch.setattr(dropping, "MOST_BYTES", 1000)
    monkeypatch.setattr(dropping, "SPARE_BYTES", 0)
    with pytest.raises(InputError, match="too large"):
        dropped(tmp_path, "run.mp4", b"x" * 600 + b"y" * 600)  # more than was announced counts as it comes
    assert names(tmp_path) == []


def test_a_film_is_complete_with_its_last_byte_and_not_before(tmp_path: Path, film: bytes) -> None:
    """Cut anywhere, or given its length before its content: not complete. The lengths of ISO/IEC 14496-12's boxes are the judge."""
    clip = tmp_path / "run.mp4"
    clip.write_bytes(film)
    assert is_complete(clip)
    for end in (*range(0, len(film), len(film) // 60), len(film) - 1):
        clip.write_bytes(film[:end])
        assert not is_complete(clip), end
        if end < len(film) - 8192:  # two blocks: disks are written to in blocks
            clip.write_bytes(film[:end] + bytes(len(film) - end))
            assert not is_complete(clip), end
    for other in (b"", b"RIFF" + bytes(100), b"\x1aE\xdf\xa3" + bytes(100)):
        clip.write_bytes(other)
        assert not is_complete(clip)
