"""The page on which marks are clicked: what each address answers. What may be asked at all is the server's matter."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import cv2
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from penult.app.picking import FACTS, Picking
from penult.core.lane.camera import check_view, metres_per_px, position_m, to_matrix
from penult.errors import OutputError, PenultError
from penult.model.calibration import LaneFile, LaneFit
from penult.review.answers import as_json, aside, asset, words_of
from penult.review.opening import open_in_browser
from penult.review.server import LocalServer, json_body

_STATIC = ("page.css", "pick.css", "pick.js", "pick_board.js", "pick_marks.js", "geometry.js", "server.js")
"""The only files that are handed out."""

_QUALITY = 93

T = TypeVar("T")


class PickingPages:
    """Answers for one picture whose marks are clicked.

    Parameters
    ----------
    picking : Picking
    written : callable
        Told the lane file each time that it has been written.
    """

    def __init__(self, picking: Picking, written: Callable[[Path], None] = lambda path: None) -> None:
        self.picking = picking
        self._told = written
        self.is_written = False
        self._draft = picking.start()
        self._jpeg = _jpeg(picking)

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the page."""
        return [
            Route("/", self._home),
            Route("/static/{name}", self._static),
            Route("/picture.jpg", self._picture),
            Route("/api/start", self._start),
            Route("/api/fit", self._fit, methods=["POST"]),
            Route("/api/write", self._write, methods=["POST"]),
        ]

    async def _home(self, _request: Request) -> Response:
        return asset("pick.html")

    async def _static(self, request: Request) -> Response:
        name = request.path_params["name"]
        if name not in _STATIC:
            raise HTTPException(404, "no such file")
        return asset(name)

    async def _picture(self, _request: Request) -> Response:
        return Response(self._jpeg, media_type="image/jpeg")

    async def _start(self, _request: Request) -> Response:
        return as_json({
            "file": self.picking.source.name,
            "out": self.picking.out.name,
            "size": list(self.picking.size_px),
            "facts": FACTS,
            "draft": self._draft,
        })  # fmt: skip

    async def _fit(self, request: Request) -> Response:
        """Keep what was clicked, and answer with the camera it gives, or what is missing for one."""
        draft = _draft(await json_body(request))
        self._draft, self.is_written = draft, False
        try:
            fit = await aside(partial(self.picking.fitted, draft))
        except PenultError as error:
            return as_json({"missing": words_of(error)})
        return as_json({"fit": fit_data(fit)})

    async def _write(self, request: Request) -> Response:
        draft = _draft(await json_body(request))
        self._draft = draft
        fit = await aside(partial(self.picking.write, draft))
        self.is_written = True
        self._told(self.picking.out)
        return as_json({"fit": fit_data(fit), "written": str(self.picking.out)})


def fit_data(fit: LaneFit) -> dict[str, Any]:
    """Return a fit as the page shows it: camera, residuals and what is to be said of it."""
    matrix, lens, rotation, shift_m = to_matrix(fit.camera)
    place = position_m(fit.camera)
    try:
        view = check_view(fit)
        turned = view.text if view else ""
    except PenultError as error:
        turned = str(error)
    return {
        "camera": {
            "r": rotation.ravel().tolist(),
            "t": shift_m.tolist(),
            "f": float(matrix[0, 0]),
            "k": lens[:2].tolist(),
            "c": [float(matrix[0, 2]), float(matrix[1, 2])],
        },
        "marks": [
            {
                "px": r.residual_px,
                "cm": r.residual_cm,
                "left_out_cm": r.left_out_cm if math.isfinite(r.left_out_cm) else None,
                "disagrees": r.disagrees,
            }
            for r in fit.residuals
        ],
        "rms_px": fit.rms_px,
        "depth_known": fit.depth_known,
        "view_deg": fit.view_angle_deg,
        "turned": turned,
        "place_m": place.tolist(),
        "cm_per_px": 100.0 * float(metres_per_px(fit.camera, _middle(fit.lane), 0.5, 0.0)),
    }


def _middle(lane: LaneFile) -> float:
    places = [m.runway_m[0] for m in lane.marks]
    return (min(places) + max(places)) / 2.0


def _draft(body: dict[str, Any]) -> dict[str, Any]:
    """Return the parts of a request that make a lane; what is wrong inside them is said by the lane file's own check."""
    if not isinstance(body.get("marks"), list) or len(body["marks"]) > 500:
        raise HTTPException(400, "a list of marks is wanted")
    return {key: body[key] for key in ("marks", "camera_distance_m", "board", "note") if key in body}


def _jpeg(picking: Picking) -> bytes:
    done, data = cv2.imencode(".jpg", picking.image[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    if not done:
        raise OutputError("the picture could not be turned into JPEG")
    return bytes(data.tobytes())


def picking_server(picking: Picking, *, port: int = 0) -> tuple[LocalServer, PickingPages]:
    """Return a server for the page, not yet serving, and its answers."""
    pages = PickingPages(picking)
    return LocalServer(pages.routes(), port=port), pages


def serve_picking(picking: Picking, *, port: int, say: Callable[[str], None], open_browser: bool) -> bool:
    """Serve the page until it is closed; return whether a lane file was written. Ctrl-C is raised again.

    Parameters
    ----------
    picking : Picking
    port : int
        0 takes a free one.
    say : callable
        Gets the address and what a person should know.
    open_browser : bool
        Open the address in the standard browser.
    """
    server, pages = picking_server(picking, port=port)
    say(f"open {server.address}")
    say("it works once, in one browser on this computer; close the page or press Ctrl-C to end")
    if open_browser:
        open_in_browser(server.address)
    server.serve()
    return pages.is_written
