"""A whole session in one go: every clip of a folder, one failure never stopping the rest, resumed where it stopped."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, as_completed
from dataclasses import dataclass, replace
from pathlib import Path

from penult import __version__
from penult.adapters.files import session_state as state
from penult.adapters.files import written_places
from penult.adapters.files.result_folder import (
    SAID,
    read_corrections,
    read_hip_path,
    read_stills,
    read_trial,
    said_bytes,
)
from penult.adapters.files.session_file import SessionFile, SessionRow, read_session, template
from penult.adapters.files.tapped import Tap, read_taps
from penult.adapters.logbook.place import default_place
from penult.app.profile import filled_in, known_athletes, profile_of
from penult.errors import InputError, OutputError, PenultError
from penult.model.analysis import Analysis
from penult.model.logbook import Athlete
from penult.model.method import METHOD
from penult.model.session import ClipOutcome, Session
from penult.model.settings import Settings
from penult.model.trial import Said, Trial
from penult.outputs.pages.page_files import write_files
from penult.outputs.pages.session import session_html
from penult.outputs.texts.clip_sheets import clips_sheet
from penult.outputs.texts.workbook import workbook
from penult.whole_file import read_whole, told, write_whole

AnalyseOne = Callable[[Path, Settings, Path], Analysis]
"""Analyses one clip into a result folder; must be a module's function (or a partial of one) to run in other processes."""

Progress = Callable[[str, float], None]
PAGE = "session.html"
LARGEST_LANE_BYTES = 50_000_000
TABLE = "session.csv"


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What is to be done with one clip."""

    clip: Path
    result: Path
    settings: Settings
    said: Said
    sha256: str
    key: str


def write_template(folder: Path) -> Path:
    """Write `session.csv` for the clips of a folder, to be filled in.

    Raises
    ------
    InputError
        If there are no clips.
    OutputError
        If there is one already: what a coach typed is never overwritten.
    """
    path = folder / TABLE
    names = [c.name for c in _clips(folder)]
    if path.exists():
        raise OutputError(f"{path} is there already and was left as it is", next_step="fill it in, or move it away")
    write_whole(path, template(names))
    return path


def run_session(
    folder: Path,
    lane: Path,
    analyse_one: AnalyseOne,
    *,
    table: Path | None = None,
    date: str = "",
    logbook: Path | None = None,
    said: Settings | None = None,
    pool: Callable[[], Executor] | None = None,
    progress: Progress = lambda what, share: None,
) -> Session:
    """Analyse every clip of a folder and write the session's page.

    Parameters
    ----------
    folder : Path
        With the clips; results and `session.html` are written there.
    lane : Path
        Lane file.
    analyse_one : callable
        (clip, settings, result folder) -> Analysis.
    table : Path, optional
        `session.csv`; else the one in the folder, if there is one.
    date : str
        ISO date for clips without one of their own.
    logbook : Path, optional
        Where each result is added as soon as it is there.
    said : Settings, optional
        What holds for clips of which the table says nothing else.
    pool : callable, optional
        Makes an executor; without it the clips are analysed one after the other.
    progress : callable
        Told which clip is done, and the share of the session.

    Returns
    -------
    Session
        Its exit status is 0 only if every clip has a result.

    Raises
    ------
    InputError
        No clips, a faulty session file or logbook; nothing is analysed then.
    """
    plans = _plans(folder, lane, (table, said or Settings()), date, logbook)
    done: dict[Path, ClipOutcome] = {}
    try:
        for plan, outcome in _outcomes(folder, plans, analyse_one, pool):
            done[plan.clip] = outcome
            progress(f"{len(done)} of {len(plans)} clips done", len(done) / len(plans))
            if outcome.analysis is not None:
                record_outcome(folder, plan, outcome, logbook)
            if outcome.is_new:  # the page grows with the session: nobody waits for the last clip
                write_page(folder, _session(folder, plans, done))
    finally:  # an interrupted session leaves its page as well
        session = _session(folder, plans, done)
        if done:
            write_page(folder, session)
            written_places.record(folder, default_place())
    return session


def _session(folder: Path, plans: Iterable[Plan], done: Mapping[Path, ClipOutcome]) -> Session:
    clips = tuple(done[p.clip] for p in plans if p.clip in done)
    return Session(name=told(folder.resolve().name), folder=str(folder), clips=clips)


def _clips(folder: Path) -> list[Path]:
    if not folder.is_dir():
        raise InputError(f"{folder} is not a folder of clips", "there is no such folder")
    clips = state.clips_in(folder)
    if not clips:
        endings = " ".join(sorted(state.CLIP_ENDINGS))
        raise InputError(f"there are no clips in {folder}", f"looked for files that end in {endings}")
    return clips


def _plans(folder: Path, lane: Path, told: tuple[Path | None, Settings], date: str, logbook: Path | None) -> list[Plan]:
    clips = _clips(folder)
    table, for_all = told
    said = said_in(folder, table)
    taps = read_taps(folder)
    return [plan_of(clip, lane, (said.row(clip.name), taps.of(clip.name), for_all), date, logbook) for clip in clips]


def said_in(folder: Path, table: Path | None = None) -> SessionFile:
    """Return what the session's table says; nothing where there is none."""
    path = table or folder / TABLE
    names = [c.name for c in state.clips_in(folder)]
    return read_session(path, names) if table or path.exists() else SessionFile()


