"""What `penult log forget` says: what would go, what has gone, and what was searched afterwards."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from penult.adapters.caches.keypoint_cache import cache_folder
from penult.outputs.texts.plain import shown

if TYPE_CHECKING:
    from rich.console import Console

    from penult.app.forget import Forgotten, Plan

_MOST = 60
_REWRITTEN = ("export", "state", "words")
_WORDS = {"athlete": "athletes", "clip": "clips", "tape": "tape results", "note": "notes", "correction": "corrections",
          "history": "earlier states", "session": "sessions"}  # fmt: skip


def print_plan(plan: Plan, *, keep_results: bool, blacks_out: bool) -> None:
    """Print what would go and what would stay."""
    console, held = _console(), plan.held
    console.print(f"{shown(plan.label, 60)}", style="bold")
    if held.begun:
        console.print(f"forgetting was begun on {held.begun[:10]} and is not finished")
    console.print(f"in the logbook: {_rows(held.rows) or 'nothing (any more)'}")
    if len(held.labels) > 1:
        console.print(f"written in {len(held.labels)} ways: {', '.join(shown(x, 60) for x in held.labels)}")
    if not keep_results:
        for trace in plan.found.traces[:_MOST]:
            verb = "would be rewritten" if trace.kind in _REWRITTEN else "would be deleted"
            console.print(f"{verb}: {shown(str(trace.path), 400)}: {trace.why}")
        _more(console, len(plan.found.traces))
    console.print(f"cache of joints would be emptied {_of(plan.cache_clips)}: {cache_folder()}")
    if held.mentions:
        verb = "would be blacked out in" if blacks_out else "stands, and would stay, in"
        count = len(held.mentions)
        console.print(f"the label {verb} {count} {'text' if count == 1 else 'texts'} about others:")
        for mention in held.mentions[:_MOST]:
            console.print(f"  {mention.place}: {shown(mention.blacked_out if blacks_out else mention.text, 120)}")
        _more(console, len(held.mentions))
    if plan.is_plain:
        console.print(
            "the label is a plain word or a number: it names nobody in a text, so texts about others stay as they are"
            " unless you say --everywhere"
        )
    if not keep_results:
        _print_places("would stay", plan.found.left, console)
        _print_places("cannot be looked at", plan.found.not_looked_at, console)


def print_forgotten(done: Forgotten, label: str, logbook: Path) -> None:
    """Print what has gone, and the proof."""
    console, e = _console(), done.erased
    if e is not None:
        console.print(f"removed: {_rows(e.rows) or 'nothing more'}; blacked out in {e.rewritten} texts about others")
    for trace in done.removed:
        verb = "rewritten" if trace.kind in _REWRITTEN else "deleted"
        console.print(f"{verb}: {shown(str(trace.path), 400)}")
    console.print(f"cache of joints emptied {_of(done.cache_clips)}: {cache_folder()}, {done.cache_bytes / 1e6:.1f} MB")
    if e is not None:
        about = " (about others, as a plain word or number: --everywhere blacks it out)" if e.left_in_text else ""
        console.print(f"proof: {shown(label)} stands in {e.left_in_text} texts of the logbook{about};")
        console.print("each of these files was written anew and is, byte for byte, what the rows that are left make:")
        for file in e.files:
            console.print(f"  {shown(file, 400)}")
    if done.looked_at:
        console.print("searched once more, without finding anything of theirs but what is listed below:")
        for place in done.looked_at:
            console.print(f"  {shown(str(place), 400)}")
    if done.others:
        console.print(
            f"{done.others} results of somebody else (or that do not say whose they are) there stayed as they are"
        )
    _print_places("left", done.left, console)
    _print_places("could not be looked at", done.not_looked_at, console)
    console.print("the films themselves are yours to delete; a result moved elsewhere is found with --results FOLDER")
    console.print(f"logbook: {logbook}")


def _of(clips: int) -> str:
    return (
        f"of {clips} clip{'s' if clips > 1 else ''} of theirs" if clips else "whole, as no clip is known to be theirs"
    )


def stopped() -> NoReturn:
    """Say what an interruption leaves behind, and end as after Ctrl-C."""
    sys.stderr.write(
        "error: stopped in the middle; what was removed is gone, the rest is whole\n  next: say the same again to finish it\n"
    )
    sys.exit(130)


def _print_places(words: str, places: list[tuple[Path, str]], console: Console) -> None:
    for path, why in places[:_MOST]:
        console.print(f"{words}: {shown(str(path), 400)}: {shown(why, 200)}")
    _more(console, len(places))


def _more(console: Console, count: int) -> None:
    if count > _MOST:
        console.print(f"  and {count - _MOST} more")


def _rows(rows: dict[str, int]) -> str:
    return ", ".join(
        f"{n} {_WORDS[t].removesuffix('s') if n == 1 else _WORDS[t]}" for t, n in rows.items() if n and t in _WORDS
    )


def _console() -> Console:
    from rich.console import Console

    return Console(highlight=False, markup=False, soft_wrap=True)
