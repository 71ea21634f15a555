"""What the logbook knows of an athlete (sex, height, leg length), put where the command line does not say it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from penult.adapters.logbook.place import default_place
from penult.errors import PenultError
from penult.model.logbook import Athlete
from penult.model.settings import Settings


def with_profile(said: Settings, logbook: Path | None) -> tuple[Settings, str]:
    """Return the settings with what the logbook knows of the athlete, and a sentence that says so.

    Parameters
    ----------
    said : Settings
        What was said stays as it is.
    logbook : Path, optional
        A logbook that was named; else the usual one is asked, if there is one.

    Raises
    ------
    LogbookError
        If the logbook that was named cannot be read. The usual one is passed over with a sentence: a clip can be measured
        without it.
    """
    place = logbook or default_place()
    if not said.athlete or not (logbook or place.exists()):
        return said, ""
    try:
        known = known_athletes(place).get(_key(said.athlete))
    except PenultError as error:
        if logbook:
            raise
        return said, f"height and sex of {said.athlete} are not taken from the logbook: {error.what}"
    return (said, "") if known is None else filled_in(said, known, place)


def filled_in(said: Settings, known: Athlete, place: Path) -> tuple[Settings, str]:
    """Return the settings with what is known of the athlete where nothing was said, and what was taken."""
    taken = {
        name: value
        for name, value in (("sex", known.sex), ("height_m", known.height_m), ("leg_length_m", known.leg_length_m))
        if getattr(said, name) is None and value is not None
    }
    out = replace(said, athlete=known.label, **taken)  # type: ignore[arg-type]
    if not taken:
        return out, ""
    words = {
        "sex": f"{known.sex} mass table",
        "height_m": f"{known.height_m} m tall",
        "leg_length_m": f"leg {known.leg_length_m} m",
    }
    return out, f"{known.label}, from the logbook {place}: {', '.join(words[name] for name in taken)}"


def known_athletes(logbook: Path, *, create: bool = False) -> dict[str, Athlete]:
    """Return what is known of every athlete by their label, its capitals and Unicode form aside."""
    from penult.adapters.logbook.book import opened

    with opened(logbook, create=create) as log:
        return {_key(a.label): a for a, _ in log.contents().athletes}


def profile_of(label: str, known: dict[str, Athlete]) -> Athlete | None:
    """Return what is known of the athlete of that label."""
    return known.get(_key(label)) if label else None


def _key(label: str) -> str:
    from penult.core.label import folded

    return folded(label).strip()
