"""The start page: what each address answers. What may be asked at all is the server's matter.

Below it stand the page of the session that is open, pages on which marks are clicked, and results under review: all behind
the same gate. Whatever it does has a command that does the same, and says which.
"""

from __future__ import annotations

import hashlib
import os
import shlex
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Mount, Route
from starlette.types import Receive, Scope, Send

from penult.app import desk
from penult.app.day import Day, absolute
from penult.app.dropping import MOST_BYTES, Drop
from penult.app.known_lanes import KnownLane
from penult.app.staying import today_text
from penult.errors import InputError, PenultError
from penult.outputs.texts.plain import shown
from penult.review.answers import as_json, aside, asset
from penult.review.server import KEPT_PAGE, LocalServer, SubPage, json_body
from penult.review.stay_pages import STATIC as STAY_STATIC
from penult.review.stay_pages import StayPages

STATIC = (*STAY_STATIC, "start.css", "start.js", "start_lane.js", "start_runs.js", "drop.js")
"""The only files that are handed out."""

FILMS = {"/api/drop": MOST_BYTES, "/api/lane_source": MOST_BYTES}
"""Addresses that take a film."""

_MOST_PAGES = 4
"""Pages below that stay open: each review holds frames of its film in memory."""

_LARGEST_FILE_BYTES = 40_000_000
_PIECE_BYTES = 1 << 20


