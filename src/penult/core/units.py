"""Yards and feet: told where somebody types them, and where lengths are wrong by just their share. Pure."""

from __future__ import annotations

import re

YARD_M, FOOT_M = 0.9144, 0.3048
"""International yard and foot (1959): marks of so many yards typed as metres make lengths 9.4 % too long."""

UNIT_SHARE = 0.03

_OTHER_UNIT = re.compile(
    r"\s*(?P<number>[-+\u2212]?\d+(?:[.,]\d+)?)\s*(?P<unit>yards?|yds?|y|feet|foot|ft|')\.?"
    r"\s*(?:(?P<inches>\d+(?:[.,]\d+)?)\s*(?:inches|inch|in|\"|'')\.?)?\s*",
    re.IGNORECASE,
)
INCH_M = FOOT_M / 12.0


def other_unit(factor: float) -> str:
    """Return 'yards' or 'feet' where lengths are so many times too long as if these had been typed for metres, else ''."""
    return next(
        (word for word, metres in (("yards", YARD_M), ("feet", FOOT_M)) if abs(factor * metres - 1.0) <= UNIT_SHARE), ""
    )


def metres_of_other(written: str) -> float | None:
    """Return the metres of a length typed in yards or feet ('8 yd', '26 ft 3 in'), None where it is none of these."""
    found = _OTHER_UNIT.fullmatch(written)
    if found is None:
        return None
    value = float(found["number"].replace(",", ".").replace("\u2212", "-"))
    is_yards = found["unit"].lower().startswith("y")
    inches = float((found["inches"] or "0").replace(",", "."))
    sign = -1.0 if found["number"].lstrip().startswith(("-", "\u2212")) else 1.0
    return value * (YARD_M if is_yards else FOOT_M) + sign * inches * INCH_M
