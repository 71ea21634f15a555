"""What a person types, read in every form that people and spreadsheets write it in. Pure.

A number with a point or a comma, a thickness in metres or centimetres, a contact by number or name, a day in any of the
forms that a spreadsheet turns it into. What cannot be read raises ValueError with what is wanted, in plain words.
"""

from __future__ import annotations

import re
from datetime import date

from penult.core.units import metres_of_other
from penult.model.analysis import Mat

CONTACTS = {
    "take-off": 0,
    "takeoff": 0,
    "last": 0,
    "penultimate": -1,
    "second-last": -1,
    "third-last": -2,
    "thirdlast": -2,
    "fourth-last": -3,
}
THICKEST_MAT_M = 0.5
_FIRST_CONTACT = -20
_WANTED_DAY = "year-month-day, such as 2026-10-03, or day.month.year, such as 3.10.2026"
_WANTED_MAT = (
    "a contact from -20 to 0 and a thickness up to 0.5 m, such as -1=0.05, 'penultimate 5 cm' or "
    "'third-last 5 cm; take-off 5 cm'"
)


def number(text: str) -> float:
    """Return a number written with a decimal point or comma; ValueError if it is none, or beyond 1e9."""
    plain = text.strip().replace("\u2212", "-")
    value = float(plain.replace(",", ".")) if plain.count(",") + plain.count(".") <= 1 else float("nan")
    if not -1e9 <= value <= 1e9:
        raise ValueError(f"{text!r} is not a number")
    return value


def metres(text: str) -> float:
    """Return metres from '6.45', '6,45', '6,45 m' or '645 cm'."""
    found = re.fullmatch(r"\s*([-\u2212]?[\d.,]+)\s*(cm|m)?\s*", text, re.IGNORECASE)
    if found is None:
        meant = metres_of_other(text)
        told = f"; that is {meant:.2f}" if meant is not None else ""
        raise ValueError(f"{text!r} is no length in metres; wanted metres, such as 6.45 or 6,45{told}")
    return number(found[1]) * (0.01 if (found[2] or "").lower() == "cm" else 1.0)


def day(text: str) -> str:
    """Return a day as year-month-day from '2026-11-28', '2026/11/28', '28.11.2026', '28/11/2026' or '28-11-2026'.

    With strokes a day and a month that could change places are refused: half of the world reads them the other way.
    """
    parts = re.fullmatch(r"\s*(\d{1,4})([-./])(\d{1,2})\2(\d{2,4})\s*(?:\d{1,2}:\d{2}(?::\d{2})?)?\s*", text)
    if parts is None:
        raise ValueError(_WANTED_DAY)
    first, separator, middle, last = parts[1], parts[2], int(parts[3]), parts[4]
    if len(first) == 4 and len(last) <= 2:
        year, month, day_of_month = int(first), middle, int(last)
    elif len(last) == 4 and len(first) <= 2:
        year, month, day_of_month = int(last), middle, int(first)
        if separator == "/" and day_of_month != month:
            if month > 12 >= day_of_month:
                month, day_of_month = day_of_month, month
            elif day_of_month <= 12:
                raise ValueError(f"{_WANTED_DAY}; in {text.strip()} day and month could change places")
    else:
        raise ValueError(_WANTED_DAY)
    try:
        return date(year, month, day_of_month).isoformat()
    except ValueError:
        raise ValueError(_WANTED_DAY) from None


def contact_number(word: str) -> int | None:
    """Return the number of a contact from '-1' or 'penultimate'; None where it is neither."""
    word = word.strip().casefold().replace("\u2212", "-")
    if re.fullmatch(r"-?\d{1,2}", word):
        return int(word) if _FIRST_CONTACT <= int(word) <= 0 else None
    return CONTACTS.get(word.removesuffix(" contact").replace(" ", "-").replace("_", "-"))


def mat(text: str) -> Mat:
    """Return one mat from 'penultimate 0.05', 'penultimate=5 cm' or '-1=0,05'.

    Raises
    ------
    ValueError
        With what is wanted; a bare number above half a metre was meant in centimetres, and the words say how to write it.
    """
    found = re.fullmatch(
        r"\s*([a-z][a-z _-]*?|[-\u2212]?\d+)\s*[=:]?\s*([\d]+(?:[.,]\d+)?|[.,]\d+)\s*(cm|m)?\s*", text, re.IGNORECASE
    )
    contact = None if found is None else contact_number(found[1])
    if found is None or contact is None:
        raise ValueError(_WANTED_MAT)
    thickness_m = round(number(found[2]) * (0.01 if (found[3] or "").lower() == "cm" else 1.0), 4)
    if not found[3] and THICKEST_MAT_M < thickness_m <= 100.0 * THICKEST_MAT_M:
        raise ValueError(
            f"a thickness up to {THICKEST_MAT_M:g} m; {found[2]} without a unit is {found[2]} metres, "
            f"for centimetres write {found[1]}={found[2]}cm"
        )
    if not 0.0 < thickness_m <= THICKEST_MAT_M:
        raise ValueError(f"a thickness up to {THICKEST_MAT_M:g} m, and more than 0")
    return Mat(number=contact, thickness_m=thickness_m)


def mats(text: str) -> tuple[Mat, ...]:
    """Return the mats of a clip from 'penultimate 0.05; take-off 5 cm'; one a contact."""
    found = tuple(mat(part) for part in re.split(r"[;+]| and |\n", text) if part.strip())
    if len({m.number for m in found}) < len(found):
        raise ValueError("one mat a contact")
    return found