class StartPages:
    """Answers of the start page.

    Parameters
    ----------
    day : Day
    """

    def __init__(self, day: Day) -> None:
        self._day = day
        self._stay = StayPages(lambda: day.staying, self._labels)
        self._server: LocalServer | None = None
        self._below: dict[int, tuple[SubPage, Callable[[], None]]] = {}
        self._made: dict[int, Path] = {}
        self._next = 1
        self._known: tuple[str, ...] | None = None

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the page."""
        posts = {
            "open": self._open,
            "lane": self._lane,
            "mark": self._mark,
            "athlete": self._athlete,
            "tape": self._tape,
            "note": self._note,
            "compare": self._compare,
            "season": self._season,
            "end": self._end,
            "drop": self._drop,
            "lane_source": self._lane_source,
        }
        return [
            Route("/", self._home),
            Route("/session", self._stay.home),
            Route("/static/{name}", self._static),
            *self._stay.answers(),
            Route("/api/start", self._data),
            Route("/api/log", self._log),
            Route("/api/lane/{key}", self._lane_facts),
            Route("/lane/{key}", self._still),
            Route("/look", self._look),
            Route("/made/{number:int}", self._made_page),
            Mount("/page/{number:int}", app=self._page),
            *(Route(f"/api/{name}", answer, methods=["POST"]) for name, answer in posts.items()),
        ]

    def attach(self, server: LocalServer) -> None:
        """Let open pages hear what happens."""
        self._server = server
        self._day.told = lambda: server.presence.tell({"session": True})

    def close(self) -> None:
        """Let go of the session and of every page below."""
        self._day.close()
        for _, closing in self._below.values():
            closing()

    async def _home(self, _request: Request) -> Response:
        return asset("start.html")

    async def _static(self, request: Request) -> Response:
        name = request.path_params["name"]
        if name not in STATIC:
            raise HTTPException(404, "no such file")
        return asset(name)

    # what is chosen

    async def _data(self, _request: Request) -> Response:
        return as_json(await aside(self._content))

    def _content(self) -> dict[str, Any]:
        day, opened = self._day, self._day.opened
        lanes = [_lane_data(lane) for lane in self._lanes()]
        return {
            "today": today_text(),
            "opened": None
            if opened is None
            else {
                "folder": shown(str(opened.folder), 400),
                "name": shown(opened.folder.name, 80),
                "lane": shown(opened.lane.name, 80),
                "lane_path": shown(str(opened.lane), 400),
                "logs": opened.logs,
                "command": desk.session_command(opened, day.logbook),
            },
            "folder": str(day.suggested_folder()),
            "folders": list(day.remembered.folders[:6]),
            "lanes": lanes,
            "logs": day.remembered.logs,
            "logbook": shown(str(day.logbook), 400),
            "athletes": [shown(label, 60) for label in self._labels()],
        }

    async def _open(self, request: Request) -> Response:
        body = await json_body(request)
        folder, lane = _text(body, "folder"), _text(body, "lane")
        if not folder or not lane:
            raise InputError("a lane file and a folder are wanted", next_step="choose both")
        work = partial(
            self._day.open,
            Path(folder),
            Path(lane),
            logs=bool(body.get("logs", True)),
            again=bool(body.get("again")),
        )
        await aside(work)
        self._known = None
        return as_json(await aside(self._content))

    async def _lane(self, request: Request) -> Response:
        """Choose a lane file by its path, as 'penult check' is given it."""
        path = absolute(Path(_text(await json_body(request), "path") or "?"))
        await aside(partial(desk.sound_lane, path))
        await aside(partial(self._day.remember_lane, path))
        return as_json(await aside(self._content))

    def _lanes(self) -> list[KnownLane]:
        return self._day.lanes()

    async def _lane_facts(self, request: Request) -> Response:
        """What a lane file is good enough for, as 'penult check' says it."""
        lane = await self._lane_of(request)
        return as_json(await aside(partial(desk.lane_facts, lane.path)))

    async def _still(self, request: Request) -> Response:
        lane = await self._lane_of(request)
        if lane.still is None:
            raise HTTPException(404, "no picture beside this lane file")
        return Response(await aside(partial(desk.small_jpeg, lane.still)), media_type="image/jpeg")

    async def _lane_of(self, request: Request) -> KnownLane:
        wanted = request.path_params["key"]
        for lane in await aside(self._lanes):
            if _key(lane) == wanted:
                return lane
        raise HTTPException(404, "no such lane file")

    # films that are dropped, and lanes made of them

    async def _drop(self, request: Request) -> Response:
        opened = self._day.opened
        if opened is None:
            raise InputError("no folder is open for clips", next_step="choose a lane file and a folder first")
        done = await _taken(request, opened.folder, is_lane_source=False)
        return as_json(done)

    async def _lane_source(self, request: Request) -> Response:
        """Copy a photo or clip of the empty runway, and open the page on which its marks are clicked."""
        folder = absolute(Path(request.query_params.get("folder") or str(self._day.suggested_folder())))
        await aside(partial(desk.made_folder, folder))
        done = await _taken(request, folder, is_lane_source=True)
        return await self._marking(folder / done["file"])

    async def _mark(self, request: Request) -> Response:
        """Open that page for a photo or clip that lies on this machine."""
        return await self._marking(absolute(Path(_text(await json_body(request), "path") or "?")))

    async def _marking(self, source: Path) -> Response:
        from penult.review.picking import PickingPages  # noqa: PLC0415 - loads what draws and solves

        task = await aside(partial(desk.marking, source))
        pages = PickingPages(task, written=self._day.remember_lane)
        command = shlex.join(["penult", "calibrate", str(source), "-o", str(task.out), "--pick"])
        return as_json({"address": self._stand(pages.routes())[0], "command": command})

    # whom, and what is kept of them

    async def _athlete(self, request: Request) -> Response:
        body = await json_body(request)
        command = await aside(partial(desk.add_athlete, body, self._day.logbook))
        self._known = None
        return as_json({"command": command, **await aside(self._content)})

    async def _tape(self, request: Request) -> Response:
        return as_json(await aside(partial(desk.add_tape, await json_body(request), self._day.logbook)))

    async def _note(self, request: Request) -> Response:
        return as_json(await aside(partial(desk.add_note, await json_body(request), self._day.logbook)))

    async def _log(self, _request: Request) -> Response:
        return as_json(await aside(partial(desk.log_content, self._day.logbook)))

    def _labels(self) -> tuple[str, ...]:
        """Return the athletes that the logbook knows; a logbook that is not there, or cannot be read, knows none."""
        if self._known is None:
            self._known = desk.labels(self._day.logbook)
        return self._known

    # results

    async def _look(self, request: Request) -> Response:
        """Open results frame by frame: one to be put right, more side by side."""
        from penult.review.pages import Pages  # noqa: PLC0415 - loads what solves

        folders = self._results(request.query_params.getlist("run"))
        pages = Pages(await aside(partial(desk.opened_results, folders)))
        address, page = self._stand(pages.routes(), pages.close)
        pages.attach(page)
        return RedirectResponse(f"/{address}", 303)

    async def _compare(self, request: Request) -> Response:
        body = await json_body(request)
        folders = self._results(body.get("runs"))
        return await self._written(partial(desk.compare, folders, self._day.logbook))

    async def _season(self, request: Request) -> Response:
        label = _text(await json_body(request), "athlete")
        out = self._folder()
        return await self._written(partial(desk.season, label, self._day.logbook, out))

    async def _written(self, work: Callable[[], desk.Made]) -> Response:
        made = await aside(work)
        number, self._next = self._next, self._next + 1
        self._made[number] = made.page
        answer = {"address": f"made/{number}", "said": list(made.said), "command": made.command}
        return as_json({**answer, "file": shown(str(made.page), 400)})

    async def _made_page(self, request: Request) -> Response:
        page = self._made.get(request.path_params["number"])
        if page is None or not page.is_file() or page.is_symlink() or page.stat().st_size > _LARGEST_FILE_BYTES:
            raise HTTPException(404, "no such page")
        content = await aside(page.read_bytes)
        return Response(content, media_type="text/html; charset=utf-8", headers={"content-security-policy": KEPT_PAGE})

    def _results(self, files: object) -> list[Path]:
        """Return the result folders of runs of the open session that are whole."""
        staying = self._day.staying
        if staying is None or not isinstance(files, list) or not files:
            raise HTTPException(404, "no such run")
        moment = staying.moment()
        folders = {c.file: staying.folder / c.folder for c in moment.outcomes if c.file in moment.has_pictures}
        if not all(isinstance(f, str) and f in folders for f in files):
            raise HTTPException(404, "no such run, or it is not whole yet")
        return [folder for f, folder in folders.items() if f in files]  # in the order in which they came

    def _folder(self) -> Path:
        return self._day.opened.folder if self._day.opened else Path(self._day.suggested_folder())

    # pages below

    def _stand(self, routes: list[BaseRoute], closing: Callable[[], None] = lambda: None) -> tuple[str, SubPage]:
        """Put a page below this one; the oldest goes where there are too many."""
        assert self._server is not None  # attached before it serves
        number, self._next = self._next, self._next + 1
        page = self._server.below(routes)
        self._below[number] = (page, closing)
        while len(self._below) > _MOST_PAGES:
            _, gone = self._below.pop(min(self._below))
            gone()
        return f"page/{number}/", page

    async def _page(self, scope: Scope, receive: Receive, send: Send) -> None:
        found = self._below.get(scope["path_params"]["number"])
        if found is None:
            raise HTTPException(404, "this page has been closed; open it again from the start page")
        await found[0].app(scope, receive, send)

    async def _end(self, _request: Request) -> Response:
        assert self._server is not None
        self._server.stop()
        return as_json({"ended": True})


async def _taken(request: Request, folder: Path, *, is_lane_source: bool) -> dict[str, Any]:
    """Copy what a request carries into a folder, piece by piece."""
    name = request.query_params.get("name", "")
    size = int(request.headers.get("content-length", "0"))
    drop = await aside(partial(Drop, folder, name, size, is_lane_source=is_lane_source))
    with drop:
        pieces, waiting = [], 0
        async for piece in request.stream():
            pieces.append(piece)
            waiting += len(piece)
            if waiting >= _PIECE_BYTES:
                await aside(partial(drop.piece, b"".join(pieces)))
                pieces, waiting = [], 0
        await aside(partial(drop.piece, b"".join(pieces)))
        done = await aside(drop.done)
    return {"file": done.path.name, "was_there": done.was_there, "note": done.note}


def _lane_data(lane: KnownLane) -> dict[str, Any]:
    return {
        "key": _key(lane),
        "path": str(lane.path),
        "name": shown(lane.path.name, 80),
        "folder": shown(str(lane.path.parent), 400),
        "written_s": lane.written_s,
        "marks": lane.marks,
        "size": list(lane.size_px),
        "note": shown(lane.note, 200),
        "still": lane.still is not None,
        "panned": lane.is_panned,
    }


def _key(lane: KnownLane) -> str:
    """Return what stands for a lane file in an address, whatever its path."""
    return hashlib.sha256(os.fsencode(lane.path)).hexdigest()[:16]


def _text(body: dict[str, Any], name: str) -> str:
    value = body.get(name, "")
    if not isinstance(value, str) or len(value) > 2000 or "\0" in value:
        raise PenultError(f"{name} must be a text")
    return value.strip()
