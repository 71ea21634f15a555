"""Who may ask the page's server, asked with a real HTTP client: this computer's own page and nobody else."""

from __future__ import annotations

import json
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from page_driver import Serve, opened
from penult.errors import OutputError
from penult.review import server as server_module
from penult.review.server import LocalServer


@pytest.fixture
def small() -> Iterator[LocalServer]:
    """Return a server with a page that says 'home' and counts what is posted."""

    async def home(_request: Request) -> Response:
        return PlainTextResponse("home")

    async def count(request: Request) -> Response:
        return PlainTextResponse(str(len(await request.body())))

    async def fall(_request: Request) -> Response:
        raise ZeroDivisionError

    routes = [Route("/", home), Route("/count", count, methods=["POST"]), Route("/fall", fall)]
    server = LocalServer(routes)
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    yield server
    server.stop()
    thread.join(10.0)
    assert not thread.is_alive()


def test_it_listens_on_this_computer_only(small: LocalServer) -> None:
    """Bound to 127.0.0.1; fails on 0.0.0.0. (The other addresses of 127/8 are this computer too, but not this socket.)"""
    for host in ("127.0.0.2", socket.gethostbyname(socket.gethostname())):
        if host == "127.0.0.1":
            continue
        with pytest.raises(OSError), socket.create_connection((host, small.port), timeout=2.0):  # noqa: PT011
            pass


def test_the_address_works_once(small: LocalServer) -> None:
    """The first use gets the cookie and a page without the token in its address; the second use gets nothing."""
    with opened(small) as first:
        assert first.get("/").text == "home"
        assert first.get(small.address).status_code == 303  # who has the cookie may come back
    with httpx.Client() as second:
        answer = second.get(small.address)
        assert answer.status_code == 403
        assert "home" not in answer.text
        assert not second.cookies
    cookie = next(iter(first.cookies.jar))
    assert cookie.has_nonstandard_attr("HttpOnly")
    assert cookie.get_nonstandard_attr("SameSite") == "strict"
    assert "token" not in cookie.value


@pytest.mark.parametrize("path", ["/", "/count", "/news", "/nowhere", "/open", "/open?token=", "/open?token=wrong"])
def test_without_the_cookie_nothing_is_answered(small: LocalServer, path: str) -> None:
    """No page, no stream, no hint which paths there are."""
    answer = httpx.get(f"http://127.0.0.1:{small.port}{path}")

    assert answer.status_code == 403
    assert "home" not in answer.text


@pytest.mark.parametrize(
    "headers",
    [
        {"host": "evil.example"},
        {"host": "evil.example:{port}"},
        {"host": "127.0.0.1"},
        {"host": "127.0.0.1:1"},
        {"host": "127.0.0.1.evil.example:{port}"},
        {"host": "[::1]:{port}"},
        {"host": ""},
        {"origin": "http://evil.example"},
        {"origin": "https://127.0.0.1:{port}"},
        {"origin": "http://127.0.0.1:1"},
        {"origin": "http://127.0.0.1:{port}.evil.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
    ids=str,
)
def test_foreign_hosts_and_origins_are_refused_even_with_the_cookie(
    small: LocalServer, headers: dict[str, str]
) -> None:
    """A page elsewhere that reaches for this port (rebinding, forged requests), whatever the browser sends along."""
    sent = {name: value.format(port=small.port) for name, value in headers.items()}
    with opened(small) as there:
        for method, path in (("GET", "/"), ("POST", "/count")):
            answer = there.request(method, path, headers={**sent, "content-type": "application/json"}, content="{}")
            assert answer.status_code == 403, (method, answer.text)


def test_the_own_page_is_answered(small: LocalServer) -> None:
    """What a browser sends from the page itself, under either name of this computer."""
    with opened(small) as there:
        for host in (f"127.0.0.1:{small.port}", f"localhost:{small.port}"):
            own = {"host": host, "origin": f"http://{host}", "sec-fetch-site": "same-origin"}
            assert there.get("/", headers=own).text == "home"
            assert there.post("/count", headers=own, json={}).text == "2"


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "HEAD", "TRACE", "PROPFIND"])
def test_other_methods_are_refused(small: LocalServer, method: str) -> None:
    """GET and POST only; no preflight is ever granted."""
    with opened(small) as there:
        answer = there.request(method, "/")
        assert answer.status_code == 405
        assert not [name for name in answer.headers if name.startswith("access-control")]


