"""What is said to athletes, in their language and units: sentences from a catalogue, numbers by the language's own rules.

The catalogues lie in `data/languages/LANGUAGE/LC_MESSAGES/penult.po` with the `.mo` that the standard library reads beside
each; English is the text in the source. After a change of a text: `python tests/languages.py --write`.
"""

from __future__ import annotations

import gettext
import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from penult.model.measured import Measure, Measured
from penult.model.showing import Language, Showing, Units
from penult.outputs.texts import words

PLACE = Path(__file__).parents[2] / "data" / "languages"
COMMA = frozenset({"de", "fr", "es"})
"""Languages that write a decimal comma (ISO 80000-1:2022, 7.3.2, allows either; national standards choose it)."""

INCH_M = 0.0254
"""Exactly (international yard and pound agreement of 1959)."""


def mark(text: str) -> str:
    """Return the text: it belongs to the catalogue and is translated where it is said."""
    return text


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """A value as it is read out: its digits with unit and interval, '' where it was not measured."""

    text: str
    value: str = ""
    interval: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tongue:
    """A language and units.

    Parameters
    ----------
    language : {'en', 'de', 'fr', 'es'}
    units : {'metres', 'feet'}
        Of lengths. Speeds stay in metres a second and times in seconds: both are so in every country's results.
    """

    language: Language = "en"
    units: Units = "metres"

    def say(self, text: str, **values: str) -> str:
        """Return a text of the catalogue in this language, its places filled in."""
        return _catalogue(self.language).gettext(text).format(**values)

    def number(self, value: float, places: int) -> str:
        """Return a number with this language's decimal sign."""
        text = words.number(value, places)
        return text.replace(".", ",") if self.language in COMMA else text

    def amount(self, name: str, measure: Measure | None, *, unit: str = "") -> Amount:
        """Return a measure with the digits that its interval supports; `unit` 's' or 'm' instead of the usual 'ms' or 'cm'."""
        if not isinstance(measure, Measured):
            return Amount(text="")
        known = words.term(name)
        sign, scale = (unit, 1.0) if unit else (known.unit, known.scale)
        if self.units == "feet" and sign in ("m", "cm"):
            return self._in_feet(measure, is_long=sign == "m")
        u95 = measure.u95 * scale
        places = words.decimals(u95)
        return self._amount(self.number(measure.value * scale, places), self.number(u95, places), words.spaced(sign))

    def length(self, metres: float, places: int = 0) -> str:
        """Return a round distance along the runway: '−3 m', '−10 ft'."""
        if self.units == "feet":
            return f"{self.number(metres / (12.0 * INCH_M), places)} ft"
        return f"{self.number(metres, places)} m"

    def _in_feet(self, measure: Measured, *, is_long: bool) -> Amount:
        inches, u95 = measure.value / INCH_M, measure.u95 / INCH_M
        places = max(0, words.decimals(u95))
        interval = f"{self.number(u95, places)}"
        if not is_long:
            return self._amount(self.number(inches, places), interval, " in")
        whole = round(abs(inches), places)  # before it is split: 11.96 in are 1 ft 0.0 in
        feet = math.floor(whole / 12.0)
        value = f"{words.MINUS if inches < 0 else ''}{feet} ft {self.number(whole - 12.0 * feet, places)}"
        return self._amount(value, interval, " in")

    def _amount(self, value: str, interval: str, unit: str) -> Amount:
        return Amount(text=f"{value} {words.PLUS_MINUS} {interval}{unit}", value=f"{value}{unit}", interval=interval)


def tongue_of(showing: Showing) -> Tongue:
    """Return the language and units of a showing."""
    return Tongue(language=showing.language, units=showing.units)


@cache
def _catalogue(language: str) -> gettext.NullTranslations:
    if language == "en":
        return gettext.NullTranslations()
    return gettext.translation("penult", PLACE, languages=[language])
