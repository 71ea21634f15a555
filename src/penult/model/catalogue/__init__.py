"""The one list of measures. Whatever is decided by measure is decided here: one row a measure, read by all.

Withholding (`core.checks.withheld`), comparisons, seasons, tables, pages, the review page: none of them knows a measure by its
name's pattern. To add a measure: write its function in `core.measures`, and its row here. A measure that has no row cannot be
withheld, so `row` raises for it.

A new part of the result needs an entry in `PARTS` and a file of rows beside the others.
"""

from __future__ import annotations

from penult.model.catalogue.contacts import CONTACTS
from penult.model.catalogue.entry import RATIO, UNITS, Entry, Page, Part
from penult.model.catalogue.phases import PHASES, SEQUENCE
from penult.model.catalogue.run_up import RUN_UP, RUN_UPS
from penult.model.catalogue.steps import STEPS
from penult.model.catalogue.takeoff import CHECKS, PENULTIMATE, TAKEOFF

PARTS: dict[str, Part] = {
    "contacts": Part(compared=(-1, 0, -2, -3), place=3),
    "steps": Part(compared=(0, -1, -2), place=4),
    "penultimate": Part(contact=-1, compared=(None,), place=1),
    "takeoff": Part(contact=0, compared=(None,), place=2),
    "phases": Part(compared=tuple(range(10)), place=6),
    "sequence": Part(contact=0, compared=(None,), place=5),
    "run_up": Part(contact=0),
    "checks": Part(contact=0),
    "run_ups": Part(),
}
"""The parts of a result, in the order in which pages list their definitions."""

ROWS: dict[tuple[str, str], Entry] = {
    (e.part, e.name): e
    for rows in (CONTACTS, STEPS, PENULTIMATE, TAKEOFF, PHASES, SEQUENCE, RUN_UP, CHECKS, RUN_UPS)
    for e in rows
}
"""(part, name) -> entry, in the order in which tables and pages list them."""


def row(part: str, name: str) -> Entry:
    """Return a measure's entry.

    Raises
    ------
    LookupError
        If it has none: it would slip past every rule that withholds.
    """
    if (part, name) not in ROWS:
        raise LookupError(f"the measure {part}/{name} has no row in penult.model.catalogue")
    return ROWS[part, name]


def described(name: str, part: str = "") -> Entry:
    """Return how a measure is spoken of; one that this version does not know is spelled out as it stands.

    Without a part it is the first of that name: words may differ between parts, units do not.
    """
    found = ROWS.get((part, name)) or next((e for (_, n), e in ROWS.items() if n == name), None)
    if found:
        return found
    return Entry(name=name, part="", words=name.replace("_", " "), shown_in=RATIO, definition="")


def u95_name(name: str) -> str:
    """Return the name of a measure's uncertainty in a table, known or not: the unit stays last."""
    unit = next(u for u in UNITS if name.endswith(u.ending))
    return f"{name.removesuffix(unit.ending)}_u95{unit.ending}"


def names(part: str) -> tuple[str, ...]:
    """Return the names of a part's measures, in the order in which they are listed."""
    return tuple(name for p, name in ROWS if p == part)


def headlines(page: Page) -> tuple[tuple[str, int | None, str], ...]:
    """Return the main numbers of a page in their order, each as (part, number of the contact or step, name)."""
    found = [
        (place, n or 0, (e.part, n, e.name)) for e in ROWS.values() for n, place in e.headline.get(page, {}).items()
    ]
    return tuple(key for _, _, key in sorted(found, key=lambda f: f[:2]))


__all__ = ["PARTS", "ROWS", "Entry", "Page", "Part", "described", "headlines", "names", "row", "u95_name"]
