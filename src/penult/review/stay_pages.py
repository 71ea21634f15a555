"""The page of a session that stays open: what each address answers. What may be asked at all is the server's matter."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import BaseRoute, Route

from penult.adapters.files.result_folder import read_stills
from penult.adapters.files.session_file import KINDS
from penult.adapters.files.tapped import plain, tap_of
from penult.app.staying import Moment, Staying
from penult.model.session import ClipOutcome
from penult.outputs.pages.run_card import card, change, longest
from penult.review.answers import as_json, aside, asset
from penult.review.server import KEPT_FILM, KEPT_PAGE, LocalServer, json_body

STATIC = ("page.css", "stay.css", "stay.js", "choices.js", "measures.js", "server.js")
"""The only files that are handed out."""

_INSTANTS = {"touchdown", "lowest", "toe_off"}
_LARGEST_PAGE_BYTES = 20_000_000
MATS = ("", "-1=0.05", "-2=0.05; 0=0.05")
"""Patterns of mats that can be tapped from the start; every pattern used in the session joins them."""


class StayPages:
    """Answers for one staying session.

    Parameters
    ----------
    staying : Staying or callable
        The session, or what returns the one that is open just now (None where none is).
    athletes : callable
        Returns labels that are known beforehand.
    """

    def __init__(
        self, staying: Staying | Callable[[], Staying | None], athletes: Callable[[], Sequence[str]] = tuple
    ) -> None:
        self._has_start = not isinstance(staying, Staying)
        self._open = (lambda: staying) if isinstance(staying, Staying) else staying
        self._athletes = athletes

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the page at the root of a server."""
        return [Route("/", self.home), Route("/static/{name}", self._static), *self.answers()]

    def answers(self) -> list[BaseRoute]:
        """Return what the page asks for, without the page itself and its files."""
        return [
            Route("/api/session", self._data),
            Route("/api/tap", self._tap, methods=["POST"]),
            Route("/picture/{clip}/{contact:int}/{instant}", self._picture),
            Route("/result/{clip}", self._result),
            Route("/film/{clip}", self._film),
        ]

    def attach(self, server: LocalServer) -> None:
        """Let open pages hear what happens."""
        self._staying.told = lambda: server.presence.tell({"session": True})

    @property
    def _staying(self) -> Staying:
        staying = self._open()
        if staying is None:
            raise HTTPException(404, "no session is open; begin one on the start page")
        return staying

    async def home(self, _request: Request) -> Response:
        """Answer with the page itself."""
        return asset("stay.html")

    async def _static(self, request: Request) -> Response:
        name = request.path_params["name"]
        if name not in STATIC:
            raise HTTPException(404, "no such file")
        return asset(name)

    async def _data(self, _request: Request) -> Response:
        return as_json(await aside(self.content))

    async def _tap(self, request: Request) -> Response:
        body = await json_body(request)
        file = body.get("file", "")
        if not isinstance(file, str) or (file and file not in self._files()):
            raise HTTPException(404, "no such clip in this session")
        tap = tap_of(body)
        await aside(partial(self._staying.tap, file, tap, also_next=bool(body.get("also_next", True))))
        return as_json(await aside(self.content))

    def content(self) -> dict[str, Any]:
        """Return everything that the page shows."""
        return {**page_content(self._staying.moment(), self._athletes()), "start": self._has_start}

    async def _picture(self, request: Request) -> Response:
        contact, instant = request.path_params["contact"] - 100, request.path_params["instant"]
        outcome = self._outcome(request)
        if instant not in _INSTANTS:
            raise HTTPException(404, "no such instant")
        folder = self._staying.folder / outcome.folder
        stills = await aside(lambda: read_stills(folder, [(contact, instant)]))
        if not stills:
            raise HTTPException(404, "no such picture")
        return Response(next(iter(stills.values())).jpeg, media_type="image/jpeg")

    async def _result(self, request: Request) -> Response:
        """Hand out the result's own page: it loads nothing and runs no script, and is told so once more."""
        page = self._staying.folder / self._outcome(request).folder / "summary.html"
        if not page.is_file() or page.is_symlink() or page.stat().st_size > _LARGEST_PAGE_BYTES:
            raise HTTPException(404, "the result has no page yet")
        content = await aside(page.read_bytes)
        return Response(content, media_type="text/html; charset=utf-8", headers={"content-security-policy": KEPT_PAGE})

    async def _film(self, request: Request) -> Response:
        """Hand out the film with the body drawn in, whole or the part that is asked for."""
        film = self._staying.folder / self._outcome(request).folder / "overlay.mp4"
        if not film.is_file() or film.is_symlink():
            raise HTTPException(404, "the result has no film yet")
        policy = {"content-security-policy": KEPT_FILM}
        return FileResponse(film, media_type="video/mp4", headers=policy, content_disposition_type="inline")

    def _files(self) -> set[str]:
        """Return the clips that may be spoken of."""
        return {c.file for c in self._staying.moment().outcomes}

    def _outcome(self, request: Request) -> ClipOutcome:
        wanted = request.path_params["clip"]
        found = next((c for c in self._staying.moment().outcomes if c.file == wanted), None)
        if found is None:
            raise HTTPException(404, "no such clip in this session")
        return found


def page_content(moment: Moment, athletes: Sequence[str]) -> dict[str, Any]:
    """Return everything that the page shows: the newest run, the one before, the athlete's longest, and the rest."""
    runs = [card(c, has_pictures=c.file in moment.has_pictures) for c in moment.outcomes]
    newest = moment.outcomes[-1] if moment.outcomes else None
    before = best = None
    best_words, changes = "", []
    if newest is not None and newest.analysis is not None:
        label = newest.analysis.run.athlete
        own = [c for c in moment.outcomes[:-1] if c.analysis is not None and c.analysis.run.athlete == label]
        before = own[-1] if own else None
        best, best_words = longest(moment.outcomes, label)
        if before is not None and before.analysis is not None:
            changes = change(newest.analysis, before.analysis)
    doing = moment.doing
    return {
        "version": moment.version,
        "name": moment.name,
        "runs": runs,
        "newest": newest.file if newest else None,
        "before": before.file if before else None,
        "best": best.file if best else None,
        "best_words": best_words,
        "changes": changes,
        "doing": {
            "file": doing.file,
            "what": doing.what,
            "left_s": round(doing.left_s),
            "left_all_s": round(doing.left_all_s),
        },
        "waiting": list(moment.waiting),
        "coming": list(moment.coming),
        "next": plain(moment.taps.next),
        "taps": {name: plain(tap) for name, tap in moment.taps.clips.items()},
        **_choices(moment, runs, athletes),
    }


def _choices(moment: Moment, runs: Sequence[dict[str, Any]], athletes: Sequence[str]) -> dict[str, Any]:
    """Return what can be tapped: known athletes, kinds and patterns of mats, each once."""
    taps = [moment.taps.next, *moment.taps.clips.values()]
    mats = [m for tap in taps if (m := plain(tap)["mats"]) is not None]
    return {
        "athletes": list(
            dict.fromkeys(a for a in (*athletes, *(r["athlete"] for r in runs), *(t.athlete for t in taps)) if a)
        ),
        "kinds": list(dict.fromkeys(k for k in (*KINDS, *(r["kind"] for r in runs), *(t.kind for t in taps)) if k)),
        "mats": list(dict.fromkeys([*MATS, *mats])),
    }