def test_an_upgrade_is_refused_in_plain_words(small: LocalServer) -> None:
    """RFC 6455, 4.1: what a browser's WebSocket asks; with the cookie too, an answer of HTTP and no handshake."""
    with httpx.Client() as client:
        client.get(small.address)
        cookie = "; ".join(f"{k}={v}" for k, v in client.cookies.items())
    lines = [
        "GET /news HTTP/1.1",
        f"Host: 127.0.0.1:{small.port}",
        "Upgrade: websocket",
        "Connection: Upgrade",
        "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==",
        "Sec-WebSocket-Version: 13",
        f"Cookie: {cookie}",
    ]
    with socket.create_connection(("127.0.0.1", small.port), timeout=5.0) as asked:
        asked.sendall(("\r\n".join(lines) + "\r\n\r\n").encode())
        answer = b""
        while b"alone" not in answer and (piece := asked.recv(65536)):
            answer += piece

    assert answer.startswith(b"HTTP/1.1 400 ")
    assert b"this server speaks HTTP alone" in answer


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""])
def test_forms_and_plain_text_are_refused(small: LocalServer, kind: str) -> None:
    """What a foreign page could post without asking: refused before it is read."""
    with opened(small) as there:
        assert there.post("/count", content=b"{}", headers={"content-type": kind}).status_code == 415


def test_a_body_beyond_the_limit_is_refused_however_it_is_announced(small: LocalServer) -> None:
    """Two megabytes with their length said, and in pieces without one."""
    large = b"x" * (2 * server_module.MOST_BODY_BYTES)

    def pieces() -> Iterator[bytes]:
        for start in range(0, len(large), 65536):
            yield large[start : start + 65536]

    with opened(small) as there:
        for content in (large, pieces()):
            try:
                answer = there.post("/count", content=content, headers={"content-type": "application/json"})
            except httpx.WriteError:
                continue  # the server has hung up on it: refused as well
            assert answer.status_code == 413
        assert there.get("/").text == "home"


def test_every_answer_keeps_the_page_to_itself(small: LocalServer) -> None:
    """No other site may frame it, feed it scripts, read it or learn its address; on refusals and faults too."""
    with opened(small) as there:
        answers = [
            there.get("/"),
            there.get("/nowhere"),
            there.get("/", headers={"host": "evil.example"}),
            there.get("/fall"),
        ]
    assert [a.status_code for a in answers] == [200, 404, 403, 500]
    for answer in answers:
        rules = answer.headers["content-security-policy"]
        assert "default-src 'none'" in rules
        assert "frame-ancestors 'none'" in rules
        assert "unsafe" not in rules
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert answer.headers["cross-origin-resource-policy"] == "same-origin"
        assert answer.headers["cache-control"] == "no-store"
        assert "Zero" not in answer.text  # the inside is the terminal's to see


def test_a_port_that_is_taken_says_so(small: LocalServer) -> None:
    """Fails if it takes another one in silence."""
    with pytest.raises(OutputError, match=str(small.port)):
        LocalServer([], port=small.port)


