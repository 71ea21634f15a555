"""The size of a film that shows the whole picture; one that follows the athlete is cut out of the surroundings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from penult.model.clip import Clip
from penult.model.showing import showing_of
from penult.outputs.pictures.follow import whole_size_px


def film_size_of(clip: Clip, method: Mapping[str, Any]) -> tuple[int, int] | None:
    """Return the film's size where the result asks for the whole picture, else None."""
    return whole_size_px(clip.size_px) if showing_of(method).film == "whole" else None
