"""A result of another method is never taken for one of this, nor mixed with one in silence."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from penult.app import analyse, plan, review, session
from penult.app.again import again_notices
from penult.core.clips.compare import compare
from penult.core.clips.season import season
from penult.core.synthetic.invented import Form, trial
from penult.errors import ResultError
from penult.model.comparison import Group
from penult.model.method import METHOD
from penult.model.settings import Settings
from penult.model.trial import Said, Trial


def clips(method: int | None, seed: int = 1, date: str = "2026-10-03") -> list[Trial]:
    """Return three invented clips measured by a method; None is from before methods had numbers."""
    rng, form = np.random.default_rng(seed), Form(athlete="A1", kind="full approach")
    found = [trial(rng, form, Said(date=date, session="hall"), file=f"{seed}_{i}.mp4") for i in range(3)]
    number: dict[str, Any] = {} if method is None else {"method": method}
    return [replace(t, analysis=replace(t.analysis, method={**t.analysis.method, **number})) for t in found]


@pytest.mark.parametrize("old", [None, METHOD - 1])
def test_two_methods_are_never_compared_even_of_one_version_of_the_program(old: int | None) -> None:
    """Fails if the program's version alone tells methods apart: both are 0.1.0."""
    first, second = Group(name="a", trials=tuple(clips(old))), Group(name="b", trials=tuple(clips(METHOD, 2)))

    comparison = compare(first, second)

    assert "mixed-methods" in {n.code for n in comparison.notices}
    assert all(row.difference is None for row in comparison.rows)


@pytest.mark.parametrize("old", [None, METHOD - 1])
def test_a_season_never_takes_two_methods_together(old: int | None) -> None:
    found = season("A1", [*clips(old), *clips(METHOD, 2, "2026-11-03")])

    assert not found.changes
    assert f"method {METHOD}" in next(n.text for n in found.notices if n.code == "mixed-methods")


def test_one_method_may_be_compared_over_two_versions_of_the_program() -> None:
    """The number says that no value moved."""
    second = [
        replace(t, analysis=replace(t.analysis, method={**t.analysis.method, "penult": "0.2.0"}))
        for t in clips(METHOD, 2)
    ]

    comparison = compare(Group(name="a", trials=tuple(clips(METHOD))), Group(name="b", trials=tuple(second)))

    assert "mixed-methods" not in {n.code for n in comparison.notices}


def test_clips_of_another_method_are_offered_again_where_the_film_is_at_hand(tmp_path: Path) -> None:
    old = clips(None)
    film = tmp_path / old[0].analysis.clip.file
    film.write_bytes(b"film")
    clip = replace(old[0].analysis.clip, sha256=hashlib.sha256(b"film").hexdigest())
    (tmp_path / old[1].analysis.clip.file).write_bytes(b"another film of that name")
    old = [
        replace(t, folder=f"{i}_analysis", analysis=replace(t.analysis, clip=clip if i == 0 else t.analysis.clip))
        for i, t in enumerate(old)
    ]

    (offer,) = again_notices([*old, *clips(METHOD, 2)], tmp_path)

    assert "3 clips" in offer.text
    assert str(film) in offer.text
    assert "films of 1 of them" in offer.text
    assert again_notices(clips(METHOD), tmp_path) == ()


def test_what_is_kept_of_a_clip_and_of_a_session_hangs_on_the_method(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Fails if the caches or a resumed session give back what an older method made."""
    (tmp_path / "clip.mp4").write_bytes(b"film")
    lane = tmp_path / "lane.json"
    lane.write_text("{}")
    before = (plan.cache_key("0" * 64), session._plans(tmp_path, lane, (None, Settings()), "2026-10-03", None)[0].key)
    assert analyse.method_of(lane, Settings())["method"] == METHOD

    for module in (plan, session, analyse):
        monkeypatch.setattr(module, "METHOD", METHOD + 1)

    after = (plan.cache_key("0" * 64), session._plans(tmp_path, lane, (None, Settings()), "2026-10-03", None)[0].key)
    assert all(a != b for a, b in zip(before, after, strict=True))
    assert analyse.method_of(lane, Settings())["method"] == METHOD + 1


def test_a_result_of_another_method_is_not_opened_for_corrections(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """What was seen by one method and measured by another would be of neither."""
    analysis = clips(METHOD - 1 or None)[0].analysis
    monkeypatch.setattr(review, "recover", lambda _folder: None)
    monkeypatch.setattr(review, "read_analysis", lambda _folder: analysis)
    monkeypatch.setattr(review, "read_sighting", lambda _folder: SimpleNamespace(clip=analysis.clip))

    with pytest.raises(ResultError, match="another method") as raised:
        review.open_result(tmp_path, None, lambda *_: None)

    assert "analyse the clip again" in str(raised.value)