def plan_of(clip: Path, lane: Path, told: tuple[SessionRow, Tap, Settings], date: str, logbook: Path | None) -> Plan:
    """Return what is to be done with one clip: a tap stands over the table, the table over what holds for all, over the profile."""
    row, tap, for_all = told
    row = _with_tap(row, tap)
    settings = _settings(row, for_all, _athletes(logbook), date)
    return Plan(
        clip=clip,
        result=state.result_folders(state.clips_in(clip.parent))[clip],
        settings=settings,
        said=_said(row, clip.parent, date),
        sha256=state.sha256_of(clip),
        key=state.request_key(settings, _hash_of_lane(lane), f"{__version__}, method {METHOD}"),
    )


def _with_tap(row: SessionRow, tap: Tap) -> SessionRow:
    """Return what holds of a clip: what was tapped on the page of a running session stands over the table."""
    given = {n: v for n in ("athlete", "kind", "mats") if (v := getattr(tap, n)) is not None}
    return replace(row, **given)


def _hash_of_lane(lane: Path) -> str:
    try:
        return hashlib.sha256(read_whole(lane, LARGEST_LANE_BYTES)).hexdigest()
    except OSError as error:
        raise InputError(f"the lane file {lane} cannot be read", error.strerror or str(error)) from error


def _athletes(logbook: Path | None) -> dict[str, Athlete]:
    """Return the profiles in the logbook, which fill in what a session does not say; makes a logbook that was asked for."""
    if logbook is not None:
        return known_athletes(logbook, create=True)
    place = default_place()
    try:
        return known_athletes(place) if place.exists() else {}
    except PenultError:  # nobody named it: clips can be measured without it
        return {}


def _settings(row: SessionRow, for_all: Settings, known: dict[str, Athlete], date: str) -> Settings:
    """Return what a clip is analysed with: the table before what holds for all clips before the profile in the logbook."""
    said = replace(
        for_all,
        capture_rate_hz=row.capture_rate_hz or for_all.capture_rate_hz,
        kind=row.kind or for_all.kind,
        athlete=row.athlete or for_all.athlete,
        sex=row.sex or for_all.sex,
        height_m=row.height_m or for_all.height_m,
        mats=row.mats or for_all.mats,
        run=row.run,
        date=row.date or date,
        official_m=row.official_distance_m,
    )
    profile = profile_of(said.athlete, known)
    return said if profile is None else filled_in(said, profile, default_place())[0]


def _said(row: SessionRow, folder: Path, date: str) -> Said:
    return Said(
        date=row.date or date,
        session=told(folder.resolve().name),
        approach_strides=row.approach_strides,
        official_distance_m=row.official_distance_m,
        note=row.note,
    )


def _outcomes(
    folder: Path, plans: Sequence[Plan], analyse_one: AnalyseOne, pool: Callable[[], Executor] | None
) -> Iterator[tuple[Plan, ClipOutcome]]:
    """Return each clip's outcome as it becomes known: first what is there already, then what is analysed now."""
    known = state.read_state(folder)
    todo = []
    for plan in plans:
        analysis = state.finished(known.get(plan.clip.name), plan.sha256, plan.key, plan.result)
        if analysis is None:
            todo.append(plan)
        else:
            yield plan, replace(outcome_of_plan(plan, analysis), is_new=False)
    yield from _in_turn(todo, analyse_one) if pool is None else _in_processes(todo, analyse_one, pool)


def _in_turn(plans: Iterable[Plan], analyse_one: AnalyseOne) -> Iterator[tuple[Plan, ClipOutcome]]:
    for plan in plans:
        yield plan, _tried(plan, analyse_one)


