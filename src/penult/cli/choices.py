"""Words on the command line that choose clips: dates, strides, and 'kind=mat drill, strides=12-15'."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

if TYPE_CHECKING:
    from penult.app.groups import Wanted
    from penult.model.logbook import Choice

KEYS = ("athlete", "kind", "session", "from", "to", "date", "strides", "mats")


def wanted_of(words: list[str], base: Choice) -> Wanted:
    """Return a group from what was given for it: result folders, or one choice such as 'kind=mat drill,strides=12-15'."""
    from penult.app.groups import Wanted

    paths = [Path(w) for w in words]
    if all(p.exists() for p in paths):
        return Wanted(places=tuple(paths))
    if len(words) == 1 and "=" in words[0]:
        return Wanted(choice=choice_of(words[0], base))
    missing = next(w for w, p in zip(words, paths, strict=True) if not p.exists())
    return refuse("a group", missing, "a result folder that is there, or a choice such as 'kind=mat drill'")


def choice_of(text: str, base: Choice) -> Choice:
    """Return a choice from 'key=value, key=value' on top of what holds for both groups."""
    from dataclasses import replace

    found: dict[str, object] = {}
    for part in text.split(","):
        key, equals, value = (w.strip() for w in part.partition("="))
        if not equals or key not in KEYS or not value:
            refuse("a choice", part.strip(), f"key=value, with one of the keys {', '.join(KEYS)}")
        found |= _fields(key, value)
    return replace(base, **found)  # type: ignore[arg-type]


def _fields(key: str, value: str) -> dict[str, object]:
    if key == "strides":
        low, high = strides_of(value)
        return {"strides_from": low, "strides_to": high}
    if key == "mats":
        if value not in ("yes", "no"):
            refuse("mats", value, "yes or no")
        return {"has_mats": value == "yes"}
    if key == "date":
        return {"date_from": day(value), "date_to": day(value)}
    if key in ("from", "to"):
        return {f"date_{key}": day(value)}
    return {key: value}


def base_choice(athlete: str, kind: str, date_from: str, date_to: str, strides: str) -> Choice:
    """Return the choice that the plain options make."""
    from penult.model.logbook import Choice

    low, high = strides_of(strides) if strides else (None, None)
    return Choice(
        athlete=athlete,
        kind=kind,
        date_from=day(date_from) if date_from else "",
        date_to=day(date_to) if date_to else "",
        strides_from=low,
        strides_to=high,
    )


def strides_of(text: str) -> tuple[int, int]:
    """Return both ends of '12-15' or '18'."""
    low, _, high = text.replace("–", "-").partition("-")
    try:
        ends = int(low), int(high or low)
    except ValueError:
        refuse("strides", text, "a number such as 18, or a range such as 12-15")
    if not 0 < ends[0] <= ends[1] < 100:
        refuse("strides", text, "from 1 to 99, the smaller number first")
    return ends


def weeks_of(text: str) -> tuple[int, int]:
    """Return both ends of '40-44' or '40': weeks of a year (ISO 8601); '48-4' goes over the new year."""
    low, _, high = text.replace("–", "-").partition("-")
    try:
        ends = int(low), int(high or low)
    except ValueError:
        refuse("weeks", text, "a week such as 40, or a range such as 40-44")
    if not all(1 <= end <= 53 for end in ends):
        refuse("weeks", text, "weeks from 1 to 53")
    return ends


def day(text: str) -> str:
    """Return an ISO date."""
    from penult.core.typed import day as typed_day

    try:
        return typed_day(text)
    except ValueError as error:
        refuse("a date", text, str(error))


def metres(what: str, text: str, low_m: float, high_m: float) -> float:
    """Return metres typed with a decimal point or comma, within bounds."""
    from penult.core.typed import metres as typed_metres
    from penult.core.units import metres_of_other

    try:
        value = typed_metres(text)
    except ValueError:
        value = float("nan")
    if not low_m <= value <= high_m:
        meant = metres_of_other(text)
        told = "" if meant is None else f"; that is {meant:.2f}"
        refuse(what, text, f"metres from {low_m:g} to {high_m:g}, such as 6.45 or 6,45{told}")
    return value


def matters_of(texts: list[str] | None) -> dict[str, float]:
    """Return what change matters, by measure, from 'hip drop=1 cm' or a file of such lines."""
    from penult.adapters.files.matters_file import read_matters
    from penult.core.clips.matters import matter

    found: dict[str, float] = {}
    for text in texts or []:
        if Path(text).is_file():
            found |= read_matters(Path(text))
            continue
        try:
            name, size = matter(text)
        except ValueError as error:
            refuse("what matters", text, str(error))
        found[name] = size
    return found


def refuse(what: str, got: str, wanted: str) -> NoReturn:
    """Raise the error for a word that cannot be used."""
    from penult.errors import InputError

    raise InputError(f"{what} cannot be {got[:100]!r}", f"wanted: {wanted}", next_step="see --help of the command")
