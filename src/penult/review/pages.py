"""The review page and the comparison: what each address answers. What may be asked at all is the server's matter."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any, TypeVar

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from penult.app.review import ClashError, Review, State
from penult.review.answers import as_json, aside, asset, words_of
from penult.review.frames import FrameStore
from penult.review.page_data import first_frame, page_data
from penult.review.server import LocalServer, SubPage, json_body

_STATIC = (
    "review.css",
    "page.css",
    "geometry.js",
    "drawing.js",
    "frames.js",
    "picture.js",
    "strip.js",
    "server.js",
    "measures.js",
    "guide.js",
    "panels.js",
    "review.js",
    "compare.js",
    "compare.css",
)
"""The only files that are handed out."""

T = TypeVar("T")
Tell = Callable[[dict[str, Any]], None]


class Pages:
    """Answers for one result under review, or for several side by side.

    Parameters
    ----------
    reviews : sequence of Review
        One: the review page. More: the comparison, in which nothing is changed.
    """

    def __init__(self, reviews: Sequence[Review]) -> None:
        self._reviews = tuple(reviews)
        numbers = (-1, 0) if len(self._reviews) == 1 else (0, -1)  # the comparison begins at the take-off touchdown
        self._frames = [
            FrameStore(r.clip_path, r.state.clip, focus=first_frame(r.state, numbers)) for r in self._reviews
        ]
        self._tell: Tell = lambda _news: None
        self._writing = threading.Lock()

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the page."""
        changing = {"correct": self._correct, "undo": self._undo, "redo": self._redo, "write": self._write}
        one = [Route(f"/api/{name}", answer, methods=["POST"]) for name, answer in changing.items()]
        return [
            Route("/", self._home),
            Route("/static/{name}", self._static),
            Route("/api/clip/{clip:int}", self._data),
            Route("/api/clip/{clip:int}/frame/{frame:int}", self._frame),
            *(one if len(self._reviews) == 1 else []),
        ]

    def attach(self, server: LocalServer | SubPage) -> None:
        """Let open pages hear what happens."""
        self._tell = server.presence.tell

    def close(self) -> None:
        """Stop reading clips."""
        for store in self._frames:
            store.close()

    async def _home(self, _request: Request) -> Response:
        return asset("review.html" if len(self._reviews) == 1 else "compare.html")

    async def _static(self, request: Request) -> Response:
        name = request.path_params["name"]
        if name not in _STATIC:
            raise HTTPException(404, "no such file")
        return asset(name)

    async def _data(self, request: Request) -> Response:
        review = self._reviews[self._number(request)]
        state = await aside(review.reload)
        return as_json({**page_data(state), "clips": len(self._reviews), "first_frame": first_frame(state)})

    async def _frame(self, request: Request) -> Response:
        store = self._frames[self._number(request)]
        picture = await aside(partial(store.get, request.path_params["frame"]))
        return Response(picture, media_type="image/jpeg")

    async def _correct(self, request: Request) -> Response:
        body = await json_body(request)
        review, version = self._reviews[0], _version(body)
        return await self._changed(partial(review.correct, body.get("correction"), version, self._progress))

    async def _undo(self, request: Request) -> Response:
        version = _version(await json_body(request))
        return await self._changed(partial(self._reviews[0].turn, "undo", version, self._progress))

    async def _redo(self, request: Request) -> Response:
        version = _version(await json_body(request))
        return await self._changed(partial(self._reviews[0].turn, "redo", version, self._progress))

    async def _write(self, _request: Request) -> Response:
        if not self._writing.acquire(blocking=False):
            raise HTTPException(409, "the result is being written already")
        try:
            return await self._changed(partial(self._reviews[0].write, self._progress))
        finally:
            self._writing.release()

    async def _changed(self, change: Callable[[], State]) -> Response:
        """Make a change, answer with what follows from it, and tell the other pages."""
        try:
            state = await aside(change)
        except ClashError as clash:
            return as_json({"error": words_of(clash), **page_data(self._reviews[0].state)}, 409)
        self._tell({"version": state.corrections.version, "is_written": state.is_written})
        return as_json(page_data(state))

    def _number(self, request: Request) -> int:
        number: int = request.path_params["clip"]
        if number >= len(self._reviews):
            raise HTTPException(404, "no such clip")
        return number

    def _progress(self, what: str, share: float) -> None:
        self._tell({"doing": what, "share": round(min(max(share, 0.0), 1.0), 3)})


def _version(body: dict[str, Any]) -> int:
    version = body.get("version")
    if not isinstance(version, int) or isinstance(version, bool):
        raise HTTPException(400, "a whole number is wanted for 'version'")
    return version
