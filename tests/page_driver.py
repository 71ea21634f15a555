"""Hands and eyes for the tests of the review page: a client that has opened it, and a page in a real browser."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx

from penult.app.review import open_result
from penult.review.run import page_server
from penult.review.server import LocalServer

PATIENCE_S = 60.0
"""Longest that any one answer is waited for: on a machine that does ten other things too."""

Serve = Callable[..., LocalServer]


@contextmanager
def opened(server: LocalServer) -> Iterator[httpx.Client]:
    """Give a client that has used the address once, as a browser does."""
    with httpx.Client(base_url=f"http://127.0.0.1:{server.port}", timeout=PATIENCE_S) as there:
        assert there.get(server.address, follow_redirects=True).status_code == 200
        yield there


@contextmanager
def served(*results: Path) -> Iterator[LocalServer]:
    """Give a server of results, open as long as the block runs."""
    server = page_server([open_result(folder, None, lambda _what, _share: None) for folder in results])
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.stop()
        thread.join(20.0)
    assert not thread.is_alive()


def sized(driver: Any, width: int = 1366, height: int = 768, *, dark: bool = False) -> None:
    """Give the browser's page a size and a scheme of colours."""
    size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    scheme = [{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}]
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": scheme})


class Page:
    """The review page in a browser, used as a person would.

    Parameters
    ----------
    driver : selenium WebDriver
    address : str
        With the token, or without it where the browser has the cookie already.
    """

    def __init__(self, driver: Any, address: str) -> None:
        self.driver = driver
        self.address = address
        driver.get("about:blank")
        driver.get_log("browser")  # what earlier pages complained about, when their servers ended under them
        driver.get(address)
        self.wait(lambda: self.body("firstMs"))

    def js(self, script: str, *arguments: Any) -> Any:
        """Run a script in the page and return what it returns."""
        return self.driver.execute_script(script, *arguments)

    def body(self, name: str) -> str | None:
        """Return one of the page's own remarks: version, busy, lost, firstMs, stepMs, tookMs."""
        found: str | None = self.js("return document.body.dataset[arguments[0]]", name)
        return found

    def wait(self, is_so: Callable[[], Any], seconds: float = PATIENCE_S) -> Any:
        """Wait until something holds, and return it."""
        end = time.monotonic() + seconds
        last: Exception | None = None
        while time.monotonic() < end:
            try:
                found = is_so()
                if found:
                    return found
            except Exception as error:
                last = error  # a part of the page that is being drawn anew
            time.sleep(0.02)
        raise TimeoutError(str(last) if last else "it never came to be")

    def element(self, name: str) -> Any:
        """Return an element by its id, or by a selector."""
        by = "css selector" if name[:1] in ".[#" or " " in name else "id"
        return self.driver.find_element(by, name)

    def click(self, name: str) -> None:
        """Click an element where it can be seen."""
        self.element(name).click()

    def keys(self, *keys: str) -> None:
        """Press keys one after the other, wherever the focus is; a tuple's keys are pressed together."""
        chain = self._chain()
        for key in keys:
            chain.send_keys(key)
        chain.perform()

    def together(self, *keys: str) -> None:
        """Press keys together."""
        chain = self._chain()
        for key in keys[:-1]:
            chain.key_down(key)
        chain.send_keys(keys[-1])
        for key in keys[:-1]:
            chain.key_up(key)
        chain.perform()

    def drag(
        self, element: Any, dx: float, dy: float = 0.0, *, at: tuple[float, float] = (0.0, 0.0), release: bool = True
    ) -> None:
        """Drag with the mouse from a place (relative to the element's middle)."""
        chain = self._chain().move_to_element_with_offset(element, *at).click_and_hold()
        for _ in range(4):
            chain.move_by_offset(dx / 4, dy / 4)
        if release:
            chain.release()
        chain.perform()

    def let_go(self) -> None:
        """Release every button and key that is still held."""
        from selenium.webdriver.common.actions.action_builder import ActionBuilder  # noqa: PLC0415

        ActionBuilder(self.driver).clear_actions()

    def _chain(self) -> Any:
        from selenium.webdriver.common.action_chains import ActionChains  # noqa: PLC0415

        return ActionChains(self.driver, duration=30)

    @property
    def frame(self) -> int:
        """The frame that the picture shows, once it shows the one that is asked for."""
        shown = "document.getElementById('picture').dataset.frame"
        self.wait(lambda: self.js(f"return {shown} === document.getElementById('readout').dataset.frame"))
        return int(self.js(f"return {shown}"))

    @property
    def version(self) -> int:
        """Version of the corrections that the page shows."""
        return int(self.body("version") or -1)

    def settled(self, version: int) -> None:
        """Wait until the page shows that version and has nothing left to save."""
        self.wait(lambda: self.version == version and self.body("busy") != "true")

    def grip(self, contact: int, instant: str) -> Any:
        """Return the end of a contact's bar on the strip."""
        return self.driver.find_element("css selector", f'.grip[data-contact="{contact}"][data-instant="{instant}"]')

    def position(self, contact: int, instant: str) -> float:
        """Where that end stands, in frames."""
        return float(self.grip(contact, instant).get_attribute("aria-valuenow"))

    def joint_px(self, name: str) -> tuple[float, float]:
        """Where a joint is in the frame shown, in clip pixels."""
        data = self.js("return fetch('/api/clip/0').then(answer => answer.json())")
        row, k = data["track"]["frames"].index(self.frame), data["skeleton"]["joints"].index(name)
        x, y = data["track"]["px"][row][2 * k : 2 * k + 2]
        return float(x), float(y)

    def on_canvas(self, px: tuple[float, float]) -> tuple[tuple[float, float], float]:
        """Where a clip pixel is, from the middle of the canvas, and how large a clip pixel is shown."""
        self.picture()
        view, width, height = self.js(
            "const p = document.getElementById('picture'); return [p.dataset.view, p.clientWidth, p.clientHeight]"
        )
        scale, left, top = (float(part) for part in view.split())
        return ((px[0] + 0.5 - left) * scale - width / 2.0, (px[1] + 0.5 - top) * scale - height / 2.0), scale

    def said(self) -> str:
        """What the page says at its top."""
        return str(self.element("said").text)

    def picture(self) -> bytes:
        """What the canvas shows, as a fingerprint of its pixels."""
        self.frame  # noqa: B018 - wait for it
        self.js("return new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
        found: list[int] = self.js(
            "const p = document.getElementById('picture'), c = p.getContext('2d');"
            "const d = c.getImageData(0, 0, p.width, p.height).data; const out = [];"
            "for (let i = 0; i < d.length; i += 404) out.push(d[i]); return out;"
        )
        return bytes(found)

    def faults(self) -> list[str]:
        """What the browser has complained about."""
        return [entry["message"] for entry in self.driver.get_log("browser") if entry["level"] == "SEVERE"]