def _tried(plan: Plan, analyse_one: AnalyseOne) -> ClipOutcome:
    try:
        return outcome_of_plan(plan, analyse_one(plan.clip, plan.settings, plan.result))
    except Exception as error:  # whatever happens to one clip, the others go on
        return failure_of(plan.clip, error, plan)


def _in_processes(
    plans: Sequence[Plan], analyse_one: AnalyseOne, pool: Callable[[], Executor]
) -> Iterator[tuple[Plan, ClipOutcome]]:
    """Analyse clips at the same time; where a process dies, the clips it took along are tried again one by one."""
    left = list(plans)
    with pool() as executor:
        futures: dict[Future[Analysis], Plan] = {
            executor.submit(analyse_one, p.clip, p.settings, p.result): p for p in plans
        }
        for future in as_completed(futures):
            plan = futures[future]
            error = future.exception()
            if isinstance(error, BrokenExecutor):
                continue
            left.remove(plan)
            yield plan, outcome_of_plan(plan, future.result()) if error is None else failure_of(plan.clip, error, plan)
    for plan in left:
        with pool() as executor:
            future = executor.submit(analyse_one, plan.clip, plan.settings, plan.result)
            error = future.exception()
            yield plan, outcome_of_plan(plan, future.result()) if error is None else failure_of(plan.clip, error, plan)


def outcome_of_plan(plan: Plan, analysis: Analysis) -> ClipOutcome:
    """Return a clip with its result."""
    return ClipOutcome(file=plan.clip.name, folder=plan.result.name, said=plan.said, analysis=analysis)


def failure_of(clip: Path, error: BaseException, plan: Plan | None = None) -> ClipOutcome:
    """Return a clip without a result, with the reason in plain words."""
    if isinstance(error, PenultError):
        text, status = str(error), error.exit_status
    elif isinstance(error, BrokenExecutor):
        text, status = "the process that analysed it died", 1
    else:
        text, status = f"our own fault: {type(error).__name__}: {error}", 1
    return ClipOutcome(
        file=clip.name,
        folder=plan.result.name if plan else f"{clip.stem}_analysis",
        said=plan.said if plan else Said(),
        error=text,
        exit_status=status,
    )


def record_outcome(folder: Path, plan: Plan, outcome: ClipOutcome, logbook: Path | None) -> None:
    """Write down what was said and that this clip is done, and add it to the logbook."""
    if outcome.analysis is None:
        return
    try:
        write_whole(plan.result / SAID, said_bytes(plan.said), is_private=True)
    except OSError as error:
        raise OutputError(f"{plan.result} cannot be written", error.strerror or str(error)) from error
    if logbook is not None:
        from penult.adapters.logbook.book import opened

        path = plan.result / "hip_path.csv"
        trial = Trial(
            analysis=outcome.analysis,
            said=plan.said,
            folder=told(str(plan.result.resolve())),
            hip_path=read_hip_path(path) if path.exists() else None,
        )
        with opened(logbook, create=True) as log:
            log.put_trials(
                [trial], session_folder=told(str(folder.resolve())), corrections=[read_corrections(plan.result)]
            )
    clips = state.read_state(folder)
    clips[plan.clip.name] = {"sha256": plan.sha256, "key": plan.key}
    state.write_state(folder, clips)


def refresh_page(folder: Path) -> bool:
    """Write a session's page anew from the results that lie there, as after a review; False where there is no such page."""
    if not (folder / PAGE).is_file() or not state.read_state(folder):
        return False
    outcomes = []
    clips = state.clips_in(folder)
    for clip, result in state.result_folders(clips).items():
        try:
            trial = read_trial(result)
        except PenultError:
            continue
        outcomes.append(ClipOutcome(file=clip.name, folder=result.name, said=trial.said, analysis=trial.analysis))
    if outcomes:
        write_page(folder, Session(name=told(folder.resolve().name), folder=str(folder), clips=tuple(outcomes)))
    return bool(outcomes)


def write_page(folder: Path, session: Session) -> None:
    """Write the session's page whole."""
    stills = {
        c.file: still
        for c in session.clips
        if c.analysis and (still := next(iter(read_stills(folder / c.folder, [(-1, "lowest")]).values()), None))
    }
    files = {PAGE: session_html(session, stills).encode("utf-8", errors="replace")}
    if trials := [Trial(analysis=c.analysis, said=c.said) for c in session.clips if c.analysis is not None]:
        files["session.xlsx"] = workbook([clips_sheet(trials)])
    write_files(folder, files)
