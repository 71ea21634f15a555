"""Forms of answer that the local pages share: errors as data, JSON, static files, slow work."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from importlib.resources import files
from typing import Any, TypeVar

from starlette.responses import Response

from penult.errors import PenultError

_TYPES = {"html": "text/html; charset=utf-8", "css": "text/css; charset=utf-8", "js": "text/javascript; charset=utf-8"}

T = TypeVar("T")


def words_of(error: PenultError) -> dict[str, Any]:
    """Return an error's words as plain data."""
    return {"what": error.what, "details": list(error.details), "next_step": error.next_step}


def as_json(content: dict[str, Any], status: int = 200) -> Response:
    """Return plain data as an answer; a number that JSON does not know is our own fault and raises."""
    text = json.dumps(content, separators=(",", ":"), allow_nan=False, ensure_ascii=False)
    return Response(text.encode(), status, media_type="application/json")


def asset(name: str) -> Response:
    """Return one of our own static files; `name` comes from a fixed list, never from a request as it is."""
    data = (files("penult.review") / "static" / name).read_bytes()
    return Response(data, media_type=_TYPES[name.rpartition(".")[2]])


async def aside(work: Callable[[], T]) -> T:
    """Do slow work without holding up other answers."""
    return await asyncio.get_running_loop().run_in_executor(None, work)
