"""A headless Chromium driven over two pipes: pages from files, their pictures, their script's answers.

The messages are the Chrome DevTools Protocol's, JSON with a NUL after each, on file descriptors 3 and 4 of
the browser (`--remote-debugging-pipe`): no port is opened, and no library is needed.
"""

from __future__ import annotations

import base64
import json
import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.tools import need

QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-dev-shm-usage", "--hide-scrollbars",
)  # fmt: skip


class Tab:
    """One page of the browser; `messages` are what its console and its policy complained of."""

    def __init__(self, send: int, receive: int) -> None:
        self._send, self._receive = send, receive
        self._number, self._rest, self._session = 0, b"", ""
        self.messages: list[str] = []
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Log", "Runtime"):
            self.call(f"{domain}.enable")

    def _take(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            piece = os.read(self._receive, 1 << 20)
            if not piece:
                raise RuntimeError("the browser ended")
            self._rest += piece
        one, _, self._rest = self._rest.partition(b"\0")
        message: dict[str, Any] = json.loads(one)
        if message.get("method") == "Log.entryAdded":
            self.messages.append(message["params"]["entry"]["text"])
        if message.get("method") == "Runtime.exceptionThrown":
            self.messages.append(str(message["params"]["exceptionDetails"].get("exception")))
        return message

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """Send one command and return its result."""
        self._number += 1
        message = {"id": self._number, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        data = json.dumps(message).encode() + b"\0"
        while data:
            data = data[os.write(self._send, data) :]
        while True:
            answer = self._take()
            if answer.get("id") == self._number:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                result: dict[str, Any] = answer["result"]
                return result

    def open(self, page: Path, width: int = 1280, dark: bool = False, scale: float = 1) -> None:
        """Load a file at a width in CSS pixels, in light or dark."""
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=900, deviceScaleFactor=scale, mobile=width < 600,
        )  # fmt: skip
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.call("Emulation.setEmulatedMedia", media="screen", features=[scheme])
        self.messages.clear()
        self.call("Page.navigate", url=page.as_uri())
        while self._take().get("method") != "Page.loadEventFired":
            pass

    def run(self, script: str) -> Any:
        """The value of an expression in the page; a promise is waited for."""
        answer = self.call("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in answer:
            raise RuntimeError(str(answer["exceptionDetails"]))
        return answer["result"].get("value")

    def press(self, key: str, code: int) -> None:
        """One key, down and up."""
        text = {"Enter": "\r", " ": " "}.get(key, "")
        for kind in ("keyDown", "keyUp"):
            self.call(
                "Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code, text=text
            )

    def picture(self, path: Path) -> None:
        """The whole page as PNG."""
        shot = self.call("Page.captureScreenshot", captureBeyondViewport=True, format="png")
        path.write_bytes(base64.b64decode(shot["data"]))

    def print(self, path: Path, paper_inches: tuple[float, float] = (8.27, 11.69)) -> None:
        """The page as PDF, with the margins that the page asks for."""
        wide, tall = paper_inches
        self.call("Emulation.setEmulatedMedia", media="", features=[])
        done = self.call("Page.printToPDF", paperWidth=wide, paperHeight=tall, printBackground=True)
        path.write_bytes(base64.b64decode(done["data"]))


@contextmanager
def browser(profile: Path) -> Iterator[Tab]:
    """A browser with a fresh profile, ended with the block."""
    program = need("chromium", "chromium", "chromium-browser", "google-chrome")
    down, up = os.pipe(), os.pipe()
    # the shell lays the two pipes where the browser looks for them
    command = f'exec "$@" 3<&{down[0]} 4>&{up[1]}'
    options = [*QUIET, f"--user-data-dir={profile}", "--remote-debugging-pipe", "about:blank"]
    process = subprocess.Popen(
        ["bash", "-c", command, "browser", program, *options],
        pass_fds=(down[0], up[1]), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(down[0])
    os.close(up[1])
    try:
        tab = Tab(down[1], up[0])
        yield tab
    finally:
        os.close(down[1])  # the browser ends when its pipe does
        os.close(up[0])
        try:
            process.wait(timeout=20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
