"""Numbers on the command line: with a decimal point or a decimal comma, everywhere alike."""

from __future__ import annotations

import math

import typer

from penult.core.units import metres_of_other


def number(text: str) -> float:
    """Return a number written with a decimal point or comma; ValueError if it is none.

    '1.234,5' and '1,234.5' are refused: what the first sign means is not sure.
    """
    plain = text.strip()
    if plain.count(",") + plain.count(".") > 1:
        raise ValueError(f"{text!r} is not a number")
    value = float(plain.replace(",", "."))
    if not math.isfinite(value):
        raise ValueError(f"{text!r} is not a number")
    return value


def numbers(text: str) -> list[float]:
    """Return the numbers of a list: separated by commas, or by semicolons or spaces, and then with decimal commas if wanted.

    '640,500,1.2' and '640; 500; 1,2' are the same.
    """
    parts = text.replace(";", " ").split() if ";" in text or " " in text.strip() else text.split(",")
    return [number(part.strip().rstrip(",")) for part in parts]


def typed(text: str | float) -> float:
    """Return a number typed as an option's value; raise what the command line shows if it is none."""
    try:
        return number(str(text))
    except ValueError:
        meant = metres_of_other(str(text))
        told = "" if meant is None else f"; in metres that is {meant:.2f}"
        raise typer.BadParameter(f"{text!r} is not a number; wanted: such as 5.55 or 5,55{told}") from None
