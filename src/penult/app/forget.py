"""Forget a person: the logbook, its backups, results, pages, exports, shared copies, the cache; then look at all of it again.

Folders come first, while the logbook still knows them; then the logbook. Whatever interrupts it, the same command goes on
where it stopped: until all is done the logbook keeps the label as a hash.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterable, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

from penult.adapters.caches import keypoint_cache, look_cache
from penult.adapters.files import written_places
from penult.adapters.files.corrections_file import NAME as CORRECTIONS
from penult.adapters.files.result_file import read_analysis
from penult.adapters.files.result_folder import SAID, read_said, said_bytes
from penult.adapters.files.session_state import read_state, write_state
from penult.adapters.logbook import forget, schema
from penult.adapters.logbook.book import Logbook, opened
from penult.adapters.logbook.csv_folder import export, import_folder
from penult.adapters.logbook.place import default_place
from penult.app.plan import every_cache_key
from penult.app.traces import Found, Person, Trace, search
from penult.core.label import Label, is_plain
from penult.errors import LogbookError, PenultError
from penult.model.logbook import Erased, Holdings
from penult.outputs.folder.aside import LOCK, mark
from penult.outputs.folder.save import is_ours
from penult.whole_file import ASIDE, write_whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What would be done.

    Parameters
    ----------
    label : str
        As recorded, or as it was said.
    held : Holdings
        In the logbook.
    found : Found
        In the folders.
    is_plain : bool
        The label is also a number or a word of the trade: texts of others are left as they are unless asked for.
    cache_clips : int
        Clips of theirs whose joints would go out of the cache; 0: the cache would be emptied whole.
    """

    label: str
    held: Holdings
    found: Found
    is_plain: bool
    cache_clips: int = 0


@dataclass(slots=True, kw_only=True)
class Forgotten:
    """What has been done, as far as it has been done.

    Parameters
    ----------
    removed : list of Trace
        Results and pages deleted, exports and session states rewritten.
    failed : list of (Path, str)
        What should have been removed and could not be.
    left : list of (Path, str)
        Files that name the person and are not ours to change.
    cache_bytes, cache_clips : int
        Freed in the cache of joints, and of how many clips of theirs; of none the cache was emptied whole, because nothing tells
        which entries are theirs.
    erased : Erased, optional
        The logbook's part, with its proof; None as long as it is not done.
    looked_at, not_looked_at : list
        Folders that were searched once more at the end, and places that could not be.
    others : int
        Results of somebody else in those folders, left as they are.
    """

    removed: list[Trace] = field(default_factory=list)
    failed: list[tuple[Path, str]] = field(default_factory=list)
    left: list[tuple[Path, str]] = field(default_factory=list)
    cache_bytes: int = 0
    cache_clips: int = 0
    erased: Erased | None = None
    looked_at: list[Path] = field(default_factory=list)
    not_looked_at: list[tuple[Path, str]] = field(default_factory=list)
    others: int = 0


def plan(label: str, *, logbook: Path, results: Sequence[Path] = ()) -> Plan:
    """Return what forgetting a person would remove; nothing is changed.

    Raises
    ------
    LogbookError
        If neither the logbook nor a folder knows such a person.
    """
    with opened(logbook) as log:
        held = forget.holdings(log, label)
        found = search(_person(label, held), _roots(log, held, results), logbook=log.path)
        _refuse_unknown(log, label, held, found)
    return Plan(
        label=held.labels[0] if held.labels else label,
        held=held,
        found=found,
        is_plain=is_plain(label),
        cache_clips=len(_clips_of(held, found)),
    )


