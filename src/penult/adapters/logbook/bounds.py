"""What a row of an exported logbook may hold (ranges, dates, lengths): an import lets nothing in that no penult writes."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

Check = Callable[[Any], str]
"""Returns what is wrong with a value; '' where nothing is."""

_SHA256 = re.compile(r"[0-9a-f]{64}\Z")
_MEASURE = re.compile(r"[a-z][a-z0-9_]{0,79}\Z")
_PARTS = ("contacts", "steps", "penultimate", "takeoff", "checks", "phases", "sequence", "run_up")
_LONGEST = 2000
_LONGEST_NOTE = 20_000
_LONGEST_JSON = 4_000_000


def within(low: float, high: float) -> Check:
    """Wanted: a number from low to high, both included; NaN lies nowhere."""
    return lambda value: "" if low <= value <= high else f"{value} is not from {low:g} to {high:g}"


def _text(longest: int) -> Check:
    return lambda value: "" if len(value) <= longest else f"more than {longest} characters"


def _day(value: str) -> str:
    try:
        is_day = date.fromisoformat(value).isoformat() == value
    except ValueError:
        is_day = False
    return "" if is_day else f"{value[:40]!r} is no day such as 2026-10-03"


def _day_or_nothing(value: str) -> str:
    return _day(value) if value else ""


def _sha256(value: str) -> str:
    return "" if _SHA256.match(value) else f"{value[:40]!r} is no hash of a clip"


def _json(value: str) -> str:
    try:
        is_object = len(value) <= _LONGEST_JSON and isinstance(json.loads(value), dict)
    except (ValueError, RecursionError):
        is_object = False
    return "" if is_object else "it is no JSON object"


def _part(value: str) -> str:
    return "" if value in _PARTS else f"{value[:40]!r} is no part of a result"


def _measure(value: str) -> str:
    return "" if _MEASURE.match(value) else f"{value[:40]!r} is no name of a measure"


YES_OR_NO, NUMBER, SECONDS = within(0, 1), within(-1000, 1000), within(-1e6, 1e6)

CHECKS: Mapping[tuple[str, str], Check] = {
    ("athlete", "label"): _text(200),
    ("athlete", "height_m"): within(0.8, 2.5),
    ("athlete", "leg_length_m"): within(0.4, 1.4),
    ("session", "date"): _day_or_nothing,
    ("clip", "sha256"): _sha256,
    ("clip", "run"): within(1, 1000),
    ("clip", "approach_strides"): within(1, 99),
    ("clip", "has_takeoff"): YES_OR_NO,
    ("clip", "official_distance_m"): within(0.5, 30.0),
    ("clip", "note"): _text(_LONGEST_NOTE),
    ("clip", "frames"): within(0, 100_000_000),
    ("clip", "capture_rate_hz"): within(0.0, 1e6),
    ("clip", "first_frame_s"): within(-1e9, 1e9),
    ("clip", "method"): _text(_LONGEST_JSON),  # read back as a whole when everything is in
    ("mat", "number"): NUMBER,
    ("mat", "thickness_m"): within(-10.0, 10.0),
    ("contact", "number"): NUMBER,
    ("contact", "wholly_seen"): YES_OR_NO,
    ("contact", "by_hand"): YES_OR_NO,
    ("contact", "foot_sure"): YES_OR_NO,
    ("contact", "start_s"): SECONDS,
    ("contact", "end_s"): SECONDS,
    ("contact", "lowest_s"): SECONDS,
    ("warning", "place"): within(0, 10_000),
    ("measure", "part"): _part,
    ("measure", "number"): NUMBER,
    ("measure", "name"): _measure,
    ("measure", "by_hand"): YES_OR_NO,
    ("correction", "content"): _json,
    ("note", "date"): _day,
    ("note", "text"): _text(_LONGEST_NOTE),
    ("tape", "date"): _day,
    ("tape", "distance_m"): within(0.5, 100.0),
    ("tape", "note"): _text(_LONGEST_NOTE),
}
"""The bounds that commands and readers of results have, by table and column; any other text has `_LONGEST` characters."""


def fault_of(table: str, row: Mapping[str, Any]) -> str:
    """Return what is wrong with a row, with the column; '' where nothing is."""
    for column, value in row.items():
        check = CHECKS.get((table, column)) or (_text(_LONGEST) if isinstance(value, str) else None)
        fault = check(value) if check is not None and value is not None else ""
        if fault:
            return f"{column}: {fault}" if not fault.startswith(column) else fault
    return ""
