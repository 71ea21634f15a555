"""The coach's word for a clip against what its feet and flights show. A disagreement is a warning, never a correction."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from penult.model.analysis import Notice, PhaseKind

BOX_LEAST_M = 0.10
"""A support lower than this is a mat (MEASURES.md section 4a: boxes are 0.10 to 0.40 m)."""

Shows = Callable[[Sequence[str], float], bool]
"""Whether kinds (of the phases from contact 0 on) and the highest support in metres are of a kind."""


def _triple(kinds: Sequence[str], highest_m: float) -> bool:
    del highest_m
    return list(kinds[:1]) == ["hop"] and set(kinds) <= {"hop", "step", "jump", "?"}


_WORDS: tuple[tuple[str, str, Shows], ...] = (
    # what a coach may type, its plain name, and what it must show; the first that fits counts
    (r"triple|hop\W*(and\W*)?step\W*(and\W*)?jump|\btj\b", "a triple jump", _triple),
    (r"\bbox", "a take-off from a box", lambda kinds, high: bool(kinds) and high >= BOX_LEAST_M),
    (r"\bskip", "skips", lambda kinds, _: "skiphop" in kinds),
    (r"\bhop", "hops", lambda kinds, _: "hop" in kinds),
    (r"\bbound|\bleap run", "bounds", lambda kinds, _: "bound" in kinds),
    (
        r"(take\W?offs?\W*(drill|runs?|every|series))|(every|repeated|series)\b.*take\W?off|pop\W?ups?|take\W?offs\b",
        "take-offs",
        lambda kinds, _: "takeoff" in kinds or "jump" in kinds,
    ),
)

RUN_THROUGH = re.compile(r"run\W?throughs?\b")
SEEN_WORDS = {
    "hop": "hops",
    "bound": "bounds",
    "skiphop": "skips",
    "step": "hop, step and jump",
    "takeoff": "small take-offs in a run",
    "jump": "a single take-off",
}


def plain_kind(word: str) -> str:
    """Return the plain name of the kind that a coach's word means; '' for a word of their own."""
    return next((name for pattern, name, _ in _WORDS if re.search(pattern, word.lower())), "")


def kind_notices(word: str, kinds: Sequence[PhaseKind], highest_m: float) -> list[Notice]:
    """Return a warning where the coach's word and the clip disagree.

    Parameters
    ----------
    word : str
        As typed.
    kinds : sequence of PhaseKind
        Of the phases from contact 0 on; none where no leap is seen.
    highest_m : float
        The highest support in the clip; NaN where none is measured.
    """
    typed = word.strip().lower()
    if not typed:
        return []
    if RUN_THROUGH.search(typed):
        text = "entered as a run-through, but the clip shows a take-off" if kinds else ""
    elif not kinds:
        text = f"entered as {word}, but no take-off is seen in the clip"
    else:
        shows = next((shows for pattern, _, shows in _WORDS if re.search(pattern, typed)), None)
        agrees = shows is None or "?" in kinds or shows(kinds, highest_m)
        text = "" if agrees else f"entered as {word}, but the feet and flights show {seen_words(kinds)}"
    return [Notice(code="kind-disagrees", text=text)] if text else []


def seen_words(kinds: Sequence[str]) -> str:
    """Return what the phases are, in a few words."""
    for kind in ("step", "skiphop", "hop", "bound", "takeoff"):
        if kind in kinds:
            return SEEN_WORDS[kind] + (" and a jump" if kind in ("hop", "bound") and "jump" in kinds else "")
    return SEEN_WORDS["jump"] if "jump" in kinds else "no kind that can be told"
