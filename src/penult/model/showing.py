"""How a result is shown to people: the film's shape, the language, the units. No number depends on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

Shape = Literal["landscape", "portrait", "whole"]
"""Landscape and portrait follow the athlete; whole is the picture as it was filmed."""

Language = Literal["en", "de", "fr", "es"]
Units = Literal["metres", "feet"]

SHAPES: tuple[Shape, ...] = get_args(Shape)
LANGUAGES: tuple[Language, ...] = get_args(Language)
UNITS: tuple[Units, ...] = get_args(Units)


@dataclass(frozen=True, slots=True, kw_only=True)
class Showing:
    """The film's shape, and the language and units of film and sheet."""

    film: Shape = "landscape"
    language: Language = "en"
    units: Units = "metres"

    def plain(self) -> dict[str, str] | None:
        """Return what differs from the plain case, as a result keeps it; None where nothing does."""
        usual = Showing()
        said = {name: getattr(self, name) for name in ("film", "language", "units")}
        return {name: word for name, word in said.items() if word != getattr(usual, name)} or None


def showing_of(method: Mapping[str, Any]) -> Showing:
    """Return how a result was shown, from its `method`; a word that this version does not know counts as not said."""
    said = method.get("showing")
    words = said if isinstance(said, Mapping) else {}
    film: Shape = next((s for s in SHAPES if s == words.get("film")), "landscape")
    language: Language = next((s for s in LANGUAGES if s == words.get("language")), "en")
    units: Units = next((s for s in UNITS if s == words.get("units")), "metres")
    return Showing(film=film, language=language, units=units)
