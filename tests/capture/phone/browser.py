"""A real Chromium, headless, with its fake camera playing a file; driven over the DevTools protocol."""

from __future__ import annotations

import asyncio
import itertools
import json
import shutil
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import aiohttp
import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--mute-audio",
    "--window-size=360,640",  # of a phone, and little to draw
    "--use-fake-ui-for-media-stream",
    "--use-fake-device-for-media-stream",
    "--ignore-certificate-errors",
    "--remote-debugging-port=0",
)


def needs_chromium() -> str:
    """The browser's path; skips the test where there is none."""
    found = next((path for path in map(shutil.which, NAMES) if path), None)
    if found is None:
        pytest.skip("no Chromium on this machine: install Debian's package chromium")
    return found


class Page:
    """One tab. sent: every text that a WebSocket sent; binary: how many binary messages; requests: method and URL."""

    def __init__(self, address: str, allow_camera: bool = True) -> None:
        self.sent: list[str] = []
        self.binary = 0
        self.requests: list[tuple[str, str]] = []
        self.said: list[str] = []
        self._address = address
        self._numbers = itertools.count(1)
        self._answers: dict[int, asyncio.Future[dict[str, Any]]] = {}
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, daemon=True)
        self._thread.start()
        self._run(self._open())
        for each in ("Page", "Runtime", "Network", "DOM", "Log"):
            self.call(f"{each}.enable")

    def call(self, method: str, **parameters: Any) -> dict[str, Any]:
        """One command of the protocol and its answer."""
        return self._run(self._call(method, parameters))

    def evaluate(self, script: str) -> Any:
        """The value of an expression, awaited where it is a promise."""
        answer = self.call(
            "Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True, userGesture=True
        )
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def visit(self, url: str) -> None:
        """Go to an address and wait until the page's module has run."""
        self.call("Page.navigate", url=url)
        self.until("document.readyState === 'complete' && typeof dawnbeat !== 'undefined'")

    def press(self, button: str) -> None:
        """Press a button by its id."""
        self.evaluate(f"document.getElementById('{button}').click()")

    def text(self, element: str) -> str:
        """What an element says."""
        return str(self.evaluate(f"document.getElementById('{element}').textContent"))

    def shown(self) -> str:
        """Which part of the page is to be seen."""
        return str(self.evaluate("[...document.querySelectorAll('main')].find((each) => !each.hidden).id"))

    def choose_file(self, element: str, path: Path) -> None:
        """Put a file into a file field, as the phone's own camera does."""
        root = self.call("DOM.getDocument")["root"]["nodeId"]
        node = self.call("DOM.querySelector", nodeId=root, selector=f"#{element}")["nodeId"]
        self.call("DOM.setFileInputFiles", nodeId=node, files=[str(path)])

    def until(self, condition: str, limit_s: float = 20.0) -> None:
        """Wait for a condition in the page."""
        end_s = time.monotonic() + limit_s
        while not self.evaluate(condition):
            assert time.monotonic() < end_s, f"never came true: {condition}; the page said {self.said[-5:]}"
            time.sleep(0.05)

    def picture(self, path: Path) -> None:
        """Save what the page looks like."""
        import base64

        path.write_bytes(base64.b64decode(self.call("Page.captureScreenshot")["data"]))

    def close(self) -> None:
        """Leave the browser."""
        self._run(self._session.close())
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(5.0)

    def _run(self, work: Any) -> Any:
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(30.0)

    async def _open(self) -> None:
        self._session = aiohttp.ClientSession()
        async with self._session.put(f"http://{self._address}/json/new?about:blank") as answer:
            target = (await answer.json())["webSocketDebuggerUrl"]
        self._socket = await self._session.ws_connect(target, max_msg_size=0)
        self._listening = asyncio.create_task(self._listen())

    async def _call(self, method: str, parameters: dict[str, Any]) -> dict[str, Any]:
        number = next(self._numbers)
        self._answers[number] = asyncio.get_running_loop().create_future()
        await self._socket.send_str(json.dumps({"id": number, "method": method, "params": parameters}))
        return await self._answers[number]

    async def _listen(self) -> None:
        async for message in self._socket:
            said = json.loads(message.data)
            if "id" in said:
                future = self._answers.pop(said["id"])
                if "error" in said:
                    future.set_exception(AssertionError(said["error"]["message"]))
                else:
                    future.set_result(said["result"])
                continue
            what, facts = said["method"], said["params"]
            if what == "Network.webSocketFrameSent":
                if facts["response"]["opcode"] == 1:
                    self.sent.append(facts["response"]["payloadData"])
                else:
                    self.binary += 1
            elif what == "Network.requestWillBeSent":
                self.requests.append((facts["request"]["method"], facts["request"]["url"]))
            elif what in ("Runtime.exceptionThrown", "Log.entryAdded", "Runtime.consoleAPICalled"):
                self.said.append(json.dumps(facts)[:600])


@contextmanager
def chromium(folder: Path, camera: Path | None = None, *more: str) -> Iterator[Page]:
    """A new browser with a profile of its own in `folder`; camera: the file that its fake camera plays."""
    program = needs_chromium()
    flags = [*FLAGS, f"--user-data-dir={folder}", *more]
    if camera is not None:
        flags.append(f"--use-file-for-fake-video-capture={camera}")
    browser = subprocess.Popen([program, *flags], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        port = folder / "DevToolsActivePort"
        end_s = time.monotonic() + 30.0
        while not (port.exists() and port.read_text().count("\n")):
            assert browser.poll() is None, "Chromium ended"
            assert time.monotonic() < end_s, "Chromium did not start"
            time.sleep(0.05)
        page = Page(f"127.0.0.1:{port.read_text().splitlines()[0]}")
        try:
            yield page
        finally:
            page.close()
    finally:
        browser.terminate()
        try:
            browser.wait(10.0)
        except subprocess.TimeoutExpired:
            browser.kill()
            browser.wait(10.0)
