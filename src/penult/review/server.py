"""A page of our own on this computer only: who may ask, what is answered to others, and when it ends.

- Bound to 127.0.0.1. The address carries a token that opens the page once and is exchanged for a cookie.
- A request must name this very host and port, must not come from another site, and must carry the cookie. Against
  pages elsewhere that reach for local ports (DNS rebinding, forged requests) each of the three is enough by itself.
- The page holds one open stream. When the last one has been closed for a while, the server ends.
- A body is JSON and small; only an address that takes films takes more, and no other kind of content.
"""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import json
import re
import secrets
import socket
import threading
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping, Sequence
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import BaseRoute, Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from penult.errors import OutputError, PenultError

HOST = "127.0.0.1"
MOST_BODY_BYTES = 1 << 20
"""No correction and no lane file comes near this."""

FILM = "application/octet-stream"
"""What a film is sent as: like JSON a kind that no form of another site can send unasked."""

GONE_AFTER_S = 6.0
"""A page that is loaded again is back in well under this."""

NEVER_CAME_AFTER_S = 900.0
PULSE_S = 2.0

_HEADERS = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cache-control": "no-store",
}

KEPT_PAGE = (
    "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
"""What a kept page (a result's own, whole in one file) may do here: show itself. No script, nothing loaded."""

KEPT_FILM = "default-src 'none'; media-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
"""What a film that stands in a page of its own may do: be played."""

Handler = Callable[[Request], Awaitable[Response]]


class Presence:
    """The open pages: tells them news, and knows when the last one has gone."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._queues: dict[int, tuple[asyncio.AbstractEventLoop, asyncio.Queue[str]]] = {}
        self._came = False
        self._since_s = time.monotonic()
        self._next = 0

    def tell(self, news: Mapping[str, Any]) -> None:
        """Send news to every open page; may be called from any thread."""
        text = json.dumps(news)
        with self._lock:
            for loop, queue in self._queues.values():
                with contextlib.suppress(RuntimeError):  # a loop that has just been closed
                    loop.call_soon_threadsafe(queue.put_nowait, text)

    def has_ended(self) -> bool:
        """Whether no page is open and none can be expected."""
        with self._lock:
            limit_s = GONE_AFTER_S if self._came else NEVER_CAME_AFTER_S
            return not self._queues and time.monotonic() - self._since_s > limit_s

    def never_came(self, waited_s: float) -> bool:
        """Whether no page has come in so long a time."""
        with self._lock:
            return not self._came and time.monotonic() - self._since_s > waited_s

    async def stream(self, request: Request, is_over: Callable[[], bool]) -> AsyncIterator[str]:
        """Yield server-sent events as long as the page is there."""
        queue: asyncio.Queue[str] = asyncio.Queue()
        with self._lock:
            number, self._next = self._next, self._next + 1
            self._queues[number] = (asyncio.get_running_loop(), queue)
            self._came = True
        try:
            yield ": here\n\n"
            while not is_over() and not await request.is_disconnected():
                try:
                    yield f"data: {await asyncio.wait_for(queue.get(), PULSE_S / 4)}\n\n"
                except TimeoutError:
                    yield ": pulse\n\n"
        finally:
            with self._lock:
                del self._queues[number]
                self._since_s = time.monotonic()


class Gate:
    """Lets a request through only from our own page; every answer gets the headers that keep it there."""

    def __init__(self, app: ASGIApp, *, port: int, token: str, films: Mapping[str, int]) -> None:
        self._app = app
        self._films = dict(films)
        self._hosts = {f"{HOST}:{port}", f"localhost:{port}"}
        self._origins = {f"http://{host}" for host in self._hosts}
        self._token: str | None = token
        self._cookie_name = f"penult_{port}"
        self._cookie = secrets.token_urlsafe(32)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer or pass on one request."""
        if scope["type"] == "websocket":  # refused in the way of its own protocol: 403 before any handshake
            await receive()
            await send({"type": "websocket.close", "code": 1008})
            return
        if scope["type"] != "http":
            return
        request = Request(scope)
        answer = self._refusal(request) or self._entrance(request)
        guarded = _with_headers(send)
        if answer is None and not self._is_known(request):
            answer = _refuse("This page is not open to you: start it again and use the address that it prints.")
        if answer is not None:
            await answer(scope, receive, guarded)
            return
        await self._app(scope, _bounded(receive, self._limit(request)), guarded)

    def _limit(self, request: Request) -> int:
        return self._films.get(request.url.path, MOST_BODY_BYTES)

    def _refusal(self, request: Request) -> Response | None:
        headers = request.headers
        length = headers.get("content-length", "0")
        kind = headers.get("content-type", "").split(";")[0].strip().lower()
        wanted = FILM if request.url.path in self._films else "application/json"
        hosts = [host.lower() for host in headers.getlist("host")]
        strangers = [o for o in headers.getlist("origin") if o.lower() not in self._origins]
        strangers += [site for site in headers.getlist("sec-fetch-site") if site not in ("same-origin", "none")]
        faults = (
            (len(hosts) != 1 or hosts[0] not in self._hosts, "this server answers to its own address only", 403),
            (bool(strangers), "this server does not answer to pages of other sites", 403),
            ("upgrade" in headers, "this server speaks HTTP alone", 400),
            (request.method not in ("GET", "POST"), "GET and POST only", 405),
            (request.method == "POST" and kind != wanted, f"{wanted} only", 415),
            (not re.fullmatch(r"[0-9]{1,12}", length) or int(length) > self._limit(request), "too much", 413),
        )
        return next((_refuse(why, status) for is_so, why, status in faults if is_so), None)

    def _entrance(self, request: Request) -> Response | None:
        """Exchange the token for a cookie, once."""
        if request.url.path != "/open" or request.method != "GET":
            return None
        given = request.query_params.get("token", "")
        if self._token is not None and hmac.compare_digest(given.encode(), self._token.encode()):
            self._token = None
            answer = RedirectResponse("/", 303)
            answer.set_cookie(self._cookie_name, self._cookie, httponly=True, samesite="strict", path="/")
            return answer
        if self._is_known(request):
            return RedirectResponse("/", 303)
        return _refuse("This address has been used or is not valid: start the page again for a new one.")

    def _is_known(self, request: Request) -> bool:
        given = request.cookies.get(self._cookie_name, "")
        return hmac.compare_digest(given.encode(), self._cookie.encode())


class SubPage:
    """A page below another one's address, behind the same gate: its answers, and those who look at it."""

    def __init__(self, routes: Sequence[BaseRoute], is_over: Callable[[], bool]) -> None:
        self.presence = Presence()
        self._is_over = is_over
        self.app = Starlette(
            routes=[*routes, Route("/news", self._news)],
            exception_handlers={PenultError: _as_json, HTTPException: _plainly, Exception: _our_fault},
        )

    async def _news(self, request: Request) -> Response:
        return StreamingResponse(self.presence.stream(request, self._is_over), media_type="text/event-stream")


class LocalServer:
    """One page and its answers on a port of this computer.

    Parameters
    ----------
    routes : sequence of BaseRoute
        Of the page; '/' must be among them, '/news' is taken (the open stream).
    port : int
        0 takes a free one.
    closing : callable, optional
        Called when the end begins, so that nothing is waited for any more.
    ends_with_page : bool
        Whether the server ends when its last page has gone; else only `stop` and Ctrl-C end it.
    waits_s : float, optional
        It ends too where no page has come in so long a time.
    films : mapping of str to int
        Addresses that take a film, and the largest that each takes, in bytes.

    Raises
    ------
    OutputError
        If the port cannot be had.
    """

    def __init__(
        self,
        routes: Sequence[BaseRoute],
        *,
        port: int = 0,
        closing: Callable[[], None] = lambda: None,
        ends_with_page: bool = True,
        waits_s: float | None = None,
        films: Mapping[str, int] | None = None,
    ) -> None:
        self._closing, self._ends_with_page, self._waits_s = closing, ends_with_page, waits_s
        self._is_over = threading.Event()
        page = SubPage(routes, self._is_over.is_set)
        self.presence = page.presence
        self._socket = _listen(port)
        self.port = int(self._socket.getsockname()[1])
        token = secrets.token_urlsafe(24)
        self.address = f"http://{HOST}:{self.port}/open?token={token}"
        self.app = Gate(page.app, port=self.port, token=token, films=films or {})
        self._server: Any = None

    def serve(self) -> None:
        """Answer until the last page has gone or `stop` is called.

        The server runs beside, so that Ctrl-C reaches the caller as it always does; the server ends with it.
        """
        import uvicorn  # noqa: PLC0415 - only needed once a page is really opened

        config = uvicorn.Config(
            self.app,
            lifespan="off",
            ws="none",  # whatever libraries are there: an upgrade is refused above
            log_level="error",
            access_log=False,
            server_header=False,
            timeout_graceful_shutdown=1,
            timeout_keep_alive=30,
        )
        self._server = uvicorn.Server(config)
        beside = threading.Thread(target=self._server.run, kwargs={"sockets": [self._socket]}, daemon=True)
        beside.start()
        try:
            while beside.is_alive() and not self._is_over.wait(0.2):
                if self._has_ended():
                    break
        finally:
            self._is_over.set()
            self._closing()
            self._server.should_exit = True
            beside.join(5.0)
            self._socket.close()

    def stop(self) -> None:
        """End the server; may be called from any thread."""
        self._is_over.set()

    def below(self, routes: Sequence[BaseRoute]) -> SubPage:
        """Return a page that can be mounted below this server's own one."""
        return SubPage(routes, self._is_over.is_set)

    def _has_ended(self) -> bool:
        if self._waits_s is not None and self.presence.never_came(self._waits_s):
            return True
        return self._ends_with_page and self.presence.has_ended()


async def json_body(request: Request) -> dict[str, Any]:
    """Return the JSON object that a request carries.

    Raises
    ------
    HTTPException
        400 if it is none.
    """
    try:
        content = json.loads(await request.body())
    except (ValueError, RecursionError):
        raise HTTPException(400, "not readable as JSON") from None
    if not isinstance(content, dict):
        raise HTTPException(400, "a JSON object is wanted")
    return content


def _listen(port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.bind((HOST, port))
    except OSError as error:
        listener.close()
        raise OutputError(
            f"port {port} of this computer cannot be used", error.strerror or "", next_step="leave --port out"
        ) from error
    listener.listen(64)
    return listener


def _refuse(why: str, status: int = 403) -> Response:
    return PlainTextResponse(why, status)


def _with_headers(send: Send) -> Send:
    async def guarded(message: Message) -> None:
        if message["type"] == "http.response.start":
            own = {name.encode(): value.encode() for name, value in _HEADERS.items()}
            policy = b"content-security-policy"
            asked = {v for k, v in message.get("headers", []) if k.lower() == policy}
            own[policy] = next((p for p in (KEPT_PAGE.encode(), KEPT_FILM.encode()) if p in asked), own[policy])
            kept = [(k, v) for k, v in message.get("headers", []) if k.lower() not in own]
            message = {**message, "headers": [*kept, *own.items()]}
        await send(message)

    return guarded


def _bounded(receive: Receive, most_bytes: int) -> Receive:
    """Hand the body on, up to the limit: a length may be missing or wrong."""
    seen = 0

    async def counted() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > most_bytes:
            raise HTTPException(413, "too much")
        return message

    return counted


async def _as_json(_request: Request, error: Exception) -> Response:
    fault = error if isinstance(error, PenultError) else PenultError(str(error))
    said = {"what": fault.what, "details": list(fault.details), "next_step": fault.next_step}
    return JSONResponse({"error": said}, 422)


async def _plainly(_request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    detail = error.detail if isinstance(error, HTTPException) else ""
    return JSONResponse({"error": {"what": detail, "details": [], "next_step": ""}}, status)


async def _our_fault(_request: Request, _error: Exception) -> Response:
    what = "something went wrong inside penult; what was saved before is safe"
    return JSONResponse({"error": {"what": what, "details": [], "next_step": "see the terminal"}}, 500)