def test_it_ends_with_its_last_page(small: LocalServer, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two open streams: it stays while one is there, and ends when the second has gone for a while."""
    monkeypatch.setattr(server_module, "GONE_AFTER_S", 0.5)
    with opened(small) as there:
        with there.stream("GET", "/news") as one:
            heard = one.iter_text()  # a stream is closed when nobody iterates over it any more
            assert next(heard).startswith(":")
            with there.stream("GET", "/news") as two:
                assert next(two.iter_text()).startswith(":")
            time.sleep(1.5)
            assert there.get("/").text == "home"
        ended = time.monotonic() + 20.0
        while time.monotonic() < ended:
            try:
                there.get("/")
            except httpx.TransportError:
                break
            time.sleep(0.1)
        else:
            pytest.fail("the server has outlived its page")


def test_news_reach_every_open_page(small: LocalServer) -> None:
    """Told once, heard by both."""
    with opened(small) as there, there.stream("GET", "/news") as one, there.stream("GET", "/news") as two:
        lines = [one.iter_lines(), two.iter_lines()]
        for heard in lines:
            assert next(heard).startswith(":")
        small.presence.tell({"version": 7})
        for heard in lines:
            said = next(line for line in heard if line.startswith("data:"))
            assert json.loads(said[5:]) == {"version": 7}


# ---------------------------------------------------------------- the addresses of the review page


@pytest.mark.parametrize(
    "path",
    [
        "/static/../server.py",
        "/static/..%2fserver.py",
        "/static/%2e%2e/%2e%2e/errors.py",
        "/static//etc/passwd",
        "/static/review.js/..",
        "/static/",
        "/static/.hidden",
        "/static/review.js%00.css",
        "/..%2f..%2fetc%2fpasswd",
        "/api/clip/1",
        "/api/clip/-1",
        "/api/clip/0x0",
        "/api/clip/0/frame/-1",
        "/api/clip/0/frame/1e3",
        "/api/clip/99999999999999999999/frame/0",
        "/api/write",
        "/api/correct",
    ],
)
def test_no_path_leads_out_of_the_page(looking: httpx.Client, path: str) -> None:
    """Only the few files and answers of the page, whatever the path says."""
    answer = looking.get(path)

    assert answer.status_code in (404, 405)
    assert "root:" not in answer.text
    assert "import" not in answer.text


def test_frames_that_the_clip_has_not_are_refused(looking: httpx.Client) -> None:
    """One beyond the last: words, no picture."""
    count = len(looking.get("/api/clip/0").json()["clip"]["times"])

    assert looking.get(f"/api/clip/0/frame/{count - 1}").status_code == 200
    beyond = looking.get(f"/api/clip/0/frame/{count}")
    assert beyond.status_code == 422
    assert "no frame" in beyond.json()["error"]["what"]


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"nonsense",
        b"[]",
        b"[" * 100_000,
        b'{"version": "0"}',
        b'{"version": true}',
        b'{"version": 1e400}',
        b'{"version": 0}',
    ],
)
def test_posts_that_make_no_sense_change_nothing(looking: httpx.Client, analysed: Path, body: bytes) -> None:
    """Refused with words; no file appears."""
    for name in ("correct", "undo", "redo"):
        answer = looking.post(f"/api/{name}", content=body, headers={"content-type": "application/json"})
        if body == b'{"version": 0}' and name != "correct":
            continue  # sound, and there is nothing to take back
        assert answer.status_code in (400, 409, 422), (name, answer.text)
        assert answer.json()["error"]["what"]
    assert not (analysed / "clip_analysis" / "corrections.json").exists()


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=12), inner, max_size=4),
    max_leaves=12,
)
KINDS = st.sampled_from(
    [
        "instant-moved",
        "foot-changed",
        "contact-deleted",
        "contact-added",
        "joint-dragged",
        "legs-swapped",
        "mats-set",
        "kind-set",
    ]
)
NAMES = st.sampled_from(
    [
        "near_frame",
        "instant",
        "to_frame",
        "foot",
        "everywhere",
        "frame",
        "joint",
        "to_px",
        "mats",
        "word",
        "first_frame",
    ]
)


@pytest.mark.slow
def test_any_correction_is_answered_in_words_or_applied(result: Path, serve: Serve) -> None:
    """Whatever a page posts: 200, or a refusal of ours in JSON; never a fault of the program."""
    with opened(serve(result)) as there:

        @settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
        @given(kind=KINDS | ANYTHING, more=st.dictionaries(NAMES, ANYTHING, max_size=4))
        def one(kind: Any, more: dict[str, Any]) -> None:
            version = there.get("/api/clip/0").json()["version"]
            answer = there.post("/api/correct", json={"version": version, "correction": {"kind": kind, **more}})
            assert answer.status_code in (200, 409, 422), answer.text

        one()


def test_names_with_markup_stay_words(result: Path, serve: Serve) -> None:
    """A kind of clip that is a script: in the data as text, in no page as markup."""
    word = "<script>alert('x')</script> \u202e\U0001f3c3"
    with opened(serve(result)) as there:
        answer = there.post("/api/correct", json={"version": 0, "correction": {"kind": "kind-set", "word": word}})

        assert answer.status_code == 200
        assert answer.headers["content-type"] == "application/json"
        assert answer.json()["clip"]["kind"] == word
        assert "<script>alert" not in there.get("/").text