def forget_athlete(
    label: str,
    *,
    logbook: Path,
    results: Sequence[Path] = (),
    keep_results: bool = False,
    everywhere: bool | None = None,
) -> Forgotten:
    """Remove a person, or go on with removing one.

    Parameters
    ----------
    label : str
        In any form.
    logbook : Path
        Its file.
    results : sequence of Path
        Folders to be searched beside those that the logbook knows.
    keep_results : bool
        Leave all folders as they are.
    everywhere : bool, optional
        Black the label out in texts about others; None: unless it is a plain word or number.

    Raises
    ------
    LogbookError
        If there is no such person, or it could not be finished; it says what has been done.
    """
    done = Forgotten()
    with opened(logbook) as log:
        held = forget.holdings(log, label)
        roots = [] if keep_results else _roots(log, held, results)
        found = Found() if keep_results else search(_person(label, held), roots, logbook=log.path)
        _refuse_unknown(log, label, held, found)
        with log.writing():  # a logbook that cannot be written is said before anything is removed
            pass
        try:
            clips = _clips_of(held, found)
            # first, as long as the results say whose clips these are, whatever interrupts what follows
            done.cache_clips, done.cache_bytes = len(clips), _forget_joints(clips)
            _remove(found.traces, label, everywhere, {s for s, _ in held.clips}, done)
            rows, rewritten = forget.erase(log, label, everywhere=everywhere)
            proof = forget.clean(log, label, everywhere=everywhere)
        except PenultError as error:
            raise _unfinished(error.what, error.details, done, error.next_step) from error
        done.erased = Erased(
            rows=rows,
            rewritten=rewritten + proof.rewritten,
            files=proof.files,
            left_in_text=proof.left_in_text,
            not_looked_at=proof.not_looked_at,
        )
        if not keep_results:
            _look_again(search(_person(label, held), roots, logbook=log.path), done)
        if done.failed or proof.not_looked_at:
            why = [f"{path}: {reason}" for path, reason in [*done.failed, *proof.not_looked_at]]
            raise _unfinished(
                f"{label!r} is out of {logbook}, but not everything could be removed", why, done, "put that right"
            )
        forget.finish(log, label)
    for place in (logbook, default_place()):
        with suppress(OSError):
            written_places.drop(place, Label(label).stands_in)
    return done


def _clips_of(held: Holdings, found: Found) -> set[str]:
    """Return the hashes of all clips that are known to be theirs."""
    known = {sha256 for sha256, _ in held.clips}
    for trace in found.traces:
        if trace.kind == "result":
            with suppress(PenultError, OSError):
                known.add(read_analysis(trace.path).clip.sha256)
    return known


def _forget_joints(clips: set[str]) -> int:
    """Remove what was kept of some clips, all of it where none is known; return the bytes freed."""
    if not clips:
        return keypoint_cache.clear()
    keys = [key for sha256 in clips for key in every_cache_key(sha256)]
    return keypoint_cache.clear_of(clips, keys, look_cache.is_look)


def _refuse_unknown(log: Logbook, label: str, held: Holdings, found: Found) -> None:
    """Raise where nobody of that label is anywhere: neither in the logbook nor in a folder, nor by name in a text."""
    if not (held.rows or held.begun or found.traces or (held.mentions and not is_plain(label))):
        log.athlete(label)  # says who is known


def _unfinished(what: str, details: Iterable[str], done: Forgotten, next_step: str) -> LogbookError:
    gone = f"removed before that: {len(done.removed)} results, pages and exports" if done.removed else ""
    said = next_step if "same again" in next_step else f"{next_step or 'put that right'}; then say the same again"
    return LogbookError(what, *details, *([gone] if gone else []), next_step=said)


def _person(label: str, held: Holdings) -> Person:
    return Person(label=Label(label), clips=frozenset(held.clips))


def _roots(log: Logbook, held: Holdings, results: Sequence[Path]) -> list[Path]:
    """Return the folders to be searched: those that were said, of all sessions, beside anybody's results, and written to."""
    beside = log.path.resolve().parent
    recorded = [beside / folder for folder in held.folders]
    near = [f.parent if (f / "analysis.json").is_file() or f.name.endswith("_analysis") else f for f in recorded]
    sessions = [beside / folder for folder in log.session_folders()]
    sessions += dict.fromkeys((beside / folder).parent for folder in log.result_folders())
    written = [Path(p) for place in (log.path, default_place()) for p in written_places.recorded(place)]
    return [*results, *near, *(p for p in sessions if p.is_dir()), *written]


