"""Where the edges' surface shows the networks nothing: other heights, told with networks whose answer is made by hand."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from typing import Any

import pytest

from penult.core.shoe import contact
from penult.core.shoe.bearing import Bearing
from penult.model.shoe import ShoeContact


def answer(sd_s: float) -> Bearing:
    """What networks say that know both instants to `sd_s`; the rest does not matter here."""
    values: dict[str, Any] = dict.fromkeys((f.name for f in dataclasses.fields(Bearing)), 0.0)
    return Bearing(**values | {"touchdown_sd_s": sd_s, "toe_off_sd_s": sd_s})


def edges_at(height_m: float) -> ShoeContact:
    """Edges that found a surface; the rest does not matter here."""
    found = object.__new__(ShoeContact)
    for field in dataclasses.fields(ShoeContact):
        object.__setattr__(found, field.name, "" if field.name == "reason" else 0.0)
    object.__setattr__(found, "support_height_m", height_m)
    return found


def looks(
    monkeypatch: pytest.MonkeyPatch, sd_s: Callable[[float], float], edges: ShoeContact
) -> tuple[Any, Any, list[float]]:
    """Look with networks that know the instants to `sd_s(height)`; also the heights that were asked for."""
    asked: list[float] = []

    def bearing(_networks: Any, _patches: Any, _rough: Any, height_m: float) -> Bearing:
        asked.append(height_m)
        return answer(sd_s(height_m))

    monkeypatch.setattr(contact, "bearing", bearing)
    nothing: Any = None
    seen, left = contact._on_its_surface((), nothing, nothing, edges)
    return seen, left, asked


def test_a_mat_of_five_centimetres_that_the_edges_took_for_the_runway_is_nobodys_to_know(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """75 ms below the mat and 1 ms on it, as of a black shoe on a black mat (a film with known truth: 76 and 1)."""
    seen, left, _ = looks(monkeypatch, lambda m: 0.001 if abs(m - 0.05) < 0.01 else 0.075, edges_at(0.0))
    assert seen.toe_off_sd_s == 0.001
    assert math.isnan(left.support_height_m)


def test_a_surface_that_shows_the_instants_is_believed_and_no_other_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    edges = edges_at(0.02)
    _, left, asked = looks(monkeypatch, lambda _: 0.002, edges)
    assert left is edges
    assert asked == [0.02]


def test_what_no_height_shows_stays_as_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    edges = edges_at(0.0)
    seen, left, _ = looks(monkeypatch, lambda _: 0.05, edges)
    assert left is edges
    assert seen.toe_off_sd_s == 0.05