def _look_again(found: Found, done: Forgotten) -> None:
    """Take in what the second search came to: the proof for the folders."""
    known = {path for path, _ in done.failed}
    done.failed += [(t.path, f"still there: {t.why}") for t in found.traces if t.path not in known]
    done.left += [(path, why) for path, why in found.left if (path, why) not in done.left]
    done.looked_at, done.not_looked_at, done.others = found.looked_at, found.not_looked_at, found.others


def _remove(traces: Sequence[Trace], label: str, everywhere: bool | None, sha256s: set[str], done: Forgotten) -> None:
    ways: dict[str, Callable[[Trace], None]] = {
        "result": lambda t: _remove_result(t.path, done),
        "half a result": lambda t: shutil.rmtree(t.path),
        "page": lambda t: t.path.unlink(missing_ok=True),
        "half a file": lambda t: t.path.unlink(missing_ok=True),
        "state": lambda t: _clean_state(t.path.parent, label, sha256s),
        "words": lambda t: _black_out_said(t.path.parent, label),
        "export": lambda t: _clean_export(t.path, label, everywhere),
    }
    # pages before results: a page is known by the results beside it
    for trace in sorted(traces, key=lambda t: t.kind in ("result", "state", "words")):
        try:
            ways[trace.kind](trace)
            done.removed.append(trace)
        except FileNotFoundError:
            continue
        except (OSError, PenultError) as error:
            why = error.what if isinstance(error, PenultError) else error.strerror or str(error)
            done.failed.append((trace.path, why))


def _remove_result(folder: Path, done: Forgotten) -> None:
    """Delete what penult wrote there.

    A folder with nothing else in it is renamed first, so that an interruption leaves what the next try takes for rubbish of
    its own. Otherwise the analysis goes last: as long as anything is there, the next try knows whose it is.
    """
    inside = [p for p in sorted(folder.rglob("*")) if p.is_symlink() or not p.is_dir()]
    names = {p: p.relative_to(folder).as_posix() for p in inside}
    ours = [p for p in inside if is_ours(names[p]) or names[p] in (SAID, CORRECTIONS, LOCK) or ASIDE in p.name]
    if len(ours) == len(inside):
        rubbish = folder.with_name(f".{folder.name}.partial-{mark()}")
        folder.rename(rubbish)
        shutil.rmtree(rubbish)
        return
    for path in sorted(ours, key=lambda p: names[p] == "analysis.json"):
        path.unlink(missing_ok=True)
    nested = [p.parent for p in inside if p.name == "analysis.json" and p.parent != folder]
    strangers = [p for p in inside if p not in ours and not any(n in p.parents for n in nested)]
    done.left += [(p, "a file that penult did not make, in a result of theirs") for p in strangers]
    for place in (folder / "stills", folder):
        try:
            place.rmdir()
        except OSError:
            continue


def _black_out_said(folder: Path, label: str) -> None:
    """Take the label out of what the coach said beside a result of somebody else."""
    said, name = read_said(folder), Label(label)
    plain = replace(said, note=name.blacked_out(said.note), session=name.blacked_out(said.session))
    write_whole(folder / SAID, said_bytes(plain), is_private=True)


def _clean_state(folder: Path, label: str, sha256s: set[str]) -> None:
    """Take clips of the person out of what a session has done."""
    name = Label(label)
    clips = read_state(folder)
    kept = {k: v for k, v in clips.items() if v.get("sha256") not in sha256s and not name.stands_in(k)}
    write_state(folder, kept)
    if read_state(folder) != kept:
        raise OSError(None, "it cannot be written")


def _clean_export(folder: Path, label: str, everywhere: bool | None) -> None:
    """Read an export, take the person out, write it again."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        schema.create(connection)
        log = Logbook(connection, folder)
        import_folder(log, folder)
        forget.erase(log, label, everywhere=everywhere)
        export(log, folder)
